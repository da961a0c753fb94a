"""Serve a desk on this computer until it is stopped."""

from __future__ import annotations

import os
import socket
import threading
from collections.abc import Callable
from pathlib import Path

from planner.desk.desk import Clock, Desk
from planner.desk.guard import LARGEST_BYTES, Guard
from planner.errors import UsageMistake

__all__ = ["LOOPBACK", "open_socket", "serve"]

LOOPBACK = "127.0.0.1"
_THREADS = 8  # a whole answer keeps one waiting; the page asks for few at once (design choice)


def open_socket(port: int) -> socket.socket:
    """A listening socket on the loopback address; port 0 takes a free one.

    Raises
    ------
    UsageMistake
        When the port is taken.
    """
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name != "nt":
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((LOOPBACK, port))
    except (OSError, OverflowError) as error:
        listener.close()
        raise UsageMistake(f"port {port} cannot be used ({error})", "a free port", "leave --port out") from error
    listener.listen(64)
    return listener


def serve(
    folder: Path | None,
    *,
    port: int = 0,
    clock: Clock | None = None,
    parent: Path | None = None,
    say: Callable[[str], None] = print,
    opened: Callable[[str], object] | None = None,
) -> None:
    """Serve until interrupted.

    Parameters
    ----------
    folder : Path or None
        The river folder; without one the page asks five questions and makes one in `parent`.
    port : int
        0 takes a free one.
    clock : Clock, optional
        Recorded replies and the moment called now.
    parent : Path, optional
        Where a new folder is made; the present one by default.
    say : callable
        Gets the address, once it answers.
    opened : callable, optional
        Opens the address in a browser.
    """
    from waitress.server import create_server

    from planner.desk.app import make_app

    if folder is not None and not Path(folder).is_dir():
        raise UsageMistake(
            f"the folder {folder} does not exist", "a river folder", "leave it out to make one", where=str(folder)
        )
    desk = Desk(None if folder is None else Path(folder), clock, parent)
    listener = open_socket(port)
    guard = Guard(f"{LOOPBACK}:{listener.getsockname()[1]}")
    server = create_server(
        make_app(desk, guard),
        sockets=[listener],
        threads=_THREADS,
        ident=None,
        max_request_body_size=LARGEST_BYTES,
        max_request_header_size=16_384,
        channel_timeout=30,
        connection_limit=64,
    )
    threading.Thread(target=desk.warm, name="desk-warm", daemon=True).start()
    try:
        say(guard.address)
        if opened is not None:
            opened(guard.address)
        server.run()  # it returns when it is interrupted
    finally:
        server.close()
        desk.close()

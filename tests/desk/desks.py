"""A desk to test against: in this process through the application's own client, or as a process of its own."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from planner.desk.app import make_app
from planner.desk.desk import Clock, Desk
from planner.desk.guard import Guard

ROOT = Path(__file__).parent.parent.parent
DEMO = ROOT / "examples" / "demo"
NOW = "2026-06-12T18:00:00-05:00"
HOST = "127.0.0.1:50123"


def demo_folder(to: Path) -> Path:
    """A copy of the demo river folder."""
    to.mkdir(parents=True, exist_ok=True)
    for item in DEMO.iterdir():
        if item.is_file() and item.name != "truth.json":
            shutil.copyfile(item, to / item.name)
    return to


def contents(folder: Path) -> dict[str, bytes]:
    """Every file of a river folder but the desk's own, by name."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and ".desk" not in path.parts
    }


class Caller:
    """Asks a desk in this process, as its own page would."""

    def __init__(self, folder: Path | None, parent: Path | None = None, clock: Clock | None = None) -> None:
        self.desk = Desk(folder, clock or Clock(now=NOW), parent)
        self.guard = Guard(HOST)
        self.client = make_app(self.desk, self.guard).test_client()

    def headers(self, **others: str | None) -> dict[str, str]:
        """Headers of the page's own request, some replaced or (None) left out; `_` stands for `-`."""
        own: dict[str, str | None] = {"Host": HOST, "Origin": f"http://{HOST}", "X-Desk-Token": self.guard.token,
                                      "Sec-Fetch-Site": "same-origin"}  # fmt: skip
        own |= {name.replace("_", "-"): value for name, value in others.items()}
        return {name: value for name, value in own.items() if value is not None}

    def ask(self, method: str, path: str, body: Any = None, *, kind: str = "", **others: str | None) -> Any:
        """The reply; a body that is no bytes is sent as JSON."""
        data = body if isinstance(body, bytes) else None if body is None else json.dumps(body).encode()
        kind = kind or ("application/octet-stream" if isinstance(body, bytes) else "application/json")
        return self.client.open(path, method=method, data=data, content_type=kind, headers=self.headers(**others))

    def get(self, path: str) -> Any:
        """JSON of a reply that must be 200."""
        reply = self.ask("GET", path)
        assert reply.status_code == 200, reply.text
        return reply.get_json()

    def put(self, path: str, body: Any, method: str = "PUT") -> Any:
        """JSON of a write that must be 200."""
        reply = self.ask(method, path, body)
        assert reply.status_code == 200, reply.text
        return reply.get_json()

    def post(self, path: str, body: Any) -> Any:
        """JSON of a POST that must be 200."""
        return self.put(path, body, "POST")


class Served:
    """A desk in a process of its own, asked over its socket."""

    def __init__(self, process: subprocess.Popen[str], address: str) -> None:
        self.process = process
        self.base, key = address.split("/?key=")
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        page = opener.open(f"{self.base}/?key={key}", timeout=30).read().decode()
        found = re.search(r'name="desk-token" content="([^"]+)"', page)
        assert found is not None
        self.token = found.group(1)
        self.host = self.base.removeprefix("http://")

    def ask(self, method: str, path: str, body: Any = None, timeout: float = 30) -> tuple[int, Any]:
        """Status and JSON."""
        request = urllib.request.Request(
            self.base + path, method=method, data=None if body is None else json.dumps(body).encode(),
            headers={"X-Desk-Token": self.token, "Origin": self.base, "Content-Type": "application/json"},
        )  # fmt: skip
        try:
            with urllib.request.urlopen(request, timeout=timeout) as reply:
                return reply.status, json.loads(reply.read())
        except urllib.error.HTTPError as error:
            return error.code, json.loads(error.read() or b"null")


@contextmanager
def served(folder: Path | None, *options: str, cwd: Path | None = None) -> Iterator[Served]:
    """A desk as `plumbrun desk` opens it, ended at the end."""
    command = [
        sys.executable,
        "-m",
        "planner",
        "desk",
        *([str(folder)] if folder else []),
        "--no-browser",
        "--now",
        NOW,
    ]
    process = subprocess.Popen(
        [*command, *options], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, cwd=cwd,
        env={**os.environ, "PYTHONUNBUFFERED": "1", "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    try:
        assert process.stdout is not None
        line = process.stdout.readline()
        found = re.search(r"http://\S+", line)
        assert found is not None, line
        yield Served(process, found.group(0))
    finally:
        process.kill()
        process.wait()
        if process.stdout is not None:
            process.stdout.close()

"""Debian's Firefox ESR for the tests, driven over its own remote protocol (Marionette) and cut off from the network.

The protocol is a line of JSON with its length before it on a local socket, so that no driver has to be installed.
Without the browser a test fails on CI (where the variable CI is set) and is skipped elsewhere.
"""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

__all__ = ["Firefox", "firefox"]

_PREFERENCES = {
    "marionette.port": 0,
    "network.proxy.type": 1,
    "network.proxy.http": "127.0.0.1",
    "network.proxy.http_port": 9,
    "network.proxy.ssl": "127.0.0.1",
    "network.proxy.ssl_port": 9,
    "app.update.disabledForTesting": True,
    "browser.shell.checkDefaultBrowser": False,
    "datareporting.policy.dataSubmissionEnabled": False,
    "toolkit.telemetry.enabled": False,
    "privacy.reduceTimerPrecision": False,
}
KEYS = {
    "End": "\ue010",
    "Home": "\ue011",
    "ArrowLeft": "\ue012",
    "Enter": "\ue007",
    "Escape": "\ue00c",
    "Tab": "\ue004",
}


class Firefox:
    """A running browser.

    Parameters
    ----------
    port : int
        Where it listens on the loopback.
    """

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=30)
        self._stream = self._socket.makefile("rb")
        self._count = 0
        self._read()
        self.ask("WebDriver:NewSession", {"capabilities": {"alwaysMatch": {"acceptInsecureCerts": False}}})

    def _read(self) -> Any:
        size = b""
        while not size.endswith(b":"):
            sign = self._stream.read(1)
            if not sign:
                raise ConnectionError("Firefox closed the connection")
            size += sign
        return json.loads(self._stream.read(int(size[:-1])))

    def ask(self, command: str, given: dict[str, Any] | None = None) -> Any:
        """Send one command and give back its result; an error of the browser is raised."""
        self._count += 1
        message = json.dumps([0, self._count, command, given or {}]).encode()
        self._socket.sendall(str(len(message)).encode() + b":" + message)
        _, _, error, result = self._read()
        if error:
            raise RuntimeError(f"{command}: {error['error']}: {error['message']}")
        return result["value"] if isinstance(result, dict) and set(result) == {"value"} else result

    def close(self) -> None:
        """Let go of the connection."""
        self._stream.close()
        self._socket.close()

    def open(self, file: Path) -> None:
        """Open a file of the disk."""
        self.ask("WebDriver:Navigate", {"url": file.as_uri()})

    def run(self, script: str, *given: Any) -> Any:
        """Result of a script of the page; it must return."""
        return self.ask("WebDriver:ExecuteScript", {"script": script, "args": list(given)})

    def element(self, selector: str) -> str:
        """Handle of the first element that a selector finds."""
        found = self.ask("WebDriver:FindElement", {"using": "css selector", "value": selector})
        return str(next(iter(found.values())))

    def press(self, selector: str, key: str) -> None:
        """Press a named key while an element has the focus."""
        self.ask("WebDriver:ElementSendKeys", {"id": self.element(selector), "text": KEYS[key]})

    def click(self, selector: str) -> None:
        """Click on an element as a finger would."""
        self.ask("WebDriver:ElementClick", {"id": self.element(selector)})

    def text(self, selector: str) -> str:
        """What an element shows."""
        return str(self.ask("WebDriver:GetElementText", {"id": self.element(selector)}))


def _path() -> str:
    found = shutil.which("firefox-esr") or shutil.which("firefox")
    if found:
        return found
    words = "Firefox is not installed (Debian package: firefox-esr)"
    if os.environ.get("CI"):
        pytest.fail(words)
    pytest.skip(words)


@contextmanager
def firefox(folder: Path, size: tuple[int, int] = (390, 844)) -> Iterator[Firefox]:
    """A running browser with a fresh profile in a folder, closed at the end."""
    path = _path()
    profile = folder / "firefox"
    profile.mkdir()
    lines = [f"user_pref({json.dumps(key)}, {json.dumps(value)});" for key, value in _PREFERENCES.items()]
    (profile / "user.js").write_text("\n".join(lines), encoding="utf-8")
    command = [path, "--headless", "--no-remote", "--marionette", "--profile", str(profile)]
    command += ["--width", str(size[0]), "--height", str(size[1])]
    environment = {**os.environ, "HOME": str(folder), "MOZ_HEADLESS": "1"}
    with (folder / "firefox.log").open("wb") as log:
        process = subprocess.Popen(command, stdout=log, stderr=log, env=environment)
        found: Firefox | None = None
        try:
            found = _connected(profile / "MarionetteActivePort", process)
            yield found
        finally:
            if found is not None:
                found.close()
            process.terminate()
            try:
                process.wait(15)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait(15)


def _connected(port_file: Path, process: subprocess.Popen[bytes]) -> Firefox:
    """A connection as soon as the browser has written its port; the wait ends when the browser does."""
    for _ in range(600):
        if process.poll() is not None:
            raise RuntimeError(f"Firefox ended with {process.returncode} before it listened")
        if port_file.is_file() and port_file.read_text().strip():
            return Firefox(int(port_file.read_text()))
        time.sleep(0.1)
    raise RuntimeError("Firefox did not listen within a minute")

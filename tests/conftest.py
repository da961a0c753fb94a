"""What every test shares: no network, a cache of its own, English numbers."""

from __future__ import annotations

import os
import socket

import pytest
from hypothesis import HealthCheck, settings

# a busy machine is no fault of what is tested: no property fails by the clock
settings.register_profile(
    "house", deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=bool(os.environ.get("CI"))
)
settings.load_profile("house")

_LOOPBACK = ("127.0.0.1", "::1", "localhost")


@pytest.fixture(autouse=True)
def _no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    """Refuse every connection but to this machine."""
    real = socket.socket.connect

    def connect(self: socket.socket, address: object) -> None:
        if isinstance(address, tuple) and address[0] not in _LOOPBACK:
            raise AssertionError(f"a test reached for the network: {address!r}")
        real(self, address)  # type: ignore[arg-type]

    monkeypatch.setattr(socket.socket, "connect", connect)


@pytest.fixture(scope="session")
def _cache_folder(tmp_path_factory: pytest.TempPathFactory) -> str:
    return str(tmp_path_factory.mktemp("plumbrun-cache"))


@pytest.fixture(autouse=True)
def _own_cache(monkeypatch: pytest.MonkeyPatch, _cache_folder: str) -> None:
    """Keep gauge readings and swim tables of a test run out of the user's cache."""
    monkeypatch.setenv("PLUMBRUN_CACHE", _cache_folder)

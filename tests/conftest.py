"""What every test shares: no network, a cache of its own, English numbers."""

from __future__ import annotations

import contextlib
import os
import socket
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings

# a busy machine is no fault of what is tested: no property fails by the clock
settings.register_profile(
    "house", deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=bool(os.environ.get("CI"))
)
settings.load_profile("house")

_LOOPBACK = ("127.0.0.1", "::1", "localhost")


def pytest_configure(config: pytest.Config) -> None:
    """Let xdist's workers take the tests in runs where they would deal them out singly.

    Each worker goes through its half in order and takes from the other's end when it is through. The tests of a file
    stay together, so that what a file shares is made once and not in each worker.
    """
    if getattr(config.option, "dist", None) == "load":
        config.option.dist = "worksteal"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the page's tests in the middle, where the second of two workers begins.

    They need no line solver, which the first worker compiles meanwhile; else both would compile it at once.
    """
    page = [item for item in items if item.path.parent.name == "page"]
    others = [item for item in items if item.path.parent.name != "page"]
    middle = min(len(items) // 2, len(others))
    items[:] = others[:middle] + page + others[middle:]


@pytest.fixture(scope="session", autouse=True)
def _no_network() -> Iterator[None]:
    """Refuse every connection but to this machine, also while what a file shares is made."""
    real = socket.socket.connect

    def connect(self: socket.socket, address: object) -> None:
        if isinstance(address, tuple) and address[0] not in _LOOPBACK:
            raise AssertionError(f"a test reached for the network: {address!r}")
        real(self, address)  # type: ignore[arg-type]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(socket.socket, "connect", connect)
        yield


@pytest.fixture(scope="session", autouse=True)
def _own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep gauge readings and swim tables of a test run out of the user's cache.

    It is set before what a file shares is made. Each worker keeps its own gauge readings; the swims, which are the
    same whoever solves them, are kept once for all workers, as for two commands that a user runs side by side.
    """
    base = tmp_path_factory.getbasetemp()
    mine = tmp_path_factory.mktemp("plumbrun-cache")
    swims = (base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base) / "swims"
    swims.mkdir(exist_ok=True)
    with contextlib.suppress(OSError):  # a system that lets no one make links: each worker solves for itself
        (mine / "swims").symlink_to(swims, target_is_directory=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBRUN_CACHE", str(mine))
        yield

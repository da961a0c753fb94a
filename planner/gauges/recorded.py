"""Recorded replies: the bytes of a file in place of a service's answer."""

from __future__ import annotations

from pathlib import Path

from planner.errors import GaugeReplyUnfit
from planner.files import read_bounded

__all__ = ["read"]


def read(path: Path) -> bytes:
    """A recorded reply.

    Raises
    ------
    GaugeReplyUnfit
        When the file cannot be read.
    """
    try:
        return read_bounded(path)
    except OSError as error:
        raise GaugeReplyUnfit(
            f"the recorded reply could not be read ({error.strerror})",
            "a file with a reply of the gauge service",
            "check the file name",
            where=str(path),
        ) from error

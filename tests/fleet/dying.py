"""Work for worker processes that need nothing else of the tests."""

from __future__ import annotations

import os
import time

__all__ = ["square_or_die"]


def square_or_die(number: int) -> int:
    """A square; three kills its process, four is an error."""
    if number == 3:
        os._exit(9)
    if number == 4:
        raise ValueError("four")
    time.sleep(0.02)
    return number * number

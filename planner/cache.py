"""Where what may be lost is kept between runs: readings, swims, compiled tables of units."""

from __future__ import annotations

import os
from pathlib import Path

__all__ = ["cache_folder"]


def cache_folder() -> Path:
    """``PLUMBRUN_CACHE``, else the user's cache folder of the platform; it need not exist yet."""
    given = os.environ.get("PLUMBRUN_CACHE")
    if given:
        return Path(given)
    from platformdirs import user_cache_path

    return user_cache_path("plumbrun", appauthor=False)

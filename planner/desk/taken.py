"""What a dropped file of shapes held: features with a guess at what each is, and what was not taken and why."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import Any

from planner.errors import DataUnfit

__all__ = ["MOST_FEATURES", "MOST_POSITIONS", "MOST_TEXT", "Taken", "position", "role_of"]

# More than an evening draws, and far less than would stall a browser (design choice).
MOST_FEATURES = 5_000
MOST_POSITIONS = 200_000
MOST_TEXT = 500
_MOST_DROPS = 50
# A cast is at most about this long [m]; a longer line of two points is no spot (common practice, no source).
_LONGEST_CAST_M = 45.0

_BY_NAME = (
    ("take_out", re.compile(r"take[\s_-]*out", re.I)),
    ("put_in", re.compile(r"put[\s_-]*in|launch|boat ramp", re.I)),
    ("hazard", re.compile(r"hazard|dam\b|weir|strainer|sweeper|rapid|low head|danger|pier", re.I)),
)


def position(parts: Any) -> list[float] | None:
    """lon, lat of two or more parts; None when they are none."""
    try:
        lon, lat = float(parts[0]), float(parts[1])
    except (TypeError, ValueError, IndexError, KeyError, OverflowError):
        return None
    if not (math.isfinite(lon) and math.isfinite(lat)) or abs(lon) > 180 or abs(lat) > 90:
        return None
    return [round(lon, 7), round(lat, 7)]


def _metres(line: list[list[float]]) -> float:
    """Length between the ends of a short line [m]."""
    (lon, lat), (lon2, lat2) = line[0], line[-1]
    return 111_200.0 * math.hypot((lon2 - lon) * math.cos(math.radians(lat)), lat2 - lat)


def role_of(geometry: dict[str, Any], own: dict[str, Any]) -> str | None:
    """A guess at what a feature is: by its own words, then by its shape; None where neither tells.

    Examples
    --------
    >>> role_of({"type": "Point", "coordinates": [0, 0]}, {"name": "North take-out"})
    'take_out'
    >>> role_of({"type": "LineString", "coordinates": [[0, 0], [0, 1e-4]]}, {})
    'spot'
    """
    shape, kind = geometry["type"], str(own.get("kind", ""))
    fits = {
        "put_in": ("Point",),
        "take_out": ("Point",),
        "hazard": ("Point", "LineString"),
        "flowline": ("LineString",),
    }
    if shape in fits.get(kind, ()):
        return kind
    if shape == "Polygon":
        return "run"
    if shape == "Point" and {"depth_m", "depth_ft"} & set(own):
        return "sounding"
    if shape == "LineString":
        if len(geometry["coordinates"]) == 2 and (
            "stance" in own or _metres(geometry["coordinates"]) < _LONGEST_CAST_M
        ):
            return "spot"
        return "hazard" if _BY_NAME[2][1].search(str(own.get("name", ""))) else "flowline"
    return next((role for role, words in _BY_NAME if words.search(str(own.get("name", "")))), None)


@dataclass
class Taken:
    """Features of a file, each with ``role``, and drops ``{where, why}``.

    Raises
    ------
    DataUnfit
        When there are more features or positions than a drawing has.
    """

    features: list[dict[str, Any]] = field(default_factory=list)
    dropped: list[dict[str, str]] = field(default_factory=list)
    left_out: int = 0
    positions: int = 0

    def count(self, positions: int) -> None:
        """Count positions read."""
        self.positions += positions
        if self.positions > MOST_POSITIONS:
            raise DataUnfit(f"more than {MOST_POSITIONS:,} positions", "a drawing", "export less at once")

    def add(self, geometry: dict[str, Any], own: dict[str, Any]) -> None:
        """Take a feature."""
        if len(self.features) >= MOST_FEATURES:
            raise DataUnfit(f"more than {MOST_FEATURES:,} features", "a drawing", "export less at once")
        feature = {"type": "Feature", "role": role_of(geometry, own), "properties": own, "geometry": geometry}
        self.features.append(feature)

    def drop(self, where: str, why: str) -> None:
        """Note what is not taken; of many the first are named and the rest counted."""
        self.left_out += 1
        if len(self.dropped) < _MOST_DROPS:
            self.dropped.append({"where": where, "why": why})

    def record(self) -> dict[str, Any]:
        """As the page gets it."""
        more = self.left_out - len(self.dropped)
        extra = [{"where": "the rest", "why": f"{more:,} more were not taken"}] if more else []
        return {"features": self.features, "dropped": [*self.dropped, *extra]}

"""What lies around the drawing: the clock, a name for what a browser keeps, and what may lie under the map."""

from __future__ import annotations

import hashlib
from datetime import datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from pathlib import Path

    from planner.river import River

__all__ = ["around", "picture_host", "under"]

_MARGIN_DEG = 0.002


def around(folder: Path, river: River | None, now: datetime) -> dict[str, Any]:
    """Members of the river's answer that no file of the folder holds.

    Returns
    -------
    dict
        ``folder_key`` (names what the browser keeps for this folder), ``now`` (ISO 8601 in the river's zone),
        ``online`` (the public service of background pictures, when river.toml asks for one) and ``under`` (whether the
        folder has a background of its own).
    """
    from planner.page.background import online_layer

    here = now.astimezone(ZoneInfo(river.timezone)) if river is not None else now
    return {
        "folder_key": hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:16],
        "now": here.isoformat(timespec="minutes"),
        "online": online_layer(river) if river is not None else None,
        "under": river is not None and bool(river.extra.get("background")),
    }


def under(river: River) -> dict[str, Any]:
    """The folder's own drawing or picture around what is drawn, or why it cannot be shown.

    Returns
    -------
    dict
        ``under``, as `planner.page.background.background` gives it or None, and ``said``.
    """
    from planner.errors import PlumbrunError
    from planner.page.background import background

    boxes = [run.polygon.bounds for run in river.runs] + [place.geometry.bounds for place in river.places]
    if not boxes:
        return {"under": None, "said": ""}
    west, south, east, north = zip(*boxes, strict=True)
    box = [min(west) - _MARGIN_DEG, min(south) - _MARGIN_DEG, max(east) + _MARGIN_DEG, max(north) + _MARGIN_DEG]
    try:
        return {"under": background(river, box), "said": ""}
    except PlumbrunError as error:
        return {"under": None, "said": str(error)}


def picture_host(river: River | None) -> str:
    """The one host from which background pictures may come; empty unless river.toml asks for them."""
    from planner.page.background import online_layer

    layer = online_layer(river) if river is not None else None
    return str(layer["host"]) if layer else ""

"""What the page is told of the folder: shapes as they stand on disk, the rest as the reader understands it."""

from __future__ import annotations

import math
from typing import Any

from planner.desk.features import KINDS, features_of
from planner.desk.rivers import Read
from planner.desk.store import Now
from planner.errors import DataUnfit, PlumbrunError
from planner.river import Finding

__all__ = ["error_body", "findings_of", "history_of", "river_body", "status_of", "tackle_of"]

# More points than a screen can part; the rest is counted (design choice).
MOST_POINTS = 20_000


def error_body(error: PlumbrunError) -> dict[str, Any]:
    """An error as the page gets it."""
    body = {"given": error.given, "need": error.need, "next_step": error.next_step, "where": error.where}
    for side in ("mine", "theirs"):
        if getattr(error, side, None) is not None:
            body[side] = getattr(error, side)
    return body


def status_of(error: PlumbrunError) -> int:
    """Status of HTTP for an error."""
    from planner.desk.store import ChangedMeanwhile
    from planner.errors import NotWritten, SourceUnreachable, UsageMistake

    given = getattr(error, "status", None)
    if given is not None:
        return int(given)
    for kind, status in ((ChangedMeanwhile, 409), (NotWritten, 507), (SourceUnreachable, 502), (UsageMistake, 422)):
        if isinstance(error, kind):
            return status
    return 422 if isinstance(error, DataUnfit) else 500


def history_of(now: Now) -> dict[str, int]:
    """Steps that can be gone."""
    return {"back": now.back, "forward": now.forward}


def findings_of(read: Read, now: Now) -> list[dict[str, str]]:
    """Findings of the checker, with what keeps the folder from being saved ahead of them."""
    said = [finding.as_dict() for finding in read.findings]
    if now.unwritable:
        stuck = Finding(
            "error", "", "", f"nothing can be saved here: {now.unwritable}",
            "a folder with room that may be written to", "free room, or change the rights of the folder",
        )  # fmt: skip
        said.insert(0, stuck.as_dict())
    return said


def tackle_of(read: Read) -> dict[str, Any]:
    """The box as it is used: of the folder, or the generic classes."""
    from planner.files import plain

    tackle = read.river.tackle if read.river is not None else None
    if tackle is None:
        return {}
    leader = {"length_m": tackle.leader_m, "diameter_mm": tackle.leader_diameter_mm, "material": tackle.leader_material}
    tippet = {"length_m": tackle.tippet_m, "x": tackle.tippet_x, "material": tackle.tippet_material}
    return dict(plain(tackle)) | plain({"leader": leader, "tippet": tippet})


def _soundings(read: Read) -> dict[str, Any]:
    if read.river is None:
        return {"count": 0, "points": []}
    table = read.river.soundings
    shown = table.iloc[:: max(math.ceil(len(table) / MOST_POINTS), 1)]
    taken = shown["taken_at"].astype("datetime64[ns, UTC]") if len(shown) else shown["taken_at"]
    when = [None if at != at else at.isoformat().replace("+00:00", "Z") for at in taken]
    columns = (shown[name].tolist() for name in ("lon", "lat", "depth_m"))
    points = [list(row) for row in zip(*columns, when, shown["stage_m"].tolist(), strict=True)]
    return {"count": len(table), "points": points}


def river_body(name: str, now: Now, read: Read) -> dict[str, Any]:
    """The answer to ``GET /api/river``."""
    from planner.files import plain

    body: dict[str, Any] = {"version": now.version, "folder_name": name, "settings": read.settings}
    for kind, file in KINDS.items():
        try:
            found = list(features_of(now.contents.get(file), file)[1].values())
        except DataUnfit:  # it is among the findings
            found = []
        body[kind] = {"type": "FeatureCollection", "features": found}
    river = read.river
    log = [] if river is None else [{str(k): v for k, v in row.items()} for row in river.log.to_dict("records")]
    return body | {
        "read_only": bool(now.unwritable),
        "soundings": _soundings(read),
        "tackle": tackle_of(read),
        "log": plain(log),
        "findings": findings_of(read, now),
        "history": history_of(now),
        "units": river.units if river is not None else "us",
        "timezone": river.timezone if river is not None else "UTC",
    }

"""What else is known of a spot's answer: tips, the steps beside it, what matters most, what the log taught."""

from __future__ import annotations

from typing import Any

from planner.page.words import percent
from planner.units import show

__all__ = ["more_words"]


def more_words(spot: dict[str, Any], learned: dict[str, Any] | None, units: str) -> list[tuple[str, str]]:
    """Labels with sentences, at the planned level: only there are tips swum and doubts taken apart.

    Parameters
    ----------
    spot, learned : dict
        Of `spots` in ``plan.json``, and its ``learned``.
    units : str
        ``us`` or ``metric``.

    Examples
    --------
    >>> most = {"unknown": "current", "height_sd_m": 0.2, "share": 0.36, "band_if_known_s": 7.5}
    >>> more_words({"id": "a", "tips": ["Drift."], "sensitivity": [most]}, None, "metric")[1][1]
    'The current: alone it moves the fly by about 0.2 m, 36 % of the doubt of its height; known, up to 8 s in the band.'
    """
    out = [("A swim says", str(tip)) for tip in spot.get("tips") or ()]
    steps = (("One step lower", "if_lower"), ("One step higher", "if_higher"))
    out += [(label, str(spot[key])) for label, key in steps if spot.get(key)]
    most = next((one for one in spot.get("sensitivity") or () if one.get("knowable", True)), None)
    if most is not None:
        moves = f"alone it moves the fly by about {show(most['height_sd_m'], 'depth', units)}"
        words = f"The {most['unknown']}: {moves}, {percent(most['share'])} of the doubt of its height"
        # known to be as taken it may give less too, as then nothing brings a fly that is too high down to the band
        if most["band_if_known_s"] >= ((spot.get("best") or {}).get("band_time_s") or 0.0) + 0.5:
            words += f"; known, up to {most['band_if_known_s']:.0f} s in the band"
        out.append(("What matters most", f"{words}."))
    taught, line = learned or {}, (spot.get("best") or {}).get("line")
    said = [one["words"] for one in taught.get("spots") or () if one["spot"] == spot["id"]]
    said += [one["words"] for one in taught.get("lines") or () if line and one["line"] == line]
    return out + ([("From the log", " ".join(said))] if said else [])

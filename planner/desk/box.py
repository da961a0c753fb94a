"""The tackle box and the settings: edits of their files, and the physics that the labels imply."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, replace
from typing import Any

from planner.desk.toml_edit import join_entries, join_members, members_of, opened
from planner.errors import DataUnfit, PlumbrunError, UsageMistake
from planner.river import Tackle, TackleFly, TackleLine
from planner.river.settings import SETTINGS_FILE, parse_settings
from planner.river.tackle import TACKLE_FILE, parse_tackle
from planner.river.values import Notebook
from planner.units import INCH

__all__ = ["calibrated", "physics", "physics_of_entry", "settings_edited", "tackle_edited", "thresholds_edited"]

Contents = dict[str, bytes]


def _refuse_errors(notes: Notebook, known: Notebook) -> None:
    """Refuse an edit that brings a mistake that was not there before."""
    before = {(finding.where, finding.given) for finding in known.findings}
    for finding in notes.findings:
        if finding.level == "error" and (finding.where, finding.given) not in before:
            raise DataUnfit(finding.given, finding.need, finding.next_step, where=f"{finding.file}, {finding.where}")


def _checked_settings(raw: bytes | None, text: str, folder: Any) -> dict[str, bytes | None]:
    notes, known = Notebook(), Notebook()
    parse_settings((raw or b"").decode("utf-8", errors="replace"), known, folder)
    parse_settings(text, notes, folder)
    _refuse_errors(notes, known)
    return {SETTINGS_FILE: text.encode()}


def settings_edited(
    now: Contents, base: Contents | None, put: Mapping[str, Any], folder: Any
) -> dict[str, bytes | None]:
    """river.toml with members set; null takes one away. Thresholds have an edit of their own."""
    import tomlkit

    if "threshold" in put:
        raise UsageMistake("threshold among the settings", "an edit of the thresholds", "set them there")
    raw = now.get(SETTINGS_FILE)
    document = opened(raw, SETTINGS_FILE)
    join_members(document, members_of((base or {}).get(SETTINGS_FILE), SETTINGS_FILE), put, SETTINGS_FILE)
    return _checked_settings(raw, tomlkit.dumps(document), folder)


def thresholds_edited(now: Contents, base: Contents | None, put: Any, folder: Any) -> dict[str, bytes | None]:
    """river.toml with another list of local thresholds; each that did not change keeps its comments."""
    import tomlkit

    raw = now.get(SETTINGS_FILE)
    document = opened(raw, SETTINGS_FILE)
    then = members_of((base or {}).get(SETTINGS_FILE), SETTINGS_FILE).get("threshold", [])
    join_entries(document, "threshold", then, put, SETTINGS_FILE, name="")
    return _checked_settings(raw, tomlkit.dumps(document), folder)


def _one_length(put: Any) -> dict[str, Any]:
    """Members of leader or tippet, with the length in the one unit that is given."""
    if not isinstance(put, Mapping):
        raise UsageMistake("leader or tippet is no table", "a table of members", "send one", where=TACKLE_FILE)
    other = {"length_m": "length_ft", "length_ft": "length_m"}
    return {other[key]: None for key in other if put.get(key) is not None} | dict(put)


def tackle_edited(now: Contents, base: Contents | None, put: Mapping[str, Any]) -> dict[str, bytes | None]:
    """tackle.toml with lines, flies, leader and tippet set; made where there is none."""
    import tomlkit

    unknown = set(put) - {"line", "fly", "leader", "tippet"}
    if unknown:
        raise UsageMistake(f"{', '.join(sorted(unknown))[:60]} in the box", "line, fly, leader, tippet", "correct it")
    raw = now.get(TACKLE_FILE)
    document = opened(raw, TACKLE_FILE)
    then = members_of((base or {}).get(TACKLE_FILE), TACKLE_FILE)
    for key in ("line", "fly"):
        if key in put:
            join_entries(document, key, then.get(key, []), put[key], TACKLE_FILE)
    ends = {key: _one_length(put[key]) for key in ("leader", "tippet") if key in put}
    join_members(document, then, ends, TACKLE_FILE)
    text = tomlkit.dumps(document)
    notes, known = Notebook(), Notebook()
    if raw is not None:
        parse_tackle(raw.decode("utf-8", errors="replace").removeprefix("\ufeff"), known)
    parse_tackle(text, notes)
    _refuse_errors(notes, known)
    return {TACKLE_FILE: text.encode()}


def physics(tackle: Tackle) -> dict[str, Any]:
    """What the labels of a box imply: of each line diameter, density and sink rate of its sinking part, of each fly
    weight in water, drag areas and rate of fall; and what does not fit together.

    Returns
    -------
    dict
        ``lines`` and ``flies``, each with ``name`` and figures and ``flags``, or ``unfit`` {given, need, next_step}.
    """
    from planner.sink import fly_from_tackle, line_from_tackle

    return {
        "lines": [_of_line(line, lambda line=line: line_from_tackle(line, tackle)) for line in tackle.lines],
        "flies": [_of_fly(fly, lambda fly=fly: fly_from_tackle(fly)) for fly in tackle.flies],
        "generic": tackle.generic,
    }  # fmt: skip


def _unfit(error: PlumbrunError) -> dict[str, Any]:
    return {"unfit": {"given": error.given, "need": error.need, "next_step": error.next_step}}


def _of_line(entry: TackleLine, make: Any) -> dict[str, Any]:
    try:
        line = make()
    except PlumbrunError as error:
        return {"name": entry.name, **_unfit(error)}
    return {
        "name": entry.name,
        "diameter_mm": 1e3 * line.head_diameter_m,
        "density_kg_m3": line.head_density_kg_m3,
        "sink_m_s": line.sink_rate_m_s,
        "sink_ips": line.sink_rate_m_s / INCH,
        "sink_low_m_s": line.sink_rate_m_s * (1.0 - line.sink_sd_below),
        "sink_high_m_s": line.sink_rate_m_s * (1.0 + line.sink_sd_above),
        "sinking_length_m": line.head_length_m,
        "sinking_mass_g": 1e3 * line.head_mass_kg,
        "flags": list(line.flags),
    }


def _of_fly(entry: TackleFly, make: Any) -> dict[str, Any]:
    try:
        fly = make()
    except PlumbrunError as error:
        return {"name": entry.name, **_unfit(error)}
    return {
        "name": entry.name,
        "wet_weight_n": fly.wet_weight_n,
        "towed_area_m2": fly.towed_area_m2,
        "members": asdict(fly),
    }


def physics_of_entry(asked: Mapping[str, Any], tackle: Tackle) -> dict[str, Any]:
    """The same for a line or fly that is being typed and not saved yet.

    Parameters
    ----------
    asked : mapping
        ``{"line": {...}}`` or ``{"fly": {...}}`` with members as in tackle.toml.
    tackle : Tackle
        Gives leader and tippet.
    """
    import tomlkit

    entries = {key: [asked[key]] for key in ("line", "fly") if isinstance(asked.get(key), dict)}
    if not entries:
        raise UsageMistake("neither a line nor a fly", "one of them", "send its members")
    bare = {
        key: [{"name": "this one"} | {k: v for k, v in entry.items() if v is not None} for entry in some]
        for key, some in entries.items()
    }
    notes = Notebook()
    try:
        typed = parse_tackle(tomlkit.dumps(bare), notes)
    except (TypeError, ValueError) as error:
        raise UsageMistake("a member that is neither text nor number", "text and numbers", "correct it") from error
    said = [finding.as_dict() for finding in notes.findings if finding.level == "error"]
    box = replace(tackle, lines=typed.lines if "line" in bare else (), flies=typed.flies if "fly" in bare else ())
    return physics(box) | {"findings": said}


def calibrated(asked: Mapping[str, Any], tackle: Tackle, units: str) -> dict[str, Any]:
    """The sink rate of a line or fly from timed falls.

    Parameters
    ----------
    asked : mapping
        ``kind`` (``line`` or ``fly``), ``fell`` (a depth with its unit, or ``fell_m``), ``times`` (seconds, one or
        more); for a line ``length`` of the piece and where known ``weight`` and ``water``; for a fly ``drag``,
        ``weighting``, ``weight``, ``length``; ``name`` of the entry of the box that it is.
    tackle : Tackle
        The box.
    units : str
        ``us`` or ``metric``, for the sentences.

    Returns
    -------
    dict
        As `planner.sink.bucket.line_report` or `fly_report`, with ``sentences``, ``sink_ips`` and ``toml`` (the members
        to set in the box).
    """
    from planner.sink.bucket import calibrate_text, fly_report, line_report

    kind = asked.get("kind")
    if kind not in ("line", "fly"):
        raise UsageMistake(f"kind {str(kind)[:20]!r}", "line or fly", "choose one", where="kind")
    times = asked.get("times", asked.get("times_s", []))
    if not isinstance(times, list) or not 1 <= len(times) <= 50:
        raise UsageMistake("no times", "one or more times in seconds", "time the fall", where="times")
    given: dict[str, str] = {
        name: str(asked[name]) for name in ("length", "weight", "water", "drag", "weighting", "fell") if asked.get(name)
    }
    for member, unit in (("fell", "m"), ("length", "m"), ("water", "C")):  # plain numbers in SI
        value = asked.get(f"{member}_{unit.lower()}")
        if member not in given and isinstance(value, int | float):
            given[member] = f"{value} {unit}"
    if "fell" not in given:
        raise UsageMistake("no depth", "how deep it fell, such as 3 ft", "measure it", where="fell")
    some: tuple[Any, ...] = tackle.lines if kind == "line" else tackle.flies
    entry = next((one for one in some if one.name == asked.get("name")), None)
    seconds = [str(one) for one in times]
    if kind == "line":
        if "length" not in given:
            raise UsageMistake("no length", "the length of the piece that was timed", "measure it", where="length")
        own = _some(given, "fell", "length", "weight", "water")
        report = line_report(times=seconds, entry=entry, **own)  # type: ignore[arg-type]
    else:
        own = _some(given, "fell", "length", "weight", "drag", "weighting")
        report = fly_report(times=seconds, entry=entry, **own)  # type: ignore[arg-type]
    text = calibrate_text(report, units)
    return report | {"sentences": text.splitlines(), "sink_ips": report["toml"].get("sink_ips")}


def _some(given: Mapping[str, str], *names: str) -> dict[str, str]:
    return {name: given[name] for name in names if name in given}

"""From columns of single parameters to one `Series`: order, duplicates, quality of the row, joining."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from planner.gauges.series import QUALITY_ORDER, Quality, Series

__all__ = ["PARAMETERS", "Column", "assemble", "join", "rank"]

PARAMETERS = ("stage_m", "discharge_m3s", "temperature_c", "turbidity_fnu")
_WORDS = np.array([str(q) for q in QUALITY_ORDER])
_RANK = {q: i for i, q in enumerate(QUALITY_ORDER)}
_LABEL = {
    "stage_m": "stage",
    "discharge_m3s": "discharge",
    "temperature_c": "water temperature",
    "turbidity_fnu": "turbidity",
}


def rank(quality: Quality) -> int:
    """Place of a quality in `QUALITY_ORDER`, 0 the best."""
    return _RANK[quality]


@dataclass(frozen=True)
class Column:
    """Values of one parameter.

    Parameters
    ----------
    times : np.ndarray
        UTC datetime64[s], any order, duplicates allowed, shape (n,).
    values : np.ndarray
        SI, NaN missing, shape (n,).
    ranks : np.ndarray
        Place in `QUALITY_ORDER`, int8, shape (n,).
    """

    times: np.ndarray
    values: np.ndarray
    ranks: np.ndarray


def assemble(
    station: str,
    name: str,
    columns: dict[str, Column],
    notes: list[str],
    retrieved_at: datetime | None = None,
    from_cache: bool = False,
) -> Series:
    """One series from the columns of its parameters.

    Rows are put in the order of time. Where one parameter has a time twice, a value wins over a missing one, then the
    better quality, then the later in the reply; how many were left out is said in the notes. A row carries the worse
    quality of its stage and discharge; a row that has neither carries that of its other values. Equipment trouble of
    one instrument is not that of the others: where stage or discharge is marked so and the other is good, the marked
    one is missing, and a temperature or turbidity that is marked so is missing.

    Parameters
    ----------
    station : str
        ``service:station``.
    name : str
        The station's name.
    columns : dict
        `Column` by name of `PARAMETERS`; a parameter may be absent.
    notes : list of str
        Notes so far; more are added after them.
    retrieved_at : datetime, optional
        Default: the present.
    from_cache : bool
        See `Series`.
    """
    said = list(notes)
    ordered = {key: _ordered(columns[key], _LABEL[key], said) for key in PARAMETERS if key in columns}
    stamps = [column.times for column in ordered.values()]
    if not stamps:
        times = np.empty(0, "datetime64[s]")
    elif all(np.array_equal(stamps[0], other) for other in stamps[1:]):
        times = stamps[0]
    else:
        times = np.unique(np.concatenate(stamps))
    values = {key: np.full(len(times), np.nan) for key in PARAMETERS}
    codes = {key: np.full(len(times), -1, np.int8) for key in PARAMETERS}
    for key, column in ordered.items():
        at = slice(None) if len(column.times) == len(times) else np.searchsorted(times, column.times)
        values[key][at] = column.values
        codes[key][at] = column.ranks
        said += _missing_note(column, _LABEL[key])
    said += _without_marked(values, codes)
    level = np.maximum(codes["stage_m"], codes["discharge_m3s"])
    ranks = np.where(level >= 0, level, np.maximum(codes["temperature_c"], codes["turbidity_fnu"]))
    return Series(
        station=station,
        service=station.split(":", 1)[0],
        name=name,
        times=times,
        **values,
        quality=_WORDS[ranks] if len(times) else np.empty(0, _WORDS.dtype),
        notes=tuple(dict.fromkeys(said)),
        retrieved_at=retrieved_at or datetime.now(UTC),
        from_cache=from_cache,
    )


def join(parts: list[Series]) -> Series:
    """One series from several of the same station; the rules of `assemble` settle times that occur twice.

    Rows keep the quality that they came with; a note says how many times occurred twice.
    """
    if len(parts) == 1:
        return parts[0]
    ranks = {word: i for i, word in enumerate(_WORDS)}
    columns = {}
    for key in PARAMETERS:
        times, values, codes = [], [], []
        for part in parts:
            column = getattr(part, key)
            # a row without a value still tells by its quality why, so that it is kept for stage and discharge
            keep = np.isfinite(column)
            if key in ("stage_m", "discharge_m3s") and (keep.any() or not part.has_level().any()):
                keep |= ~part.has_level()
            times.append(part.times[keep])
            values.append(column[keep])
            known = np.array([ranks[str(word)] for word in part.quality[keep]], np.int8)
            # the word is that of stage and discharge: what stands beside them was looked at when it was read
            level = key in ("stage_m", "discharge_m3s")
            codes.append(known if level else np.where(known == rank(Quality.EQUIPMENT), rank(Quality.MISSING), known))
        columns[key] = Column(np.concatenate(times), np.concatenate(values), np.concatenate(codes))
    notes = [note for part in parts for note in part.notes if " missing " not in note]
    return assemble(
        parts[0].station,
        parts[0].name,
        columns,
        notes,
        retrieved_at=max(part.retrieved_at for part in parts),
        from_cache=any(part.from_cache for part in parts),
    )


def _without_marked(values: dict[str, np.ndarray], codes: dict[str, np.ndarray]) -> list[str]:
    """Make missing what only its own instrument spoils, see `assemble`; how many, as notes."""
    marked, missing = rank(Quality.EQUIPMENT), rank(Quality.MISSING)
    good = {key: np.isfinite(values[key]) & (codes[key] < missing) for key in ("stage_m", "discharge_m3s")}
    beside = {"stage_m": good["discharge_m3s"], "discharge_m3s": good["stage_m"]}
    notes = []
    for key in PARAMETERS:
        alone = (codes[key] == marked) & beside.get(key, True)
        count = int((alone & np.isfinite(values[key])).sum())
        values[key][alone], codes[key][alone] = np.nan, missing
        if count:
            notes.append(f"{_LABEL[key]}: {count} values are marked as trouble of their instrument; taken as missing")
    return notes


def _ordered(column: Column, label: str, notes: list[str]) -> Column:
    times = column.times
    if len(times) < 2 or bool((times[1:] > times[:-1]).all()):
        return column
    missing = np.isnan(column.values)
    place = np.arange(len(times))
    # last of equal times wins: present over missing, better over worse quality, later over earlier in the reply
    order = np.lexsort((place, -column.ranks.astype(np.int64), ~missing, times))
    final = np.append(times[order][1:] != times[order][:-1], True)
    twice = len(times) - int(final.sum())
    if twice:
        notes.append(
            f"{label}: {twice} of {len(times)} values share their time with another; kept the one with a value, then "
            "the better quality, then the later in the reply"
        )
    keep = order[final]
    return Column(times[keep], column.values[keep], column.ranks[keep])


def _missing_note(column: Column, label: str) -> list[str]:
    missing = np.isnan(column.values)
    if not missing.any():
        return []
    parts = []
    for code in np.unique(column.ranks[missing]):
        count = int((column.ranks[missing] == code).sum())
        word = _WORDS[code]
        parts.append(f"{count} ({word})" if word != "missing" else f"{count}")
    return [f"{label}: {', '.join(parts)} of {len(missing)} values missing in the record"]

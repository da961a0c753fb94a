"""The features of a long v1 reply read as columns of characters instead of thousands of small dicts.

A reply of 120 days holds 23,000 features of one form. Where nearly all of them have the same fields in the same order,
their values stand at the same quotation marks, and numpy reads each field of all features at once; features of another
form (those with qualifiers) are parsed as JSON one by one. A reply that deviates in anything is left to the JSON
parser.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from planner.gauges.iv_rows import decimals
from planner.gauges.stamps import block_times

__all__ = ["lift_rows"]

_MARK = b'"properties":{'
_LEAST = 200  # shorter replies are quick as they are
_KEYS = (
    "parameter_code",
    "unit_of_measure",
    "time_series_id",
    "statistic_id",
    "approval_status",
    "monitoring_location_id",
)
_KINDS = 8


def lift_rows(raw: bytes) -> tuple[list[dict[str, Any]], list[tuple[tuple[str, ...], np.ndarray, np.ndarray]]] | None:
    """Features of another form as their properties, and columns of the usual form by kind.

    Parameters
    ----------
    raw : bytes
        A page, or an array of pages, in the service's compact form.

    Returns
    -------
    rest : list of dict
        Properties of the features that are not of the usual form.
    columns : list of (kind, times, values)
        For each distinct set of `_KEYS`: times [datetime64[s], UTC] and values as sent. All have a null qualifier.
    None
        When the reply is short or deviates.
    """
    if raw.count(_MARK, 0, 400 * _LEAST) < _LEAST // 2 or b"\\" in raw:
        return None
    text = np.frombuffer(raw, np.uint8)
    quotes = np.flatnonzero(text == ord('"'))
    first = _places(text, quotes)
    if len(first) < _LEAST:
        return None
    count = np.diff(np.append(first, len(quotes)))
    usual = int(np.bincount(count).argmax())
    rows = np.flatnonzero(count == usual)
    if len(rows) < 0.5 * len(first):
        return None
    begin = quotes[first[rows]]
    head = raw[begin[0] : quotes[min(first[rows[0]] + usual, len(quotes) - 1)]]
    fields = _fields(head)
    if fields is None:
        return None
    here: dict[str, tuple[np.ndarray, np.ndarray]] = {}
    for name, at in fields.items():
        key = quotes[first[rows] + at]
        if not _reads(text, key + 1, name.encode() + b'":'):
            return None
        if name == "qualifier":
            if not _reads(text, key + len(name) + 3, b"null"):
                return None
            continue
        value = quotes[first[rows] + at + 2]
        if not (value == key + len(name) + 3).all():
            return None
        here[name] = (value + 1, quotes[first[rows] + at + 3])
    if not {"time", "value", "qualifier", *_KEYS[:4]} <= set(fields):
        return None
    start, end = here["time"]
    width = int(end[0] - start[0])
    if not 20 <= width <= 40 or not (end - start == width).all():
        return None
    times = block_times(text[start[:, None] + np.arange(width)])
    values = decimals(text, *here["value"])
    kinds = _kinds(raw, text, [here[name] for name in _KEYS if name in here])
    if times is None or values is None or kinds is None:
        return None
    names = [name for name in _KEYS if name in here]
    columns = []
    for words, which in kinds:
        known = dict(zip(names, words, strict=True))
        columns.append((tuple(known.get(name, "") for name in _KEYS), times[which], values[which]))
    rest = _rest(raw, quotes, first, np.flatnonzero(count != usual))
    return None if rest is None else (rest, columns)


def _places(text: np.ndarray, quotes: np.ndarray) -> np.ndarray:
    """Index among the quotation marks of each ``"properties":{``."""
    inside = quotes[: np.searchsorted(quotes, len(text) - len(_MARK))]
    place = np.flatnonzero(text[inside + 1] == ord("p"))
    place = place[text[inside[place] + 2] == ord("r")]
    block = text[inside[place][:, None] + np.arange(len(_MARK))]
    return place[(block == np.frombuffer(_MARK, np.uint8)).all(axis=1)]


def _fields(head: bytes) -> dict[str, int] | None:
    """Place of each wanted key of the first feature, counted in quotation marks from ``"properties"``."""
    at: dict[str, int] = {}
    parts = head.split(b'"')
    for name in ("time", "value", "qualifier", *_KEYS):
        places = [i for i, part in enumerate(parts) if part == name.encode()]
        if len(places) == 1:
            at[name] = places[0] - 1
    return at or None


def _reads(text: np.ndarray, at: np.ndarray, words: bytes) -> bool:
    if int(at.max()) + len(words) > len(text):
        return False
    block = text[at[:, None] + np.arange(len(words))]
    return bool((block == np.frombuffer(words, np.uint8)).all())


def _kinds(
    raw: bytes, text: np.ndarray, spans: list[tuple[np.ndarray, np.ndarray]]
) -> list[tuple[tuple[str, ...], np.ndarray]] | None:
    """Distinct sets of words at some spans, and the rows of each; None when there are many."""
    left = np.arange(len(spans[0][0]))
    found: list[tuple[tuple[str, ...], np.ndarray]] = []
    while len(left):
        if len(found) == _KINDS:
            return None
        one = int(left[0])
        same = np.ones(len(left), bool)
        words = []
        for start, end in spans:
            word = raw[start[one] : end[one]]
            words.append(word.decode("utf-8", "replace"))
            same &= end[left] - start[left] == len(word)
            block = text[start[left[same]][:, None] + np.arange(len(word))]
            same[same] = (block == np.frombuffer(word, np.uint8)).all(axis=1)
        found.append((tuple(words), left[same]))
        left = left[~same]
    return found


def _rest(raw: bytes, quotes: np.ndarray, first: np.ndarray, rows: np.ndarray) -> list[dict[str, Any]] | None:
    import orjson

    out = []
    for row in rows.tolist():
        start = int(quotes[first[row]]) + len(_MARK) - 1
        end = raw.find(b"}", start)
        try:
            properties = orjson.loads(raw[start : end + 1])
        except orjson.JSONDecodeError:
            return None
        out.append(properties)
    return out

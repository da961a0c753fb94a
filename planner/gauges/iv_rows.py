"""The long arrays of an instantaneous values reply, read as columns of characters instead of thousands of small dicts.

A reply of 120 days holds 23,000 records of one form. Building a dict, a list and three strings for each takes longer
than everything after it, so arrays in the service's usual compact form are lifted out of the JSON text and read with
numpy; the rest is parsed as JSON. An array that deviates in a single character is left in the text for the JSON parser.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.gauges.stamps import block_times

__all__ = ["MARK", "Rows", "decimals", "lift"]

MARK = "lifted rows"

_OPEN = b'"value":[{"value":"'
_HEAD = b'{"value":"'
_MIDDLE = b'","qualifiers":['
_LATE = b'],"dateTime":"'
_KINDS = 32
_DIGITS = 15  # so many digits and their power of ten are exact in a double, and so is float(text)


@dataclass(frozen=True)
class Rows:
    """One array of values.

    Parameters
    ----------
    times : np.ndarray
        UTC datetime64[s], shape (n,).
    values : np.ndarray
        As sent, the missing code included, shape (n,).
    flags : list of str
        Distinct sets of qualifiers, joined by commas.
    kind : np.ndarray
        Which of `flags` each row has, shape (n,).
    """

    times: np.ndarray
    values: np.ndarray
    flags: list[str]
    kind: np.ndarray


def lift(raw: bytes) -> tuple[bytes, list[Rows]]:
    """The JSON text without its long arrays, each replaced by ``{"lifted rows": k}``, and the arrays.

    Parameters
    ----------
    raw : bytes
        JSON text, or anything else, which then comes back as it is.
    """
    lifted: list[Rows] = []
    parts: list[bytes] = []
    kept = here = 0
    while (at := raw.find(_OPEN, here)) >= 0:
        start = at + len(_OPEN) - len(_HEAD)
        end = raw.find(b'"}]', start) + 2
        if end < 2:
            break
        here = end
        rows = _rows(raw[start:end])
        if rows is not None:
            parts += [raw[kept : start - 1], b'{"%s":%d}' % (MARK.encode(), len(lifted))]
            lifted.append(rows)
            kept = end + 1
    return (b"".join([*parts, raw[kept:]]), lifted) if lifted else (raw, lifted)


def _rows(chunk: bytes) -> Rows | None:
    """Rows of ``{...},{...}`` in the usual form, None at the first deviation."""
    if b"\\" in chunk:
        return None
    text = np.frombuffer(chunk, np.uint8)
    first = np.flatnonzero(text == ord("{"))
    last = np.append(first[1:] - 2, len(text) - 1)
    width = int(last[0]) - 1 - (chunk.find(_LATE) + len(_LATE))
    shortest = len(_HEAD) + len(_MIDDLE) + len(_LATE) + width + 1
    if first[0] != 0 or not 20 <= width <= 40 or (last - first).min() < shortest:
        return None
    if (text[last] != ord("}")).any() or (text[first[1:] - 1] != ord(",")).any() or (text[last - 1] != ord('"')).any():
        return None
    stamp = last - 1 - width
    late = stamp - len(_LATE)
    if not (_reads(text, first, _HEAD) and _reads(text, late, _LATE)):
        return None
    value = first + len(_HEAD)
    quotes = np.flatnonzero(text == ord('"'))
    ends = quotes[np.searchsorted(quotes, value)]
    flag = ends + len(_MIDDLE)
    if (flag > late).any() or not _reads(text, ends, _MIDDLE):
        return None
    times = block_times(text[stamp[:, None] + np.arange(width)])
    values = decimals(text, value, ends)
    kinds = _kinds(chunk, text, flag, late)
    return None if times is None or values is None or kinds is None else Rows(times, values, *kinds)


def _reads(text: np.ndarray, at: np.ndarray, words: bytes) -> bool:
    return all(bool((text[at + i] == letter).all()) for i, letter in enumerate(words))


def decimals(text: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray | None:
    """Plain decimals such as ``-12.30``, to the last bit as `float` reads them; None when one is written otherwise."""
    length = end - start
    if length.min() < 1 or length.max() > _DIGITS + 2:
        return None
    number = np.zeros(len(start), np.int64)
    digits = np.zeros(len(start), np.int64)
    places = np.zeros(len(start), np.int64)
    dots = np.zeros(len(start), np.int64)
    minus = text[start] == ord("-")
    for i in range(int(length.max())):
        letter = text[np.minimum(start + i, len(text) - 1)]
        inside = i < length
        digit = inside & (letter >= ord("0")) & (letter <= ord("9"))
        dot = inside & (letter == ord("."))
        if (inside & ~digit & ~dot & ~(minus if i == 0 else False)).any():
            return None
        number = np.where(digit, number * 10 + (letter.astype(np.int64) - ord("0")), number)
        digits += digit
        dots += dot
        places += digit & (dots > 0)
    if (dots > 1).any() or digits.min() < 1 or digits.max() > _DIGITS:
        return None
    size = number / 10.0**places
    return np.where(minus, -size, size)


def _kinds(chunk: bytes, text: np.ndarray, start: np.ndarray, end: np.ndarray) -> tuple[list[str], np.ndarray] | None:
    """Distinct sets of qualifiers, and which of them each row has; None when there are many or one is malformed."""
    import orjson

    kind = np.full(len(start), -1, np.intp)
    length = end - start
    flags: list[str] = []
    left = np.arange(len(start))
    while len(left):
        if len(flags) == _KINDS:
            return None
        words = chunk[start[left[0]] : end[left[0]]]
        same = length[left] == len(words)
        for i, letter in enumerate(words):
            same &= text[np.minimum(start[left] + i, len(text) - 1)] == letter
        try:
            qualifiers = orjson.loads(b"[" + words + b"]")
        except orjson.JSONDecodeError:
            return None
        if not all(isinstance(word, str) for word in qualifiers):
            return None
        kind[left[same]] = len(flags)
        flags.append(",".join(qualifiers))
        left = left[~same]
    return flags, kind

"""Scars for sound inputs: bytes lost, doubled and overwritten, and words and numbers put in place of others."""

from __future__ import annotations

import random
import re

__all__ = ["NASTY", "scarred"]

# What has broken readers elsewhere: numbers at the ends of their kinds, times that are none, signs of other scripts.
NASTY: tuple[bytes, ...] = tuple(
    word.encode("utf-8")
    for word in (
        "", "0", "-0", "-1", "1e308", "1e309", "-1e309", "5e-324", "NaN", "nan", "Infinity", "-inf", "9" * 400, "1_0",
        "١٢", "0x10", "null", "true", "[]", "{}", "[[]]", '""', '"', "\\u0000", "\x00", "\ufeff", "\u202e", "é",
        "2026-02-30", "2026-06-12T25:61:00Z", "0000-00-00T00:00:00Z", "9999-12-31T23:59:59+23:59",
        "-9999-01-01", "2026-06-12T17:00:00.123456789Z", "2026-06-12", "24:00", "P99999999999D", "PT1H",
        "a" * 3000, "$", "*", ",", ";", "\t", "\n", "\r\n", "<", "</", "&amp;", "&x;", "]]>", "<!--", "180.1", "91",
        "-999999", "99999999999999999999", "1e18", "-1e18", "+", "-", ".", "e", "Ice", "***",
    )
)  # fmt: skip
_TOKEN = re.compile(rb'"(?:[^"\\\\]|\\\\.){0,200}"|-?\d[\d.eE+-]*|[A-Za-z_][A-Za-z_0-9]*')


def scarred(raw: bytes, rng: random.Random, most: int = 4) -> bytes:
    """A copy with one to `most` scars."""
    for _ in range(rng.randint(1, most)):
        kind = rng.randrange(8)
        a = rng.randint(0, len(raw))
        b = min(a + rng.choice((1, 1, 4, 30, 400)), len(raw))
        if kind == 0:
            raw = raw[:a] + raw[b:]
        elif kind == 1:
            raw = raw[:b] + raw[a:b] + raw[b:]
        elif kind == 2:
            raw = raw[:a] + rng.randbytes(rng.randint(1, 6)) + raw[b:]
        elif kind == 3:
            raw = raw[:a] + rng.choice(NASTY) + raw[a:]
        elif kind == 4 and rng.random() < 0.2:
            raw = raw[:a]
        else:
            tokens = [*_TOKEN.finditer(raw[:200_000])]
            if tokens:
                one, other = rng.choice(tokens), rng.choice(tokens)
                word = other[0] if rng.random() < 0.3 else rng.choice(NASTY)
                if one[0][:1] == b'"' and rng.random() < 0.7:
                    word = b'"' + word.strip(b'"') + b'"'
                raw = raw[: one.start()] + word + raw[one.end() :]
    return raw

"""The words that no text of ours may hold, and the texts that are read for them."""

from __future__ import annotations

import re

__all__ = ["FORBIDDEN", "forbidden_in"]

FORBIDDEN = (
    r"\bsafe(ly|r|st)?\b",
    r"\bOK\b|\bokay\b",
    r"\bgood to go\b",
    r"\ball[- ]clear\b",
    r"\blow[- ]risk\b",
    r"\bwade?able\b",
    r"\bno danger\b",
    r"\bgreen\b",
    r"\bharmless\b",
    r"\brisk[- ]free\b",
)


def forbidden_in(text: str) -> list[str]:
    """Every forbidden word of a text."""
    return [
        found.group(0)
        for pattern in FORBIDDEN
        for found in re.finditer(pattern, text, 0 if "OK" in pattern else re.IGNORECASE)
    ]

"""Take one value from a file and say what is wrong with it: the collector of findings and typed look-ups."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from typing import Any

from planner import tables
from planner.river.records import Finding

__all__ = ["Limits", "Notebook", "instant", "limits"]

# The same mistake in thousands of rows is said this many times; the rest is counted.
SAID_PER_KIND = 12

_OFFSET = re.compile(r"(Z|z|[+-]\d{2}(:?\d{2})?)$")


@dataclass(frozen=True)
class Limits:
    """Bounds of a quantity from `tables/plausible.csv`: beyond the first pair an error, beyond the second a warning."""

    error_low: float
    error_high: float
    warn_low: float
    warn_high: float
    unit: str
    reason: str


@cache
def limits(quantity: str) -> Limits:
    """The plausible bounds of a quantity; NaN where the table gives none."""
    for row in tables.rows("plausible"):
        if row["quantity"] == quantity:
            low, high, warn_low, warn_high = (
                float(row[name]) if row[name] else math.nan
                for name in ("error_low", "error_high", "warn_low", "warn_high")
            )
            return Limits(low, high, warn_low, warn_high, row["unit"], row["reason"])
    raise LookupError(f"tables/plausible.csv has no row {quantity!r}")


def instant(value: Any) -> datetime | None:
    """UTC time of an ISO 8601 text with offset, or of an aware datetime; None when it is neither."""
    if isinstance(value, str):
        text = value.strip()
        if not _OFFSET.search(text) or "T" not in text.upper().replace(" ", "T"):
            return None
        try:
            value = datetime.fromisoformat(text)
        except ValueError:
            return None
    if not isinstance(value, datetime) or value.tzinfo is None:
        return None
    try:
        return value.astimezone(UTC)
    except (OverflowError, ValueError):
        return None


@dataclass
class Notebook:
    """Collects findings; of one kind in one file it writes out the first dozen and counts the rest."""

    findings: list[Finding] = field(default_factory=list)
    _counts: Counter = field(default_factory=Counter)
    _last: dict[tuple[str, str, str], Finding] = field(default_factory=dict)

    def add(self, level: str, file: str, where: str, given: str, need: str, next_step: str, kind: str = "") -> None:
        """Note a finding; `kind` groups those that are the same mistake."""
        finding = Finding(level, file, where, given, need, next_step)
        key = (level, file, kind or need)
        self._counts[key] += 1
        self._last[key] = finding
        if self._counts[key] <= SAID_PER_KIND:
            self.findings.append(finding)

    def all(self) -> list[Finding]:
        """Every finding, errors first, then warnings, then notes; each group in the order found."""
        counted = [
            Finding(
                last.level,
                last.file,
                last.where,
                f"{self._counts[key] - SAID_PER_KIND} more of this kind, the last one: {last.given}",
                last.need,
                last.next_step,
            )
            for key, last in self._last.items()
            if self._counts[key] > SAID_PER_KIND
        ]
        order = {"error": 0, "warning": 1, "note": 2}
        return sorted(self.findings + counted, key=lambda finding: order[finding.level])

    @property
    def failed(self) -> bool:
        """True when an error was noted."""
        return any(finding.level == "error" for finding in self.findings)

    def number(
        self,
        record: Mapping[str, Any],
        key: str,
        file: str,
        where: str,
        default: float = math.nan,
        quantity: str = "",
        factor: float = 1.0,
    ) -> float:
        """A finite number of a record times `factor`, within the plausible bounds of `quantity`; else a finding.

        A missing key or null gives `default` silently; a wrong type or an error bound gives `default` and an error.
        """
        value = record.get(key)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.add(
                "error", file, where, f"{key} = {short(value)} is no number", f"{key} as a number",
                "write the number without quotes or unit", kind=f"number {key}",
            )  # fmt: skip
            return default
        try:
            number = float(value) * factor
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            self.add(
                "error", file, where, f"{key} = {short(value)} is not finite", f"{key} as a finite number",
                "correct it, or leave it out when it is not known", kind=f"finite {key}",
            )  # fmt: skip
            return default
        if quantity and not self.plausible(number, quantity, key, file, where):
            return default
        return number

    def plausible(self, value: float, quantity: str, key: str, file: str, where: str, hint: str = "") -> bool:
        """Judge a value against `tables/plausible.csv`; False when it breaks an error bound."""
        bound = limits(quantity)
        if value < bound.error_low or value > bound.error_high:
            self.add(
                "error", file, where, f"{key} = {value:.6g} {unit_text(bound.unit)}".rstrip(),
                f"a value between {bound.error_low:g} and {bound.error_high:g} {unit_text(bound.unit)}".rstrip(),
                hint or f"check the unit and the digits. {bound.reason}".rstrip("."), kind=f"bounds {key}",
            )  # fmt: skip
            return False
        if value < bound.warn_low or value > bound.warn_high:
            self.add(
                "warning", file, where, f"{key} = {value:.6g} {unit_text(bound.unit)} is unusual".replace("  ", " "),
                f"usually {bound.warn_low:g} to {bound.warn_high:g} {unit_text(bound.unit)}".rstrip(),
                hint or f"check it. {bound.reason}".rstrip("."), kind=f"unusual {key}",
            )  # fmt: skip
        return True

    def text(
        self, record: Mapping[str, Any], key: str, file: str, where: str, default: str = "", needed: bool = False
    ) -> str:
        """A text of a record (numbers are taken as written); a missing needed one is an error."""
        value = record.get(key)
        if isinstance(value, int | float) and not isinstance(value, bool):
            value = str(value)
        if value is None or value == "":
            if needed:
                self.add("error", file, where, f"{key} is missing", f"{key} as text", f"add {key}", kind=f"text {key}")
            return default
        if not isinstance(value, str):
            self.add(
                "error", file, where, f"{key} = {short(value)} is no text", f"{key} as text", "write it in quotes",
                kind=f"text {key}",
            )  # fmt: skip
            return default
        return value.strip()

    def choice(
        self,
        record: Mapping[str, Any],
        key: str,
        choices: tuple[str, ...],
        file: str,
        where: str,
        default: str = "",
        needed: bool = False,
    ) -> str:
        """One of some words; anything else is an error that names them."""
        value = self.text(record, key, file, where, default, needed)
        if value and value not in choices:
            self.add(
                "error", file, where, f"{key} = {short(value)}", f"one of {', '.join(choices)}",
                f"choose one of them for {key}", kind=f"choice {key}",
            )  # fmt: skip
            return default
        return value

    def flag(self, record: Mapping[str, Any], key: str, file: str, where: str, default: bool = False) -> bool:
        """True or false; anything else is an error."""
        value = record.get(key)
        if value is None:
            return default
        if not isinstance(value, bool):
            self.add(
                "error", file, where, f"{key} = {short(value)}", f"{key} as true or false", "write true or false",
                kind=f"flag {key}",
            )  # fmt: skip
            return default
        return value

    def when(self, record: Mapping[str, Any], key: str, file: str, where: str) -> datetime | None:
        """A moment with its offset, in UTC; None when missing, an error when it has no offset."""
        value = record.get(key)
        if value is None or value == "":
            return None
        moment = instant(value)
        if moment is None:
            self.add(
                "error", file, where, f"{key} = {short(value)}", "an ISO 8601 time with offset",
                "write it like 2026-05-09T09:30:00-05:00", kind=f"when {key}",
            )  # fmt: skip
        return moment


def unit_text(unit: str) -> str:
    """Unit for a message; the plain number has none."""
    return "" if unit == "1" else unit


def short(value: Any) -> str:
    """A value for a message, cut to what a person reads."""
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."

"""The gauge level at which the day turns from one caution level to the next."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from planner.caution.records import LABELS, Caution
from planner.units import show

__all__ = ["Turning", "turning_levels", "turning_words"]


@dataclass(frozen=True)
class Turning:
    """From which gauge level a caution level stands.

    Parameters
    ----------
    level : int
        The caution level, 1 to 3.
    above : float
        It stands above this gauge level [m or m³/s]; -inf when it stands at every step of the ladder.
    """

    level: int
    above: float


def turning_levels(ladder: Iterable[tuple[float, Caution | int | None]]) -> tuple[Turning, ...]:
    """Where the day turns, from the cautions of the ladder's steps.

    Between two steps the higher caution holds, so a level turns at the last step that is still below it.

    Parameters
    ----------
    ladder : iterable of (gauge level, caution)
        Gauge level [m, or m³/s for a ladder keyed on discharge], in any order, with the caution (or its level).

    Returns
    -------
    tuple of Turning
        One for each level that the ladder reaches and that no higher level begins together with, rising.

    Examples
    --------
    >>> turning_levels([(1.0, 0), (1.2, 1), (1.4, 3)])
    (Turning(level=1, above=1.0), Turning(level=3, above=1.2))
    """
    steps: list[tuple[float, int | None]] = sorted(
        ((float(at), caution.level if isinstance(caution, Caution) else caution) for at, caution in ladder),
        key=lambda step: step[0],
    )
    found: list[Turning] = []
    for level in (1, 2, 3):
        first = next((i for i, (_, got) in enumerate(steps) if got is not None and got >= level), None)
        if first is None:
            break
        # a step that could not be assessed is no ground to stand on: go down to the last one that could
        lower = [at for at, got in steps[:first] if got is not None]
        turn = Turning(level, lower[-1] if lower else -math.inf)
        if found and found[-1].above == turn.above:
            found.pop()
        found.append(turn)
    return tuple(found)


def turning_words(turnings: Sequence[Turning], units: str = "metric", keyed_on: str = "stage") -> tuple[str, ...]:
    """The turning levels as short sentences, gravest first.

    Examples
    --------
    >>> turning_words([Turning(1, 1.0), Turning(3, 1.85928)], "us")
    ('Stay off above 6.10 ft.', 'Heads-up above 3.28 ft.')
    """
    kind = "level" if keyed_on == "stage" else "discharge"
    words = []
    for turning in sorted(turnings, key=lambda t: -t.level):
        label = LABELS[turning.level].capitalize()
        at = (
            "at every level of the ladder" if math.isinf(turning.above) else f"above {show(turning.above, kind, units)}"
        )
        words.append(f"{label} {at}.")
    return tuple(words)

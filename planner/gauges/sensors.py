"""One parameter, several sensors: the stated rule by which one of them is taken."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.gauges.assemble import Column

__all__ = ["Sensor", "choose_sensor"]


@dataclass(frozen=True)
class Sensor:
    """Values of one parameter from one sensor.

    Parameters
    ----------
    column : Column
        Its values.
    number : str
        Its number or name at the service; of equals the lowest is taken.
    label : str
        For a reader; empty when the number says it all.
    """

    column: Column
    number: str
    label: str = ""


def choose_sensor(sensors: list[Sensor], key: str, notes: list[str], word: str = "sensor") -> Column:
    """The sensor with the most recent value, then with most values, then with the lowest number; a note says which.

    Parameters
    ----------
    sensors : list of Sensor
        At least one.
    key : str
        Our name of the parameter, such as ``stage_m``.
    notes : list of str
        One is added when there was a choice.
    word : str
        What the service calls a sensor, for the note.
    """

    def merit(sensor: Sensor) -> tuple[int, int]:
        good = np.isfinite(sensor.column.values)
        latest = int(sensor.column.times[good].max().astype(np.int64)) if good.any() else -(2**62)
        return latest, int(good.sum())

    ordered = sorted(sensors, key=lambda sensor: sensor.number)
    best = max(ordered, key=merit)  # the first of equals: the lowest number
    if len(sensors) > 1:
        rest = ", ".join(s.number + ("" if len(s.column.times) else ", empty") for s in ordered if s is not best)
        named = f"{word} {best.number}" + (f" ({best.label})" if best.label else "")
        notes.append(
            f"{key.rsplit('_', 1)[0]}: {len(sensors)} sensors; taken {named}: most recent value, then most values, "
            f"then lowest number; not taken: {rest}"
        )
    return best.column

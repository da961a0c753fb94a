"""One run at one reading, for the command that asks for no more."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.caution import assess_run
from planner.caution.records import Conditions
from planner.flow.survey_words import survey_record
from planner.plan.ask import AskedLevel, Request
from planner.plan.ice import open_water_only
from planner.plan.readings import read_gauge
from planner.plan.waters import GaugeLevel, as_run_record, run_water
from planner.services import marks_ice

if TYPE_CHECKING:
    from planner.river import River

__all__ = ["run_at"]


def run_at(
    river: River, run_id: str, level: AskedLevel | None, now: datetime, replies: tuple[Path, ...] = ()
) -> dict[str, Any]:
    """Depth and current of one run.

    Parameters
    ----------
    river : River
        As read.
    run_id : str
        Of runs.geojson.
    level : AskedLevel or None
        At the gauge; the last reading when None.
    now : datetime
        The clock, aware.
    replies : tuple of Path
        Recorded gauge replies.

    Returns
    -------
    dict
        The keys of a run in ``plan.json``, and the reading it holds for.

    Raises
    ------
    UsageMistake
        When there is no such run.
    SourceUnreachable, GaugeReplyUnfit
        When there is no reading and no level.
    """
    run = river.run(run_id)
    request = Request(now, now, now + timedelta(hours=1), now.date(), level, replies)
    view = read_gauge(run.gauge or (river.gauges[0] if river.gauges else ""), request, river, level)
    if level is None:
        last = view.expected.last
        at = GaugeLevel(last.stage_m, last.discharge_m3s)
    else:
        at = GaugeLevel(level.stage_m, level.discharge_m3s)
    water = run_water(run, river, view)
    state = water.at(at)
    conditions = Conditions(
        data_age_min=None if level is not None else view.expected.age_min,
        level_given=level is not None,
        quality=str(view.expected.quality),
        rise_m_3h=view.expected.rise_m_3h,
        ice_unmarked=view.series is None or not marks_ice(view.station),
    )
    caution = assess_run(conditions, where=run.name or run.id).as_dict()
    record = open_water_only(as_run_record(water, state, caution), view)
    stage = state.stage_m if math.isfinite(state.stage_m) else at.stage_m
    discharge = at.discharge_m3s
    if not math.isfinite(discharge) and view.rating is not None and math.isfinite(stage):
        discharge = float(view.rating.discharge(stage))
    return {
        **record,
        "units": river.units,
        "stage_m": stage,
        "discharge_m3s": discharge,
        "survey": survey_record(water.flow),
    }

"""The gauge's record on the days of the soundings, which may lie long before the record that a plan reads."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from planner.errors import PlumbrunError
from planner.gauges import Series, open_series
from planner.gauges.assemble import join

if TYPE_CHECKING:
    from planner.plan.ask import Request
    from planner.river import River

__all__ = ["MOST_DAYS", "survey_days", "survey_windows", "with_survey_days"]

# Days fetched one by one for one gauge; a river sounded on more days gives the stage with the sounding.
MOST_DAYS = 12


def survey_days(river: River, series: Series) -> list[datetime]:
    """Days on which a stage is needed and the record has none, oldest first.

    Parameters
    ----------
    river : River
        Soundings without a stage of their own and drawn waterlines name the moments.
    series : Series
        What was read; moments inside it need nothing more.

    Returns
    -------
    list of datetime
        Midnights, UTC.
    """
    first, last = (series.times[edge].astype("datetime64[s]").item().replace(tzinfo=UTC) for edge in (0, -1))
    return _days_outside(river, first, last)


def survey_windows(river: River, first: datetime, last: datetime) -> list[tuple[datetime, datetime]]:
    """What a plan will ask a gauge for beside a record from `first` to `last`: from and to of each day, UTC."""
    return [_window(day) for day in _days_outside(river, first, last)[-MOST_DAYS:] if _window(day)[0] <= last]


def _window(day: datetime) -> tuple[datetime, datetime]:
    return day - timedelta(hours=3), day + timedelta(hours=27)


def _days_outside(river: River, first: datetime, last: datetime) -> list[datetime]:
    import pandas as pd

    taken = pd.to_datetime(river.soundings["taken_at"], utc=True)
    lacking = taken[taken.notna() & river.soundings["stage_m"].isna()]
    moments = [moment.to_pydatetime() for moment in lacking.drop_duplicates()]
    moments += [run.waterline_at for run in river.runs if run.waterline_at is not None]
    outside = [moment.astimezone(UTC) for moment in moments if not first <= moment <= last]
    return sorted({moment.replace(hour=0, minute=0, second=0, microsecond=0) for moment in outside})


def with_survey_days(series: Series, river: River, request: Request) -> tuple[Series, tuple[str, ...]]:
    """The record together with that of the survey days, and what could not be had.

    Parameters
    ----------
    series : Series
        The record that the plan reads; not empty.
    river : River
        Whose soundings are to be reduced.
    request : Request
        Clock and recorded replies.
    """
    parts, notes = [series], []
    days = survey_days(river, series)
    for day in days[-MOST_DAYS:]:
        window = _window(day)
        if window[0] > request.now:
            notes.append(f"The survey of {day:%Y-%m-%d} is later than the plan's clock; its soundings need a stage.")
            continue
        try:
            parts.append(
                open_series(
                    series.station,
                    now=request.now,
                    folder=river.folder,
                    reply_files=request.replies,
                    cache=request.store,
                    window=window,
                )
            )
        except PlumbrunError:
            notes.append(
                f"The gauge's record of {day:%Y-%m-%d} could not be had: soundings of that day without a stage of "
                "their own are left out."
            )
    if len(days) > MOST_DAYS:
        notes.append(
            f"The river was sounded on {len(days)} days; the gauge was asked for the latest {MOST_DAYS} only. Give the "
            "stage with the older soundings."
        )
    return (join(parts) if len(parts) > 1 else series), tuple(notes)

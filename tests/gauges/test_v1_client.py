"""The newer service read beside the agency's own client."""

from __future__ import annotations

import json
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planner.gauges import usgs_v1
from planner.units import CFS, FOOT

DATA = Path(__file__).parents[2] / "data" / "gauges"
RECORDED = [
    DATA / "usgs_ogc_v1_continuous.json",
    DATA / "usgs_ogc_v1_latest-continuous.json",
    DATA / "usgs_ogc_v1_continuous_12210700_2026-06_next_link_excerpt.json",
]


@pytest.mark.parametrize("path", RECORDED, ids=lambda path: path.stem[12:40])
def test_values_and_times_of_v1_agree_with_the_agencys_own_client(path: Path) -> None:
    """On every recorded page each stage and discharge equals what dataretrieval makes of it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from dataretrieval.ogc import shaping

        features = json.loads(path.read_bytes())["features"]
        frame = shaping._plain_feature_frame(features, include_geometry=False)
    compared = 0
    for station, part in frame.groupby("monitoring_location_id"):
        series = usgs_v1.parse(path.read_bytes(), f"usgs:{station.removeprefix('USGS-')}")
        for code, name, factor in (("00060", "discharge_m3s", CFS), ("00065", "stage_m", FOOT)):
            theirs = part[part["parameter_code"] == code].sort_values("time")
            times = pd.to_datetime(theirs["time"], utc=True).dt.tz_convert(None).to_numpy().astype("datetime64[s]")
            rows = np.searchsorted(series.times, times)
            np.testing.assert_array_equal(series.times[rows], times)
            found = getattr(series, name)[rows]
            np.testing.assert_allclose(found, pd.to_numeric(theirs["value"]).to_numpy(float) * factor, rtol=1e-14)
            compared += len(times)
    assert compared

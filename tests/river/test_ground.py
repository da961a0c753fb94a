"""Local metres against geodesics."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from planner.errors import DataUnfit
from planner.river import LocalPlane

WGS84 = Geod(ellps="WGS84")
LONS = st.floats(-179, 179)
LATS = st.floats(-75, 75)


@given(LONS, LATS, st.floats(0, 360), st.floats(1, 20_000))
def test_distance_and_bearing_from_the_origin_are_the_geodesic_ones(
    lon: float, lat: float, bearing: float, distance: float
) -> None:
    """A point that the geodesic puts at a distance and bearing is found there on the plane."""
    far_lon, far_lat, _ = WGS84.fwd(lon, lat, bearing, distance)
    x, y = LocalPlane(lon, lat).to_xy(far_lon, far_lat)
    assert float(np.hypot(x, y)) == pytest.approx(distance, abs=1e-3)
    turn = np.radians(bearing)
    assert float(x) == pytest.approx(distance * np.sin(turn), abs=1e-2)
    assert float(y) == pytest.approx(distance * np.cos(turn), abs=1e-2)


@given(LONS, LATS, st.integers(0, 2**32 - 1))
def test_lengths_off_the_origin_are_within_the_stated_distortion(lon: float, lat: float, seed: int) -> None:
    """Between points at most 20 km from the origin a length is right to 2.4 parts in a million."""
    rng = np.random.default_rng(seed)
    plane = LocalPlane(lon, lat)
    x, y = rng.uniform(-14_000, 14_000, (2, 2, 20))
    lons, lats = plane.to_lonlat(x, y)
    geodesic = WGS84.inv(lons[0], lats[0], lons[1], lats[1])[2]
    flat = np.hypot(x[0] - x[1], y[0] - y[1])
    assert np.all(np.abs(flat / geodesic - 1) < 2e-6 * 1.2)


@given(LONS, LATS, st.floats(-20_000, 20_000), st.floats(-20_000, 20_000))
def test_metres_and_degrees_turn_into_each_other_and_back(lon: float, lat: float, x: float, y: float) -> None:
    """Going to degrees and back moves a point by less than a millimetre."""
    plane = LocalPlane(lon, lat)
    back = plane.to_xy(*plane.to_lonlat(x, y))
    assert np.allclose(back, (x, y), rtol=0, atol=1e-3)


def test_shapes_and_unknown_coordinates_stay_what_they_are() -> None:
    """Arrays keep their shape and an unknown coordinate gives unknown metres."""
    plane = LocalPlane(-91.0, 43.5)
    x, y = plane.to_xy([[-91.0, np.nan], [-90.99, -91.0]], [[43.5, 43.5], [43.5, np.inf]])
    assert x.shape == y.shape == (2, 2)
    assert np.isnan(x[0, 1])
    assert np.isnan(y[0, 1])
    assert np.isnan(x[1, 1])
    assert x[0, 0] == pytest.approx(0, abs=1e-9)


def test_plane_around_points_sits_in_the_middle_of_their_bounds() -> None:
    """Points not finite are left out of the bounds."""
    plane = LocalPlane.around([-91.0, -90.0, np.nan], [43.0, 44.0, 10.0])
    assert (plane.lon0, plane.lat0) == (-90.5, 43.5)


@pytest.mark.parametrize("origin", [(500_000.0, 4_800_000.0), (43.5, -91.0), (float("nan"), 0.0)])
def test_origin_that_is_no_lon_and_lat_is_refused(origin: tuple[float, float]) -> None:
    """Projected, swapped or unknown coordinates are no origin."""
    with pytest.raises(DataUnfit, match="degrees"):
        LocalPlane(*origin)


def test_no_point_at_all_is_refused() -> None:
    """A plane needs a place."""
    with pytest.raises(DataUnfit, match="no point"):
        LocalPlane.around([], [])

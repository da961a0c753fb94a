"""Flat metres around a point of the river, for everything that measures lengths.

Azimuthal equidistant projection of the WGS 84 ellipsoid: distances and bearings from the origin are those of the
geodesic; between two other points at distance d from the origin a length is stretched by at most about d²/(6 R²)
[Snyder1987], which is 2e-6 (two centimetres in ten kilometres) at 20 km.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.errors import DataUnfit

__all__ = ["LocalPlane"]

Numbers = npt.ArrayLike


@lru_cache(maxsize=64)
def _transformer(lon0: float, lat0: float) -> Any:
    from pyproj import Transformer

    flat = f"+proj=aeqd +lat_0={lat0!r} +lon_0={lon0!r} +ellps=WGS84 +units=m +no_defs"
    return Transformer.from_crs("+proj=longlat +ellps=WGS84 +no_defs", flat, always_xy=True)


@dataclass(frozen=True)
class LocalPlane:
    """Local metres east (x) and north (y) of an origin.

    Parameters
    ----------
    lon0, lat0 : float
        Origin [degrees]. Points more than about 100 km away do not belong on it.

    Examples
    --------
    >>> x, y = LocalPlane(-91.0, 43.5).to_xy(-91.0, 43.51)
    >>> round(float(y), 1)
    1111.0
    """

    lon0: float
    lat0: float

    def __post_init__(self) -> None:
        if not (abs(self.lon0) <= 180 and abs(self.lat0) <= 90):
            raise DataUnfit(
                f"the origin {self.lon0}, {self.lat0} is no longitude and latitude",
                "lon from -180 to 180, lat from -90 to 90",
                "check the order lon, lat and that the coordinates are in degrees",
            )

    @classmethod
    def around(cls, lon: Numbers, lat: Numbers) -> LocalPlane:
        """The plane at the middle of the bounds of some points.

        Parameters
        ----------
        lon, lat : array_like, shape (n,)
            Points [degrees]; those not finite are left out.
        """
        lons, lats = np.asarray(lon, dtype=float), np.asarray(lat, dtype=float)
        use = np.isfinite(lons) & np.isfinite(lats)
        if not use.any():
            raise DataUnfit("no point has coordinates", "at least one point with lon and lat", "draw a run first")
        lons, lats = lons[use], lats[use]
        return cls(float((lons.min() + lons.max()) / 2), float((lats.min() + lats.max()) / 2))

    def to_xy(self, lon: Numbers, lat: Numbers) -> tuple[np.ndarray, np.ndarray]:
        """Metres east and north of the origin.

        Parameters
        ----------
        lon, lat : array_like, shape (...)
            Points [degrees].

        Returns
        -------
        x, y : numpy.ndarray, shape (...)
            East and north [m]; NaN where a coordinate is not finite.
        """
        return self._turn(lon, lat, "FORWARD")

    def to_lonlat(self, x: Numbers, y: Numbers) -> tuple[np.ndarray, np.ndarray]:
        """Lon and lat [degrees] of points x east, y north of the origin [m]; shape as given, NaN stays NaN."""
        return self._turn(x, y, "INVERSE")

    def _turn(self, first: Numbers, second: Numbers, direction: str) -> tuple[np.ndarray, np.ndarray]:
        one, two = np.broadcast_arrays(np.asarray(first, dtype=float), np.asarray(second, dtype=float))
        shape = one.shape
        a, b = _transformer(float(self.lon0), float(self.lat0)).transform(
            one.ravel().copy(), two.ravel().copy(), direction=direction
        )
        a, b = np.array(a, dtype=float), np.array(b, dtype=float)
        lost = ~(np.isfinite(a) & np.isfinite(b))
        a[lost] = np.nan
        b[lost] = np.nan
        return a.reshape(shape), b.reshape(shape)

"""Tables of a run as layers in longitude and latitude; trees stay arrays of numbers."""

from collections.abc import Callable
from functools import cached_property

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pyarrow as pa
import shapely

from pipeline.geo import crs
from pipeline.geo.shapes import Geometries, from_wkb
from pipeline.render import spreading
from pipeline.units import Floats, Ints

_SHAPED = ("ingest.zones", "ingest.streets", "ingest.wards", "ingest.basemap", "planning.routes")


class Layers:
    """Places and shapes of a run, transformed once.

    Parameters
    ----------
    table : a table of the run by its full name.
    epsg : the run's metric CRS.
    """

    def __init__(self, table: Callable[[str], pa.Table], epsg: int) -> None:
        """Transform nothing yet."""
        self._table = table
        self._epsg = epsg
        self._shapes: dict[str, Geometries] = {}

    @cached_property
    def trees(self) -> tuple[Floats, Floats]:
        """Longitude and latitude [deg] of each tree, in the order of ingest.trees."""
        return self.places("ingest.trees")

    @cached_property
    def drawn_trees(self) -> tuple[Floats, Floats, Ints]:
        """Where maps draw each tree [deg], and how many share its point: for the eye only."""
        table = self._table("ingest.trees")
        at_x, at_y = _floats(table["x_m"]), _floats(table["y_m"])
        x, y, shares = spreading.apart(at_x, at_y)
        longitude, latitude = (degrees.copy() for degrees in self.trees)
        moved = np.flatnonzero((x != at_x) | (y != at_y))  # NaN differs from itself and stays NaN
        longitude[moved], latitude[moved] = self.to_degrees(x[moved], y[moved])
        return longitude, latitude, shares

    def places(self, name: str) -> tuple[Floats, Floats]:
        """Longitude and latitude [deg] of a table's x_m, y_m; NaN where there is no place."""
        table = self._table(name)
        return self.to_degrees(_floats(table["x_m"]), _floats(table["y_m"]))

    def to_degrees(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Longitude and latitude [deg] of metric coordinates; NaN stays NaN, same shapes."""
        longitude, latitude = np.full(x.shape, np.nan), np.full(x.shape, np.nan)
        known = np.isfinite(x) & np.isfinite(y)
        longitude[known], latitude[known] = crs.to_longitude_latitude(
            x[known], y[known], epsg=self._epsg
        )
        return longitude, latitude

    def shapes(self, name: str) -> Geometries:
        """Shapes of a table in degrees, in its order, shape (rows,)."""
        if name not in self._shapes:
            data = np.asarray(self._table(name)["geometry"].to_pylist(), dtype=object)
            self._shapes[name] = self.degrees(from_wkb(data))
        return self._shapes[name]

    def degrees(self, shapes: Geometries) -> Geometries:
        """Metric shapes in degrees, same order."""
        if shapes.size == 0:
            return shapes

        def move(points: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
            return np.column_stack(self.to_degrees(points[:, 0], points[:, 1]))

        return np.asarray(shapely.transform(shapes, move), dtype=object)

    def frame(self, name: str) -> gpd.GeoDataFrame:
        """A table as a GeoDataFrame in longitude and latitude: shapes, or points of x_m, y_m."""
        table = self._table(name)
        plain = table.drop_columns([c for c in ("geometry",) if c in table.column_names])
        if name in _SHAPED:
            geometry = self.shapes(name)
        else:
            longitude, latitude = self.places(name)
            geometry = np.asarray(shapely.points(longitude, latitude), dtype=object)
        return gpd.GeoDataFrame(plain.to_pandas(), geometry=geometry, crs=crs.WGS84)


def _floats(column: pa.ChunkedArray) -> Floats:
    return np.asarray(column.to_numpy(zero_copy_only=False), dtype=np.float64)

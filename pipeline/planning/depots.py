"""Where crews start, in metres of the run; a depot that lies far from every tree is refused."""

from collections.abc import Sequence

import numpy as np

from pipeline.errors import ManyFaults, PipelineError, SettingsError
from pipeline.geo import crs
from pipeline.settings.model import Depot
from pipeline.units import Floats

_M_PER_KM = 1000.0


def depots_in_metres(
    depots: Sequence[Depot], trees: tuple[Floats, Floats], *, epsg: int, limit_km: float
) -> dict[str, tuple[float, float]]:
    """The depots by name, as metres of the run.

    Parameters
    ----------
    trees : x and y of the trees, metres, both of shape (trees,).
    limit_km : farthest that a depot may lie from the nearest tree.

    Raises
    ------
    ManyFaults
        If a depot lies farther: its coordinates are then swapped, or those of another place.
    """
    if not depots:
        return {}
    x, y = crs.transform(
        np.array([depot.longitude for depot in depots]),
        np.array([depot.latitude for depot in depots]),
        source=crs.WGS84,
        target=epsg,
    )
    faults: list[PipelineError] = []
    for depot, east, north in zip(depots, x, y, strict=True):
        far = np.hypot(trees[0] - east, trees[1] - north) / _M_PER_KM
        if far.size and not far.min() <= limit_km:  # a place off the map has no distance at all
            faults.append(
                SettingsError(
                    where=f"the settings, depot {depot.name!r}",
                    found=f"longitude {depot.longitude:g}, latitude {depot.latitude:g}, "
                    f"{_told(float(far.min()))} from the nearest tree",
                    expected=f"a place within {limit_km:g} km of the trees",
                    remedy="Mend longitude and latitude of the depot; they may be swapped.",
                )
            )
    if faults:
        raise ManyFaults(faults)
    return {depot.name: (float(a), float(b)) for depot, a, b in zip(depots, x, y, strict=True)}


def _told(kilometres: float) -> str:
    return f"{kilometres:,.0f} km" if np.isfinite(kilometres) else "too far to reckon"

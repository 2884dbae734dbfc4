"""The GPX of a crew-day: depot and stops, their order, and the streets driven."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely

from pipeline.geo import crs
from pipeline.render.context import RenderContext
from pipeline.render.exports.gpx import Waypoint, gpx
from pipeline.units import MINUTES_PER_HOUR


def of_day(
    context: RenderContext,
    route: Mapping[str, Any],
    cards: Sequence[Mapping[str, Any]],
    line: shapely.Geometry,
) -> bytes:
    """A day's GPX.

    Parameters
    ----------
    route : its row of planning.routes.
    cards : its stops in driving order, with place, times and words as the sheet has them.
    line : the way driven, in metres of the run.
    """
    depots = {depot.name: depot for depot in context.settings.settings.depots}
    points: list[Waypoint] = []
    order: list[int] = []
    depot = depots.get(route["depot"])
    if depot is not None:
        order.append(len(points))
        points.append(
            Waypoint(depot.longitude, depot.latitude, depot.name, "Start and end.", "depot")
        )
    for card in cards:
        if card["latitude"] is None:
            continue
        order.append(len(points))
        points.append(
            Waypoint(
                card["longitude"], card["latitude"], f"{card['seq']} {card['what']}",
                _words(card), card["action"],
            )
        )  # fmt: skip
    if depot is not None:
        order.append(0)
    straight = route["how"] == "straight_line"
    rough = "" if route["how"] == "streets" else " Some ways are straight lines."
    name = f"{route['crew_id']} {route['day'].isoformat()}"
    count = f"{route['stops']} stop{'' if route['stops'] == 1 else 's'}"
    said = (
        f"{count}, {_clock(route['start_min'])} to {_clock(route['end_min'])}."
        f"{' No street is known: the order only, no way.' if straight else rough}"
    )
    return gpx(name, said, points, order, None if straight else _track(context, line))


def _words(card: Mapping[str, Any]) -> str:
    where = card["address"] or card["street"] or "No address"
    heads = " ".join(hazard.head for hazard in card["hazards"])
    return f"{card['from']} to {card['to']}. Tree {card['tree_id']}, {where}. {heads}".strip()


def _track(
    context: RenderContext, line: shapely.Geometry
) -> "np.ndarray[Any, np.dtype[np.float64]]":
    place = shapely.get_coordinates(line)
    moves = np.append(True, np.any(np.diff(place, axis=0) != 0, axis=1))
    return np.column_stack(crs.to_longitude_latitude(*place[moves].T, epsg=context.store.epsg))


def _clock(minutes: float) -> str:
    hours, rest = divmod(round(minutes), int(MINUTES_PER_HOUR))
    return f"{hours:02d}:{rest:02d}"

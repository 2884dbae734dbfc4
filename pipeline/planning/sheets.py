"""The routes and stops up to the end of the first quarter as tables."""

import itertools

import numpy as np
import pyarrow as pa
import shapely

from pipeline.geo.shapes import to_wkb
from pipeline.planning.days import CrewDay, schedule
from pipeline.planning.plan import Plan
from pipeline.planning.travel import Legs
from pipeline.planning.world import World
from pipeline.tables.catalogue_planning import ROUTES, STOPS
from pipeline.tables.store import empty
from pipeline.units import MINUTES_PER_HOUR, Flags, Floats, Ints

_HOW = np.array(["straight_line", "streets"], dtype=object)


def tables(world: World, plan: Plan) -> tuple[pa.Table, pa.Table]:
    """The tables planning.routes and planning.stops."""
    slots = plan.slots
    if not slots:
        return empty(ROUTES), empty(STOPS)
    origin, target, bounds = _legs(slots, plan)
    legs = plan.travel.legs(origin, target)
    apart = _set_up(plan, world, origin, target, bounds)
    arrive, leave, end = _clock(slots, world, legs, apart, bounds)
    at_stop = np.ones(origin.size, dtype=bool)
    at_stop[bounds[1:] - 1] = False  # the last leg of a day leads back to the depot
    sizes = np.diff(bounds)
    day = np.array([slot.day for slot in slots])
    crew = np.array([world.crews[slot.crew].id for slot in slots], dtype=object)
    drive = np.add.reduceat(legs.minutes, bounds[:-1])
    start = _starts(slots, world)
    routes = pa.table(
        {
            "day": _dates(day),
            "crew_id": pa.array(crew, pa.string()),
            "depot": [world.crews[slot.crew].depot for slot in slots],
            "stops": (sizes - 1).astype(np.int32),
            "start_min": start,
            "end_min": end,
            "drive_min": drive,
            "work_min": end - start - drive,
            "length_m": np.add.reduceat(legs.metres, bounds[:-1]),
            "how": pa.array(_how(legs.on_streets, bounds), pa.string()),
            "geometry": pa.array(to_wkb(_lines(legs, bounds)), pa.binary()),
        }
    )
    stops = pa.table(
        {
            "day": _dates(np.repeat(day, sizes - 1)),
            "crew_id": pa.array(np.repeat(crew, sizes - 1), pa.string()),
            "seq": np.concatenate([np.arange(1, size) for size in sizes]).astype(np.int32),
            "job_key": np.concatenate([slot.jobs for slot in slots]).astype(np.int64),
            "arrive_min": arrive,
            "leave_min": leave,
            "drive_min": legs.minutes[at_stop],
            "drive_m": legs.metres[at_stop],
            "how": pa.array(_HOW[legs.on_streets[at_stop].astype(np.int64)], pa.string()),
        }
    )
    return routes, stops


def _legs(slots: list[CrewDay], plan: Plan) -> tuple[Ints, Ints, Ints]:
    """Places that the legs lead from and to, and where each crew-day's legs begin."""
    loops = [np.array([slot.depot, *plan.place[slot.jobs], slot.depot]) for slot in slots]
    origin = np.concatenate([loop[:-1] for loop in loops]).astype(np.int64)
    target = np.concatenate([loop[1:] for loop in loops]).astype(np.int64)
    bounds = np.concatenate(([0], np.cumsum([loop.size - 1 for loop in loops])))
    return origin, target, bounds.astype(np.int64)


def _set_up(plan: Plan, world: World, origin: Ints, target: Ints, bounds: Ints) -> Flags:
    """Which legs end in a set-up: all but those so short that the vehicle stays."""
    x, y = plan.travel.x, plan.travel.y
    apart = np.hypot(x[origin] - x[target], y[origin] - y[target]) > world.order.same_stop_m
    apart[bounds[:-1]] = True
    return apart


def _starts(slots: list[CrewDay], world: World) -> Floats:
    shifts = [world.crews[slot.crew].shift_start for slot in slots]
    return np.array([shift.hour * MINUTES_PER_HOUR + shift.minute for shift in shifts])


def _clock(
    slots: list[CrewDay], world: World, legs: Legs, apart: Flags, bounds: Ints
) -> tuple[Floats, Floats, Floats]:
    """Arrival and leaving of every stop, and the end of every crew-day."""
    arrivals, leavings = [], []
    end = _starts(slots, world)
    for number, slot in enumerate(slots):
        mine = slice(int(bounds[number]), int(bounds[number + 1]))
        drive = legs.minutes[mine]
        arrive, leave = schedule(
            slot, drive, apart[mine][:-1], setup=world.order.setup_min, start=float(end[number])
        )
        arrivals.append(arrive)
        leavings.append(leave)
        end[number] = leave[-1] + drive[-1]
    return np.concatenate(arrivals), np.concatenate(leavings), end


def _how(on_streets: Flags, bounds: Ints) -> np.ndarray[tuple[int], np.dtype[np.object_]]:
    driven = np.add.reduceat(on_streets.astype(np.int64), bounds[:-1])
    whole = driven == np.diff(bounds)
    return np.where(whole, "streets", np.where(driven == 0, "straight_line", "mixed")).astype(
        object
    )


def _lines(legs: Legs, bounds: Ints) -> np.ndarray[tuple[int], np.dtype[np.object_]]:
    parts = [np.vstack(legs.lines[a:b]) for a, b in itertools.pairwise(bounds)]
    index = np.repeat(np.arange(len(parts)), [part.shape[0] for part in parts])
    return np.asarray(shapely.linestrings(np.vstack(parts), indices=index), dtype=object)


def _dates(days: Ints) -> pa.Array:
    return pa.array(days.astype(np.int32)).cast(pa.date32())

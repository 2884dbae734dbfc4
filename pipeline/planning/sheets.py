"""The routes and stops up to the end of the first quarter as tables."""

import itertools

import numpy as np
import pyarrow as pa
import shapely

from pipeline.geo.shapes import to_wkb
from pipeline.planning.clock import Span, free_spans, weekday
from pipeline.planning.crew_day import CrewDay
from pipeline.planning.days import Timed, schedule
from pipeline.planning.plan import Plan
from pipeline.planning.travel import Legs
from pipeline.planning.world import Work, World
from pipeline.tables.catalogue_planning import ROUTES, STOPS
from pipeline.tables.store import empty
from pipeline.units import MINUTES_PER_HOUR, Flags, Floats, Ints

_EVEN = 1e-6
_HOW = np.array(["straight_line", "streets"], dtype=object)


def tables(work: Work, world: World, plan: Plan) -> tuple[pa.Table, pa.Table]:
    """The tables planning.routes and planning.stops."""
    slots = plan.slots
    if not slots:
        return empty(ROUTES), empty(STOPS)
    origin, target, bounds = _legs(slots, plan)
    legs = plan.travel.legs(origin, target)
    apart = _set_up(plan, world, origin, target, bounds)
    timed = _clock((slots, work), world, legs, apart, bounds)
    arrive, begin, leave = (
        np.concatenate([getattr(day, name) for day in timed])
        for name in ("arrive", "begin", "leave")
    )
    end = np.array([day.back for day in timed])
    at_stop = np.ones(origin.size, dtype=bool)
    at_stop[bounds[1:] - 1] = False  # the last leg of a day leads back to the depot
    sizes = np.diff(bounds)
    day = np.array([slot.day for slot in slots])
    crew = np.array([world.crews[slot.crew].id for slot in slots], dtype=object)
    drive = np.add.reduceat(legs.minutes, bounds[:-1])
    start = np.array([slot.begins for slot in slots])
    pause = _breaks(slots, timed)
    busy = np.array([sum(slot.parts) for slot in slots])
    busy += np.add.reduceat(np.where(at_stop, apart, False), bounds[:-1]) * world.order.setup_min
    routes = pa.table(
        {
            "day": _dates(day),
            "crew_id": pa.array(crew, pa.string()),
            "depot": [world.crews[slot.crew].depot for slot in slots],
            "stops": (sizes - 1).astype(np.int32),
            "start_min": start,
            "end_min": end,
            "drive_min": drive,
            "work_min": busy,
            "wait_min": np.maximum(end - start - drive - busy - pause, 0.0),
            "break_start_min": pa.array(
                [slot.pause.at for slot in slots], pa.float64(), mask=pause == 0
            ),
            "break_min": pause,
            "length_m": np.add.reduceat(legs.metres, bounds[:-1]),
            "searched": [slot.searched for slot in slots],
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
            "begin_min": begin,
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


def _clock(
    given: tuple[list[CrewDay], Work], world: World, legs: Legs, apart: Flags, bounds: Ints
) -> list[Timed]:
    """The moments of every crew-day."""
    slots, work = given
    timed = []
    for number, slot in enumerate(slots):
        mine = slice(int(bounds[number]), int(bounds[number + 1]))
        free = [
            kept_free(work, world, job, slot, part)
            for job, part in zip(slot.jobs, slot.parts, strict=True)
        ]
        timed.append(
            schedule(slot, legs.minutes[mine], apart[mine][:-1], free, setup=world.order.setup_min)
        )
    return timed


def _breaks(slots: list[CrewDay], timed: list[Timed]) -> Floats:
    """Minutes of break of each day; a day that is over before has none."""
    return np.array([
        slot.pause.minutes if day.back > slot.pause.at else 0.0
        for slot, day in zip(slots, timed, strict=True)
    ])  # fmt: skip


def kept_free(work: Work, world: World, job: int, slot: CrewDay, part: float) -> list[Span]:
    """When a job may be worked at on a day, on the working clock; empty: always.

    A job that is too long for it, or that takes several shifts, keeps nothing free.
    """
    week = int(work.quiet[job])
    whole = work.hours[job] * MINUTES_PER_HOUR
    long = whole > world.order.quiet_longest or part < whole - _EVEN
    quiet = world.quiet[week][weekday(slot.day)] if week >= 0 and not long else ()
    return free_spans(quiet, slot.pause) if quiet else []


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

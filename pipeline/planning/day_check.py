"""Every planned day timed again from the tables alone, before they are written.

It shares no code with what filled the days: moments are recomputed in time of day, not on the
working clock. A day that is off is a fault of the program; the run then ends and the last plan
stays.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import pyarrow as pa

from pipeline.errors import PlanningError
from pipeline.planning.quarters import as_date
from pipeline.planning.seasons import is_closed
from pipeline.planning.world import Work, World
from pipeline.units import MINUTES_PER_HOUR, Flags, Floats, Ints

_EVEN = 1e-3  # minutes
_WEEKDAYS = ("Mo", "Tu", "We", "Th", "Fr", "Sa", "Su")


def refuse_wrong_days(work: Work, world: World, routes: pa.Table, stops: pa.Table) -> None:
    """Time all days again.

    Raises
    ------
    PlanningError
        If a day breaks a rule: the first one, and how many there are.
    """
    found = wrong_days(work, world, routes, stops)
    if found:
        raise PlanningError(
            where=found[0][0],
            found=f"{found[0][1]} ({len(found)} such faults in all)",
            expected="a day that keeps shift, break, windows and hours of work",
            remedy="This is a fault of the program: tell those who keep it. The last plan stays.",
        )


def wrong_days(
    work: Work, world: World, routes: pa.Table, stops: pa.Table
) -> list[tuple[str, str]]:
    """The faults of days: which day, and what is wrong."""
    if not routes.num_rows:
        return []
    row = {name: routes[name].to_numpy(zero_copy_only=False) for name in routes.column_names
           if name not in {"geometry", "day", "crew_id"}}  # fmt: skip
    at = {name: stops[name].to_numpy(zero_copy_only=False) for name in stops.column_names
          if name not in {"day", "crew_id"}}  # fmt: skip
    row["day"], at["day"] = (
        np.asarray(table["day"].cast(pa.int32()), dtype=np.int64) for table in (routes, stops)
    )
    ids = {crew.id: place for place, crew in enumerate(world.crews)}
    row["crew"], at["crew"] = (
        np.array([ids[name] for name in table["crew_id"].to_pylist()], dtype=np.int64)
        for table in (routes, stops)
    )
    of_day = np.repeat(np.arange(routes.num_rows), row["stops"].astype(np.int64))
    faults = [
        *_shifts(world, row),
        *_moments(work, world, row, at, of_day),
        *_jobs(work, world, row, at, of_day),
    ]
    tell = routes["crew_id"].to_pylist()
    return [
        (f"the day of {tell[day]} on {as_date(int(row['day'][day]))}", words)
        for day, words in faults
    ]


Column = Floats | Ints
Columns = Mapping[str, Column]


def _told(wrong: Flags, days: Ints, words: str) -> list[tuple[int, str]]:
    return [(day, words) for day in np.unique(days[wrong]).tolist()]


def _shifts(world: World, row: Columns) -> list[tuple[int, str]]:
    """Begin and end of the shift, one day a crew, and the sum of a day's parts."""
    days = np.arange(row["day"].size)
    crews = [world.crews[place] for place in row["crew"].tolist()]
    begins = np.array([
        c.shift_start.hour * MINUTES_PER_HOUR + c.shift_start.minute + c.load_min for c in crews
    ])  # fmt: skip
    longest = np.array([
        c.hours_per_day * MINUTES_PER_HOUR - c.load_min - c.unload_min for c in crews
    ])  # fmt: skip
    key = row["day"] * len(world.crews) + row["crew"]
    _, first = np.unique(key, return_index=True)
    twice = ~np.isin(days, first)
    spent = row["drive_min"] + row["work_min"] + row["wait_min"]
    whole = spent + row["break_min"] - (row["end_min"] - row["start_min"])
    return [
        *_told(row["start_min"] != begins, days, "it does not begin as the crew is ready to leave"),
        *_told(spent > longest + _EVEN, days, "it is longer than the shift"),
        *_told(np.abs(whole) > _EVEN, days, "its parts do not add up"),
        *_told(twice, days, "the crew has two lists on that day"),
        *_told(row["day"] < world.as_of, days, "it lies before the day of the run"),
    ]


def _moments(
    work: Work, world: World, row: Columns, at: Columns, of_day: Ints
) -> list[tuple[int, str]]:
    """Ways, set-up, break and times kept free, stop by stop."""
    job = at["job_key"].astype(np.int64)
    first = np.concatenate(([True], of_day[1:] != of_day[:-1]))
    left = np.where(first, row["start_min"][of_day], np.concatenate(([0.0], at["leave_min"][:-1])))
    x, y = work.x[job], work.y[job]
    apart = np.hypot(np.diff(x, prepend=0.0), np.diff(y, prepend=0.0)) > world.order.same_stop_m
    setup = np.where(first | apart, world.order.setup_min, 0.0)
    begin, end = row["break_start_min"][of_day], row["break_min"][of_day]
    begin = np.where(np.isnan(begin), np.inf, begin)
    arrive = _after(left, at["drive_min"], begin, end)
    # Whoever arrives as the break begins sets up after it.
    ready = _after(at["arrive_min"], setup, begin, end)
    inside = (at["begin_min"] > begin - _EVEN) & (at["begin_min"] < begin + end - _EVEN)
    last = np.append(first[1:], True)
    home = row["end_min"] < at["leave_min"][last] - _EVEN
    return [
        *_told(np.abs(arrive - at["arrive_min"]) > _EVEN, of_day, "an arrival does not follow"),
        *_told(at["begin_min"] < ready - _EVEN, of_day, "work begins before it is set up"),
        *_told(inside, of_day, "work begins in the break"),
        *_told(home, np.arange(home.size), "the crew is back before it leaves the last stop"),
        *_told(_disturbs(work, world, at, job), of_day, "a cut meets the times of a school"),
    ]


def _after(moment: Column, minutes: Column, begin: Column, pause: Column) -> Floats:
    """Time of day when something so long ends, the break in between left out."""
    end = moment + minutes
    late = (moment <= begin + _EVEN) & (end > begin + _EVEN)
    return np.asarray(np.where(late, end + pause, end), dtype=np.float64)


def _disturbs(work: Work, world: World, at: Columns, job: Ints) -> Flags:
    """Which stops work in times that they should keep free."""
    wrong = np.zeros(job.shape, dtype=bool)
    once = np.bincount(job, minlength=work.hours.size)[job] == 1
    bound = (
        once
        & (work.quiet[job] >= 0)
        & (work.hours[job] * MINUTES_PER_HOUR <= world.order.quiet_longest)
    )
    weekdays = (at["day"].astype("datetime64[D]").astype(np.int64) + 3) % 7
    for stop in np.flatnonzero(bound).tolist():
        spans: Sequence[tuple[float, float]] = world.quiet[work.quiet[job[stop]]][weekdays[stop]]
        wrong[stop] = any(
            at["begin_min"][stop] < end - _EVEN and at["leave_min"][stop] > start + _EVEN
            for start, end in spans
        )
    return wrong


def _jobs(
    work: Work, world: World, row: Columns, at: Columns, of_day: Ints
) -> list[tuple[int, str]]:
    """Hours, crews and days of the jobs."""
    job, safe = at["job_key"].astype(np.int64), work.make_safe[at["job_key"].astype(np.int64)]
    begin, pause = row["break_start_min"][of_day], row["break_min"][of_day]
    across = (at["begin_min"] < begin) & (at["leave_min"] > begin + _EVEN)
    spent = at["leave_min"] - at["begin_min"] - np.where(across, pause, 0.0)
    total = np.bincount(job, weights=spent, minlength=work.hours.size)
    off = np.abs(total - work.hours * MINUTES_PER_HOUR) > _EVEN * (1 + np.bincount(of_day).max())
    crew = np.full(work.hours.shape, -1, dtype=np.int64)
    crew[job] = at["crew"]
    never = np.iinfo(np.int64).max // 2
    early, last = np.full(work.hours.shape, never), np.full(work.hours.shape, -1)
    np.minimum.at(early, job, at["day"])
    np.maximum.at(last, job, at["day"])
    links = work.links
    known = (last[links.test] >= 0) & (early[links.removal] < never)
    soon = known & (early[links.removal] < last[links.test] + world.order.days_after_test)
    too_soon = np.zeros(work.hours.shape, dtype=bool)
    too_soon[links.removal[soon]] = True
    weekdays = [{_WEEKDAYS.index(name) for name in one.days} for one in world.crews]
    weekday = (at["day"] + 3) % 7  # 1970-01-01 was a Thursday
    open_on = np.array([[k in days for k in range(len(_WEEKDAYS))] for days in weekdays])
    works = open_on[at["crew"].astype(np.int64), weekday.astype(np.int64)]
    closed = ~works | np.isin(at["day"], world.holidays)
    shut = is_closed(work.closed, work.season[job], at["day"].astype(np.int64))
    return [
        *_told(off[job], of_day, "the hours of a job are not those planned"),
        *_told(crew[job] != at["crew"], of_day, "two crews share a job"),
        *_told((at["day"] < work.earliest[job]) & ~safe, of_day, "a job comes before its window"),
        *_told(shut & ~safe, of_day, "a job lies on a closed day"),
        *_told(too_soon[job], of_day, "a removal comes before its test is read"),
        *_told(closed & ~safe, of_day, "nobody works on that day"),
    ]

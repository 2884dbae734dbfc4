"""The planning stage: what scoring chose becomes jobs, a queue, routes, and what is left out."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.geo import shapes
from pipeline.planning import figures, left_out, sheets
from pipeline.planning.capacity import Needs, pools_of, preference
from pipeline.planning.clock import Week
from pipeline.planning.day_check import refuse_wrong_days
from pipeline.planning.depots import depots_in_metres
from pipeline.planning.jobs import RETURNING, Sources, as_dates, days_of, make_jobs
from pipeline.planning.network import Streets
from pipeline.planning.plan import Plan, make_plan
from pipeline.planning.precedence import links
from pipeline.planning.quarters import NEVER, Horizon, as_date, day_number, horizon
from pipeline.planning.schools import quiet_weeks
from pipeline.planning.seasons import next_open, spans_of
from pipeline.planning.selection.instance import NOWHERE
from pipeline.planning.travel import StraightLine
from pipeline.planning.wanted import BEFORE
from pipeline.planning.world import Budget, Work, WorkOrder, World
from pipeline.progress import Teller
from pipeline.published.sentences import Texts, spoken
from pipeline.published.table import Library
from pipeline.settings.model import Crew, Planning, RunSettings, Settings
from pipeline.settings.quarter import Quarter
from pipeline.tables.catalogue import TABLES
from pipeline.tables.catalogue_planning import (
    CUTS,
    FIGURES,
    JOBS,
    OVER_PATHS,
    PRICES,
    QUEUE,
    ROUTES,
    SCHOOLS,
    STOPS,
    TESTS,
    UNSCHEDULED,
)
from pipeline.tables.schema import TableSchema
from pipeline.tables.store import RunStore, empty
from pipeline.terms import RatingWord, word
from pipeline.units import MINUTES_PER_HOUR, Floats, Ints

_M_PER_KM = 1000.0
_MAKE_SAFE = "make_safe"


def run(settings: RunSettings, store: RunStore, library: Library, teller: Teller) -> None:
    """Plan the quarters of the settings from the tables of ingest and scoring."""
    city = settings.settings
    span = horizon(settings.first_quarter, city.planning.quarters, as_of=settings.as_of)
    teller.step("planning: jobs")
    jobs = make_jobs(_sources(store), span, as_of=day_number(settings.as_of))
    world, needs, group, blocked = _world(settings, span, store, library, jobs)
    quiet, weeks = _quiet(jobs, store, library)
    world = replace(world, quiet=weeks)
    work = _work(jobs, group, (span, world), library, quiet)
    teller.step("planning: quarters and days")
    plan = make_plan(work, world)
    teller.step("planning: routes")
    store.write(JOBS, _with_cost(jobs, world, plan, group))
    store.write(QUEUE, _queue(jobs, work, world, plan))
    said = spoken(settings.sentences_path)
    store.write(UNSCHEDULED, _unscheduled(jobs, work, world, plan, (needs, blocked), said))
    routes, stops = sheets.tables(work, world, plan)
    refuse_wrong_days(work, world, routes, stops)
    store.write(ROUTES, routes)
    store.write(STOPS, stops)
    teller.step("planning: figures and prices")
    told = figures.figures(plan.wanted, world, city.what_if, work.rating)
    store.write(FIGURES, _rows(FIGURES, sorted(told, key=lambda row: row.plan)))
    store.write(PRICES, _rows(PRICES, figures.prices(plan.wanted, world)))


def _rows(table: TableSchema, rows: Sequence[figures.Figure] | Sequence[figures.Price]) -> pa.Table:
    """Records as a table; empty where there are none."""
    if not rows:
        return empty(table)
    return pa.table({name: [getattr(row, name) for row in rows] for name in table.column_names})


def _sources(store: RunStore) -> Sources:
    candidates = store.read(TABLES["scoring.candidate_actions"])
    return Sources(
        chosen=candidates.filter(candidates["chosen"]),
        ratings=store.read(
            TABLES["scoring.tree_ratings"],
            columns=(
                "tree_key", "rating", "harm_per_year", "no_climb", "last_looked_on",
                "inspection_due_on",
            ),
        ),
        trees=store.read(
            TABLES["ingest.trees"], columns=("tree_key", "tree_id", "ward", "x_m", "y_m")
        ),
        decisions=_or_empty(store, TABLES["ingest.decisions"]),
        work_done=_or_empty(store, TABLES["ingest.work_done"]),
    )  # fmt: skip


def _or_empty(store: RunStore, table: TableSchema) -> pa.Table:
    return store.read(table) if store.has(table) else empty(table)


def _world(
    settings: RunSettings, span: Horizon, store: RunStore, library: Library, jobs: pa.Table
) -> tuple[World, list[Needs], Ints, left_out.Texts]:
    """Who works where, what the groups of jobs ask for, and what blocks a group altogether."""
    city = settings.settings
    needs, group = _groups(jobs)
    pools = pools_of(city.crews)
    table = library.table("crew_types", key=("work", "crew_type"), folder="rules")
    ranks = zip(table.texts("work"), table.texts("crew_type"), table.numbers("rank"), strict=True)
    rank, blocked = preference(
        needs, pools, {(kind, crew): int(value) for kind, crew, value in ranks}
    )
    world = World(
        crews=city.crews,
        pools=pools,
        rank=rank,
        depots=_depots(city, store, library),
        streets=_streets(store),
        span=span,
        order=_order(library, city.planning),
        budget=_budget(city.planning),
        rates=np.array([_rate_of(city.crews, pool.crews) for pool in pools]),
        as_of=day_number(settings.as_of),
        holidays=np.array([day_number(day) for day in city.planning.holidays], dtype=np.int64),
    )
    return world, needs, group, blocked


def _budget(planning: Planning) -> Budget:
    machines = tuple(sorted(planning.machine_hours))
    return Budget(
        money=np.inf if planning.budget is None else planning.budget,
        machines=machines,
        machine_hours=np.array([planning.machine_hours[name] for name in machines], np.float64),
        overtime_share=planning.overtime_share,
        overtime_rate=planning.overtime_rate,
        ward_share=planning.ward_share,
    )


def _rate_of(crews: Sequence[Crew], places: Sequence[int]) -> float:
    """Mean rate of a pool's crews whose rate is told, 0 where none is."""
    known = [crews[k].hourly_rate for k in places]
    told = [rate for rate in known if rate is not None]
    return float(np.mean(told)) if told else 0.0


def _groups(jobs: pa.Table) -> tuple[list[Needs], Ints]:
    """The different demands on a crew, sorted, and the one of each job.

    Making safe is a kind of work of its own: it is done from the ground, so nobody climbs for it.
    """
    names = ["crew_type", "machine", "no_climb"]
    safe = jobs["make_safe"]
    plain = pa.table(
        {
            "crew_type": pc.if_else(safe, _MAKE_SAFE, jobs["crew_type"].cast(pa.string())),
            "machine": jobs["machine"].cast(pa.string()),
            "no_climb": pc.and_not(jobs["no_climb"], safe),
        }
    )
    found = plain.group_by(names, use_threads=False).aggregate([])
    found = found.sort_by([(name, "ascending") for name in names])
    needs = [Needs(row["crew_type"], row["machine"], row["no_climb"]) for row in found.to_pylist()]
    group = np.full(jobs.num_rows, NOWHERE, dtype=np.int64)
    for number, need in enumerate(needs):
        same = pc.and_(
            pc.and_(
                pc.equal(plain["crew_type"], need.crew_type),
                pc.equal(plain["machine"], need.machine),
            ),
            pc.equal(plain["no_climb"], need.no_climb),
        )
        group[np.asarray(same)] = number
    return needs, group


def _depots(city: Settings, store: RunStore, library: Library) -> dict[str, tuple[float, float]]:
    trees = store.read(TABLES["ingest.trees"], columns=("x_m", "y_m"))
    return depots_in_metres(
        city.depots,
        (trees["x_m"].to_numpy(), trees["y_m"].to_numpy()),
        epsg=store.epsg,
        limit_km=library.table("work_order", key=("rule",), folder="rules").number(
            "value", rule="depot_limit"
        ),
    )


def _streets(store: RunStore) -> Streets:
    edges, nodes = (
        _or_empty(store, TABLES["ingest.streets"]),
        _or_empty(store, TABLES["ingest.street_nodes"]),
    )
    edges = edges.filter(edges["drivable"])
    speed = edges["speed_km_h"].to_numpy()
    length = edges["length_m"].to_numpy()
    moving = speed > 0
    metres_a_minute = np.where(moving, speed, 1.0) * _M_PER_KM / MINUTES_PER_HOUR
    return Streets(
        nodes=nodes.num_rows,
        tail=edges["from_node"].to_numpy().astype(np.int64),
        head=edges["to_node"].to_numpy().astype(np.int64),
        minutes=length / metres_a_minute,
        forward=np.asarray(edges["forward"]).astype(bool) & moving,
        backward=np.asarray(edges["backward"]).astype(bool) & moving,
        lines=shapes.from_wkb(edges["geometry"].to_numpy()),
    )


def _order(library: Library, planning: Planning) -> WorkOrder:
    table = library.table("work_order", key=("rule",), folder="rules")
    value = {name: table.number("value", rule=name) for name in table.texts("rule")}
    return WorkOrder(
        snap_limit_m=value["snap_limit"],
        same_stop_m=value["same_stop"],
        near_min=value["near"],
        block_days=planning.block_days,
        longest_span=int(value["longest_span"]),
        tour_constant=value["tour_constant"],
        setup_min=planning.stop_setup_min,
        straight=StraightLine(planning.straight_line_factor, planning.straight_line_speed_km_h),
        lead_in_share=planning.lead_in_share,
        days_after_test=planning.days_after_test,
        quiet_longest=value["school_longest"],
        rounds_per_stop=int(value["rounds_per_stop"]),
        rounds_most=int(value["rounds_most"]),
        harm_years=value["harm_years"],
        left_out_days=int(value["left_out_days"]),
        ward_price=value["ward_price"],
        exact_jobs=int(value["exact_jobs"]),
        exact_gap=value["exact_gap"],
        solver_seconds=value["solver_seconds"],
    )


def _work(
    jobs: pa.Table, group: Ints, when: tuple[Horizon, World], library: Library, quiet: Ints
) -> Work:
    span, world = when
    late = library.table("late_days", key=("rating",), folder="rules")
    weights = np.array([late.number("weight", rating=word(one)) for one in RatingWord])
    closed, season = spans_of(jobs["closed_days"])
    deferred = days_of(jobs["deferred_until"], missing=-NEVER)
    pins = jobs["pinned_quarter"].cast(pa.string())
    pinned = np.full(jobs.num_rows, NOWHERE, dtype=np.int64)
    for text in sorted(pc.unique(pins.drop_null()).to_pylist()):
        pinned[np.asarray(pc.fill_null(pc.equal(pins, text), False))] = span.index(
            Quarter.parse(text)
        )
    action = jobs["action"].cast(pa.string())
    tie = np.empty(jobs.num_rows, dtype=np.int64)
    tie[pc.sort_indices(jobs["job_id"]).to_numpy()] = np.arange(jobs.num_rows)
    return Work(
        hours=jobs["hours"].to_numpy(),
        group=group,
        make_safe=np.asarray(jobs["make_safe"]).astype(bool),
        pinned=pinned,
        deadline=days_of(jobs["deadline_on"]),
        earliest=deferred,
        harm=jobs["harm_removed"].to_numpy(),
        tie=tie,
        x=jobs["x_m"].to_numpy(),
        y=jobs["y_m"].to_numpy(),
        severe=jobs["rating"].to_numpy() >= RatingWord.HIGH.value,
        rating=jobs["rating"].to_numpy().astype(np.int64),
        weight=np.where(
            pinned >= 0,
            late.number("weight", rating="pinned"),
            weights[jobs["rating"].to_numpy().astype(np.int64)],
        ),
        routine=np.asarray(pc.is_in(action, pa.array(RETURNING))),
        machine=_place_of(jobs["machine"], world.budget.machines),
        ward=_place_of(jobs["ward"]),
        season=season,
        closed=closed,
        links=links(
            jobs["tree_key"].to_numpy(),
            np.asarray(pc.is_in(action, pa.array(CUTS))),
            np.asarray(pc.is_in(action, pa.array(TESTS))),
        ),
        quiet=quiet,
    )


def _quiet(jobs: pa.Table, store: RunStore, library: Library) -> tuple[Ints, tuple[Week, ...]]:
    """The weeks of quiet times about schools, and the one of each job, -1 for none."""
    zones = _or_empty(store, TABLES["ingest.zones"])
    zones = zones.filter(pc.is_in(zones["kind"].cast(pa.string()), pa.array(SCHOOLS)))
    order = library.table("work_order", key=("rule",), folder="rules")
    near = library.table("crew_hazards", key=("rule",), folder="rules")
    return quiet_weeks(
        jobs["x_m"].to_numpy(),
        jobs["y_m"].to_numpy(),
        np.asarray(pc.is_in(jobs["action"].cast(pa.string()), pa.array(OVER_PATHS))),
        shapes.from_wkb(zones["geometry"].to_numpy()),
        zones["open_hours"].cast(pa.string()).to_pylist(),
        near_m=near.number("value", rule="school_near"),
        margin=order.number("value", rule="school_quiet"),
    )


def _place_of(column: pa.ChunkedArray, names: Sequence[str] | None = None) -> Ints:
    """Number of each label among these, or among all there are in order; -1 for none."""
    labels = column.cast(pa.string())
    known = sorted(pc.unique(labels.drop_null()).to_pylist()) if names is None else list(names)
    found = pc.fill_null(pc.index_in(labels, pa.array(known, pa.string())), NOWHERE)
    return np.asarray(found.to_numpy(), dtype=np.int64)


def _with_cost(jobs: pa.Table, world: World, plan: Plan, group: Ints) -> pa.Table:
    """Hours by the rate of the crew; for a job left out, of the crews that could do it."""
    rates = np.array(
        [np.nan if crew.hourly_rate is None else crew.hourly_rate for crew in world.crews]
    )
    by_group = np.array([_mean_rate(world, rates, row) for row in world.rank])
    rate = by_group[group] if group.size else np.empty(0)
    placed = plan.crew != NOWHERE
    rate[placed] = rates[plan.crew[placed]]
    cost = rate * jobs["hours"].to_numpy()
    column = pa.array(np.round(cost, 2), mask=np.isnan(cost))
    return jobs.set_column(jobs.schema.get_field_index("cost"), "cost", column)


def _mean_rate(world: World, rates: Floats, rank: Ints) -> float:
    known = [rates[k] for p in np.flatnonzero(rank).tolist() for k in world.pools[p].crews]
    known = [rate for rate in known if not np.isnan(rate)]
    return float(np.mean(known)) if known else float("nan")


def _queue(jobs: pa.Table, work: Work, world: World, plan: Plan) -> pa.Table:
    rows = np.flatnonzero(plan.quarter != NOWHERE)
    lead_in = plan.quarter[rows] == BEFORE
    order = np.lexsort(
        (work.tie[rows], -work.harm[rows], work.deadline[rows], lead_in & ~work.severe[rows],
         plan.quarter[rows], ~work.make_safe[rows])
    )  # fmt: skip
    rows = rows[order]
    first_day = world.span.first[np.maximum(plan.quarter[rows], 0)]
    done = np.where(plan.day[rows] == NOWHERE, first_day, plan.day[rows])
    late = np.where(work.deadline[rows] == NEVER, 0, np.maximum(done - work.deadline[rows], 0))
    return pa.table(
        {
            "queue_rank": np.arange(1, rows.size + 1, dtype=np.int64),
            "job_key": jobs["job_key"].take(rows),
            "quarter": _quarters(world, plan.quarter[rows], plan.day[rows]),
            "crew_id": _named([crew.id for crew in world.crews], plan.crew[rows]),
            "day": as_dates(np.where(plan.day[rows] == NOWHERE, NEVER, plan.day[rows])),
            "late_days": late.astype(np.int32),
        }
    )


def _quarters(world: World, quarter: Ints, day: Ints) -> pa.Array:
    """The quarter that a job's day lies in, or that it was placed in without a day."""
    labels = np.array(world.span.labels, dtype=object)[np.maximum(quarter, 0)]
    days, place = np.unique(day, return_inverse=True)
    names = [str(Quarter.of(as_date(one))) for one in days.tolist()]
    by_day = np.array([*names, ""], dtype=object)[place.ravel()]
    return pa.array(np.where(day == NOWHERE, labels, by_day), pa.string())


def _named(names: Sequence[str], index: Ints) -> pa.Array:
    return pa.array(np.array([*names, ""], dtype=object)[index], pa.string())


def _unscheduled(
    jobs: pa.Table,
    work: Work,
    world: World,
    plan: Plan,
    asked: tuple[list[Needs], left_out.Texts],
    said: Texts,
) -> pa.Table:
    held = left_out.Held(
        deferred_until=days_of(jobs["deferred_until"]),
        opens=next_open(work.closed, work.season, np.maximum(work.earliest, world.as_of)),
        pinned=np.asarray(jobs["pinned_quarter"].cast(pa.string()).to_numpy(), dtype=object),
    )
    rows, reason, detail = left_out.reasons(work, world, plan, asked[0], asked[1], held, said)
    return pa.table(
        {
            "job_key": jobs["job_key"].take(rows),
            **{
                name: pa.DictionaryArray.from_arrays(told.index, pa.array(told.texts, pa.string()))
                for name, told in (("reason", reason), ("detail", detail))
            },
        }
    )

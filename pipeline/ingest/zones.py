"""Who is under the trees: surveyed zones, and zones made of street lines.

Where there is neither, the table stays empty and scoring says what it assumed.
"""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from pipeline.geo.shapes import Geometries, told_twice
from pipeline.ingest.columns import Mapped
from pipeline.ingest.opening import open_share
from pipeline.ingest.places import Part, finding, shapes_of, wkb_column
from pipeline.ingest.quarantine import Done, Finding
from pipeline.ingest.school_terms import Fault, term_share
from pipeline.ingest.streets import RoadClasses, StreetLines
from pipeline.tables.inputs import ZONE_KINDS
from pipeline.units import Flags, Floats

# What a surveyed zone of this kind is, whoever passes: a thing that a falling part would hit.
STATIC_KINDS = ("building", "home")
# Places that people fill; drawn as a line, such a zone reaches only what falls on the line.
AREAL_KINDS = (
    "school", "kindergarten", "hospital", "care_home", "playground", "market", "square", "park",
    "sports", "car_park", "cemetery",
)  # fmt: skip
HOURS_PER_DAY, DAYS_PER_WEEK = 24.0, 7.0
_FOOT_CLASSES = (
    "pedestrian", "footway", "cycleway", "path", "steps", "bridleway", "crossing", "corridor",
)  # fmt: skip


def survey(mapped: Mapped, *, epsg: int, crs: str | None) -> Part:
    """Rows of ingest.zones from one file of surveyed zones of any shape.

    Raises
    ------
    InputError
        If the file has no geometry at all, or one without a CRS.
    """
    shaped = shapes_of(mapped, epsg=epsg, crs=crs)
    share, ill_timed = _in_use(mapped)
    numbers, impossible = _numbers(mapped)
    findings = (
        *shaped.findings, *impossible, *ill_timed, *_survey_faults(mapped, numbers),
        *_areas_as_lines(mapped, shaped.shapes), *_same_places(mapped, shaped.shapes),
    )  # fmt: skip
    size = len(mapped)
    counted = ~np.isnan(numbers["persons_per_h"]) | ~np.isnan(numbers["vehicles_per_day"])
    kind = mapped.text("kind").fill_null("other")
    rows = pc.cast(pa.array(mapped.raw.rows), pa.string())
    columns: dict[str, pa.Array] = {
        "zone_id": pc.coalesce(
            mapped.text("zone_id"), pc.binary_join_element_wise("zone", rows, "-")
        ),
        "name": mapped.text("name"),
        "kind": kind,
        "how": pa.repeat("survey", size),
        "occupancy": mapped.text("occupancy"),
        "persons_per_h": number_column(numbers["persons_per_h"]),
        "open_share": number_column(share),
        "vehicles_per_day": number_column(numbers["vehicles_per_day"]),
        "speed_km_h": number_column(numbers["speed_km_h"]),
        "static": pc.is_in(kind, value_set=pa.array(STATIC_KINDS)),
        "open_hours": mapped.text("open_hours"),
        "source": pa.nulls(size, pa.string()),
        "numbers_from": pc.if_else(
            pa.array(counted), pa.scalar("city"), pa.scalar(None, pa.string())
        ),
        "geometry": wkb_column(shaped.shapes),
    }
    return Part(pa.table(columns).take(pa.array(shaped.usable)), findings)


def of_lines(lines: StreetLines, classes: RoadClasses) -> pa.Table:
    """Rows of ingest.zones: one a street line, occupied as its road class usually is.

    A line keeps its own traffic and speed where it tells them; the lines are not widened. Tunnels
    are left out.
    """
    lines = lines.at(lines.above_ground)
    row = lines.class_row
    names = np.array(classes.names, dtype=object)[row]
    on_foot = np.isin(names, _FOOT_CLASSES)
    vehicles = np.where(
        np.isnan(lines.vehicles_per_day), classes.vehicles_per_day[row], lines.vehicles_per_day
    )
    speed = np.where(np.isnan(lines.speed_km_h), classes.speed_km_h[row], lines.speed_km_h)
    size = len(lines)
    return pa.table(
        {
            "zone_id": pa.array([f"street:{one}" for one in lines.street_id], type=pa.string()),
            "name": pa.array(lines.name, type=pa.string()),
            "kind": pa.array(np.where(on_foot, "path", "street").astype(object), pa.string()),
            "how": pa.repeat("street_class", size),
            "occupancy": pa.array(np.array(classes.occupancy, dtype=object)[row], type=pa.string()),
            "persons_per_h": number_column(classes.persons_per_h[row]),
            "open_share": pa.nulls(size, pa.float64()),
            "vehicles_per_day": number_column(vehicles),
            "speed_km_h": number_column(speed),
            "static": pa.array(np.zeros(size, dtype=np.bool_)),
            "open_hours": pa.nulls(size, pa.string()),
            "source": pa.array([f"street_classes: {name}" for name in names], type=pa.string()),
            "numbers_from": pa.array(
                np.where(np.isnan(lines.vehicles_per_day), "table", "city").astype(object),
                type=pa.string(),
            ),
            "geometry": wkb_column(lines.shapes),
        }
    )


def open_shares(hours: pa.Array, months: pa.Array) -> tuple[Floats, Flags]:
    """Share of the year when open, NaN where not told or not understood; and where the latter.

    Parameters
    ----------
    hours, months : texts, null where not told, shape (n,). Each pair of texts is read once.
    """
    pairs = pa.table({"hours": hours, "months": months})
    distinct = pairs.group_by(["hours", "months"]).aggregate([]).to_pylist()
    known = {
        (one["hours"], one["months"]): open_share(one["hours"], one["months"]) for one in distinct
    }
    keys = list(zip(hours.to_pylist(), months.to_pylist(), strict=True))
    told = np.array([any(key) for key in keys], dtype=np.bool_)
    share = np.array([known[key] for key in keys], dtype=np.float64)
    share[~told] = np.nan
    return share, told & np.isnan(share)


def number_column(values: Floats) -> pa.Array:
    """Numbers as an Arrow column, null for NaN."""
    return pa.array(np.asarray(values, dtype=np.float64), from_pandas=True)


def _in_use(mapped: Mapped) -> tuple[Floats, tuple[Finding, ...]]:
    """Share of the year in use, NaN where nothing is told, and what is wrong with what is told.

    Hours and days as numbers stand where no opening hours are told; terms stand before months. A
    number or a term that cannot be is refused and never makes a place emptier.
    """
    hours, months = mapped.text("open_hours"), mapped.text("months")
    by_terms, backwards, unreadable = _terms(mapped)
    in_terms = ~np.isnan(by_terms)
    season = pc.if_else(pa.array(in_terms), pa.scalar(None, pa.string()), months)
    share, unread = open_shares(hours, season)
    own, findings = _hours_as_numbers(mapped)
    untold = hours.is_null().to_numpy(zero_copy_only=False) & ~np.isnan(own)
    share = np.where(untold, own * np.where(np.isnan(share), 1.0, share), share)
    share = np.where(in_terms, by_terms * np.where(np.isnan(share), 1.0, share), share)
    told = hours.is_valid().to_numpy(zero_copy_only=False)
    return share, (
        *findings,
        *finding(
            mapped, backwards, code="terms_end_before_they_begin", done=Done.EMPTIED,
            column="terms",
            said=("A term ends before it begins; the place is taken as in use all the year.",
                  "Write first and last day of each term, as 2026-09-07..2026-12-18."),
        ),
        *finding(
            mapped, unreadable, code="terms_unreadable", done=Done.FLAGGED, column="terms",
            said=("The terms are not understood; the place is taken as in use all the year.",
                  "Write first and last day of each term, as 2026-09-07..2026-12-18; ..."),
        ),
        *finding(
            mapped, unread & told, code="open_hours_unreadable", done=Done.FLAGGED,
            column="open_hours",
            said=("The opening hours or months are not understood; no share of the year is taken.",
                  "Write them as Mo-Fr 08:00-16:00; Sa 09:00-12:00, and months as 9-6."),
        ),
        *finding(
            mapped, unread & ~told, code="months_unreadable", done=Done.FLAGGED, column="months",
            said=("The months are not understood; no share of the year is taken.",
                  "Write the months as 9-6 or Sep-Jun."),
        ),
    )  # fmt: skip


def _terms(mapped: Mapped) -> tuple[Floats, Flags, Flags]:
    """Share of the year in terms, NaN where none are told or none can be used; the two faults."""
    texts = mapped.text("terms").to_pylist()
    read = [term_share(text) if text else (np.nan, Fault.NONE) for text in texts]
    share = np.array([one for one, _ in read], np.float64)
    fault = np.array([int(one) for _, one in read], np.int8)
    share[fault != Fault.NONE] = np.nan
    return share, fault == Fault.BACKWARDS, fault == Fault.UNREADABLE


def _hours_as_numbers(mapped: Mapped) -> tuple[Floats, tuple[Finding, ...]]:
    """Share of the week in use by hours a day and days a week, NaN where neither is told."""
    share = np.full(len(mapped), np.nan)
    findings: list[Finding] = []
    for name, most, said in (
        ("hours_per_day", HOURS_PER_DAY, "A day has 24 hours"),
        ("days_per_week", DAYS_PER_WEEK, "A week has 7 days"),
    ):
        values = mapped.number(name)
        wrong = ~np.isnan(values) & ~((values >= 0) & (values <= most))
        findings += finding(
            mapped, wrong, code=f"{name}_impossible", done=Done.EMPTIED, column=name,
            said=(f"{said}; the number is refused and the place taken as in use all the time.",
                  f"Write a number from 0 to {most:g}."),
        )  # fmt: skip
        usable = ~np.isnan(values) & ~wrong
        before = np.where(np.isnan(share), 1.0, share)
        share = np.where(usable, before * values / most, share)
    return share, tuple(findings)


def _same_places(mapped: Mapped, shapes: Geometries) -> tuple[Finding, ...]:
    """What is said of places of one kind that cover one another; shapes, shape (rows,)."""
    names = pc.index_in(mapped.text("kind"), value_set=pa.array(ZONE_KINDS)).fill_null(-1)
    pairs = told_twice(shapes, names.to_numpy(zero_copy_only=False).astype(np.int64))
    again = np.zeros(len(mapped), np.bool_)
    again[pairs[:, 1]] = True
    return finding(
        mapped, again, code="zone_told_twice", done=Done.FLAGGED, column="zone_id",
        said=("The place covers another one of its kind; who is there is counted once in harm.",
              "Keep one of them, or give the smaller place a kind of its own."),
    )  # fmt: skip


def _survey_faults(mapped: Mapped, numbers: dict[str, Floats]) -> tuple[Finding, ...]:
    """What is said of zones that stay."""
    return (
        *finding(
            mapped, mapped.text("kind").is_null().to_numpy(zero_copy_only=False),
            code="zone_kind_missing", done=Done.FLAGGED, column="kind",
            said=("The kind of target is not told; it is taken as 'other'.",
                  "Write the kind of target."),
        ),
        *finding(
            mapped, _without_occupancy(mapped, numbers), code="zone_occupancy_missing",
            done=Done.FLAGGED,
            said=("Neither occupancy, persons nor vehicles are told; occupancy is assumed.",
                  "Give occupancy as a word, persons an hour, or vehicles a day."),
        ),
    )  # fmt: skip


def _areas_as_lines(mapped: Mapped, shapes: Geometries) -> tuple[Finding, ...]:
    """What is said of places with an area that are drawn as a line; shapes, shape (rows,)."""
    areal = pc.is_in(mapped.text("kind"), value_set=pa.array(AREAL_KINDS))
    lines: Flags = shapely.get_dimensions(shapes) == 1
    return finding(
        mapped, lines & areal.to_numpy(zero_copy_only=False), code="area_given_as_line",
        done=Done.FLAGGED, column="kind",
        said=("A place with an area is drawn as a line: only what would fall on the line counts.",
              "Draw the place as a polygon."),
    )  # fmt: skip


def _numbers(mapped: Mapped) -> tuple[dict[str, Floats], tuple[Finding, ...]]:
    """Persons, vehicles and speed; those below zero are emptied."""
    made: dict[str, Floats] = {}
    findings: list[Finding] = []
    for name in ("persons_per_h", "vehicles_per_day", "speed_km_h"):
        values = mapped.number(name)
        negative = ~(values >= 0) & np.isfinite(values)
        findings += finding(
            mapped, negative, code=f"{name}_negative", done=Done.EMPTIED, column=name,
            said=("The number is below zero.", "Write a number of zero or more."),
        )  # fmt: skip
        made[name] = np.where(negative | ~np.isfinite(values), np.nan, values)
    return made, tuple(findings)


def _without_occupancy(mapped: Mapped, numbers: dict[str, Floats]) -> Flags:
    told = mapped.text("occupancy").is_valid().to_numpy(zero_copy_only=False)
    counted = ~np.isnan(numbers["persons_per_h"]) | ~np.isnan(numbers["vehicles_per_day"])
    return np.asarray(~told & ~counted, dtype=np.bool_)

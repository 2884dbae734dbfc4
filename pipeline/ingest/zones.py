"""Who is under the trees: surveyed zones, and zones made of street lines.

Where there is neither, the table stays empty and scoring says what it assumed.
"""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from pipeline.geo.shapes import Geometries
from pipeline.ingest.columns import Mapped
from pipeline.ingest.opening import open_share
from pipeline.ingest.places import Part, finding, shapes_of, wkb_column
from pipeline.ingest.quarantine import Done, Finding
from pipeline.ingest.streets import RoadClasses, StreetLines
from pipeline.units import Flags, Floats

# What a surveyed zone of this kind is, whoever passes: a thing that a falling part would hit.
STATIC_KINDS = ("building", "home")
# Places that people fill; drawn as a line, such a zone reaches only what falls on the line.
AREAL_KINDS = (
    "school", "kindergarten", "hospital", "care_home", "playground", "market", "square", "park",
    "sports", "car_park", "cemetery",
)  # fmt: skip
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
    hours, months = mapped.text("open_hours"), mapped.text("months")
    share, unread = open_shares(hours, months)
    numbers, impossible = _numbers(mapped)
    findings = (
        *shaped.findings, *impossible, *_survey_faults(mapped, unread, numbers),
        *_areas_as_lines(mapped, shaped.shapes),
    )  # fmt: skip
    size = len(mapped)
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
        "open_hours": hours,
        "source": pa.nulls(size, pa.string()),
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


def _survey_faults(
    mapped: Mapped, unread: Flags, numbers: dict[str, Floats]
) -> tuple[Finding, ...]:
    """What is said of zones that stay; `unread` are those whose time of use is not understood."""
    hours = mapped.text("open_hours")
    return (
        *finding(
            mapped, unread & hours.is_valid().to_numpy(zero_copy_only=False),
            code="open_hours_unreadable", done=Done.FLAGGED, column="open_hours",
            said=("The opening hours or months are not understood; no share of the year is taken.",
                  "Write them as Mo-Fr 08:00-16:00; Sa 09:00-12:00, and months as 9-6."),
        ),
        *finding(
            mapped, unread & hours.is_null().to_numpy(zero_copy_only=False),
            code="months_unreadable", done=Done.FLAGGED, column="months",
            said=("The months are not understood; no share of the year is taken.",
                  "Write the months as 9-6 or Sep-Jun."),
        ),
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

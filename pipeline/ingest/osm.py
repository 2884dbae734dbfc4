"""What an OpenStreetMap extract gives a city: zones by tag, streets, and the ground map.

Its trees are read by osm_trees.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from pipeline.geo.crs import WGS84
from pipeline.geo.shapes import Geometries
from pipeline.ingest import osm_objects
from pipeline.ingest.opening import open_share
from pipeline.ingest.osm_objects import OsmObject, Tags
from pipeline.ingest.places import mended, to_metric, wkb_column
from pipeline.ingest.quarantine import Done, Finding
from pipeline.ingest.streets import RoadClasses, StreetLines, directions, speed_km_h
from pipeline.ingest.zones import number_column
from pipeline.published.table import PublishedTable
from pipeline.units import Floats, Ints

_STREET_KEY, _BUILDING_KEY, _ANY = "highway", "building", "*"
_ONEWAY_BY_NATURE = ("motorway", "motorway_link")
_NO_ENTRY = ("no", "private")
_DRAWN = ("water", "park")
# Drawn as green besides what the tag table calls a park; a wood is nobody's target.
_GREEN = (("landuse", "forest"), ("landuse", "grass"), ("natural", "wood"))


@dataclass(frozen=True, slots=True)
class Targets:
    """The published table of map tags; `row_of` maps (key, value) to a row, value '*' for any."""

    table: PublishedTable
    row_of: dict[tuple[str, str], int]
    persons_per_h: Floats
    static: Floats

    @classmethod
    def of(cls, table: PublishedTable) -> "Targets":
        """The look-up of config/published/osm_targets.csv.

        Raises
        ------
        PublishedValueError
            If a column is missing or a value is no number.
        """
        pairs = zip(table.texts("key"), table.texts("value"), strict=True)
        return cls(
            table, {pair: row for row, pair in enumerate(pairs)},
            table.numbers("persons_per_h"), table.numbers("static"),
        )  # fmt: skip

    @property
    def keys(self) -> tuple[str, ...]:
        """Tag keys that the table knows."""
        return tuple(dict.fromkeys(key for key, _ in self.row_of))

    def row(self, tags: Tags, *, without: tuple[str, ...] = ()) -> int | None:
        """The first row of the table that the tags meet; None if they meet none."""
        found = [
            self.row_of[key, value]
            for key, text in tags.items()
            if key not in without and text != "no"
            for value in (text, _ANY)
            if (key, value) in self.row_of
        ]
        return min(found, default=None)


@dataclass(frozen=True, slots=True)
class MapExtract:
    """What is taken of an extract, and its account.

    Parameters
    ----------
    objects : what was looked at: osm_id and tags (JSON), one row an object.
    findings : positions in `objects`; those set aside give nothing.
    lines : streets, for the network and for street zones.
    zones, basemap : rows without their keys.
    """

    objects: pa.Table
    findings: tuple[Finding, ...]
    lines: StreetLines
    zones: pa.Table
    basemap: pa.Table


def read_map(
    path: Path,
    targets: Targets,
    classes: RoadClasses,
    *,
    where: str,
    epsg: int,
    take: Sequence[str] = ("zones", "streets", "basemap"),
) -> MapExtract:
    """Streets, zones and ground of an extract.

    Parameters
    ----------
    where : name of the file in messages.
    epsg : the run's metric CRS.
    take : any of zones, streets, basemap; zones of streets come of `lines`.

    Raises
    ------
    InputError
        If the file is no OpenStreetMap extract.
    """
    keys = (*targets.keys, _STREET_KEY, *(key for key, _ in _GREEN))
    found = osm_objects.objects(
        path, where=where, keys=tuple(dict.fromkeys(keys)), wanted=_wanted(targets)
    )
    shapes, findings = _placed(found, epsg=epsg)
    streets = np.array([_is_street(one, classes) for one in found], dtype=np.bool_)
    odd = [
        place for place, one in enumerate(found)
        if shapes[place] is not None and not streets[place] and _drawn_as(one, targets) is None
        and _zone_rows(targets, one.tags, one.form) == []
    ]  # fmt: skip
    findings += _said(
        odd, found, "highway_unknown", Done.SET_ASIDE,
        "The highway value is in no table: neither a street nor a zone.",
        "Add the value to street_classes.csv or osm_targets.csv if it matters.",
    )  # fmt: skip
    usable = np.array([shape is not None for shape in shapes], dtype=np.bool_)
    zones, zone_findings = _zones(found, shapes, targets, np.flatnonzero(usable & ~streets))
    return MapExtract(
        _account(found),
        findings + zone_findings,
        _lines(found, shapes, classes, np.flatnonzero(usable & streets))
        if "streets" in take or "zones" in take
        else StreetLines.joined([]),
        zones if "zones" in take else zones.slice(0, 0),
        _basemap(found, shapes, targets, take="basemap" in take),
    )


def _wanted(targets: Targets) -> osm_objects.Wanted:
    """Which objects are looked at: streets, what the tag table names, and what is drawn."""

    def wanted(tags: Tags, form: str) -> bool:
        if form != "point" and _STREET_KEY in tags:
            return True
        drawn = form == "area" and any(tags.get(key) == value for key, value in _GREEN)
        return drawn or (not _hidden(tags) and _zone_rows(targets, tags, form) != [])

    return wanted


def _account(found: list[OsmObject]) -> pa.Table:
    """One row an object, for the account of the file."""
    tags = [json.dumps(one.tags, ensure_ascii=False, sort_keys=True) for one in found]
    ids = [one.osm_id for one in found]
    return pa.table({"osm_id": pa.array(ids, pa.string()), "tags": pa.array(tags, pa.string())})


def _placed(found: list[OsmObject], *, epsg: int) -> tuple[Geometries, tuple[Finding, ...]]:
    """Metric shapes of the objects, None where the extract lacks them, and what is said of it."""
    texts = np.array([one.wkb for one in found], dtype=object)
    shapes = np.asarray(shapely.from_wkb(texts), dtype=object)
    shapes, lost = to_metric(shapes, source=f"EPSG:{WGS84}", epsg=epsg)
    shapes, _ = mended(shapes)
    missing = [place for place, shape in enumerate(shapes) if shape is None]
    cut = [p for p, one in enumerate(found) if one.cut and shapes[p] is not None]
    findings = (
        *_said(
            missing, found, "object_outside_extract", Done.SET_ASIDE,
            "The extract lacks the nodes or members that give the object its shape.",
            "Take a larger extract if the object matters.",
        ),
        *_said(
            cut, found, "way_cut_by_extract", Done.FLAGGED,
            "Some nodes of the way are not in the extract; the rest of it is used.",
            "Take a larger extract if the way matters.",
        ),
    )  # fmt: skip
    if lost.any():
        findings += _said(
            np.flatnonzero(lost).tolist(), found, "geometry_outside_crs", Done.FLAGGED,
            "The coordinates do not exist in the metric CRS of the run.",
            "Check city.crs in the settings.",
        )  # fmt: skip
    return shapes, findings


def _said(
    places: list[int], found: list[OsmObject], code: str, done: Done, reason: str, remedy: str
) -> tuple[Finding, ...]:
    if not places:
        return ()
    rows: Ints = np.array(places, dtype=np.int64)
    values = tuple(found[place].osm_id for place in places)
    return (Finding(code, rows, "osm_id", values, reason, remedy, done),)


def _hidden(tags: Tags) -> bool:
    """Below ground or under a roof: no tree falls on it."""
    return (
        tags.get("tunnel", "no") != "no"
        or tags.get("location") == "underground"
        or tags.get("indoor", "no") != "no"
    )


def _zone_rows(targets: Targets, tags: Tags, form: str) -> list[int]:
    """Rows of the tag table that an object stands for: who is there, and the building itself."""
    without = [_BUILDING_KEY]
    if form == "line":
        without.append(_STREET_KEY)
    row = targets.row(tags, without=tuple(without))
    rows = [] if row is None else [row]
    if form == "area" and _BUILDING_KEY in tags and not (rows and targets.static[rows[0]] > 0):
        building = targets.row({_BUILDING_KEY: tags[_BUILDING_KEY]})
        rows += [] if building is None else [building]
    return rows


def _is_street(one: OsmObject, classes: RoadClasses) -> bool:
    return one.form == "line" and one.tags.get(_STREET_KEY) in classes.names


def _lines(
    found: list[OsmObject], shapes: Geometries, classes: RoadClasses, at: Ints
) -> StreetLines:
    parts, owner = shapely.get_parts(shapes[at], return_index=True)
    long = shapely.length(parts) > 0
    parts, owner = np.asarray(parts[long], dtype=object), np.asarray(owner[long], dtype=np.int64)
    tags = [found[place].tags for place in at]

    def column(key: str) -> pa.Array:
        return pa.array([one.get(key) for one in tags], type=pa.string())

    kinds = column(_STREET_KEY)
    by_nature = pc.or_kleene(
        pc.is_in(kinds, value_set=pa.array(_ONEWAY_BY_NATURE)),
        pc.equal(column("junction"), "roundabout").fill_null(False),
    )
    forward, backward, _ = directions(
        pc.coalesce(column("oneway"), pc.if_else(by_nature, "yes", None))
    )
    barred = np.array(
        [any(one.get(k) in _NO_ENTRY for k in ("access", "vehicle", "motor_vehicle"))
         for one in tags],
        dtype=np.bool_,
    )  # fmt: skip
    row = classes.rows_of(kinds)
    none = np.full(len(owner), np.nan)
    return StreetLines(
        parts,
        np.array([found[place].osm_id for place in at], dtype=object)[owner],
        np.array([one.get("name") for one in tags], dtype=object)[owner],
        row[owner],
        forward[owner],
        backward[owner],
        (classes.drivable[row] & ~barred)[owner],
        speed_km_h(column("maxspeed"))[owner],
        none,
        np.array([not _hidden(one) for one in tags], dtype=np.bool_)[owner],
    )


def _zones(
    found: list[OsmObject], shapes: Geometries, targets: Targets, at: Ints
) -> tuple[pa.Table, tuple[Finding, ...]]:
    pairs = [
        (place, row)
        for place in at.tolist()
        if not _hidden(found[place].tags)
        for row in _zone_rows(targets, found[place].tags, found[place].form)
    ]
    rows = [targets.table.rows[row] for _, row in pairs]
    tags = [found[place].tags for place, _ in pairs]
    own = [one.get("opening_hours") for one in tags]
    unread = [
        place for (place, _), text in zip(pairs, own, strict=True)
        if text is not None and open_share(text) is None
    ]  # fmt: skip
    hours = [
        text if text is not None and open_share(text) is not None else row["use_hours"] or None
        for text, row in zip(own, rows, strict=True)
    ]
    shares = [None if text is None else open_share(text) for text in hours]
    which = np.array([row for _, row in pairs], dtype=np.int64)
    building = [row["key"] == _BUILDING_KEY for row in rows]
    table = pa.table(
        {
            "zone_id": pa.array(
                [f"{found[place].osm_id}{':building' if b else ''}"
                 for (place, _), b in zip(pairs, building, strict=True)], type=pa.string(),
            ),
            "name": pa.array([one.get("name") for one in tags], type=pa.string()),
            "kind": pa.array([row["kind"] for row in rows], type=pa.string()),
            "how": pa.array(["building" if b else "map_tag" for b in building], type=pa.string()),
            "occupancy": pa.array([row["occupancy"] for row in rows], type=pa.string()),
            "persons_per_h": number_column(targets.persons_per_h[which]),
            "open_share": pa.array(shares, type=pa.float64()),
            "vehicles_per_day": pa.nulls(len(pairs), pa.float64()),
            "speed_km_h": pa.nulls(len(pairs), pa.float64()),
            "static": pa.array(targets.static[which] > 0),
            "open_hours": pa.array(hours, type=pa.string()),
            "source": pa.array(
                [f"osm_targets: {row['key']}={row['value']}" for row in rows], type=pa.string()
            ),
            "numbers_from": pa.repeat("table", len(pairs)),
            "geometry": wkb_column(shapes[[place for place, _ in pairs]]),
        }
    )  # fmt: skip
    findings = _said(
        sorted(set(unread)), found, "open_hours_unreadable", Done.FLAGGED,
        "The opening hours are not understood; those of the tag table are used.",
        "Give the place in a zones file of the city if it matters.",
    )  # fmt: skip
    return table, findings


def _basemap(
    found: list[OsmObject], shapes: Geometries, targets: Targets, *, take: bool
) -> pa.Table:
    at: list[int] = []
    kinds: list[str] = []
    for place, one in enumerate(found if take else []):
        kind = _drawn_as(one, targets)
        if kind is not None and shapes[place] is not None:
            at.append(place)
            kinds.append(kind)
    return pa.table(
        {
            "kind": pa.array(kinds, type=pa.string()),
            "name": pa.array([found[place].tags.get("name") for place in at], type=pa.string()),
            "geometry": wkb_column(shapes[at]),
        }
    )


def _drawn_as(one: OsmObject, targets: Targets) -> str | None:
    """What the ground map shows an area as; None for all else."""
    if one.form != "area":
        return None
    if one.tags.get(_BUILDING_KEY, "no") != "no":
        return "building"
    row = targets.row(one.tags)
    kind = None if row is None else targets.table.rows[row]["kind"]
    if kind in _DRAWN:
        return kind
    green = any(one.tags.get(key) == value for key, value in _GREEN)
    return "park" if green else None

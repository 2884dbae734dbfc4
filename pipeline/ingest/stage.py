"""The ingest stage: the files that the settings name, read, checked, joined and written."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pyarrow as pa

from pipeline.geo import crs as geo_crs
from pipeline.geo.shapes import from_wkb
from pipeline.ingest import (
    derived,
    derived_rows,
    evidence,
    history,
    inspections,
    notes_evidence,
    osm,
    places,
    points,
    shared_points,
    sightings,
    siting,
    sizes,
    streets,
    trees,
    vintages,
    writing,
    zones,
)
from pipeline.ingest.accounts import File
from pipeline.ingest.checks import ranges
from pipeline.ingest.darwin_core_terms import Standard
from pipeline.ingest.gathering import Gathered, Read, gather, raw_of_map
from pipeline.ingest.measured import ReadingLimits
from pipeline.ingest.names import NameBook
from pipeline.ingest.points import Places
from pipeline.ingest.quarantine import Finding, accepted_mask
from pipeline.ingest.siting import Site
from pipeline.ingest.vintage_rows import Limits as VintageLimits
from pipeline.progress import Teller
from pipeline.published.table import Library
from pipeline.settings.model import RunSettings
from pipeline.tables import catalogue_ingest as tables
from pipeline.tables.catalogue_notes import NOTES
from pipeline.tables.catalogue_places import BASEMAP, STREET_NODES, STREETS, WARDS, ZONES
from pipeline.tables.catalogue_reading import HISTORY
from pipeline.tables.schema import TableSchema
from pipeline.tables.store import RunStore


@dataclass(frozen=True)
class _Ground:
    """Tables of the ground under the trees, and the accounts of their files."""

    written: dict[TableSchema, pa.Table]
    files: tuple[File, ...]


@dataclass(frozen=True)
class _Past:
    """Tables of what people found and did, the trees as that leaves them, and the accounts."""

    trees: pa.Table
    written: dict[TableSchema, pa.Table]
    files: tuple[File, ...]


def run(settings: RunSettings, store: RunStore, library: Library, teller: Teller) -> None:
    """Read all inputs and write every table of the ingest stage, empty where there is no input.

    Raises
    ------
    NoPlaceError
        If no tree has a place; the account is written before.
    InputError
        If a file as a whole cannot be used.
    ManyFaults
        If several cannot.
    """
    teller.step("reading the files")
    gathered = _gathered(settings, library)
    teller.step("placing the trees")
    try:
        site = siting.settle(
            gathered["trees"], gathered["wards"],
            crs=settings.settings.city.crs, where=str(settings.settings_path),
        )  # fmt: skip
    except siting.NoPlaceError:
        _tell_unplaced(settings, store, library, gathered["trees"])
        raise
    store.epsg = site.epsg
    teller.step("reading the ground")
    ground = _ground(settings, gathered, site, library)
    teller.step("cleaning the trees")
    fungi = _fungi(settings, library)
    names = _tree_names(settings, library)
    inventory = _inventory(names, gathered, site, library, ground.written[WARDS])
    earlier = vintages.compare(
        inventory, gathered["trees"], gathered["earlier_trees"],
        epsg=site.epsg, book=names, as_of=settings.as_of,
        limits=VintageLimits.of(library.table("vintage_limits")),
    )  # fmt: skip
    inventory = earlier.inventory
    teller.step("merging inspections and work done")
    limits = ReadingLimits.of(library.table("reading_limits"))
    past = _history(gathered, inventory.table, settings.as_of, limits)
    teller.step("joining the sightings")
    joined, seen = _sightings(settings, gathered, site, past.trees, fungi)
    remarks = _remarks(settings, gathered, trees.as_told(past.trees, inventory.table), library)
    said = (*_said_by_rows(settings, gathered, past.trees, fungi, limits), remarks.derived)
    reported = {
        **past.written, tables.SIGHTINGS: joined.table, tables.SIGHTING_MATCHES: joined.matches,
    }  # fmt: skip
    evident = derived_rows.merged(reported, said, trees=past.trees, book=fungi)
    teller.step("writing")
    beside = remarks.beside(derived_rows.account(said, evident, past.trees))
    tree_files = _tree_files(gathered, site, inventory, said, beside)
    files = (*tree_files, *seen, *ground.files, *past.files)
    files += tuple(_file(read, found) for read, found in earlier.files)
    written = {
        tables.TREES: past.trees,
        **evident,
        **ground.written,
        HISTORY: earlier.history,
        NOTES: remarks.table,
    }
    writing.write(store, written, files, library, fungi)


def _gathered(settings: RunSettings, library: Library) -> Gathered:
    """All files read and mapped, the sizes of trees held against one another."""
    status = library.table("status_words", key=("word",))
    words = dict(zip(status.texts("word"), status.texts("status"), strict=True))
    found = gather(
        settings,
        limits=ranges(library.table("plausible_ranges", key=("input", "column"))),
        vocabulary={"status": words},
        standard=Standard.of(library),
    )
    return sizes.of_trees(found, sizes.SizeChecks.of(library.table("size_checks")))


def _tell_unplaced(
    settings: RunSettings, store: RunStore, library: Library, reads: Sequence[Read]
) -> None:
    """Write the account of an inventory without any place: every row is set aside, and told."""
    crs = settings.settings.city.crs
    if crs is not None:
        store.epsg = geo_crs.metric_epsg(crs, where=f"{settings.settings_path}, key city.crs")
    where = tuple(points.read_places(read.mapped, crs=read.spec.crs, need=False) for read in reads)
    names = _tree_names(settings, library)
    found = _trees_of(names, library, reads, where, epsg=geo_crs.WGS84, wards=None).findings
    files = [
        _file(read, (*own, *again), crs=place.crs)
        for read, place, own, again in zip(
            reads, where, found, trees.repeated_ids([read.mapped for read in reads]), strict=True
        )
    ]
    writing.write(store, {}, files, library, _fungi(settings, library))


def _fungi(settings: RunSettings, library: Library) -> NameBook:
    return NameBook.of_fungi(
        library.table("taxa"), library.table("taxon_names", key=("name", "taxon_id")),
        least_score=settings.settings.matching.misspelling_score,
    )  # fmt: skip


def _inventory(
    names: NameBook, gathered: Gathered, site: Site, library: Library, wards: pa.Table
) -> trees.Inventory:
    polygons = trees.Wards(from_wkb(wards["geometry"].to_numpy()), tuple(wards["name"].to_pylist()))
    return _trees_of(names, library, gathered["trees"], site.places, epsg=site.epsg, wards=polygons)


def _trees_of(
    names: NameBook,
    library: Library,
    reads: Sequence[Read],
    where: Sequence[Places],
    *,
    epsg: int,
    wards: trees.Wards | None,
) -> trees.Inventory:
    species = library.table("tree_species")
    return trees.build(
        [read.mapped for read in reads],
        where,
        epsg=epsg,
        wards=wards,
        book=names,
        species=species,
    )


def _tree_names(settings: RunSettings, library: Library) -> NameBook:
    return NameBook.of_trees(
        library.table("tree_species"), library.table("tree_names", key=("name", "species")),
        least_score=settings.settings.matching.misspelling_score,
    )  # fmt: skip


def _said_by_rows(
    settings: RunSettings,
    gathered: Gathered,
    inventory: pa.Table,
    fungi: NameBook,
    limits: ReadingLimits,
) -> tuple[derived.Derived, ...]:
    """What each reader of columns or notes made of the tree files; one entry a reader."""
    reads = gathered["trees"]
    columns = evidence.read(
        [read.mapped for read in reads], [read.spec.surveyed_on for read in reads],
        trees=inventory, book=fungi, limits=limits, as_of=settings.as_of,
    )  # fmt: skip
    return (columns,)


def _remarks(
    settings: RunSettings, gathered: Gathered, inventory: pa.Table, library: Library
) -> notes_evidence.Said:
    """What the free-text notes of the trees say, where they are to be read."""
    if not settings.settings.ingest.read_notes:
        return notes_evidence.nothing()
    days = {read.mapped.raw.source_key: read.spec.surveyed_on for read in gathered["trees"]}
    return notes_evidence.read(inventory, library, surveyed_on=days)


def _tree_files(
    gathered: Gathered,
    site: Site,
    inventory: trees.Inventory,
    said: Sequence[derived.Derived],
    counted: Mapping[int, tuple[int, str]],
) -> tuple[File, ...]:
    """The accounts of the tree files, with what was read from their rows beside the trees."""
    shared = shared_points.notes(inventory.table)
    files = []
    for number, (read, place, found) in enumerate(
        zip(gathered["trees"], site.places, inventory.findings, strict=True)
    ):
        beside = tuple(one for part in said if part.findings for one in part.findings[number])
        key = read.mapped.raw.source_key
        many, words = counted.get(key, (0, ""))
        notes = tuple(note for note in (shared.get(key), words) if note)
        file = _file(read, (*found, *beside), crs=place.crs, notes=notes)
        files.append(replace(file, derived=many))
    return tuple(files)


def _sightings(
    settings: RunSettings, gathered: Gathered, site: Site, inventory: pa.Table, fungi: NameBook
) -> tuple[sightings.Joined, tuple[File, ...]]:
    reads = gathered["sightings"]
    judged = []
    for read in reads:
        raw = points.read_places(read.mapped, crs=read.spec.crs, need=False)
        judged.append(
            points.judged(
                read.mapped, raw, city=site.city, wanted=read.spec.bounding_box,
                swappable=raw.in_degrees,
            )
        )  # fmt: skip
    joined = sightings.build(
        [read.mapped for read in reads],
        judged,
        sightings.TreeIndex(
            inventory["tree_id"].combine_chunks(),
            inventory["x_m"].to_numpy(),
            inventory["y_m"].to_numpy(),
            inventory["status"].combine_chunks().cast(pa.string()),
        ),
        epsg=site.epsg,
        book=fungi,
        settings=settings.settings.matching,
    )
    files = tuple(
        _file(
            read, found, crs=place.crs,
            notes=(sightings.PSEUDONYM_NOTE,) if read.mapped.has("observer") else (),
        )
        for read, place, found in zip(reads, judged, joined.findings, strict=True)
    )  # fmt: skip
    return joined, files


def _history(gathered: Gathered, inventory: pa.Table, as_of: date, limits: ReadingLimits) -> _Past:
    """Inspections, decisions and work done, and what they change on the trees."""
    tree_id = inventory["tree_id"].combine_chunks()
    mapped = {
        kind: [read.mapped for read in gathered[kind]]
        for kind in ("inspections", "decisions", "work_done")
    }
    dbh_cm = inventory["dbh_cm"].to_numpy(zero_copy_only=False)
    looked = inspections.build(mapped["inspections"], tree_id, dbh_cm=dbh_cm, limits=limits)
    decided = history.decisions(mapped["decisions"], tree_id)
    work = history.work_done(mapped["work_done"], tree_id)
    after = history.changes(looked.inspections, work.table, trees=len(tree_id), as_of=as_of)
    found = {
        "inspections": looked.findings, "decisions": decided.findings, "work_done": work.findings,
    }  # fmt: skip
    files = tuple(
        _file(read, findings)
        for kind, several in found.items()
        for read, findings in zip(gathered[kind], several, strict=True)
    )
    written = {
        tables.INSPECTIONS: looked.inspections,
        tables.DEFECTS: looked.defects,
        tables.READINGS: looked.readings,
        tables.DECISIONS: decided.table,
        tables.WORK_DONE: work.table,
    }
    return _Past(trees.changed(inventory, after), written, files)


def _ground(settings: RunSettings, gathered: Gathered, site: Site, library: Library) -> _Ground:
    """Wards, zones, streets and the ground map, of files and of a map extract."""
    classes = streets.RoadClasses.of(library.table("street_classes"))
    files: list[File] = []
    parts: dict[str, list[pa.Table]] = {"wards": [], "zones": [], "basemap": []}
    for kind, part_of in (
        ("wards", places.wards), ("zones", zones.survey), ("basemap", places.basemap),
    ):  # fmt: skip
        for read in gathered[kind]:
            part = part_of(read.mapped, epsg=site.epsg, crs=read.spec.crs)
            parts[kind].append(part.table)
            files.append(_file(read, part.findings))
    lines = []
    for read in gathered["streets"]:
        street = streets.lines_of(read.mapped, classes, epsg=site.epsg, crs=read.spec.crs)
        lines.append(street.lines)
        files.append(_file(read, street.findings, notes=(street.note,) if street.note else ()))
    extract = settings.settings.inputs.osm
    if extract is not None and set(extract.take) - {"trees"}:
        found = osm.read_map(
            settings.data_dir / extract.file, osm.Targets.of(library.table("osm_targets")), classes,
            where=f"map extract {extract.file}", epsg=site.epsg, take=extract.take,
        )  # fmt: skip
        raw = raw_of_map(
            settings, extract.file, kind="osm", source_key=gathered.next_source, data=found.objects
        )
        files.append(File(raw, found.findings, _accepted(len(raw), found.findings)))
        lines.append(found.lines)
        parts["zones"].append(found.zones)
        parts["basemap"].append(found.basemap)
    whole = streets.StreetLines.joined(lines)
    graph = streets.graph(whole, classes)
    parts["zones"].append(zones.of_lines(whole, classes))
    written = {
        WARDS: places.keyed(WARDS, parts["wards"]),
        ZONES: places.keyed(ZONES, parts["zones"]),
        BASEMAP: places.keyed(BASEMAP, parts["basemap"]),
        STREET_NODES: graph.nodes,
        STREETS: graph.edges,
    }
    return _Ground(written, tuple(files))


def _file(
    read: Read,
    findings: Sequence[Finding],
    *,
    crs: str | None = None,
    notes: tuple[str, ...] = (),
) -> File:
    """The account of a file: what its map found, then what its stage found."""
    every = (*read.mapped.findings, *findings)
    size = _accepted(len(read.mapped), every)
    return File(read.mapped.raw, every, size, read.mapped, crs, (*read.mapped.notes, *notes))


def _accepted(size: int, findings: Sequence[Finding]) -> int:
    return int(np.count_nonzero(accepted_mask(size, findings)))

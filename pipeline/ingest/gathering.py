"""All files that the settings name, read and mapped; the faults of all of them told together."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pyarrow as pa

from pipeline.errors import ManyFaults, PipelineError
from pipeline.ingest import darwin_core, decoding, osm_trees
from pipeline.ingest.bidi import without_marks
from pipeline.ingest.checks import Ranges, within_ranges, without_hollow_rows
from pipeline.ingest.column_map import ColumnMap, raise_all
from pipeline.ingest.columns import Mapped, Vocabulary, apply
from pipeline.ingest.darwin_core_terms import Standard
from pipeline.ingest.readers import RawTable, read_input
from pipeline.settings.model import InputFile, RunSettings

KINDS = (
    "trees", "sightings", "inspections", "zones", "streets", "wards", "basemap", "decisions",
    "work_done", "earlier_trees",
)  # fmt: skip
# An earlier vintage is read as trees are; only its account is its own.
_READ_AS = {"earlier_trees": "trees"}


@dataclass(frozen=True)
class Read:
    """One file as read and mapped, and what the settings say about it."""

    mapped: Mapped
    spec: InputFile


@dataclass(frozen=True)
class Gathered:
    """All files by kind of input; source keys count from 0 in this order."""

    by_kind: Mapping[str, tuple[Read, ...]]

    def __getitem__(self, kind: str) -> tuple[Read, ...]:
        """The files of one kind."""
        return self.by_kind[kind]

    @property
    def next_source(self) -> int:
        """The source key of a file read after all these."""
        return sum(len(files) for files in self.by_kind.values())


def gather(
    settings: RunSettings, *, limits: Ranges, vocabulary: Vocabulary, standard: Standard
) -> Gathered:
    """Read and map every file that the settings name.

    Parameters
    ----------
    standard : the Darwin Core terms under which sightings without a column map are understood.

    Raises
    ------
    InputError
        If one file cannot be used.
    SettingsError
        If one column map cannot be used.
    ManyFaults
        If several cannot.
    """
    faults: list[PipelineError] = []
    by_kind: dict[str, tuple[Read, ...]] = {}
    count = 0
    for kind in KINDS:
        found: list[Read] = []
        for spec in getattr(settings.settings.inputs, kind):
            try:
                raws = read_input(
                    spec, kind=_READ_AS.get(kind, kind), data_dir=settings.data_dir,
                    source_key_start=count, archives_up_to=standard.archives_up_to,
                )  # fmt: skip
                count += len(raws)
                found += [
                    Read(
                        _of_kind(
                            _understood(raw, spec, settings, limits, vocabulary, standard), kind
                        ),
                        spec,
                    )
                    for raw in raws
                ]
            except ManyFaults as several:
                faults += several.faults
            except PipelineError as fault:
                faults.append(fault)
        osm = settings.settings.inputs.osm
        if kind == "trees" and osm is not None and "trees" in osm.take and not faults:
            found.append(_osm_trees(settings, osm.file, count, limits, vocabulary))
            count += 1
        by_kind[kind] = tuple(found)
    if faults:
        raise_all(faults)
    return Gathered(by_kind)


def _of_kind(mapped: Mapped, kind: str) -> Mapped:
    """The file under the kind of input that the settings name it as."""
    if mapped.raw.kind == kind:
        return mapped
    return replace(mapped, raw=replace(mapped.raw, kind=kind))


def raw_of_map(
    settings: RunSettings, file: str, *, kind: str, source_key: int, data: pa.Table
) -> RawTable:
    """The account's view of what was taken out of a map extract."""
    content = decoding.file_bytes(settings.data_dir / file, where=f"map extract {file}")
    return RawTable(
        source_key=source_key,
        kind=kind,
        file=file,
        sha256=hashlib.sha256(content).hexdigest(),
        bytes=len(content),
        format="OpenStreetMap extract",
        data=data,
        rows=np.arange(1, data.num_rows + 1),
    )


def _mapped(
    raw: RawTable,
    spec: InputFile,
    settings: RunSettings,
    limits: Ranges,
    vocabulary: Vocabulary,
) -> Mapped:
    if spec.columns is None:
        column_map = ColumnMap.of_headers(
            raw.data.column_names, kind=raw.kind, where=f"{raw.kind} file {raw.file}"
        )
    else:
        column_map = ColumnMap.load(
            spec.columns, folder=settings.column_maps_dir, beside=settings.settings_path.parent
        )
    raw, marked = without_marks(raw)
    mapped = apply(raw, column_map, raw.kind, vocabulary=vocabulary).with_changes({}, marked)
    mapped = without_hollow_rows(mapped)
    return within_ranges(mapped, limits, as_of=settings.as_of)


def _understood(
    raw: RawTable,
    spec: InputFile,
    settings: RunSettings,
    limits: Ranges,
    vocabulary: Vocabulary,
    standard: Standard,
) -> Mapped:
    """Sightings under Darwin Core terms without a map are read as such, all else by its map."""
    plain = raw.kind == "sightings" and spec.columns is None
    if not (plain and standard.is_recognised(raw.data.column_names)):
        return _mapped(raw, spec, settings, limits, vocabulary)
    raw, marked = without_marks(raw)
    mapped = darwin_core.read(raw, standard, vocabulary=vocabulary).with_changes({}, marked)
    return within_ranges(without_hollow_rows(mapped), limits, as_of=settings.as_of)


def _osm_trees(
    settings: RunSettings, file: str, source_key: int, limits: Ranges, vocabulary: Vocabulary
) -> Read:
    where = f"map extract {file}"
    decoding.file_bytes(settings.data_dir / file, where=where)
    table, findings = osm_trees.read_trees(Path(settings.data_dir / file), where=where)
    raw = raw_of_map(settings, file, kind="trees", source_key=source_key, data=table)
    spec = InputFile(files=(file,))
    mapped = _mapped(raw, spec, settings, limits, vocabulary)
    return Read(mapped.with_changes({}, findings), spec)

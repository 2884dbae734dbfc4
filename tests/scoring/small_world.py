"""A small street of trees, written through the store as ingest would write it.

Rows name only the columns that matter; the rest takes an empty or plain value of its type.
"""

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pyarrow as pa
import shapely

from pipeline.progress import Silent
from pipeline.published.table import Library
from pipeline.scoring import stage
from pipeline.settings.model import (
    City,
    InputFile,
    Inputs,
    Planning,
    Rating,
    RunSettings,
    Settings,
    Wind,
)
from pipeline.settings.quarter import Quarter
from pipeline.tables.catalogue import TABLES, tables_of
from pipeline.tables.schema import Kind, TableSchema
from pipeline.tables.store import RunStore

AS_OF = date(2026, 11, 15)
REGION = "us-mi"
DEFAULT_RATING = Rating()
DEFAULT_WIND = Wind()
Rows = Sequence[Mapping[str, Any]]

_PLAIN: dict[Kind, Any] = {
    Kind.TEXT: "",
    Kind.LABEL: "",
    Kind.BOOL: False,
    Kind.FLOAT: 0.0,
    Kind.DATE: AS_OF,
}
# What a row has when the test does not say: a sound, public maple of 40 cm and 14 m.
_DEFAULTS: dict[str, Mapping[str, Any]] = {
    "trees": {
        "shares_place": 1, "species_how": "exact", "genus": "Acer", "species": "Acer rubrum",
        "wood": "broadleaf", "dbh_cm": 40.0, "dbh_how": "measured", "height_m": 14.0,
        "crown_width_m": 8.0, "status": "standing", "owner": "public", "wires": "none", "row": 1,
    },
    "sightings": {
        "row": 1, "name_how": "exact", "name_by": "specialist", "attachment": "attached",
        "match": "by_id", "match_weight": 1.0, "seen_on": date(2026, 10, 1),
    },
    "inspections": {"inspected_on": date(2026, 9, 1)},
    "defects": {"latest": True, "seen_on": date(2026, 9, 1), "part": "stem"},
    "readings": {"measured_on": date(2026, 9, 1), "part": "stem", "reading": "drill"},
    "zones": {"how": "survey", "kind": "path", "occupancy": "frequent"},
    "decisions": {"decided_on": date(2026, 11, 1)},
    "quarantine": {"row": 1},
}  # fmt: skip


def table(schema: TableSchema, rows: Rows) -> pa.Table:
    """Rows completed with plain values, as the declaration wants them."""
    defaults = _DEFAULTS.get(schema.name, {})
    numbered = schema.key[0] if len(schema.key) == 1 else None
    columns = {}
    for column in schema.columns:
        plain = None if column.nullable else _PLAIN.get(column.kind, 0)
        if column.allowed and not column.nullable:
            plain = column.allowed[0]
        columns[column.name] = [
            row.get(
                column.name,
                number if column.name == numbered else defaults.get(column.name, plain),
            )
            for number, row in enumerate(rows)
        ]
    arrays = []
    for column in schema.columns:
        kind = pa.string() if column.kind is Kind.LABEL else column.arrow_type
        arrays.append(pa.array(columns[column.name], kind))
    return pa.table(dict(zip(schema.column_names, arrays, strict=True)))


def settings(
    tmp: Path,
    *,
    rating: Rating = DEFAULT_RATING,
    region: str = REGION,
    wind: Wind = DEFAULT_WIND,
) -> RunSettings:
    """Settings of a town in Michigan, for the oak-wilt window with a printed date."""
    return RunSettings(
        settings=Settings(
            city=City(name="Larkmere", region=region, wind=wind),
            inputs=Inputs(trees=(InputFile(files=("trees.csv",)),)),
            rating=rating,
            planning=Planning(),
        ),
        settings_path=tmp / "town.toml",
        data_dir=tmp,
        as_of=AS_OF,
        first_quarter=Quarter(2027, 1),
        overrides_dir=None,
        column_maps_dir=tmp,
        rules_dir=tmp,
    )


def street(y_m: float, *, to_m: float = 1000.0) -> bytes:
    """A straight street along x."""
    return bytes(shapely.to_wkb(shapely.LineString([(0.0, y_m), (to_m, y_m)])))


def box(x_m: float, y_m: float, size_m: float) -> bytes:
    """A square with its lower left corner there."""
    return bytes(shapely.to_wkb(shapely.box(x_m, y_m, x_m + size_m, y_m + size_m)))


def score(
    tmp: Path,
    tables: Mapping[str, Rows],
    *,
    library: Library | None = None,
    rating: Rating = DEFAULT_RATING,
    region: str = REGION,
    wind: Wind = DEFAULT_WIND,
) -> RunStore:
    """Write the tables of ingest, run the scoring stage, return the store."""
    store = RunStore(tmp)
    for schema in tables_of("ingest"):
        store.write(schema, table(schema, tables.get(schema.name, ())))
    given = settings(tmp, rating=rating, region=region, wind=wind)
    stage.run(given, store, library or Library(), Silent())
    return store


def rows(store: RunStore, name: str) -> list[dict[str, Any]]:
    """The rows of a scoring table."""
    return list(store.read(TABLES[f"scoring.{name}"]).to_pylist())

"""Evidence that rows of the tree files tell of, as arrays; derived_rows adds it to the tables.

Columns that are evidence and remarks that were read both come as `Derived`: arrays that name the
tree by its key, so that nothing has to be joined, with the words on which they rest. They are
counted apart from the rows of files: rows in = accepted + set aside stays true of every file.
"""

from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa

from pipeline.ingest.columns import Mapped
from pipeline.ingest.quarantine import Finding
from pipeline.units import Flags, Floats, Ints


@dataclass(frozen=True, slots=True)
class DerivedSightings:
    """Fruiting bodies, each on the tree whose row tells of it; every array of length n.

    Parameters
    ----------
    origin : column or note.
    tree_key : the tree.
    quoted : the words on which it rests, text.
    name : the fungus as told, null where none is named ("champignon").
    name_certainty : 0 to 1, NaN where nothing says how sure the name is.
    name_by, attachment : words of the canonical columns; null reads as unknown.
    position : words of the canonical column joined with |, or null.
    seen_on : date, null where it is not known.
    flags : codes joined with |, empty where there are none.
    """

    origin: str
    tree_key: Ints
    quoted: pa.Array
    name: pa.Array
    name_certainty: Floats
    name_by: pa.Array
    attachment: pa.Array
    position: pa.Array
    seen_on: pa.Array
    flags: pa.Array

    def __len__(self) -> int:
        """Number of sightings."""
        return len(self.tree_key)


@dataclass(frozen=True, slots=True)
class DerivedDefects:
    """Defects, each on the tree whose row tells of it; every array of length n.

    Parameters
    ----------
    origin : column or note.
    tree_key : the tree.
    quoted : the words on which it rests, text.
    part, defect : words of the canonical columns.
    extent_share : share of girth, crown or roots, NaN where not told.
    with_decay, with_crack : True where the words say so.
    seen_on : date, null where it is not known.
    flags : codes joined with |, empty where there are none.
    """

    origin: str
    tree_key: Ints
    quoted: pa.Array
    part: pa.Array
    defect: pa.Array
    extent_share: Floats
    with_decay: Flags
    with_crack: Flags
    seen_on: pa.Array
    flags: pa.Array

    def __len__(self) -> int:
        """Number of defects."""
        return len(self.tree_key)


@dataclass(frozen=True, slots=True)
class DerivedReadings:
    """Measurements of wood, each of the tree whose row tells of it; every array of length n.

    Parameters
    ----------
    part, reading, reading_result : words of the canonical columns; no result where not sounded.
    measures : canonical column that `value` stands in, None where nothing was measured.
    measured_on : date, null where it is not known.
    """

    origin: str
    tree_key: Ints
    quoted: pa.Array
    part: pa.Array
    reading: pa.Array
    reading_result: pa.Array
    measures: str | None
    value: Floats
    measured_on: pa.Array

    def __len__(self) -> int:
        """Number of readings."""
        return len(self.tree_key)


@dataclass(frozen=True, slots=True)
class DerivedDecisions:
    """Decisions, each about the tree whose row tells of it; every array of length n."""

    origin: str
    tree_key: Ints
    quoted: pa.Array
    decision: pa.Array
    value: pa.Array
    until: pa.Array
    decided_on: pa.Array

    def __len__(self) -> int:
        """Number of decisions."""
        return len(self.tree_key)


@dataclass(frozen=True, slots=True)
class Derived:
    """What one reader made of the tree files.

    Parameters
    ----------
    findings : what it met in each tree file, in their order; it sets no row aside.
    """

    sightings: tuple[DerivedSightings, ...] = ()
    defects: tuple[DerivedDefects, ...] = ()
    readings: tuple[DerivedReadings, ...] = ()
    decisions: tuple[DerivedDecisions, ...] = ()
    findings: tuple[tuple[Finding, ...], ...] = field(default=())

    @property
    def tree_keys(self) -> tuple[Ints, ...]:
        """Keys of the trees that each part tells of."""
        return (
            *(part.tree_key for part in self.sightings),
            *(part.tree_key for part in self.defects),
            *(part.tree_key for part in self.readings),
            *(part.tree_key for part in self.decisions),
        )


def keys_of_rows(mapped: Mapped, trees: pa.Table) -> Ints:
    """Key of the tree of each row of a tree file, -1 where it was set aside; shape (rows,).

    Parameters
    ----------
    trees : ingest.trees, in the order of their keys.
    """
    own = np.flatnonzero(trees["source_key"].to_numpy() == mapped.raw.source_key)
    kept = trees["row"].to_numpy()[own]
    order = np.argsort(kept)
    rows = np.asarray(mapped.raw.rows, dtype=np.int64)
    if not len(own):
        return np.full(len(rows), -1, dtype=np.int64)
    at = np.minimum(np.searchsorted(kept, rows, sorter=order), len(own) - 1)
    found = own[order[at]]
    return np.where(kept[order[at]] == rows, found, -1).astype(np.int64)

"""Remarks on the review list: every tree whose remark said something, with the words."""

import numpy as np
import pyarrow as pa

from pipeline.scoring.assembly.columns import codes, dictionary, texts, truths, whole
from pipeline.scoring.assembly.reviews import ReviewList
from pipeline.units import Ints

NOTE_COLUMNS = (
    "tree_key", "word", "taxon_id", "part", "polarity", "quoted", "speaks_of_danger", "used",
)  # fmt: skip
_COUNTED, _SUSPECTED = "counted", "suspected"


def of_notes(
    reviews: ReviewList, notes: pa.Table, names: dict[str, str], tree_id: pa.ChunkedArray
) -> None:
    """One review a tree; trees whose remarks say the same share its making.

    Parameters
    ----------
    notes : ingest.notes, in the order of its trees.
    names : accepted name of each taxon.
    tree_id : of ingest.trees.
    """
    heard = notes.filter(pa.array(codes(notes, "used", (_COUNTED,)) < 0))
    if not heard.num_rows:
        return
    tree = whole(heard, "tree_key")
    starts = np.flatnonzero(np.append(True, np.diff(tree) != 0))
    length = np.diff(np.append(starts, len(tree)))
    alike = _alike(heard)
    said = np.full((len(starts), int(length.max())), -1, np.int64)
    within = np.arange(len(tree)) - np.repeat(starts, length)
    said[np.repeat(np.arange(len(starts)), length), within] = alike
    different, group = np.unique(said, axis=0, return_inverse=True)
    told = _told(heard, names)
    danger = np.logical_or.reduceat(truths(heard, "speaks_of_danger"), starts)
    order = np.argsort(group.reshape(-1), kind="stable")
    ends = np.cumsum(np.bincount(group.reshape(-1), minlength=len(different)))
    for numbers, mine in zip(different, np.split(order, ends[:-1]), strict=True):
        own = [told[at] for at in numbers.tolist() if at >= 0]
        code = "note_danger" if danger[mine[0]] else "note_read"
        keys = tree[starts[np.sort(mine)]]
        reviews.add_many(code, {"told": own}, trees=keys, ids=tree_id.take(keys).to_pylist())


def _alike(heard: pa.Table) -> Ints:
    """Rows that say the same have the same number: that of the first of them."""
    columns = [dictionary(heard, name)[0] for name in NOTE_COLUMNS[1:6]]
    _, first, group = np.unique(
        np.column_stack(columns), axis=0, return_index=True, return_inverse=True
    )
    return np.asarray(first[group.reshape(-1)], np.int64)


def _told(heard: pa.Table, names: dict[str, str]) -> dict[int, dict[str, object]]:
    """What each different finding says, by the number of its first row."""
    numbers = np.unique(_alike(heard))
    own = heard.take(pa.array(numbers))
    columns = [texts(own, name) for name in ("word", "taxon_id", "part", "polarity", "quoted")]
    return {
        number: {
            "word": word, "name": names.get(taxon or ""), "part": part,
            "doubted": polarity == _SUSPECTED, "quoted": quoted,
        }
        for number, word, taxon, part, polarity, quoted in zip(
            numbers.tolist(), *columns, strict=True
        )
    }  # fmt: skip

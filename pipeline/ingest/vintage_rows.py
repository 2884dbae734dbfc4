"""Two vintages of an inventory as arrays: which rows are one tree, and what differs."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest.repeats import plain_header
from pipeline.published.table import PublishedTable
from pipeline.units import Flags, Floats, Ints

NO_TREE = -1
SHRANK, OTHER_SPECIES = "dbh_shrank", "species_changed"
_TEXTS = ("tree_id", "species_text", "species", "genus")


@dataclass(frozen=True, slots=True)
class Limits:
    """What counts as a difference; from vintage_limits.csv."""

    shrink_cm: float
    moved_m: float
    most_of_one_id: float

    @classmethod
    def of(cls, table: PublishedTable) -> "Limits":
        """The limits of the published table.

        Raises
        ------
        PublishedValueError
            If one of them is missing or no number.
        """
        return cls(*(table.number("limit", quantity=name) for name in cls.__slots__))


@dataclass(frozen=True)
class Vintage:
    """Rows of one vintage; every array of length n, NaN and null where nothing is known."""

    tree_id: pa.Array
    x: Floats
    y: Floats
    dbh_cm: Floats
    species_text: pa.Array
    species: pa.Array
    genus: pa.Array


def joined(vintages: Sequence[Vintage]) -> Vintage:
    """Files of one vintage under each other."""
    texts = {name: pa.concat_arrays([getattr(v, name) for v in vintages]) for name in _TEXTS}
    return Vintage(
        x=np.concatenate([v.x for v in vintages]),
        y=np.concatenate([v.y for v in vintages]),
        dbh_cm=np.concatenate([v.dbh_cm for v in vintages]),
        **texts,
    )


def kept(vintage: Vintage, keep: Flags) -> Vintage:
    """Some rows of a vintage, chosen by a mask of shape (n,)."""
    texts = {name: getattr(vintage, name).filter(pa.array(keep)) for name in _TEXTS}
    return Vintage(x=vintage.x[keep], y=vintage.y[keep], dbh_cm=vintage.dbh_cm[keep], **texts)


def paired(before: Vintage, now: Vintage, *, most: int) -> tuple[Ints, Ints]:
    """Rows of both vintages that are one tree: by id, and by place where an id is repeated."""
    words = pc.unique(pa.concat_arrays([before.tree_id, now.tree_id]).drop_null())
    old, new = (
        pc.index_in(v.tree_id, value_set=words, skip_nulls=True).fill_null(NO_TREE).to_numpy()
        for v in (before, now)
    )
    counts = [np.bincount(code[code >= 0], minlength=len(words)) for code in (old, new)]
    usable = (counts[0] > 0) & (counts[1] > 0) & (counts[0] <= most) & (counts[1] <= most)
    alone = usable & (counts[0] == 1) & (counts[1] == 1)
    place = np.full(len(words) + 1, NO_TREE, np.int64)
    place[new] = np.arange(len(new))
    left = np.flatnonzero(np.append(alone, False)[old])
    right = place[old[left]]
    again = np.flatnonzero(usable & ~alone)
    pairs = [_nearest_first(np.flatnonzero(old == code), np.flatnonzero(new == code), before, now)
             for code in again.tolist()]  # fmt: skip
    again_left = np.array([row for pair in pairs for row in pair[0]], np.int64)
    again_right = np.array([row for pair in pairs for row in pair[1]], np.int64)
    return np.concatenate((left, again_left)), np.concatenate((right, again_right))


def _nearest_first(
    old: Ints, new: Ints, before: Vintage, now: Vintage
) -> tuple[list[int], list[int]]:
    """Pair the few rows of one repeated id, the nearest two first, then what is left in order."""
    apart = np.hypot(
        before.x[old][:, None] - now.x[new][None, :], before.y[old][:, None] - now.y[new][None, :]
    )
    apart = np.where(np.isfinite(apart), apart, np.inf)
    lefts: list[int] = []
    rights: list[int] = []
    for at in np.argsort(apart, axis=None, kind="stable").tolist():
        left, right = int(old[at // len(new)]), int(new[at % len(new)])
        if left not in lefts and right not in rights:
            lefts.append(left)
            rights.append(right)
    return lefts, rights


Marks = dict[str, tuple[Ints, list[str]]]


def changes(
    before: Vintage, now: Vintage, pairs: tuple[Ints, Ints], limits: Limits
) -> tuple[pa.Table, Marks]:
    """Rows of the history, and the trees that are in doubt with what the earlier vintage says."""
    old, new = pairs
    gone = np.setdiff1d(np.arange(len(before.tree_id)), old)
    fresh = np.setdiff1d(np.arange(len(now.tree_id)), new)
    parts = [
        _rows("vanished", before, gone, before=_tree_said(before, gone), after=None, key=None),
        _rows("new", now, fresh, before=None, after=_tree_said(now, fresh), key=fresh),
    ]
    less = now.dbh_cm[new] - before.dbh_cm[old]
    far = np.hypot(now.x[new] - before.x[old], now.y[new] - before.y[old])
    other, reworded = _renamed(before, now, old, new)
    sizes = _said_cm(before.dbh_cm[old]), _said_cm(now.dbh_cm[new])
    names = before.species_text.take(pa.array(old)), now.species_text.take(pa.array(new))
    places = pa.nulls(len(old), pa.string()), _said_m(far)
    for change, mask, (was, is_now) in (
        ("species_changed", other, names),
        ("species_respelt", reworded, names),
        ("shrank", less < 0, sizes),
        ("grew", less > 0, sizes),
        ("moved", far > limits.moved_m, places),
    ):
        at = np.flatnonzero(mask)
        some = pa.array(at)
        parts.append(_rows(change, now, new[at], before=was.take(some), after=is_now.take(some),
                           key=new[at]))  # fmt: skip
    small = np.flatnonzero(less < -limits.shrink_cm)
    marks = {
        SHRANK: (new[small], sizes[0].take(pa.array(small)).to_pylist()),
        OTHER_SPECIES: (new[other], names[0].filter(pa.array(other)).to_pylist()),
    }
    return pa.concat_tables(parts), marks


def _renamed(before: Vintage, now: Vintage, old: Ints, new: Ints) -> tuple[Flags, Flags]:
    """Pairs that name another plant, and pairs that name the same one in other words.

    A genus beside one of its species is the same plant, named less closely.
    """
    left, right = pa.array(old), pa.array(new)

    def differ(name: str) -> pa.Array:
        return pc.not_equal(getattr(before, name).take(left), getattr(now, name).take(right))

    texts = (before.species_text.take(left), now.species_text.take(right))
    reworded = pc.equal(_folded(texts[0]), _folded(texts[1]))
    kin = pc.invert(pc.coalesce(differ("species"), differ("genus"), pa.scalar(True)))
    same = pc.or_(reworded.fill_null(False), kin)
    written = pc.not_equal(*texts).fill_null(False)
    other = pc.and_(written, pc.invert(same))
    return _mask(other), _mask(pc.and_(written, same))


def _mask(truth: pa.Array) -> Flags:
    return np.asarray(truth.to_numpy(zero_copy_only=False), np.bool_)


def _folded(text: pa.Array) -> pa.Array:
    """Names without case, blanks and marks, each different one folded once."""
    coded = text.dictionary_encode()
    plain = [plain_header(name) for name in coded.dictionary.to_pylist()]
    return pa.array(plain, pa.string()).take(coded.indices)


def _tree_said(vintage: Vintage, rows: Ints) -> pa.Array:
    some = pa.array(rows)
    names = vintage.species_text.take(some).fill_null("no name")
    return pc.binary_join_element_wise(
        names, _said_cm(vintage.dbh_cm[rows]).fill_null("no diameter"), ", "
    )


def _said_cm(values: Floats) -> pa.Array:
    shown = pc.round(pa.array(values, from_pandas=True), ndigits=1).cast(pa.string())
    return pc.binary_join_element_wise(shown, "cm", " ")


def _said_m(values: Floats) -> pa.Array:
    shown = pc.round(pa.array(values, from_pandas=True), ndigits=1).cast(pa.string())
    return pc.binary_join_element_wise(shown, "m away", " ")


def _rows(
    change: str,
    of: Vintage,
    rows: Ints,
    *,
    before: pa.Array | None,
    after: pa.Array | None,
    key: Ints | None,
) -> pa.Table:
    size = len(rows)
    nothing = pa.nulls(size, pa.string())
    return pa.table(
        {
            "row_of": pa.array(rows, pa.int64()),
            "tree_key": pa.array(np.full(size, NO_TREE) if key is None else key, pa.int64()),
            "tree_id": of.tree_id.take(pa.array(rows)),
            "change": pa.array([change] * size, pa.string()),
            "before": nothing if before is None else before,
            "after": nothing if after is None else after,
            "x_m": pa.array(np.round(of.x[rows], 3), from_pandas=True),
            "y_m": pa.array(np.round(of.y[rows], 3), from_pandas=True),
        }
    )

"""Rounds of inspection: the looks that are due, street by street and ward by ward.

A city with no evidence at all gets this plan: which streets to walk, how long that takes, and
where a look is worth most.
"""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.scoring.actions.inspection import DUE, NEVER, OVERDUE
from pipeline.scoring.assembly.columns import dates, numbers
from pipeline.scoring.assembly.looked import Looked
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.assembly.works import Works
from pipeline.tables import inputs
from pipeline.units import Floats, Ints

_INSPECT = inputs.ACTIONS.index("inspect")


def rounds_columns(
    trees: Trees, looked: Looked, works: Works, hours: Floats, harm: Floats, *, square_m: float
) -> dict[str, object]:
    """Columns of scoring.inspection_rounds, the round with most harm for an hour first.

    Parameters
    ----------
    works, hours : all candidate actions and the crew-hours of each.
    harm : expected harm a year of each tree, (trees,).
    square_m : side of the squares of trees without a street.
    """
    at = np.flatnonzero(works.chosen & (works.action == _INSPECT))
    tree = works.tree[at]
    table = trees.table.select(["ward", "street", "x_m", "y_m"]).take(pa.array(tree))
    ward, street = (pc.fill_null(table[name].cast(pa.string()), "") for name in ("ward", "street"))
    x, y = numbers(table, "x_m"), numbers(table, "y_m")
    square = _squares(x, y, square_m)
    told = np.asarray(pc.not_equal(street, ""))
    state = looked.standing[tree]
    grouped = (
        pa.table({
            "ward": ward,
            "street": street,
            "square": pa.array(np.where(told, 0, square)),
            "trees": np.ones(len(tree), np.int64),
            "never": (state == NEVER).astype(np.int64),
            "overdue": (state == OVERDUE).astype(np.int64),
            "due": (state == DUE).astype(np.int64),
            "hours": hours[at],
            "harm": harm[tree],
            "x": x,
            "y": y,
            "due_on": pa.array(looked.due[tree], mask=looked.due[tree] < 0),
        })
        .group_by(["ward", "street", "square"], use_threads=False)
        .aggregate([
            *((name, "sum") for name in
              ("trees", "never", "overdue", "due", "hours", "harm")),
            ("x", "mean"), ("y", "mean"), ("due_on", "min"),
        ])
    )  # fmt: skip
    worth = numbers(grouped, "harm_sum") / numbers(grouped, "hours_sum")
    names = [np.asarray(grouped[name].to_pylist(), dtype=object) for name in ("street", "ward")]
    order = np.lexsort((numbers(grouped, "square"), *names, -worth)) if len(worth) else worth
    grouped = grouped.take(pa.array(order.astype(np.int64)))
    earliest = grouped["due_on_min"].fill_null(-1).to_numpy().astype(np.int64)
    return {
        "round_key": np.arange(grouped.num_rows),
        "ward": _or_null(grouped["ward"]),
        "street": _or_null(grouped["street"]),
        **{name: grouped[f"{name}_sum"] for name in ("trees", "never", "overdue", "due", "hours")},
        "harm_per_year": grouped["harm_sum"],
        "earliest_due_on": dates(earliest),
        "x_m": grouped["x_mean"],
        "y_m": grouped["y_mean"],
    }


def _squares(x: Floats, y: Floats, side: float) -> Ints:
    """Number of the square of each place, from 1; shape (places,)."""
    column, row = (np.floor(np.nan_to_num(v) / side).astype(np.int64) for v in (x, y))
    column, row = column - column.min(initial=0), row - row.min(initial=0)
    _, which = np.unique(column * (row.max(initial=0) + 1) + row, return_inverse=True)
    return np.asarray(which.reshape(-1) + 1, np.int64)


def _or_null(texts: pa.ChunkedArray) -> pa.ChunkedArray:
    return pc.if_else(pc.equal(texts, ""), pa.scalar(None, pa.string()), texts)

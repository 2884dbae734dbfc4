"""What to look at and measure: the tests that pay, and the rounds of inspection, as lists.

tests.csv    every test that the rules list, those to be done first, most worth an hour first
rounds.csv   the looks that are due by ward and street, most worth an hour first
"""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.render.context import RenderContext
from pipeline.render.exports.lists import csv_bytes
from pipeline.render.files import write_bytes
from pipeline.render.work_rows import PARTS, RATINGS

_DEGREE_DECIMALS = 6
_SHARES = 3
_REASONS = {
    "names_the_fungus": "Naming the fungus may change more than one part: not reckoned.",
    "no_mechanics": "The wind on such a tree cannot be computed: not reckoned.",
    "cannot_see_rot": "It cannot see this rot: worth nothing here.",
}


def write_tests(context: RenderContext) -> list[Path]:
    """tests.csv."""
    return [write_bytes(context.out / "tests.csv", csv_bytes(tests_table(context)))]


def write_rounds(context: RenderContext) -> list[Path]:
    """rounds.csv."""
    return [write_bytes(context.out / "rounds.csv", csv_bytes(rounds_table(context)))]


def tests_table(context: RenderContext) -> pa.Table:
    """The tests as people read them, with crew-hours summed down the list of those to be done."""
    tests = context.table("scoring.tests_that_pay")
    chosen = np.asarray(tests["chosen"].to_pylist(), np.bool_)
    worth = tests["harm_avoided_per_hour"].fill_null(-np.inf).to_numpy()
    changes = pc.max_element_wise(tests["probability_changes"], tests["probability_together"])
    changes = changes.fill_null(0.0).to_numpy()
    order = np.lexsort((tests["tree_key"].to_numpy(), -changes, -worth, ~chosen))
    tests = tests.take(pa.array(order))
    keys = tests["tree_key"]
    trees = context.table("ingest.trees").take(keys)
    rating = context.table("scoring.tree_ratings")["rating"].take(keys)
    longitude, latitude = (pa.array(np.round(of, _DEGREE_DECIMALS), from_pandas=True)
                           for of in context.layers.trees)  # fmt: skip
    hours = tests["hours"].to_numpy()
    so_far = np.cumsum(np.where(chosen[order], hours, 0.0))
    shares = (
        "probability_changes", "probability_spares", "probability_takes", "probability_together",
    )  # fmt: skip
    return pa.table(
        {
            "tree_id": trees["tree_id"],
            "test": tests["action"],
            "part": pa.array([PARTS[part] for part in tests["part"].to_pylist()], pa.string()),
            "also": tests["also"],
            "rating": pa.array([RATINGS[one] for one in rating.to_pylist()], pa.string()),
            "chosen": tests["chosen"],
            **{name: pc.round(tests[name], _SHARES) for name in shares},
            "without": tests["without"],
            "likeliest": tests["likeliest"],
            "harm_avoided": tests["harm_avoided_per_year"],
            "harm_avoided_per_hour": tests["harm_avoided_per_hour"],
            "hours": tests["hours"],
            "hours_so_far": pa.array(np.round(so_far, _SHARES), mask=~chosen[order]),
            "note": pa.array(
                [_REASONS.get(one or "") for one in tests["reason"].to_pylist()], pa.string()
            ),
            "species": trees["species"],
            "street": trees["street"],
            "ward": trees["ward"],
            "longitude": longitude.take(keys.combine_chunks()),
            "latitude": latitude.take(keys.combine_chunks()),
        }
    )


def rounds_table(context: RenderContext) -> pa.Table:
    """The rounds as people read them; where no street is told, the middle of the trees finds it."""
    rounds = context.table("scoring.inspection_rounds")
    longitude, latitude = context.layers.places("scoring.inspection_rounds")
    return pa.table(
        {
            "ward": rounds["ward"],
            "street": rounds["street"],
            "trees": rounds["trees"],
            "never": rounds["never"],
            "overdue": rounds["overdue"],
            "due": rounds["due"],
            "hours": pc.round(rounds["hours"], _SHARES),
            "earliest_due_on": rounds["earliest_due_on"],
            "harm": rounds["harm_per_year"],
            "longitude": pa.array(np.round(longitude, _DEGREE_DECIMALS), from_pandas=True),
            "latitude": pa.array(np.round(latitude, _DEGREE_DECIMALS), from_pandas=True),
        }
    )

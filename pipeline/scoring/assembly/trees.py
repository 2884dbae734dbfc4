"""The trees of ingest as arrays, with what is filled where the inventory is silent."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.geo.crs import to_longitude_latitude
from pipeline.scoring.assembly.columns import (
    NO_DAY,
    codes,
    days,
    dictionary,
    numbers,
    truths,
    whole,
)
from pipeline.scoring.impact.reach import whole_tree_reach
from pipeline.scoring.mechanics.allometry import BROADLEAF, tree_sizes
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.failure import WOODS
from pipeline.scoring.parameters.work import PRIOR_STATES
from pipeline.tables import inputs
from pipeline.units import Flags, Floats, Ints, Words

TREE_COLUMNS = (
    "tree_key", "tree_id", "x_m", "y_m", "place_doubtful", "species", "genus", "wood", "dbh_cm",
    "height_m", "crown_width_m", "crown_depth_m", "stems", "condition", "status", "wires",
    "voltage_v", "notes", "last_inspected_on", "street", "ward",
)  # fmt: skip
INSPECTION_COLUMNS = ("tree_key", "inspected_on", "topped", "dead_since", "wet_in_winter")
RATED = ("standing", "dead")


@dataclass(frozen=True)
class Trees:
    """Every tree in the order of ingest.trees, each shape (trees,).

    Parameters
    ----------
    table : the columns TREE_COLUMNS as they are.
    dbh_used : dbh, filled where missing.
    height : measured, else from diameter and measured crown, by the curve that the wind takes too.
    crown : measured diameter of the crown [m], NaN if not.
    topped : an inspector told so once; wet : the latest who told found the ground wet in winter.
    died : day since when a tree is dead as the latest who told has it, NO_DAY where nobody did.
    condition : place in PRIOR_STATES; a dead tree is dead whatever its condition says.
    wood : place in WOODS, -1 for any other.
    genus, genera : number of the genus, -1 unknown, and the names.
    """

    table: pa.Table
    x: Floats
    y: Floats
    dbh: Floats
    dbh_used: Floats
    height: Floats
    height_filled: Flags
    crown: Floats
    topped: Flags
    wet: Flags
    died: Ints
    reach: Floats
    status: Ints
    rated: Flags
    dead: Flags
    condition: Ints
    wood: Ints
    genus: Ints
    genera: list[str]
    wires: Ints
    last_inspected: Ints
    size: Words

    def __len__(self) -> int:
        """Number of trees."""
        return len(self.x)


def read_trees(
    table: pa.Table, parameters: Parameters, inspections: pa.Table | None = None
) -> Trees:
    """The trees, with height and diameter filled by the published curve.

    Parameters
    ----------
    table : ingest.trees, TREE_COLUMNS.
    inspections : ingest.inspections, INSPECTION_COLUMNS; None if nobody looked.
    """
    reach = parameters.target.reach
    dbh = numbers(table, "dbh_cm")
    dbh_used = np.where(np.isnan(dbh), reach.dbh_without_cm, dbh)
    wood = codes(table, "wood", WOODS)
    crown = numbers(table, "crown_width_m")
    found = tree_sizes(
        dbh_used,
        np.maximum(wood, BROADLEAF),
        height_m=_measured(numbers(table, "height_m")),
        crown_m=_measured(crown),
        curves=parameters.mechanics.curves,
    )
    topped, wet, died = _told(inspections, len(dbh))
    status = codes(table, "status", inputs.TREE_STATUS)
    condition = codes(table, "condition", PRIOR_STATES)
    dead = (status == inputs.TREE_STATUS.index("dead")) | (condition == PRIOR_STATES.index("dead"))
    condition = np.where(condition < 0, PRIOR_STATES.index("unknown"), condition)
    genus, genera = dictionary(table, "genus")
    sizes = parameters.target.severity.size_from_cm
    return Trees(
        table=table,
        x=numbers(table, "x_m"),
        y=numbers(table, "y_m"),
        dbh=dbh,
        dbh_used=dbh_used,
        height=found.height,
        height_filled=found.height_filled,
        crown=crown,
        topped=topped,
        wet=wet,
        died=died,
        reach=whole_tree_reach(found.height, dead, values=reach),
        status=status,
        rated=np.isin(status, [inputs.TREE_STATUS.index(name) for name in RATED]),
        dead=dead,
        condition=np.where(dead, PRIOR_STATES.index("dead"), condition),
        wood=wood,
        genus=genus,
        genera=genera,
        wires=codes(table, "wires", inputs.WIRES),
        last_inspected=days(table, "last_inspected_on"),
        size=np.maximum(np.searchsorted(sizes, dbh_used, side="right") - 1, 0).astype(np.int8),
    )


def _measured(size: Floats) -> Floats:
    """Sizes above 0, NaN for the rest."""
    return np.where(size > 0, size, np.nan)


def _told(inspections: pa.Table | None, trees: int) -> tuple[Flags, Flags, Ints]:
    """Trees told to be topped, those on ground that is wet in winter, and days of death."""
    topped, wet = np.zeros((2, trees), np.bool_)
    died = np.full(trees, NO_DAY)
    if inspections is None or not inspections.num_rows:
        return topped, wet, died
    key = whole(inspections, "tree_key")
    topped[key[truths(inspections, "topped")]] = True
    # The latest word stands: drains are laid, and a tree thought dead breaks into leaf.
    in_turn = np.argsort(days(inspections, "inspected_on"), kind="stable")
    ground = in_turn[~inspections["wet_in_winter"].is_null().to_numpy()[in_turn]]
    wet[key[ground]] = truths(inspections, "wet_in_winter")[ground]
    since = days(inspections, "dead_since")
    dated = in_turn[since[in_turn] != NO_DAY]
    died[key[dated]] = since[dated]
    return topped, wet, died


def longitude(trees: Trees, epsg: int | None) -> float:
    """Longitude of the middle of the town [deg], NaN where it is not asked for.

    Parameters
    ----------
    epsg : metric CRS of the places, None if nobody needs to know.
    """
    known = ~(np.isnan(trees.x) | np.isnan(trees.y))
    if epsg is None or not known.any():
        return float("nan")
    x, y = np.median(trees.x[known], keepdims=True), np.median(trees.y[known], keepdims=True)
    return float(to_longitude_latitude(x, y, epsg=epsg)[0][0])


def doubtful_places(trees: Trees) -> Flags:
    """Trees whose place is in doubt; shape (trees,)."""
    return truths(trees.table, "place_doubtful")

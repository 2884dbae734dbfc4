"""Published tables of occupancy, reach, impact and consequence, as the objects of the maths."""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.published.table import Library
from pipeline.scoring.consequence.severity import SeverityTables
from pipeline.scoring.impact.falling import Sides
from pipeline.scoring.impact.likelihood import ImpactTable
from pipeline.scoring.impact.occupancy import Movement, OccupancyLimits
from pipeline.scoring.impact.reach import ReachValues
from pipeline.scoring.parameters.read import one_word, places, words
from pipeline.tables import inputs
from pipeline.terms import ConsequenceWord, ImpactWord, OccupancyWord, word
from pipeline.units import Floats, Ints, Words

GROUPS = ("person", "vehicle", "parked_car", "building")
SIZES = ("small", "medium", "large")
FALLS = ("low", "high")
_CONSEQUENCE_KEY = ("target", "size", "fall")
EXPOSURES = ("well_sheltered", "partly_exposed", "one_side", "fully_exposed")


@dataclass(frozen=True)
class AssumedTarget:
    """What stands under a tree where no zone is within reach."""

    direction_share: float
    group: int


@dataclass(frozen=True)
class TargetParameters:
    """What impact and consequence need.

    Parameters
    ----------
    group_of_kind, stay_min : by zone kind in the order of inputs.ZONE_KINDS.
    no_data : the assumed target where the city gave neither zones nor streets.
    none_in_reach : where zones are known, but none lies within reach.
    branch_fall_of_height : height of fall of a branch over the height of the tree.
    shelter_stops : share of the falls upon a building that do not get past it.
    storm : people there when trees fail over those of a mean day, by group, shape (groups,).
    sides : what makes a part fall rather to one side.
    """

    limits: OccupancyLimits
    movement: Movement
    reach: ReachValues
    impact: ImpactTable
    severity: SeverityTables
    group_of_kind: Ints
    stay_min: Floats
    no_data: AssumedTarget
    none_in_reach: AssumedTarget
    branch_fall_of_height: float
    shelter_stops: float
    storm: Floats
    sides: Sides


def target_parameters(library: Library) -> TargetParameters:
    """Everything from the library.

    Raises
    ------
    PublishedValueError
        If a table does not hold what the maths needs.
    """
    defaults = library.table("part_defaults")
    targets = library.table("targets")
    order = [targets.texts("kind").index(targets.row(kind=k)["kind"]) for k in inputs.ZONE_KINDS]
    moving, storm = library.table("movement"), library.table("storm_presence")
    return TargetParameters(
        limits=_limits(library),
        movement=Movement(
            walking_m_s=moving.number("value", quantity="walking_speed"),
            vehicle_length_m=moving.number("value", quantity="vehicle_length"),
            reaction_s=moving.number("value", quantity="reaction_time"),
            braking_m_s2=moving.number("value", quantity="braking"),
            run_in_of_struck=moving.number("value", quantity="run_in_of_struck"),
            gathering=moving.number("value", quantity="gathering"),
        ),
        reach=_reach(library),
        impact=_impact(library),
        severity=_severity(library),
        group_of_kind=places(targets, "group", GROUPS)[order],
        stay_min=targets.numbers("stay_min")[order],
        no_data=_assumed(library, "no_data"),
        none_in_reach=_assumed(library, "none_in_reach"),
        branch_fall_of_height=defaults.number("value", quantity="branch_fall_of_height"),
        shelter_stops=defaults.number("value", quantity="shelter_stops"),
        storm=np.array([storm.number("share", target=group) for group in GROUPS]),
        sides=_sides(library),
    )


def _sides(library: Library) -> Sides:
    t = library.table("fall_directions", key=("defect", "lean_from_deg"))
    return Sides(
        defect=places(t, "defect", inputs.DEFECTS),
        lean_from_deg=t.numbers("lean_from_deg"),
        turn_deg=t.numbers("turn_deg"),
        resultant=t.numbers("resultant"),
    )


def _assumed(library: Library, case: str) -> AssumedTarget:
    t = library.table("assumed_targets")
    row = t.row(case=case)
    return AssumedTarget(t.number("direction_share", case=case), GROUPS.index(row["group"]))


def _limits(library: Library) -> OccupancyLimits:
    t = library.table("occupancy_limits")
    names = [word(w) for w in OccupancyWord]
    return OccupancyLimits(
        number_from=np.array([t.number("number_from", word=name) for name in names]),
        share_of_word=np.array([t.number("share_used", word=name) for name in names]),
        nothing_known_share=t.number("share_used", word="nothing_known"),
    )


def _reach(library: Library) -> ReachValues:
    curve, defaults = library.table("height_by_dbh"), library.table("part_defaults")
    dbh_missing = defaults.number("value", quantity="dbh_missing")
    dbh, height = curve.numbers("dbh_cm"), curve.numbers("height_m")
    order = np.argsort(dbh)
    return ReachValues(
        dbh_cm=dbh[order],
        height_m=height[order],
        height_without_dbh_m=float(np.interp(dbh_missing, dbh[order], height[order])),
        dbh_without_cm=dbh_missing,
        dead_factor=defaults.number("value", quantity="dead_reach_factor"),
        branch_reach_of_height=defaults.number("value", quantity="branch_reach_of_height"),
        point_radius_m=defaults.number("value", quantity="point_radius"),
    )


def _impact(library: Library) -> ImpactTable:
    classes = library.table("exposure_classes")
    cells = library.table("impact_matrix", key=("occupancy", "exposure"))
    matrix = cells.matrix(
        rows="occupancy",
        columns="exposure",
        value="impact",
        row_order=[word(w) for w in OccupancyWord],
        order=EXPOSURES,
    )
    return ImpactTable(
        share_from=np.array([classes.number("share_from", exposure=name) for name in EXPOSURES]),
        words=np.array(
            [[one_word(cells, "impact", cell, ImpactWord) for cell in row] for row in matrix],
            np.int8,
        ),
    )


def _severity(library: Library) -> SeverityTables:
    defaults = library.table("part_defaults")
    sizes = library.table("part_sizes")
    return SeverityTables(
        size_from_cm=np.array([sizes.number("diameter_from_cm", size=size) for size in SIZES]),
        from_cm=_part_sizes(library),
        branch_of_dbh=defaults.number("value", quantity="branch_of_dbh"),
        branch_least_cm=defaults.number("value", quantity="branch_least"),
        branch_most_cm=defaults.number("value", quantity="branch_most"),
        low_fall_below_m=defaults.number("value", quantity="low_fall_below"),
        words=_consequences(library),
        harm=_harms(library),
    )


def _part_sizes(library: Library) -> Floats:
    """Least diameters by target and size.

    Raises
    ------
    PublishedValueError
        If they do not rise from 0, or differ between a low and a high fall.
    """
    t = library.table("consequence", key=_CONSEQUENCE_KEY)
    made = np.full((len(GROUPS), len(SIZES), len(FALLS)), np.nan)
    at = (places(t, "target", GROUPS), places(t, "size", SIZES), places(t, "fall", FALLS))
    made[at] = t.numbers("diameter_from_cm")
    sizes = made[..., 0]
    same = np.array_equal(sizes, made[..., 1])
    if not (same and (sizes[:, 0] == 0).all() and (np.diff(sizes, axis=1) > 0).all()):
        raise PublishedValueError(
            where="published table consequence, column diameter_from_cm",
            found=f"{made.tolist()}",
            expected="for each target diameters that rise from 0, the same for both falls",
            remedy="Mend the table or the override.",
        )
    return sizes


def _consequences(library: Library) -> Words:
    t = library.table("consequence", key=_CONSEQUENCE_KEY)
    made = np.zeros((len(GROUPS), len(SIZES), len(FALLS)), np.int8)
    at = (places(t, "target", GROUPS), places(t, "size", SIZES), places(t, "fall", FALLS))
    made[at] = words(t, "consequence", ConsequenceWord)
    return made


def _harms(library: Library) -> Floats:
    t = library.table("consequence_harm", key=("target", "consequence"))
    made = np.zeros((len(GROUPS), len(ConsequenceWord)))
    at = (places(t, "target", GROUPS), words(t, "consequence", ConsequenceWord) - 1)
    made[at] = t.numbers("harm_equivalents")
    return made

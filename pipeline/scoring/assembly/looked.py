"""What nobody has looked at: prior harm, cycles, and whether a tree counts as assessed."""

from dataclasses import dataclass, replace

import numpy as np

from pipeline.scoring.actions.inspection import due_days, prior_harm, sooner_days, standing
from pipeline.scoring.assembly.columns import NO_DAY, day_number
from pipeline.scoring.assembly.targets import Under
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.parameters import Parameters
from pipeline.units import Flags, Floats, Ints, Words


@dataclass(frozen=True)
class Looked:
    """When each tree was looked at and will be again, each shape (trees,).

    Parameters
    ----------
    inspected, looked : days of the last inspection, and of the last look of any kind.
    due : day of the next inspection, NO_DAY where nobody has inspected.
    standing : of actions.inspection.standing, to the end of the plan.
    assessed : looked at inside the cycle, or a sighting is in.
    prior_low, prior, prior_high : harm a year before anybody looks.
    """

    inspected: Ints
    looked: Ints
    due: Ints
    standing: Words
    assessed: Flags
    prior_low: Floats
    prior: Floats
    prior_high: Floats


def looked(
    trees: Trees,
    under: Under,
    inspected: Ints,
    looked_on: Ints,
    sighted: Flags,
    parameters: Parameters,
) -> Looked:
    """Cycles and priors of all trees; `sighted` says that a sighting is joined to the tree."""
    today = day_number(parameters.as_of)
    work = parameters.work
    due = due_days(inspected, under.occupancy, trees.size, cycles=work.cycles)
    low, middle, high = prior_harm(trees.condition, under.harm_if_fails, prior=work.prior)
    return Looked(
        inspected=inspected,
        looked=looked_on,
        due=np.where(trees.rated, due, NO_DAY),
        standing=standing(due, trees.rated, today=today, until=day_number(parameters.plan_end)),
        assessed=trees.rated & (sighted | (due >= today)),
        prior_low=low,
        prior=middle,
        prior_high=high,
    )


def once_rated(
    looked: Looked, rating: Words, code: Words, trees: Trees, parameters: Parameters
) -> Looked:
    """The same with the dates that ratings and fungi ask for; what counts as assessed stays.

    Parameters
    ----------
    rating, code : of each tree, see `sooner_days`.
    """
    due = sooner_days(looked.due, looked.looked, rating, code, rules=parameters.work.sooner)
    until = day_number(parameters.plan_end)
    today = day_number(parameters.as_of)
    return replace(looked, due=due, standing=standing(due, trees.rated, today=today, until=until))

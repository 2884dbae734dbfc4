"""What a plan costs for each death that it is expected to avoid, and which jobs pay by that alone.

    annuity   a = (1 - (1 + d)^-n) / d          worth today of 1 a year for n years
    cost of a prevented death  =  cost / (harm removed a year x a)
    a job pays by lives alone above   cost / (value of a prevented death x a)   removed a year

Harm ranks trees and is no forecast, so these are orders of magnitude.
"""


def annuity(years: float, discount: float) -> float:
    """Worth today of 1 a year for so many years, at a discount a year above 0."""
    return float((1.0 - (1.0 + discount) ** -years) / discount)


def money_per_death(cost: float, harm_per_year: float, *, years: float, discount: float) -> float:
    """Money for each expected death avoided; infinite where none is.

    Parameters
    ----------
    cost : of the work, in money.
    harm_per_year : equivalent deaths a year that it removes.
    """
    avoided = harm_per_year * annuity(years, discount)
    return cost / avoided if avoided > 0 else float("inf")


def pays_above(cost: float, value: float, *, years: float, discount: float) -> float:
    """Equivalent deaths a year that work must remove to pay by lives alone.

    Parameters
    ----------
    value : of one prevented death, in the same money as the cost.
    """
    return cost / (value * annuity(years, discount))

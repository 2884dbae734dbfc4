"""How near to a line of known voltage nobody may come who is not qualified for line clearance."""

from dataclasses import dataclass

import numpy as np

from pipeline.units import Floats


@dataclass(frozen=True, slots=True)
class Approach:
    """From config/published/approach.csv.

    Parameters
    ----------
    to_kv : up to this voltage to ground the least distance holds [kV].
    least_m, more_m : least distance, and what every begun step adds [m].
    step_kv : a step [kV].
    """

    to_kv: float
    least_m: float
    more_m: float
    step_kv: float


def approach_m(voltage_v: Floats, rule: Approach) -> Floats:
    """Distance [m], NaN where the voltage is not known or none; same shape.

    10 ft to 50 kV, 4 in for every 10 kV above, a begun step counted whole (29 CFR 1910.269).
    """
    thousand = 10**3
    over = np.maximum(np.asarray(voltage_v, np.float64) / thousand - rule.to_kv, 0.0)
    distance = rule.least_m + rule.more_m * np.ceil(over / rule.step_kv)
    return np.asarray(np.where(np.asarray(voltage_v) > 0, distance, np.nan))

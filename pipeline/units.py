"""Conversions between the units that cities write and the ones kept here.

Kept: centimetres for diameters, metres for heights and distances, hours for work, degrees clockwise
from north for azimuths. Factors are exact by definition (international inch and foot, 1959).
"""

import math

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Words = npt.NDArray[np.int8]
Flags = npt.NDArray[np.bool_]

CM_PER_INCH = 2.54
M_PER_FOOT = 0.3048

LENGTH_IN_CM = {
    "mm": 0.1,
    "cm": 1.0,
    "m": 100.0,
    "in": CM_PER_INCH,
    "ft": 100.0 * M_PER_FOOT,
}

CM_PER_M = 100.0
MINUTES_PER_HOUR = 60.0
SECONDS_PER_HOUR = 3600.0


def diameter_from_girth(girth: Floats) -> Floats:
    """Diameter of the circle with that girth, same unit, same shape."""
    return np.asarray(girth, dtype=np.float64) / math.pi

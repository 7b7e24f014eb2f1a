"""Findings of quality control as primary flags of IOOS QARTOD, for programs that know these.

1 pass, 2 not evaluated, 3 suspect or of high interest, 4 fail, 9 missing (Manual for the Use of
Real-Time Oceanographic Data Quality Control Flags; values from memory). What cannot be, or is of
the future, fails; whatever else is found is suspect.
"""

import math

from watcher.sources.base import Flag

PASS, SUSPECT, FAIL, MISSING = 1, 3, 4, 9
ENDING = " QARTOD flag"
"""What follows a quantity's heading for the column of its flags."""
_FAILS = Flag.RANGE | Flag.FUTURE


def primary_flag(value: float | None, bits: int) -> int:
    """Return the primary flag of a value with the findings on it."""
    if value is None or math.isnan(value):
        return MISSING
    if bits & _FAILS:
        return FAIL
    return SUSPECT if bits else PASS

"""Torque: is a reading within its limits, and what to set on a wrench that carries an adapter."""

import math
from decimal import Decimal, localcontext
from typing import Literal

from garage.numbers import WORKING, answer, exact, positive

# A float cosine is good to its 16th digit; at 15 places those of 0, 60, 90, 120 and 180 degrees are exact.
_COSINE_PLACES = 15


def in_band(reading: Decimal, low: Decimal, high: Decimal) -> Literal["low", "ok", "high"]:
    """Say whether a reading lies within its limits, both included; low above high: ValueError."""
    value, least, most = exact(reading, "Reading"), exact(low, "Low"), exact(high, "High")
    if least > most:
        raise ValueError(f"Low must not be above high: {least} is above {most}.")
    if value < least:
        return "low"
    return "high" if value > most else "ok"


def wrench_setting(target: Decimal, wrench_length: Decimal, extension: Decimal, angle_deg: float = 0) -> Decimal:
    """Return what to set on the wrench so that the fastener receives `target`: T * L / (L + E * cos a).

    `wrench_length` L runs from the middle of the grip to the middle of the square drive, `extension` E from
    there to the middle of the fastener, both in one unit; the answer is in the unit of `target`. The angle is
    that of the adapter to the line of the wrench in degrees: 0 lengthens the lever, 90 changes nothing, 180
    (or a negative extension) shortens it.

    Source: US Army TM 1-1500-204-23-9, Figure 8-16 (in line), and TM 9-254, Figure 46 (at an angle).
    Raises ValueError for a target or a wrench length that is not above zero, and where no lever is left.
    """
    torque, length = positive(target, "Target"), positive(wrench_length, "Wrench length")
    offset, cosine = exact(extension, "Extension"), _cosine(angle_deg)
    with localcontext(WORKING):
        lever = length + offset * cosine
        if lever <= 0:
            raise ValueError(
                f"Extension leaves no lever: {length} + {offset} at {angle_deg} degrees is not above zero."
            )
        return answer(torque * length / lever)


def _cosine(angle_deg: object) -> Decimal:
    if isinstance(angle_deg, bool) or not isinstance(angle_deg, (int, float, Decimal)):
        raise ValueError(f"Angle must be a number of degrees, not {type(angle_deg).__name__}.")
    angle = exact(angle_deg, "Angle") if isinstance(angle_deg, Decimal) else angle_deg
    if not -360 <= angle <= 360:
        raise ValueError(f"Angle must be from -360 to 360 degrees, not {angle}.")
    return Decimal(str(round(math.cos(math.radians(angle)), _COSINE_PLACES)))

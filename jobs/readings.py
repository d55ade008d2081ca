"""What is read at a step: the number to reach, its limits, and what a typed reading comes to. Pure: no Django here."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, Protocol

from garage.errors import Refused
from garage.numbers import round_half_up
from garage.units import DIMENSION, both, convert, label, other_unit, parse_quantity, typed_unit
from jobs.torque import in_band

Band = Literal["low", "ok", "high"]

#: What is read at a step that says nothing of it: what comes out is worth knowing, what goes in must be known.
IMPLIED = {"drain": "came out", "sample": "came out", "fill": "filled in"}

LARGEST = Decimal("1e9")


class Written(Protocol):
    """A step as its procedure says it."""

    kind: str
    reading: str
    unit: str
    target: Decimal | None
    low: Decimal | None
    high: Decimal | None
    outside: str
    to_fill_in: str


@dataclass(frozen=True)
class Spec:
    """What a step wants read: figures in `unit`; `required` when it cannot be done without."""

    name: str
    unit: str
    target: Decimal | None
    low: Decimal | None
    high: Decimal | None
    outside: str
    tightens: bool
    required: bool

    @property
    def figure(self) -> str:
        """The number to reach as written, such as `13 ft·lb`; without one the limits; else nothing."""
        return self._shown(self.target).partition(" · ")[0] if self.target is not None else self.limits

    @property
    def other(self) -> str:
        """The same number in the other unit, `17.6 N·m`; without one the limits in it: `at most 104 °F`."""
        if self.target is not None:
            return self._beside(self.target)
        return _span(self._beside(self.low), self._beside(self.high))

    @property
    def limits(self) -> str:
        """The limits in the written unit: `from 12 to 14`."""
        return _span(_plain(self.low), _plain(self.high))

    @property
    def beside(self) -> str:
        """What stands small under the number: the other unit, and the limits."""
        small = [self.other, self.limits] if self.target is not None else [label(self.unit), self.other]
        return " · ".join(filter(None, small)) if self.figure else ""

    @property
    def in_a_line(self) -> str:
        """The number to reach for a list, `21 N·m · 15.5 ft·lb`; without one the limits: `at most 40 °C`."""
        if self.target is not None:
            return self._shown(self.target)
        return f"{self.limits} {label(self.unit)}" if self.limits else ""

    def _shown(self, value: Decimal) -> str:
        return both(value, self.unit, 2)

    def _beside(self, value: Decimal | None) -> str:
        return "" if value is None else self._shown(value).partition(" · ")[2]


@dataclass(frozen=True)
class Measured:
    """A reading in the step's unit, beside what was typed, and where it lies."""

    value: Decimal
    unit: str
    typed: str
    band: Band

    def liters(self) -> Decimal:
        """The same in liters; ValueError for what is no volume."""
        return in_liters(self.value, self.unit)


def in_liters(value: Decimal, unit: str) -> Decimal:
    """A volume in liters, rounded half-up to nine places; ValueError for what is no volume."""
    return round_half_up(convert(value, unit, "L"), 9)


def spec_of(written: Written | None) -> Spec | None:
    """Return what a step wants read, or None; draining and filling always ask for the volume."""
    if written is None or not (written.reading or written.kind in IMPLIED):
        return None
    return Spec(
        name=written.reading or IMPLIED[written.kind],
        unit=written.unit or "L",
        target=written.target,
        low=written.low,
        high=written.high,
        outside=written.outside,
        tightens=written.kind == "tighten",
        required=bool(written.reading) or written.kind == "fill",
    )


def read(spec: Spec, typed: str, reason: str = "") -> Measured | None:
    """Read what was typed at a step, in any unit of its kind; None when nothing is typed and nothing must be.

    Raises Refused with the field it belongs to: a reading that cannot be read, one outside its limits where
    the step refuses it, and one outside without a reason where a reason will do. Torque past its limit always asks
    for a reason and is never turned away: it has happened, and must stand on the job.
    """
    if not typed.strip():
        if spec.required:
            raise Refused(f"Type what was read: {spec.name}, in {label(spec.unit)}.", "reading")
        return None
    try:
        number, unit = parse_quantity(typed, spec.unit)
        value = round_half_up(convert(number, unit, spec.unit), 9)
    except ValueError as error:
        raise Refused(str(error), "reading") from error
    if abs(value) >= LARGEST:
        raise Refused("That is more than a reading can be.", "reading")
    band = band_of(value, spec.low, spec.high)
    measured = Measured(value, spec.unit, typed.strip(), band)
    if band != "ok":
        _accept_outside(spec, measured, reason)
    return measured


def band_of(value: Decimal, low: Decimal | None, high: Decimal | None) -> Band:
    """Where a reading lies; a limit that is None turns nothing away."""
    return in_band(value, -LARGEST if low is None else low, LARGEST if high is None else high)


def _accept_outside(spec: Spec, measured: Measured, reason: str) -> None:
    unit = label(spec.unit)
    figure = f"{_plain(measured.value)} {unit}"
    if typed_unit(measured.typed, spec.unit) != spec.unit:
        figure = f"{measured.typed} ({_plain(round_half_up(measured.value, 2))} {unit})"
    if measured.band == "high":
        where = f"{figure} is above the limit of {_plain(spec.high)} {unit}"
    else:
        where = f"{figure} is below the limit of {_plain(spec.low)} {unit}"
    if over_torque(spec, measured):
        if not reason.strip():
            raise Refused(
                f"{where}: threads may have suffered. Write what happened; a check is added to the job.", "reason"
            )
    elif spec.outside == "refuse":
        raise Refused(f"{where}. This step is not done until it is within its limits.", "reading")
    elif not reason.strip():
        raise Refused(f"{where}. Write why it is acceptable.", "reason")


def over_torque(spec: Spec, measured: Measured) -> bool:
    """Whether something was tightened past its limit."""
    return spec.tightens and measured.band == "high"


def out_and_in(drained: Decimal, filled: Decimal) -> str:
    """Say what came out and what went in, in liters: `0.68 out, 0.70 in: 0.02 L · 0.02 qt more in than out`."""
    out, into = (round_half_up(value, 2) for value in (drained, filled))
    said = f"{out} out, {into} in"
    if into == out:
        return f"{said}: the same"
    more = both(abs(into - out), "L", 2)
    return f"{said}: {more} {'more' if into > out else 'less'} in than out"


def shown(value: Decimal, unit: str, typed: str = "") -> str:
    """A reading as the bay shows it, both units: `21 N·m · 15.5 ft·lb`; what was typed as 1 qt: `1.00 qt · 0.95 L`."""
    first = typed_unit(typed, unit)
    if first != unit:
        value = round_half_up(convert(value, unit, first), 6)  # storing 9 places put the last ones in
    return both(value, first, 2) if other_unit(first) else f"{_plain(value)} {label(first)}"


def is_volume(unit: str) -> bool:
    """Whether a unit measures volume."""
    return DIMENSION.get(unit) == "volume"


def _span(low: str, high: str) -> str:
    if low and high:
        return f"from {low} to {high}"
    return f"at least {low}" if low else f"at most {high}" if high else ""


def _plain(value: Decimal | None) -> str:
    return "" if value is None else f"{value.normalize():f}"

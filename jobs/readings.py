"""What is read at a step: the number to reach, its limits, and what a typed reading comes to. Pure: no Django here."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, Protocol

from garage.errors import Refused
from garage.numbers import round_half_up
from garage.units import DIMENSION, both, convert, figure, label, other_unit, parse_quantity, typed_unit
from jobs.torque import in_band

Band = Literal["low", "ok", "high"]

#: What is read at a step that says nothing of it: what comes out is worth knowing, what goes in must be known.
IMPLIED = {"drain": "came out", "sample": "came out", "fill": "filled in"}

LARGEST = Decimal("1e9")

#: So many times what is expected, or so small a part of it, is asked about: a slip of the point (common practice, no
#: source).
FAR = 2

#: A torque without limits must lie this near its target, or somebody says why (common practice, no source).
USUAL_TORQUE = Decimal("0.20")

TO_FILL_IN = "to be filled in from the maker’s data"


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
    """What a step wants read: figures in `unit`; `required` when it cannot be done without, `blank` while a figure is
    still to be filled in."""

    name: str
    unit: str
    target: Decimal | None
    low: Decimal | None
    high: Decimal | None
    outside: str
    tightens: bool
    required: bool
    blank: bool = False

    @property
    def figure(self) -> str:
        """The number to reach as written, such as `13 ft·lb`; without one the limits, `at most 40 °C`; else nothing."""
        if self.blank:
            return TO_FILL_IN
        return figure(self.target, self.unit, self.unit, 2) if self.target is not None else _span(self, self.unit)

    @property
    def other(self) -> str:
        """The same in the other unit: `17.6 N·m`, `at most 104 °F`."""
        unit = other_unit(self.unit)
        if unit is None or self.blank:
            return ""
        return figure(self.target, self.unit, unit, 2) if self.target is not None else _span(self, unit)

    @property
    def within(self) -> str:
        """The limits beside a number to reach: `OK: 35–43 N·m (25.8–31.7 ft·lb)`, `at least 35 N·m (25.8 ft·lb)`."""
        if self.target is None or self.blank:
            return ""
        return ("OK: " if self.low is not None and self.high is not None else "") + limits(self)

    @property
    def in_a_line(self) -> str:
        """The number to reach for a list, `21 N·m · 15.5 ft·lb`; without one the limits: `at most 40 °C (104 °F)`."""
        if self.blank:
            return TO_FILL_IN
        return both(self.target, self.unit, 2) if self.target is not None else limits(self)


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
        blank=bool(written.to_fill_in),
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
    band = band_of(value, *judged_by(spec))
    measured = Measured(value, spec.unit, typed.strip(), band)
    if band != "ok":
        _accept_outside(spec, measured, reason)
    return measured


def band_of(value: Decimal, low: Decimal | None, high: Decimal | None) -> Band:
    """Where a reading lies; a limit that is None turns nothing away."""
    return in_band(value, -LARGEST if low is None else low, LARGEST if high is None else high)


def judged_by(spec: Spec) -> tuple[Decimal | None, Decimal | None]:
    """The limits a reading is held to: its own; a torque without them must lie near its target."""
    if not spec.tightens or spec.target is None:
        return spec.low, spec.high
    low = spec.target * (1 - USUAL_TORQUE) if spec.low is None else spec.low
    high = spec.target * (1 + USUAL_TORQUE) if spec.high is None else spec.high
    return round_half_up(low, 9), round_half_up(high, 9)


def _accept_outside(spec: Spec, measured: Measured, reason: str) -> None:
    where = f"{shown(measured.value, measured.unit, measured.typed)} is {beyond(spec, measured)}"
    if over_torque(spec, measured):
        if not reason.strip():
            raise Refused(
                f"{where}: threads may have suffered. Write what happened; a check is added to the job.", "reason"
            )
    elif spec.outside == "refuse" and (spec.low if measured.band == "low" else spec.high) is not None:
        raise Refused(f"{where}. This step is not done until it is within its limits.", "reading")
    elif not reason.strip():
        raise Refused(f"{where}. Write why it is acceptable.", "reason")


def beyond(spec: Spec, measured: Measured) -> str:
    """Where a reading outside lies, in the unit it was typed in first: `above the limit of 43 N·m (31.7 ft·lb)`."""
    side = "above" if measured.band == "high" else "below"
    limit = spec.high if measured.band == "high" else spec.low
    first = typed_unit(measured.typed, spec.unit)
    if limit is None and spec.target is not None:
        return f"more than {USUAL_TORQUE:.0%} {side} the {in_both(spec.target, spec.unit, first)} to reach"
    return "" if limit is None else f"{side} the limit of {in_both(limit, spec.unit, first)}"


def odd_amount(measured: Measured, holds: Decimal | None, expected: Decimal | None) -> list[str]:
    """What to ask about a volume that came out or went in, before it counts: none, or a slip of the point.

    `holds` is all that the unit holds and `expected` what is to be read, both in liters.
    """
    liters, first = measured.liters(), typed_unit(measured.typed, measured.unit)
    said = shown(measured.value, measured.unit, measured.typed)
    questions = []
    if holds is not None and liters > holds:
        questions.append(f"{said} is more than the capacity of {in_both(holds, 'L', first)}. Is that right?")
    elif expected and not expected / FAR < liters < expected * FAR:
        questions.append(f"{said} is far from the {in_both(expected, 'L', first)} expected. Is that right?")
    return questions


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


class Limited(Protocol):
    """What has limits in a unit: a spec, or a reading that was kept with those that stood."""

    @property
    def unit(self) -> str: ...
    @property
    def low(self) -> Decimal | None: ...
    @property
    def high(self) -> Decimal | None: ...


def limits(of: Limited, first: str = "") -> str:
    """Limits with their own unit, the other in brackets: `35–43 N·m (25.8–31.7 ft·lb)`, `at least 35 N·m (25.8 ft·lb)`.

    The one place that writes limits: none stands beside a figure of another unit. `first` is the unit to begin with.
    """
    unit = first or of.unit
    other = of.unit if unit != of.unit else other_unit(unit)
    there = _span(of, other).removeprefix("at least ").removeprefix("at most ") if other else ""
    return f"{_span(of, unit)} ({there})" if there else _span(of, unit)


def in_both(value: Decimal, unit: str, first: str = "") -> str:
    """One figure in a sentence, the other unit in brackets: `43 N·m (31.7 ft·lb)`; `first` is the one to begin with."""
    begin = first or unit
    other = unit if begin != unit else other_unit(unit)
    said = figure(value, unit, begin, 2)
    return f"{said} ({figure(value, unit, other, 2)})" if other else said


def _span(of: Limited, unit: str) -> str:
    """The limits in one unit: `35–43 N·m`, `at least 35 N·m`, `at most 40 °C`; empty without any."""
    low, high = (None if value is None else figure(value, of.unit, unit, 2) for value in (of.low, of.high))
    if low and high:
        dash = " to " if low.startswith("-") else "–"
        return f"{low.removesuffix(label(unit)).rstrip()}{dash}{high}"
    return f"at least {low}" if low else f"at most {high}" if high else ""


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"

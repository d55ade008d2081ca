"""Procedures as files: one readable YAML file each, read with errors by line and field, and written back.

procedure_schema.py shows every field by example.

Pure: no Django here.
"""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

import yaml

from garage.numbers import round_half_up
from garage.units import DIMENSION, convert, label, parse_quantity
from jobs.fluids import FLUIDS, OIL
from jobs.procedure_schema import KINDS, OUTSIDE, TO_FILL_IN, Amount, Measure, Need, Step, Vehicles, Written
from jobs.yaml_fields import Fields, Problem, Problems, compose

#: The figures of a reading, as a file names them.
FIGURES = ("target", "from", "to")
#: What a step of a kind is read in; any dimension will do at the others.
READ_IN = {"tighten": "torque", "drain": "volume", "fill": "volume", "sample": "volume"}


class Unreadable(ValueError):
    """The file cannot be a procedure; `problems` says why, by line and field."""

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("; ".join(str(problem) for problem in problems))
        self.problems = problems


def parse(text: str) -> Written:
    """Read a procedure from YAML text; Unreadable names every problem that was found, by line and field."""
    problems: Problems = []
    root = compose(text, problems)
    if root is None:
        raise Unreadable(problems)
    written = _procedure(Fields(root, "", problems))
    if problems:
        raise Unreadable(sorted(problems, key=lambda problem: problem.line or 0))
    return written


def from_data(data: Mapping[str, object]) -> Written:
    """Read a procedure from plain data of the same shape as a file; Unreadable as in `parse`."""
    return parse(yaml.safe_dump(dict(data), sort_keys=False, allow_unicode=True))


def _procedure(top: Fields) -> Written:
    repeat = top.group("repeat")
    distance = _distance(repeat) if repeat else (None, "mi")
    capacity = _volume(top, "capacity")
    written = Written(
        title=top.text("procedure", longest=120, required=True),
        component=top.text("component", longest=60, required=True),
        summary=top.text("summary"),
        hours=top.number("hours", required=True, places=9) or Decimal(0),
        capacity=capacity,
        drain=_volume(top, "drains"),
        fluid_kind=top.choice("fluid kind", tuple(FLUIDS), default=OIL),
        specification=top.text("specification", longest=120),
        source=top.text("source", longest=200),
        every_distance=distance[0],
        distance_unit=distance[1],
        every_months=repeat.whole("months", most=1200) if repeat else None,
        tools=top.strings("tools"),
        cautions=top.strings("cautions"),
        applies_to=tuple(_vehicles(row) for row in top.rows("applies to")),
        needs=tuple(_need(row) for row in top.rows("needs")),
        steps=_steps(top.rows("steps", required=True), capacity),
    )
    for part in (top, repeat):
        if part:
            part.no_others()
    _check_whole(written, top)
    return written


def _check_whole(written: Written, top: Fields) -> None:
    capacity, drain = written.capacity, written.drain
    if capacity and drain and capacity.known and drain.value > capacity.value:
        top.problem("drains", f"{drain.typed} cannot drain from a capacity of {capacity.typed}.")
    names = [need.name for need in written.needs]
    for name in {name for name in names if names.count(name) > 1}:
        top.problem("needs", f"two needs are called “{name}”; each needs a name of its own.")
    for position, step in enumerate(written.steps):
        if step.uses and step.uses not in names:
            known = ", ".join(names) or "none"
            top.problem(f"steps[{position + 1}].uses", f"no need is called “{step.uses}”; there are: {known}.")


def _distance(repeat: Fields) -> tuple[int | None, str]:
    text = repeat.text("distance")
    if not text:
        return None, "mi"
    try:
        value, unit = parse_quantity(text.replace(" ", "", text.count(" ") - 1), "mi")
    except ValueError as error:
        repeat.problem("distance", str(error))
        return None, "mi"
    if unit not in ("mi", "km") or value != int(value) or not 0 < value < 1_000_000:
        repeat.problem("distance", f"“{text}” must be a whole number of mi or km.")
        return None, "mi"
    return int(value), unit


def _amount(row: Fields, name: str, bases: tuple[str, ...], *, required: bool = False) -> Amount | None:
    text = row.text(name, longest=40, required=required)
    if not text:
        return None
    if text.lower() == TO_FILL_IN:
        return Amount(Decimal(0), TO_FILL_IN, bases[0] if len(bases) == 1 else "")
    try:
        value, unit = parse_quantity(text, bases[-1])
        base = {"volume": "L", "count": "each"}.get(DIMENSION[unit], unit)
        if base not in bases:
            raise ValueError(f"“{text}” must be a volume{' or a count' if 'each' in bases else ''}.")
        liters = _nine_places(value, unit, base)
        if liters <= 0:
            raise ValueError(f"“{text}” must be more than zero.")
    except ValueError as error:
        row.problem(name, str(error))
        return None
    return Amount(liters, text, base)


def base_of(typed: str) -> str:
    """The base unit a written quantity is kept in: L for a volume, else each. ValueError when it cannot be read."""
    return "L" if DIMENSION[parse_quantity(typed, "each")[1]] == "volume" else "each"


def _volume(row: Fields, name: str) -> Amount | None:
    return _amount(row, name, ("L",))


def _nine_places(value: Decimal, unit: str, base: str) -> Decimal:
    from_unit = value if unit == base else convert(value, unit, base)
    return round_half_up(from_unit, 9)


def _vehicles(row: Fields) -> Vehicles:
    first, last = _years(row)
    vehicles = Vehicles(
        make=row.text("make", longest=60),
        model=row.text("model", longest=80),
        year_from=first,
        year_to=last,
        engine=row.text("engine", longest=80),
        drivetrain=row.text("drivetrain", longest=80),
    )
    row.no_others()
    return vehicles


def _years(row: Fields) -> tuple[int | None, int | None]:
    text = row.text("years").replace("–", "-")
    if not text:
        return None, None
    first, dash, last = (part.strip() for part in text.partition("-"))
    if not dash:
        last = first
    if not all(part == "" or (part.isdecimal() and len(part) == 4) for part in (first, last)) or not first + last:
        row.problem("years", f"“{text}” must be like 2012-2019, 2012-, -2019 or 2015.")
        return None, None
    years = (int(first) if first else None, int(last) if last else None)
    if first and last and int(first) > int(last):
        row.problem("years", f"“{text}” runs backward.")
    return years


def _need(row: Fields) -> Need:
    need = Need(
        name=row.text("name", longest=40, required=True),
        item=row.text("item", longest=80),
        description=row.text("description", longest=120),
        quantity=_amount(row, "quantity", ("L", "each"), required=True) or Amount(Decimal(1), "1", "each"),
        one_time=row.flag("one time"),
        line=row.line,
    )
    if not need.item and not need.description:
        row.problem("item", "say which item it is, or describe it.")
    row.no_others()
    return need


def _steps(rows: list[Fields], capacity: Amount | None) -> tuple[Step, ...]:
    steps = tuple(_step(row) for row in rows)
    names = [step.name for step in steps if step.name]
    earlier: list[str] = []
    for row, step in zip(rows, steps, strict=True):
        if step.name in earlier:
            row.problem("name", f"another step is called “{step.name}”; each needs a name of its own.")
        for needed in step.needs:
            if needed not in names:
                row.problem("needs", f"no step is called “{needed}”; there are: {', '.join(names) or 'none'}.")
            elif needed not in earlier:
                row.problem("needs", f"“{needed}” does not come before this step.")
        _check_filling(step, row, capacity)
        earlier += [step.name] if step.name else []
    return tuple(replace(step, needs=tuple(name for name in names if name in step.needs)) for step in steps)


def _step(row: Fields) -> Step:
    reading = row.group("reading")
    step = Step(
        kind=row.choice("kind", KINDS, default="do"),
        title=row.text("title", longest=120, required=True),
        text=row.text("text"),
        tool=row.text("tool", longest=120),
        caution=row.text("caution"),
        hold_point=row.flag("hold point"),
        uses=row.text("uses", longest=40),
        threads=row.text("threads", longest=60),
        how=row.text("how", longest=120),
        reading=_measure(reading) if reading else None,
        substance=row.flag("substance"),
        name=row.text("name", longest=40),
        needs=tuple(dict.fromkeys(row.strings("needs"))),
    )
    row.no_others()
    _check_reading(step, row, reading)
    return step


def _check_reading(step: Step, row: Fields, reading: Fields | None) -> None:
    """Note a reading of the wrong dimension for its step, and a tighten step that says neither torque nor how."""
    measure, wanted = step.reading, READ_IN.get(step.kind)
    if reading and measure and measure.unit and wanted and DIMENSION[measure.unit] != wanted:
        units = ", ".join(label(code) for code, dimension in DIMENSION.items() if dimension == wanted)
        reading.problem("unit", f"{label(measure.unit)} is no {wanted}: a {step.kind} step is read in {units}.")
    if reading and measure and wanted:
        for name, value in zip(FIGURES, (measure.target, measure.low, measure.high), strict=True):
            if value is not None and (value < 0 or (value == 0 and name == "target")):
                reading.problem(name, f"{value} is no {wanted} that can be read.")
    if step.kind == "tighten" and not step.how and not (measure and _says_how_much(measure)):
        row.problem("how", "say the torque (reading, with target or from and to), or how it is tightened without one.")


def _check_filling(step: Step, row: Fields, capacity: Amount | None) -> None:
    """Note a filling of more than the unit holds: a slip of the point would be poured as it is written."""
    measure = step.reading
    if step.kind != "fill" or measure is None or measure.target is None or capacity is None or not capacity.known:
        return
    if DIMENSION.get(measure.unit) != "volume" or _nine_places(measure.target, measure.unit, "L") <= capacity.value:
        return
    if reading := row.group("reading"):
        said = f"{measure.target} {label(measure.unit)}"
        reading.problem("target", f"{said} is more than the capacity of {capacity.typed}.")


def _says_how_much(measure: Measure) -> bool:
    return bool(measure.to_fill_in) or (measure.target, measure.low, measure.high) != (None, None, None)


def _measure(row: Fields) -> Measure:
    open_figures = tuple(name for name in FIGURES if row.text(name).lower() == TO_FILL_IN)
    target, low, high = (None if name in open_figures else row.number(name, places=9) for name in FIGURES)
    measure = Measure(
        name=row.text("name", longest=40, required=True),
        unit=_unit(row),
        target=target,
        low=low,
        high=high,
        outside=row.choice("outside", OUTSIDE, default="reason"),
        to_fill_in=open_figures,
    )
    if low is not None and high is not None and low > high:
        row.problem("from", f"{low} must not be above {high}.")
    elif target is not None and low is not None and target < low:
        row.problem("target", f"{target} lies below its own limit, from {low}.")
    elif target is not None and high is not None and target > high:
        row.problem("target", f"{target} lies above its own limit, to {high}.")
    row.no_others()
    return measure


def _unit(row: Fields) -> str:
    text = row.text("unit", required=True)
    try:
        return parse_quantity(f"1 {text}")[1] if text else ""
    except ValueError as error:
        row.problem("unit", str(error))
        return ""


def write(written: Written) -> str:
    """Write a procedure as a file that `parse` reads back to the same."""
    content: dict[str, object] = {
        "procedure": written.title,
        "component": written.component,
        "summary": written.summary,
        "hours": _plain(written.hours),
        "capacity": written.capacity and written.capacity.typed,
        "drains": written.drain and written.drain.typed,
        "fluid kind": "" if written.fluid_kind == OIL else written.fluid_kind,
        "specification": written.specification,
        "source": written.source,
        "repeat": _without_empty(
            {
                "distance": written.every_distance and f"{written.every_distance} {written.distance_unit}",
                "months": written.every_months,
            }
        ),
        "tools": list(written.tools),
        "cautions": list(written.cautions),
        "applies to": [_vehicles_out(row) for row in written.applies_to],
        "needs": [_need_out(need) for need in written.needs],
        "steps": [_step_out(step) for step in written.steps],
    }
    return yaml.dump(_without_empty(content), Dumper=_Writer, sort_keys=False, allow_unicode=True, width=100)


class _Figure(str):
    """A number, written without quotes."""


class _Word(str):
    """Yes, written as people do and not as “true”."""


class _Writer(yaml.SafeDumper):
    """Writes figures and words plainly."""


_Writer.add_representer(_Figure, lambda writer, text: writer.represent_scalar(_number_tag(text), text))
_Writer.add_representer(_Word, lambda writer, text: writer.represent_scalar("tag:yaml.org,2002:bool", text))


def _number_tag(text: str) -> str:
    return f"tag:yaml.org,2002:{'float' if '.' in text else 'int'}"


def _without_empty(content: dict[str, object]) -> dict[str, object]:
    return {name: value for name, value in content.items() if value not in ("", None, [], {}, False)}


def _plain(number: Decimal | None) -> _Figure | None:
    """A number as people write it."""
    return None if number is None else _Figure(f"{number.normalize():f}")


def _vehicles_out(row: Vehicles) -> dict[str, object]:
    years = "" if row.year_from is None and row.year_to is None else f"{row.year_from or ''}-{row.year_to or ''}"
    named = {"make": row.make, "model": row.model, "years": years, "engine": row.engine, "drivetrain": row.drivetrain}
    return _without_empty(dict(named))


def _need_out(need: Need) -> dict[str, object]:
    return _without_empty(
        {
            "name": need.name,
            "item": need.item,
            "description": need.description,
            "quantity": _Figure(need.quantity.typed) if need.quantity.typed.isdecimal() else need.quantity.typed,
            "one time": need.one_time and _Word("yes"),
        }
    )


def _figures_out(reading: Measure) -> dict[str, object]:
    values = zip(FIGURES, (reading.target, reading.low, reading.high), strict=True)
    figures = {name: TO_FILL_IN if name in reading.to_fill_in else _plain(value) for name, value in values}
    return {name: figure for name, figure in figures.items() if figure is not None}


def _step_out(step: Step) -> dict[str, object]:
    reading = step.reading
    return _without_empty(
        {
            "kind": step.kind,
            "title": step.title,
            "name": step.name,
            "needs": list(step.needs),
            "text": step.text,
            "tool": step.tool,
            "caution": step.caution,
            "hold point": step.hold_point and _Word("yes"),
            "uses": step.uses,
            "substance": step.substance and _Word("yes"),
            "threads": step.threads,
            "how": step.how,
            "reading": reading
            and {
                "name": reading.name,
                "unit": label(reading.unit),
                **_figures_out(reading),
                "outside": reading.outside,
            },
        }
    )

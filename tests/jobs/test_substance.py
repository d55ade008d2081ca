"""Which steps a service stands and falls with. The rule is the house's own (common practice, no source)."""

from jobs.procedure_schema import Step
from jobs.substance import Served, Worked, served, substance_of

DRIVE, DRAIN = Step("do", "Warm it up"), Step("drain", "Drain")
FILL, PADS = Step("fill", "Fill"), Step("do", "Fit the pads", uses="pad set")


def test_by_default_the_fill_and_what_uses_something_are_the_substance() -> None:
    assert substance_of([DRIVE, DRAIN, FILL, PADS]) == (False, False, True, True)


def test_where_nothing_is_filled_or_used_every_step_is() -> None:
    assert substance_of([DRIVE, DRAIN]) == (True, True)
    assert substance_of([]) == ()


def test_what_the_procedure_marks_is_the_substance_and_nothing_else() -> None:
    assert substance_of([DRIVE, Step("sample", "Bleed", substance=True), FILL]) == (False, True, False)


def test_a_service_counts_when_all_of_its_substance_was_done() -> None:
    drive, fill = Worked("Warm it up", substance=False, done=False), Worked("Fill", substance=True, done=True)
    assert served([drive, fill]) == Served(True, ())


def test_one_step_of_the_substance_left_out_and_it_does_not() -> None:
    steps = [Worked("First", True, True), Worked("Second", True, False), Worked("Drive", False, True)]
    assert served(steps) == Served(False, ("Second",))


def test_without_any_substance_nothing_was_served() -> None:
    assert served([Worked("Drive", False, True)]) == Served(False, ())
    assert served([]) == Served(False, ())

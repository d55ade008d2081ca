"""The random book's acts at the counter and in the bay: people, cars, jobs, lines, steps, draws, what is noticed."""

import datetime as dt
import uuid
from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

from garage import queries as known
from garage.actions.customers import save_customer
from garage.actions.merging import merge_customer, merge_vehicle, part_customer, part_vehicle
from garage.actions.vehicles import change_owner, read_odometer, save_vehicle
from garage.models import AuditEntry, Customer, OdometerReading, Vehicle
from jobs import stages
from jobs.actions.cores import hand_in_core
from jobs.actions.draws import draw_for_line, return_from_line
from jobs.actions.evidence import Limit, note_advisory, settle_advisory
from jobs.actions.final_look import take_final_look
from jobs.actions.finishing import finish_job
from jobs.actions.intake import Odometer, change_job, open_job
from jobs.actions.not_done import reopen_not_done, take_car
from jobs.actions.procedures import publish
from jobs.actions.readings import correct_reading
from jobs.actions.removing import put_back, remove_line, remove_operation
from jobs.actions.skipped import answer_skipped
from jobs.actions.stages import cancel_job, reopen_job, start_job
from jobs.actions.steps import act as act_on_step
from jobs.actions.writing_up import add_operation, edit_operation, move_operation, save_line, take_up
from jobs.consents import authorized
from jobs.models import Advisory, DueService, Job, JobStep, Line, Operation, ProcedureRevision
from jobs.procedure_files import parse
from jobs.readings import spec_of
from parts.models import Item
from tests.invoicing.cast import charge, labor, part
from tests.invoicing.random_book import AT, LITERS, MONEY, Idle, RandomBook, act
from tests.jobs.bay_cast import PROCEDURE, SAMPLE

D = Decimal
HOURS = st.sampled_from(["0.3", "1.4", "2"])
DISCOUNTS = st.sampled_from([D(0), D(0), D("0.1"), D("0.333333333"), D(1)])
PIECES = st.integers(1, 3).map(str)
#: Goods from the shelf: so much of a fluid in any unit, or so many pieces.
GOODS = st.one_of(
    st.builds(
        lambda at, many, unit, price: {"fluid": at, "quantity": many, "unit": unit, "unit_price": price},
        AT, LITERS, st.sampled_from(["L", "qt", "gal", "mL"]), MONEY,
    ),
    st.builds(lambda at, many, price: {"pieces": at, "quantity": D(many), "unit_price": price}, AT, PIECES, MONEY),
)  # fmt: skip
#: The fields of a line, as its form gives them; `item` is taken from the shelf when the line is written.
LINES = st.one_of(
    st.builds(lambda hours, price, off: labor(hours, str(price), discount=off), HOURS, MONEY, DISCOUNTS),
    st.builds(lambda price, count: part("Clip", str(price), count), MONEY, PIECES),
    st.builds(lambda price: part("Boot, if needed", str(price), if_needed=True), MONEY),
    st.builds(lambda price, of: charge("Rags", str(price), tax_class=of), MONEY, st.sampled_from(["charge", "none"])),
    st.builds(lambda price: charge("Grinding", str(price), "sublet", "sublet", sublet_to="Ostrand Grinding"), MONEY),
    st.builds(lambda price: charge("Goodwill", str(-price), finer="goodwill", tax_class="labor"), MONEY),
    st.builds(lambda price: charge("Core deposit", str(price), finer="core", tax_class="parts"), MONEY),
    GOODS,
)  # fmt: skip
CHANGES = st.one_of(
    st.builds(lambda price: {"unit_price": price}, MONEY),
    st.builds(lambda off: {"discount": off}, DISCOUNTS),
    st.builds(lambda many: {"quantity": D(many)}, st.integers(1, 4)),
    st.sampled_from(
        [{"condition": "used"}, {"description": "Another maker's"}, {"tax_class": "labor"}, {"unit": "qt"}]
    ),
)
READ = st.sampled_from(["on", "on", "on", "same", "leap", "mistyped", "replaced", "too low"])
KIND = st.sampled_from(["tick", "tick", "untick", "skip", "note", "confirm", "cannot"])
OUTSIDE = st.sampled_from(["", "", "", "low", "high", "high for a reason", "nothing"])


class Work(RandomBook):
    """What happens at the counter and in the bay."""

    def job(self, at: int, *wanted: str) -> Job:
        """A job at one of the stages wanted, or any when there is none: the verb says what is wrong then."""
        rows = Job.objects.filter(stage__in=wanted)
        return self.pick(rows if wanted and rows.exists() else Job.objects.all(), at)

    def operation(self, job: Job, at: int) -> Operation:
        return self.pick(job.operations.all(), at)

    # People and cars

    @act(at=AT, with_car=st.booleans(), how=READ, hands_over=st.booleans())
    def a_car_comes(self, at: int, with_car: bool, how: str, hands_over: bool) -> None:
        customer = self.pick(Customer.objects.all(), at)
        cars = Vehicle.objects.filter(owner__in=customer.same()) if hands_over else Vehicle.objects.all()
        car = self.pick(cars, at) if with_car or at else None
        offers = [*Advisory.objects.filter(vehicle=car, state="open")[:1], *DueService.objects.filter(vehicle=car)[:1]]
        job = self.do(
            open_job, customer=customer, vehicle=car, concern="Shudders on full lock", theirs_now=hands_over,
            odometer=self.odometer(car, how), offers=offers if with_car else [],
        )  # fmt: skip
        if job is not None:
            self.write_up(job, "Operation 1", labor())

    def odometer(self, car: Vehicle | None, how: str) -> Odometer | None:
        if car is None:
            return None
        last = known.latest_reading(car)
        reading = last.reading if last else 62_900
        shows = {"on": reading + 45, "same": reading, "leap": reading * 10}.get(how, max(reading - 900, 1))
        reason = how if how in ("mistyped", "replaced") else ""
        return Odometer(shows, "mi", reason, reading if how == "replaced" else None)

    @act(at=AT, change=st.sampled_from(["exempt", "taxed", "order", "contact", "new", "days"]))
    def a_customer_is_written_down(self, at: int, change: str) -> None:
        customer = self.pick(Customer.objects.all(), at)
        known_fields: dict[str, dict[str, Any]] = {
            "exempt": {"tax_exempt": True, "exemption_certificate": "EX-1"},
            "taxed": {"tax_exempt": False},
            "order": {"order_number_required": True},
            "contact": {"contact": "Ines Fell", "order_number_required": False},
            "days": {"payment_days": 14},
        }
        fields = known_fields.get(change, {"name": f"{customer.name} "})
        row = None if change == "new" else customer
        self.do(save_customer, customer=row, fields=fields, phones=[("555-0142", "")], emails=[("o@example.com", "")])

    @act(at=AT, into=AT, back=st.booleans())
    def customers_are_one(self, at: int, into: int, back: bool) -> None:
        if back:
            self.do(part_customer, customer=self.pick(Customer.objects.exclude(merged_into=None), at))
        else:
            rows = Customer.objects.all()
            self.do(merge_customer, customer=self.pick(rows, at), into=self.pick(rows, into))

    @act(at=AT, into=AT, back=st.booleans())
    def cars_are_one(self, at: int, into: int, back: bool) -> None:
        if back:
            self.do(part_vehicle, vehicle=self.pick(Vehicle.objects.exclude(merged_into=None), at))
        else:
            rows = Vehicle.objects.all()
            self.do(merge_vehicle, vehicle=self.pick(rows, at), into=self.pick(rows, into))

    @act(at=AT, whose=AT, new=st.booleans(), ago=st.integers(0, 2))
    def a_car_changes_hands(self, at: int, whose: int, new: bool, ago: int) -> None:
        owner = self.pick(Customer.objects.all(), whose)
        if new:
            fields = {"make": "Brannock", "model": "Fell 2.4", "plate": f"KET-{300 + whose}"}
            self.do(save_vehicle, fields=fields, owner=owner)
        else:
            on = self.now.date() - dt.timedelta(days=ago)
            self.do(change_owner, vehicle=self.pick(Vehicle.objects.all(), at), customer=owner, on=on)

    @act(at=AT, how=READ, right=st.sampled_from([62_945, 63_200, 64_000]), correct=st.booleans())
    def an_odometer_is_read(self, at: int, how: str, right: int, correct: bool) -> None:
        if correct:
            self.do(correct_reading, reading=self.pick(OdometerReading.objects.all(), at), right=right)
            return
        car = self.pick(Vehicle.objects.all(), at)
        shows = self.odometer(car, how)
        assert shows is not None
        self.do(read_odometer, vehicle=car, on=self.now.date(), **vars(shows))

    # The sheet

    def write_up(self, job: Job, title: str, fields: dict[str, Any]) -> None:
        operation = self.do(add_operation, job=job, title=title)
        if operation is not None:
            self.do(save_line, operation=operation, fields=fields)

    @act(at=AT, title=st.sampled_from(["Brakes", "Front axle"]), fields=LINES)
    def an_operation_is_written(self, at: int, title: str, fields: dict[str, Any]) -> None:
        self.write_up(self.job(at, *stages.OPEN), title, self.from_shelf(fields))

    @act(at=AT)
    def a_procedure_is_written_up(self, at: int) -> None:
        revision = self.pick(ProcedureRevision.objects.filter(state="published"), 0)
        self.do(add_operation, job=self.job(at, *stages.OPEN), title=revision.procedure.title, revision=revision)

    @act(at=AT, number=AT, fields=LINES)
    def a_line_is_written(self, at: int, number: int, fields: dict[str, Any]) -> None:
        operation = self.operation(self.job(at, *stages.OPEN), number)
        self.do(save_line, operation=operation, fields=self.from_shelf(fields))

    def from_shelf(self, fields: dict[str, Any]) -> dict[str, Any]:
        """The fields of a line with its item, as the form takes them from the shelf."""
        given = dict(fields)
        for name, kind, unit in (("fluid", "fluid", "L"), ("pieces", "part", "each")):
            if name in given:
                item = self.pick(Item.objects.filter(base_unit=unit, current=None), given.pop(name))
                given = {"unit": unit, "item": item, "description": str(item), "kind": kind, **given}
                given |= {"condition": "new", "tax_class": item.tax_class, "price_per": unit}
        return given

    @act(at=AT, number=st.integers(0, 5), change=CHANGES)
    def a_line_is_changed(self, at: int, number: int, change: dict[str, Any]) -> None:
        line = self.line(at, number)
        fluid = line.kind == "fluid"
        if ("unit" in change and not fluid) or ("condition" in change and line.kind != "part"):
            raise Idle
        fields = dict(change)
        if line.unit_price < 0 and "unit_price" in fields:
            fields["unit_price"] = -fields["unit_price"]
        self.do(save_line, operation=line.operation, line=line, fields=fields)

    def line(self, at: int, number: int) -> Line:
        return self.pick(Line.objects.filter(operation__job=self.job(at, *stages.OPEN)), number)

    @act(at=AT, number=AT, change=st.sampled_from(["title", "cause", "correction", "up", "down"]))
    def an_operation_is_changed(self, at: int, number: int, change: str) -> None:
        operation = self.operation(self.job(at, *stages.OPEN), number)
        if change in ("up", "down"):
            self.do(move_operation, operation=operation, up=change == "up")
        else:
            self.do(edit_operation, operation=operation, fields={change: f"{operation.title} again"[:100]})

    @act(at=AT, number=st.integers(0, 5), what=st.sampled_from(["line", "line", "operation", "surely"]))
    def something_is_removed(self, at: int, number: int, what: str) -> None:
        if what == "line":
            self.do(remove_line, line=self.line(at, number))
        else:
            operation = self.operation(self.job(at, *stages.OPEN), number)
            self.do(remove_operation, operation=operation, although_authorized=what == "surely")

    @act(at=AT)
    def it_is_put_back(self, at: int) -> None:
        self.do(put_back, entry=self.pick(AuditEntry.objects.filter(verb__startswith="removed "), at))

    @act(at=AT)
    def a_core_is_handed_in(self, at: int) -> None:
        self.do(hand_in_core, core=self.pick(Line.objects.filter(finer="core"), at))

    @act(at=AT, change=st.sampled_from(["order_number", "concern", "promised_at", "parts_wish"]))
    def the_visit_is_changed(self, at: int, change: str) -> None:
        values = {"promised_at": self.now + dt.timedelta(days=1), "parts_wish": "return"}
        self.do(change_job, job=self.job(at, *stages.OPEN), fields={change: values.get(change, "PO-17")})

    @act(at=AT, again=st.booleans())
    def the_visit_is_called_off(self, at: int, again: bool) -> None:
        if again:
            self.do(reopen_job, job=self.job(at, stages.CANCELED))
        else:
            self.do(cancel_job, job=self.job(at, *stages.UNFINISHED), reason="sold the car")

    # The bay

    @act(at=AT)
    def a_car_goes_into_the_bay(self, at: int) -> None:
        self.do(start_job, job=self.job(at, stages.READY), technician=self.people["technician"])

    @act(at=AT, number=st.integers(0, 5), kind=KIND, odd=OUTSIDE, seen=st.integers(0, 1))
    def a_step_is_acted_on(self, at: int, number: int, kind: str, odd: str, seen: int) -> None:
        steps = JobStep.objects.filter(operation__job=self.job(at, stages.IN_BAY))
        self.step(self.pick(steps, number), kind, odd, seen if kind != "tick" else 0)

    def step(self, step: JobStep, kind: str = "tick", odd: str = "", seen: int = 0) -> None:
        reason = "" if odd in ("low", "high", "nothing") else "as found"
        data = {"reading": self.reading(step, odd), "reason": reason, "text": "noted", **SAMPLE}
        base = max(step.version - seen, 0)
        second = self.people["technician"] if kind == "confirm" else None
        self.do(
            act_on_step, event_id=uuid.uuid4(), step=step, kind=kind, base_version=base, data=data, confirmed_by=second
        )

    def reading(self, step: JobStep, odd: str) -> str:
        spec = spec_of(step.written)
        if spec is None or odd == "nothing":
            return ""
        high, low = spec.high or D("0.9"), spec.low or D("0.5")
        return str(high + 1 if odd.startswith("high") else low / 2 if odd == "low" else spec.target or low)

    @act(at=AT, choice=st.sampled_from(["done", "less", "none"]), words=st.sampled_from(["by hand instead", ""]))
    def skipped_steps_are_explained(self, at: int, choice: str, words: str) -> None:
        skipped = Operation.objects.filter(steps__state="skipped").distinct()
        self.do(answer_skipped, operation=self.pick(skipped, at), choice=choice, words=words)

    @act(at=AT, number=st.integers(0, 5), quantity=LITERS, back=st.booleans())
    def something_is_drawn(self, at: int, number: int, quantity: Decimal, back: bool) -> None:
        job = self.job(at, stages.IN_BAY, stages.FINISHED) if back else self.job(at, stages.IN_BAY)
        line = self.pick(Line.objects.filter(operation__job=job, item__isnull=False), number)
        if line.kind == "part":
            quantity = quantity.to_integral_value() or D(1)
        self.do(return_from_line if back else draw_for_line, line=line, quantity=quantity)

    def work(self, job: Job, how: str = "") -> None:
        """The work of a job as its sheet asks: every step ticked, everything drawn, what was done said.

        With "leap" it takes more fluid than is written, with "too low" all steps but the first are
        skipped, or the work ends as not done, and it is not to be billed.
        """
        for operation in authorized(job).prefetch_related("steps"):
            for place, step in enumerate(operation.steps.filter(state="open")):
                self.step(step, "skip" if how == "too low" and place else "tick")
            left = operation.steps.filter(state="open").first()
            if how == "too low" and left is not None:
                self.step(left, "cannot")
                self.word(job)
            for line in operation.lines.filter(item__isnull=False, draws=None):
                self.do(draw_for_line, line=line, quantity=line.base_quantity)
                if how == "leap" and line.kind == "fluid":
                    self.do(draw_for_line, line=line, quantity=D("0.2"))
            self.do(edit_operation, operation=operation, fields={"correction": "Done as written."})
            if operation.steps.filter(state__in=["skipped", "open"]).exists():
                self.do(answer_skipped, operation=operation, choice="none", words="not needed")

    def word(self, job: Job) -> None:
        said = {"who": "Odile Marrant", "how": "phone", "said_at": self.now, "words": "I take it as it is."}
        self.do(take_car, job=job, **said)

    @act(at=AT, reason=st.sampled_from(["the plug came loose", ""]), again=st.booleans())
    def what_was_not_done_is_taken_up_or_taken_home(self, at: int, reason: str, again: bool) -> None:
        operation = self.pick(Operation.objects.exclude(not_done=None), at)
        if again:
            self.do(reopen_not_done, operation=operation, reason=reason)
        else:
            self.word(operation.job)

    @act(at=AT, how=READ, said=st.booleans())
    def the_work_is_finished(self, at: int, how: str, said: bool) -> None:
        job = self.job(at, stages.IN_BAY)
        for operation in authorized(job) if said else ():
            self.do(edit_operation, operation=operation, fields={"correction": "Done so far."})
        self.finish(job, how)

    def finish(self, job: Job, how: str = "on") -> None:
        self.do(take_final_look, job=job)
        self.do(finish_job, job=job, odometer_out=self.odometer(job.vehicle and job.vehicle.today, how))

    # What is noticed, and what procedures say

    @act(at=AT, by=st.sampled_from(["next", "distance", "date"]))
    def later_work_is_noticed(self, at: int, by: str) -> None:
        limit = Limit(by, 90_000, self.now.date() + dt.timedelta(days=40))
        self.do(note_advisory, job=self.job(at), text="Rear pads at 3 mm", limit=limit)

    @act(at=AT, number=AT, state=st.sampled_from(["take up", "settled", "declined", "open"]))
    def noticed_work_is_settled(self, at: int, number: int, state: str) -> None:
        advisory = self.pick(Advisory.objects.all(), at)
        if state == "take up":
            self.do(take_up, job=self.job(number, *stages.OPEN), offer=advisory)
        else:
            self.do(settle_advisory, advisory=advisory, state=state)

    @act(liters=st.sampled_from(["0.85 L", "0.9 L"]), distance=st.sampled_from(["30000 mi", "20000 mi"]))
    def a_procedure_is_revised(self, liters: str, distance: str) -> None:
        text = PROCEDURE.replace("0.85 L", liters).replace("30000 mi", distance)
        self.do(publish, written=parse(text))

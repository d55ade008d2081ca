"""Nothing is worked on or billed beyond what the customer said: the ways around it, each tried through the verbs."""

from decimal import Decimal

import pytest
from django.db import connection

from garage import database
from garage.clock import fixed
from garage.errors import Refused
from invoicing import promises, queries
from invoicing.actions.authorizations import Replaced
from invoicing.actions.invoices import OverLimit
from invoicing.models import Authorization, Invoice
from invoicing.standing import MAKE, RECORD, REVISE
from jobs.actions.removing import Authorized, remove_operation
from jobs.models import Job, Line, Operation
from parts.actions.items import save_item, supersede, take_back_supersession
from parts.models import Supersession
from tests.decided import standing, state
from tests.invoicing.cast import Garage, labor, part
from tests.invoicing.consent_cast import (
    BACK,
    NO,
    YES,
    again,
    back_on,
    change,
    drafted,
    next_act,
    operations,
    say,
    sound,
    take_off,
)

D = Decimal


# Put back


def test_a_line_put_back_revives_no_yes_that_was_taken_back(garage: Garage) -> None:
    job = garage.job([labor("1"), part()], [labor("0.5")])
    first, _second = operations(job)
    garage.authorize(garage.estimate(job))
    entry = take_off(garage, first.lines.get(kind="part"))
    say(garage, job, first, BACK)
    with pytest.raises(Refused, match="was declined"):
        back_on(garage, entry)
    assert state(first) == "declined"
    garage.finish(garage.into_bay(job))
    assert garage.issue(job).net == D("64.00")
    assert sound()


def test_an_operation_put_back_stands_as_the_customer_left_it(garage: Garage) -> None:
    job = garage.job([labor("1")], [part()])
    first, second = operations(job)
    garage.authorize(garage.estimate(job))
    say(garage, job, second, BACK)
    again(garage, second)
    entry = take_off(garage, second)
    back_on(garage, entry)
    assert state(Operation.objects.get(pk=second.pk)) == "undecided"
    garage.finish(garage.into_bay(job))
    assert [row.operation for row in drafted(job).operations] == [first.pk]
    assert garage.issue(job).net == D("128.00")
    assert sound()


def test_authorized_work_is_taken_off_after_asking_and_named_on_the_draft(garage: Garage) -> None:
    job = garage.job([labor("1")], [part()])
    second = operations(job)[1]
    garage.authorize(garage.estimate(job))
    with pytest.raises(Authorized, match="its customer expects it to be done"):
        remove_operation(operation=second, actor=garage.actor, clock=fixed(garage.now))
    entry = take_off(garage, second)
    assert (
        drafted(job).differences
        == ("“Operation 1” was authorized, but steps of it are open: it is not billed, $128.00 less.",)
        or "“Operation 2” was authorized and taken off the sheet: it is not billed, $74.90 less."
        in drafted(job).differences
    )
    back_on(garage, entry)
    assert state(Operation.objects.get(pk=second.pk)) == "authorized"


# One pot


def test_work_that_was_left_out_lends_its_amount_to_no_other(garage: Garage) -> None:
    fluid = garage.fluid(liters=5)
    job = garage.job([garage.poured(fluid, "1.000"), labor("0.85")], [part("Caliper", "135.18")])
    first, second = operations(job)
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    garage.draw(first.lines.get(kind="fluid"), "2")
    take_off(garage, second)
    garage.finish(job)
    made = drafted(job)
    assert made.net < queries.last_authorization(job).limit  # type: ignore[union-attr]
    with pytest.raises(OverLimit, match=r"“Operation 1” comes to \$61.20 more than the \$170.00") as refused:
        garage.issue(job)
    assert refused.value.over == D("61.20")
    assert not Invoice.objects.exists()


def test_the_books_find_a_bill_that_pooled_the_limits(garage: Garage) -> None:
    """The check is worked out from the sealed rows, whatever the draft thought."""
    job = garage.done([labor("1")], [part()])
    invoice = garage.issue(job)
    assert sound()
    assert invoice.consent_seq == Authorization.objects.get().chain_seq
    database.remove_guards(connection)
    try:
        with connection.cursor() as cursor:
            cursor.execute("UPDATE invoicing_invoiceline SET net = net + 500 WHERE kind = 'labor'")
        assert any("comes to $5.00 more than the $128.00" in said for said in promises.billed_was_authorized())
        with connection.cursor() as cursor:
            cursor.execute("UPDATE invoicing_invoice SET consent_seq = 0")
        assert any("is not authorized" in said for said in promises.billed_was_authorized())
    finally:
        database.install(connection)


# The paper that was heard


def test_a_yes_to_a_revision_that_was_replaced_is_refused_with_what_changed(garage: Garage) -> None:
    job = garage.job([labor("1"), part()])
    heard = garage.estimate(job)
    change(garage, Line.objects.get(kind="part"), condition="used")
    latest = garage.estimate(job)
    with pytest.raises(Replaced, match="was replaced by 1-2 .* used instead of new, same price"):
        garage.authorize(heard)
    with pytest.raises(Replaced, match="opened for another paper"):
        garage.authorize(latest, seal=heard.content_sha256)
    assert not Authorization.objects.exists()
    assert garage.authorize(latest).estimate_seal == latest.content_sha256


def test_the_amount_is_what_the_marked_work_comes_to(garage: Garage) -> None:
    estimate = garage.estimate(garage.job([part("Alternator", "100.00")], [labor("1")]))
    first = estimate.operations.get(position=1).operation_id
    for limit in ("99999.00", "99.99", "228.00"):
        with pytest.raises(Refused, match=r"comes to \$100.00 before tax, \$107.25 with tax") as refused:
            garage.authorize(estimate, decisions={first: YES}, limit=D(limit))
        assert refused.value.field == "limit"
    assert garage.authorize(estimate, decisions={first: YES}, limit=D("100.00")).limit_gross == D("107.25")


def test_a_lower_price_that_the_revised_total_holds_is_the_one_agreed_to(garage: Garage) -> None:
    job = garage.job([labor("1")])
    first = operations(job)[0]
    garage.authorize(garage.estimate(job))
    change(garage, first.lines.get(), unit_price=D("100.00"))
    added = garage.operation(job, "Rear brake pads", part())
    record = say(garage, job, added, YES, limit="174.90")
    assert [(row.decision, row.net) for row in record.operations.order_by("pk")] == [
        ("authorized", D("100.00")), ("authorized", D("74.90")),
    ]  # fmt: skip
    change(garage, first.lines.get(), unit_price=D("128.00"))
    assert [row.amount for row in standing(first).beyond] == [D("28.00")]


# Additions


def added_in_the_bay(garage: Garage) -> tuple[Job, Operation, Line]:
    job = garage.job([labor("1")])
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    first = operations(job)[0]
    return job, first, garage.line(first, **part("Caliper", "200.00"))


def test_declining_an_addition_leaves_the_first_yes_and_its_work_billable(garage: Garage) -> None:
    job, first, addition = added_in_the_bay(garage)
    record = say(garage, job, first, NO)
    assert (record.limit, state(first)) == (D("128.00"), "authorized")
    garage.finish(job)
    with pytest.raises(OverLimit, match=r"Caliper added, \$200.00"):
        garage.issue(job)
    take_off(garage, addition)
    assert garage.issue(job).net == D("128.00")
    assert sound()


def test_a_declined_addition_can_be_offered_again_and_agreed_to(garage: Garage) -> None:
    job, first, _addition = added_in_the_bay(garage)
    say(garage, job, first, NO)
    assert next_act(garage, job) == ""
    again(garage, first)
    assert next_act(garage, job) == RECORD
    say(garage, job, first, YES, limit="328.00")
    garage.finish(job)
    assert garage.issue(job).net == D("328.00")


def test_work_goes_on_within_the_yes_and_not_with_the_part_that_is_asked_about(garage: Garage) -> None:
    fluid = garage.fluid()
    job = garage.job([labor("1"), garage.poured(fluid, "1.000")])
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    first = operations(job)[0]
    other = garage.line(first, **garage.poured(garage.fluid(name="TF-40"), "0.500"))
    garage.draw(first.lines.get(item=fluid), "1")
    with pytest.raises(Refused, match="is not what the customer authorized"):
        garage.draw(other, "0.5")


@pytest.mark.parametrize("fields", [{"discount": D("0.1")}, {"unit_price": D("35.00")}, {"quantity": D(1)}])
def test_a_change_downward_asks_nobody_and_is_billed(garage: Garage, fields: dict[str, Decimal]) -> None:
    job = garage.done([labor("1")], [part("Pad set, rear", "37.45", "2")])
    second = operations(job)[1]
    change(garage, second.lines.get(), **fields)
    assert (state(second), standing(second).asks) == ("authorized", False)
    assert next_act(garage, job) == MAKE
    assert any("Operation 2" in said and "less" in said for said in drafted(job).differences)
    assert garage.issue(job).net < D("202.90")
    assert sound()


def test_a_line_taken_off_asks_nobody_and_is_named(garage: Garage) -> None:
    job = garage.done([labor("1"), part()])
    take_off(garage, Line.objects.get(kind="part"))
    assert next_act(garage, job) == MAKE
    assert drafted(job).differences == ("“Operation 1”: Pad set, rear left out, $74.90 less.",)
    assert garage.issue(job).net == D("128.00")


def test_another_part_at_the_same_price_is_neither_revised_nor_billed_in_silence(garage: Garage) -> None:
    # 16 CCR 3354(b): parts may not change without authorization even at the same price (source text seen).
    job = garage.done([labor("1"), part()])
    change(garage, Line.objects.get(kind="part"), condition="rebuilt")
    assert next_act(garage, job) == REVISE
    with pytest.raises(OverLimit, match="rebuilt instead of Pad set, rear, new"):
        garage.issue(job)
    estimate = garage.estimate(job)
    garage.authorize(estimate, limit=estimate.net)
    assert garage.issue(job).net == D("202.90")


def test_a_class_taxed_higher_asks_for_a_yes_and_one_taxed_lower_does_not(garage: Garage) -> None:
    job = garage.done([labor("1"), part()])
    change(garage, Line.objects.get(kind="part"), tax_class="labor")
    assert not standing(operations(job)[0]).asks
    change(garage, Line.objects.get(kind="part"), tax_class="parts")
    change(garage, Line.objects.get(kind="labor"), tax_class="parts")
    with pytest.raises(OverLimit, match="Labor is taxed higher"):
        garage.issue(job)


def test_the_successors_number_is_the_same_part(garage: Garage) -> None:
    fluid = garage.fluid()
    job = garage.job([garage.poured(fluid, "1.000")])
    garage.authorize(garage.estimate(job))
    fields = {"kind": "fluid", "name": "TF-32", "base_unit": "L"}
    successor = save_item(fields=fields, actor=garage.actor, clock=fixed(garage.now))
    line = Line.objects.get()
    supersede(old=fluid, new=successor, on=garage.today, actor=garage.actor, clock=fixed(garage.now))
    change(garage, line, item=successor, description="TF-32")
    assert not standing(operations(job)[0]).asks
    garage.into_bay(job)
    garage.draw(Line.objects.get(), "1")
    garage.issue(garage.finish(job))
    take_back_supersession(supersession=Supersession.objects.get(), actor=garage.actor, clock=fixed(garage.now))
    assert sound()  # it was one thing when it was billed


def test_an_item_of_another_chain_is_another_part(garage: Garage) -> None:
    job = garage.job([garage.poured(garage.fluid(), "1.000")])
    garage.authorize(garage.estimate(job))
    change(garage, Line.objects.get(), item=garage.fluid(name="TF-40"))
    assert [row.key for row in standing(operations(job)[0]).beyond] == ["part"]

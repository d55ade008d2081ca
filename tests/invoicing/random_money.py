"""The random book's acts with papers and money: estimates, decisions, invoices, credits, payments, taxes.

`carry_on` does what comes next for a job, so that books reach invoices and beyond.
"""

import datetime as dt
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

from garage import shop
from garage.actions.profile import save_profile
from garage.errors import Refused
from garage.models import Customer
from invoicing import accounts, queries
from invoicing.accounts import Place
from invoicing.actions.authorizations import authorize
from invoicing.actions.closing import close_without_invoice, reopen_closed
from invoicing.actions.estimates import mail_estimate, revise_to_used, write_estimate
from invoicing.actions.invoices import credit, issue
from invoicing.actions.issuing import mail_invoice
from invoicing.actions.left_out import bill_left_out, leave_it
from invoicing.actions.only_authorized import bill_only_authorized, charge_it_again
from invoicing.actions.payments import move_money, refund, reverse_payment, take_deposit, take_on_account, take_payment
from invoicing.actions.receipts import mail_receipt
from invoicing.actions.selling import sell
from invoicing.actions.taxes import end_rate, rename_tax, set_rate, withdraw_rate
from invoicing.drafts import DraftInvoice, draft
from invoicing.models import Authorization, Estimate, Invoice, InvoiceLine, Payment, Receivable, Tax, TaxRate
from invoicing.only_authorized import plan_of
from invoicing.reading_out import asking_of
from jobs import queries as jobs_queries
from jobs import stages
from jobs.actions.draws import return_from_line
from jobs.actions.removing import remove_line
from jobs.actions.stages import offer_again, start_job
from jobs.actions.writing_up import save_line
from jobs.consents import consent_of
from jobs.models import Job, Line
from tests.invoicing.cast import labor
from tests.invoicing.random_book import AT, MONEY, Idle, act
from tests.invoicing.random_work import GOODS, READ, Work

D = Decimal
ANSWERS = st.lists(
    st.sampled_from(["authorized", "authorized", "authorized", "declined", "withdrawn", ""]), min_size=1, max_size=4
)
SHARE = st.sampled_from([D("0.25"), D("0.5"), D(1), D(1), D("1.5")])
#: What follows on an amount that was taken off a bill.
THEN = st.sampled_from(["issue", "charge again", "take off again"])
SHARES = st.lists(SHARE, min_size=1, max_size=4)
METHOD = st.sampled_from(["cash", "card", "transfer", "check"])
RATE = st.sampled_from(["0.0625", "0.0725", "0.08", "0"])
CLASSES = st.sampled_from([["parts"], ["labor"], ["sublet", "charge"], ["parts", "labor", "sublet", "charge"]])


class Money(Work):
    """What happens with papers and money."""

    # Estimates and decisions

    @act(at=AT, used=st.booleans())
    def an_estimate_is_written(self, at: int, used: bool) -> None:
        if used:
            self.do(revise_to_used, job=self.job(at, stages.FINISHED, stages.IN_BAY))
        else:
            self.do(write_estimate, job=self.job(at, *stages.OPEN))

    @act(
        at=AT, asked=st.booleans(), old=st.sampled_from([0, 0, 0, 1]), answers=ANSWERS,
        says=st.sampled_from([True, True, False]), ago=st.sampled_from([0, 0, 0, 30]),
    )  # fmt: skip
    def the_customer_decides(self, at: int, asked: bool, old: int, answers: list[str], says: bool, ago: int) -> None:
        job = self.job(at, *stages.OPEN)
        if asked:
            self.do(write_estimate, job=job)
        estimate = self.pick(Estimate.objects.filter(job=job), old)
        keys = [row.operation_id for row in estimate.operations.all() if row.operation_id is not None]
        decisions = {key: (said, "too dear") for key, said in zip(keys, answers * 3, strict=False) if said}
        self.decide(estimate, decisions, says=says, ago=ago)

    @act(at=AT, declines=st.sampled_from([True, True, False]))
    def declined_work_is_offered_again(self, at: int, declines: bool) -> None:
        """The customer may say no first: to what they are asked about, or to all that is not begun."""
        job = self.job(at, *stages.OPEN)
        estimate = self.do(write_estimate, job=job) if declines else None
        asked = consent_of(job).asks
        if estimate is not None and asked:
            self.decide(estimate, dict.fromkeys(asked, ("declined", "too dear")))
        rows = consent_of(job).operations.items()
        refused = [key for key, row in rows if row.state == "declined" or row.refused]
        self.do(offer_again, operation=self.pick(job.operations.filter(pk__in=refused) or job.operations.all(), at))

    def decide(
        self, estimate: Estimate, decisions: Mapping[int, tuple[str, str]], *, says: bool = True, ago: int = 0
    ) -> Authorization | None:
        """Record decisions with the total that the form reads out; without `says` nobody writes it down."""
        job = jobs_queries.sheets().get(pk=estimate.job_id)
        try:
            limit = asking_of(estimate, job, consent_of(job)).read_out(decisions).sums.net
        except Refused:
            limit = D(0)  # the page cannot be shown: a tax rate was missing
        return self.do(
            authorize, estimate=estimate, seal=estimate.content_sha256, decisions=decisions, channel="phone",
            contact="555-0142", person_name=job.customer.contact or job.customer.name, limit=limit if says else None,
            at=self.now - dt.timedelta(minutes=ago) if ago else None, parts_wish="show" if ago else None,
        )  # fmt: skip

    def say_yes(self, job: Job) -> None:
        """The customer agrees to all they are asked about."""
        estimate = queries.latest_estimate(job) or self.do(write_estimate, job=job)
        asked = consent_of(job).asks
        offered = {row.operation_id for row in estimate.operations.all()} if estimate is not None else set()
        if estimate is None or self.decide(estimate, dict.fromkeys(asked & offered, ("authorized", ""))) is None:
            self.do(write_estimate, job=job)

    # The next thing to do

    @act(at=AT, times=st.integers(1, 6), how=READ)
    def carry_on(self, at: int, times: int, how: str) -> None:
        job = self.job(at, *stages.OPEN)
        for _ in range(times):
            job.refresh_from_db()
            self.next_for(job, how)

    @act(how=READ)
    def all_carry_on(self, how: str) -> None:
        for job in Job.objects.exclude(stage__in=[stages.CANCELED, stages.CLOSED]).order_by("pk"):
            self.next_for(job, how)

    def next_for(self, job: Job, how: str) -> None:
        if job.stage == stages.WRITTEN_UP:
            self.do(write_estimate, job=job)
        elif job.stage == stages.AWAITING:
            self.say_yes(job)
        elif job.stage == stages.READY:
            self.do(start_job, job=job, technician=self.people["technician"])
        elif job.stage == stages.IN_BAY:
            self.work(job, how)
            self.finish(job, how if how in ("on", "same") else "on")
        elif job.stage == stages.FINISHED and self.bill(job) is None:
            if how in ("same", "leap"):
                self.do(bill_only_authorized, job=job, amount=plan_of(self.draft(job)).net)
            else:
                self.do(revise_to_used, job=job)
        elif job.stage == stages.INVOICED:
            for owed in Receivable.objects.filter(invoice__job=job, balance__gt=0):
                self.do(take_payment, invoice=owed.invoice, amount=owed.balance, method="card")

    def draft(self, job: Job) -> DraftInvoice:
        return draft(jobs_queries.sheets().get(pk=job.pk), shop.day_of(self.now))

    def bill(self, job: Job, *, sure: bool = True) -> Invoice | None:
        """Issue a job's invoice; the owner is `sure` of the clock and has told of changed taxes."""
        why, owner = ("I looked at the clock" if sure else ""), self.people["owner"]
        left = [row.operation for row in self.draft(job).left_out] if sure else []
        told = "Odile" if sure else ""
        return self.do(issue, job=job, leaving_out=left, told=told, clock_reason=why, actor=owner)

    @act(at=AT, later=st.sampled_from([True, True, False]))
    def what_a_bill_left_out_is_billed(self, at: int, later: bool) -> None:
        if later:
            self.do(bill_left_out, job=self.job(at, stages.INVOICED, stages.CLOSED))
        else:
            self.do(leave_it, job=self.job(at, stages.FINISHED))

    @act(
        at=AT,
        nothing=st.sampled_from([True, True, False]),
        reopened=st.booleans(),
        reason=st.sampled_from(["on us", "on us", ""]),
    )
    def a_job_is_closed_without_an_invoice(self, at: int, nothing: bool, reopened: bool, reason: str) -> None:
        """Its work may first come off the sheet, and every yes be taken back; its money goes to the account."""
        job = self.job(at, stages.FINISHED)
        if nothing:
            self.nothing_was_done(job)
        if nothing and (estimate := self.do(write_estimate, job=job)) is not None:
            self.decide(estimate, dict.fromkeys(consent_of(job).all_in("authorized"), ("withdrawn", "too dear")))
            there = accounts.deposit_of(job)
            if there > 0:
                target = accounts.on_account(job.customer)
                self.do(move_money, source=accounts.on_job(job), target=target, amount=there)
        self.do(close_without_invoice, job=job, reason=reason)
        if reopened:
            self.do(reopen_closed, job=job)

    def nothing_was_done(self, job: Job) -> None:
        """Everything goes back to the shelf, and every line off the sheet that may be taken off."""
        lines = Line.objects.filter(operation__job=job).order_by("-pk")
        for key, used in jobs_queries.used(lines).items():
            if used.quantity > 0:
                self.do(return_from_line, line=Line.objects.get(pk=key), quantity=used.quantity)
        for line in list(lines):
            if Line.objects.filter(pk=line.pk).exists():
                self.do(remove_line, line=line)

    @act(at=AT)
    def a_closed_job_is_reopened(self, at: int) -> None:
        self.do(reopen_closed, job=self.job(at, stages.CLOSED))

    @act(at=AT, again=st.booleans())
    def a_job_is_credited_for_good_and_taken_up(self, at: int, again: bool) -> None:
        """By a slip of the tick for another invoice; then it is billed, or left."""
        job = self.job(at, stages.INVOICED, stages.CLOSED)
        invoice = self.pick(Invoice.objects.filter(job=job, kind="invoice"), 0)
        why, owner = "I looked at the clock", self.people["owner"]
        self.do(credit, invoice=invoice, reason="wrong", bill_again=False, clock_reason=why, actor=owner)
        self.do(bill_left_out, job=job)
        if again:
            self.bill(job)
        else:
            self.do(leave_it, job=job)

    @act(at=AT, goods=st.lists(GOODS, min_size=1, max_size=2), how=st.sampled_from(["cash", "card", "account"]))
    def goods_are_sold_over_the_counter(self, at: int, goods: list[dict[str, Any]], how: str) -> None:
        buyer = self.pick(Customer.objects.all(), at) if at or how == "account" else None
        lines = [self.from_shelf(fields) for fields in goods]
        why = "I looked at the clock"
        self.do(sell, lines=lines, method=how, customer=buyer, clock_reason=why, actor=self.people["owner"])

    @act(at=AT, taken_back=st.sampled_from([False, False, True]), said=st.sampled_from([True, True, False]))
    def only_what_was_authorized_is_billed(self, at: int, taken_back: bool, said: bool) -> None:
        job = self.job(at, stages.FINISHED)
        if taken_back:
            self.do(charge_it_again, job=job)
        else:
            self.do(bill_only_authorized, job=job, amount=plan_of(self.draft(job)).net if said else D(1))

    @act(at=AT, number=AT, price=MONEY, then=THEN)
    def more_was_done_than_was_authorized(self, at: int, number: int, price: Decimal, then: str) -> None:
        """A line nobody agreed to goes on a finished job, and comes off its bill."""
        job = self.job(at, stages.FINISHED)
        fields = labor("1", str(price), description="Seized bolt drilled out")
        self.do(save_line, operation=self.operation(job, number), fields=fields)
        self.do(bill_only_authorized, job=job, amount=plan_of(self.draft(job)).net)
        if then != "issue":
            self.do(charge_it_again, job=job)
        if then == "take off again":
            self.do(bill_only_authorized, job=job, amount=plan_of(self.draft(job)).net)
        if then == "issue":
            self.bill(job)

    @act(at=AT, number=AT, later=st.booleans())
    def a_bill_leaves_finished_work_out(self, at: int, number: int, later: bool) -> None:
        """The customer takes back one yes of a finished job; what is left out then is billed later, or never."""
        job = self.job(at, stages.FINISHED)
        self.do(write_estimate, job=job)
        estimate = self.pick(Estimate.objects.filter(job=job), 0)
        offered = list(estimate.operations.exclude(operation=None).values_list("operation", flat=True))
        if not offered:
            raise Idle
        self.decide(estimate, {offered[number % len(offered)]: ("withdrawn", "too dear")})
        if self.bill(job) is None or self.do(bill_left_out, job=job) is None:
            return
        if later:
            self.say_yes(job)
            self.bill(job)
        else:
            self.do(leave_it, job=job)

    # Invoices and credit notes

    @act(at=AT, sure=st.sampled_from([True, True, True, False]))
    def an_invoice_is_issued(self, at: int, sure: bool) -> None:
        self.bill(self.job(at, stages.FINISHED), sure=sure)

    @act(at=AT, whole=st.booleans(), shares=SHARES, back=st.booleans(), again=st.booleans())
    def an_invoice_is_credited(self, at: int, whole: bool, shares: list[Decimal], back: bool, again: bool) -> None:
        invoice = self.pick(Invoice.objects.filter(kind="invoice"), at)
        rows = InvoiceLine.objects.filter(invoice_operation__invoice=invoice)
        lines = {
            row.pk: abs(row.quantity * share).quantize(D("0.001")) for row, share in zip(rows, shares, strict=False)
        }
        drawn = [row for row in rows if row.item_id is not None and row.quantity > 0]
        returns = {row.pk: row.quantity if whole else lines.get(row.pk, D(0)) for row in drawn} if back else {}
        self.do(
            credit, invoice=invoice, lines=None if whole else lines, returns=returns, reason="wrong", bill_again=again,
            clock_reason="I looked at the clock", actor=self.people["owner"],
        )  # fmt: skip

    @act(at=AT, what=st.sampled_from(["estimate", "invoice", "receipt"]))
    def a_paper_is_mailed(self, at: int, what: str) -> None:
        if what == "estimate":
            self.do(mail_estimate, estimate=self.pick(Estimate.objects.all(), at), to="o@example.com")
        elif what == "invoice":
            self.do(mail_invoice, invoice=self.pick(Invoice.objects.all(), at), to="o@example.com")
        else:
            self.do(mail_receipt, payment=self.pick(Payment.objects.all(), at), to="o@example.com")

    # Money

    @act(at=AT, share=SHARE, method=METHOD, day=st.sampled_from([None, 0, 3]), kept=st.booleans())
    def money_is_paid(self, at: int, share: Decimal, method: str, day: int | None, kept: bool) -> None:
        owed = Receivable.objects.filter(balance__gt=0)
        row = self.pick(owed if owed.exists() else Receivable.objects.all(), at)
        amount = max((row.balance * share).quantize(D("0.01")), D("0.01"))
        self.do(
            take_payment, invoice=row.invoice, amount=amount, method=method,
            credit=max(amount - max(row.balance, D(0)), D(0)) if kept else D(0),
            paid_on=None if day is None else self.now.date() - dt.timedelta(days=day),
        )  # fmt: skip

    @act(at=AT, amount=MONEY, method=METHOD, on_job=st.booleans())
    def money_is_paid_before(self, at: int, amount: Decimal, method: str, on_job: bool) -> None:
        if on_job:
            why, owner = "I looked at the clock", self.people["owner"]
            job = self.job(at, *stages.OPEN)
            self.do(take_deposit, job=job, amount=amount, method=method, clock_reason=why, actor=owner)
        else:
            self.do(take_on_account, customer=self.pick_customer(at), amount=amount, method=method)

    def pick_customer(self, at: int):
        return self.pick(Job.objects.select_related("customer"), at).customer

    def places(self, at: int, number: int) -> tuple[Place, Place]:
        """Two places where money of one customer can stand."""
        paid = self.pick(Payment.objects.filter(amount__gt=0), at).parts.order_by("pk")[0]
        job = paid.job or (paid.invoice.job if paid.invoice else None) or self.pick(Job.objects.all(), at)
        account = job.customer.today if number == 3 else job.customer  # pages refund to the one who stands
        found = [accounts.on_account(account), accounts.on_job(job)]
        found += [accounts.on_invoice(row) for row in Invoice.objects.filter(customer=job.customer).order_by("-pk")[:3]]
        found = sorted(found, key=accounts.standing, reverse=True)
        return found[0], found[1 + number % (len(found) - 1)]

    @act(at=AT, number=AT, share=SHARE, back=st.booleans())
    def money_is_moved(self, at: int, number: int, share: Decimal, back: bool) -> None:
        source, target = self.places(at, number)
        if back:
            source, target = target, source
        there = accounts.movable(source)
        most = min(there, max(accounts.owed(target.invoice), D("0.01"))) if target.invoice else there
        amount = max((most * share).quantize(D("0.01")), D("0.01"))
        self.do(move_money, source=source, target=target, amount=amount)

    @act(at=AT, number=AT, share=SHARE, method=METHOD)
    def money_is_refunded(self, at: int, number: int, share: Decimal, method: str) -> None:
        place = self.places(at, number)[number % 2]
        amount = max((accounts.refundable(place) * share).quantize(D("0.01")), D("0.01"))
        self.do(refund, place=place, amount=amount, method=method, reason="as agreed")

    @act(at=AT, reason=st.sampled_from(["the check bounced", ""]))
    def a_payment_is_reversed(self, at: int, reason: str) -> None:
        self.do(reverse_payment, payment=self.pick(Payment.objects.filter(amount__gt=0), at), reason=reason)

    # Taxes and the shop

    @act(classes=CLASSES, rate=RATE, days=st.integers(0, 3), name=st.sampled_from(["Sales tax", "County tax"]))
    def a_tax_rate_is_set(self, classes: list[str], rate: str, days: int, name: str) -> None:
        first = self.now.date() + dt.timedelta(days=days)
        self.do(set_rate, name=name, classes=classes, rate=D(rate), valid_from=first)

    @act(at=AT, what=st.sampled_from(["county", "withdraw", "rename"]))
    def a_tax_rate_is_ended(self, at: int, what: str) -> None:
        if what == "withdraw":
            tomorrow = self.now.date() + dt.timedelta(days=2)
            self.do(set_rate, name="City tax", classes=["parts"], rate=D("0.01"), valid_from=tomorrow)
            self.do(withdraw_rate, rate=self.pick(TaxRate.objects.all(), at // 2))
        elif what == "rename":
            self.do(rename_tax, tax=self.pick(Tax.objects.all(), at), name="County tax")
        else:
            county = Tax.objects.filter(name="County tax").first()
            if county is None:
                raise Idle
            self.do(end_rate, tax=county, last_day=self.now.date())

    @act(rate=st.sampled_from([D("128"), D("131.50")]), with_tax=st.booleans(), advance=st.booleans())
    def the_shop_changes(self, rate: Decimal, with_tax: bool, advance: bool) -> None:
        fields = {"labor_rate": rate, "limit_with_tax": with_tax, "deposits_taxed": advance}
        self.do(save_profile, fields=fields)

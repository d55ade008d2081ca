"""What an estimate's customer is told: what stands authorized after their answers, and its taxes, by operation.

The page, its pieces and the sealed record all ask here, so that what is recorded is what was read out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from invoicing import charges, consents
from invoicing.models import Estimate
from invoicing.sums import Charge, OperationCharges, Sums, counted, only_if_needed, shares_of_tax
from jobs.consent import AUTHORIZED, Consent, Record, Said, Standing, consent_from
from jobs.consents import records_of, work_of
from jobs.models import Job
from jobs.offers import Offer, Work, beyond

#: By operation (of the sheet): authorized, declined or withdrawn, and the customer's words about a no.
Decisions = Mapping[int, tuple[str, str]]


@dataclass(frozen=True)
class Share:
    """What one operation costs, and what it bears of the taxes on all that is read out with it."""

    net: Decimal
    tax: Decimal

    @property
    def gross(self) -> Decimal:
        """With tax."""
        return self.net + self.tax


@dataclass(frozen=True)
class ReadOut:
    """All that would stand authorized on the sheet; the shares of its operations add up to `sums`, to the cent.
    `needs` are the charges in it that may turn out not to be needed."""

    consent: Consent
    sums: Sums
    shares: Mapping[int, Share]
    needs: Sequence[Charge]


@dataclass(frozen=True)
class Asking:
    """An estimate about which its customer is asked, and what they said so far; read once for any answers."""

    estimate: Estimate
    consent: Consent
    records: Sequence[Record]
    sheet: Sequence[Work]
    offers: Mapping[int, Offer]
    offered: Mapping[int, OperationCharges]
    before: Mapping[int | None, OperationCharges]

    def with_standing(self, decisions: Decisions) -> dict[int, tuple[str, str]]:
        """The decisions, and with a yes also what stood authorized before and this estimate offers for less.

        The revised total that the customer hears holds the lower price, so it is that one which is agreed to.
        """
        given = dict(decisions)
        if all(decision != AUTHORIZED for decision, _words in given.values()):
            return given
        for key, offer in self.offers.items():
            yes = self.consent.of(key).yes
            if yes is None or key in given:
                continue
            if offer.net < yes.net and not beyond(yes, offer.as_work):
                given[key] = (AUTHORIZED, "")
        return given

    def after(self, decisions: Decisions) -> Consent:
        """What the customer's consent would be with these decisions."""
        said = tuple(Said(self.offers[key], decision, words) for key, (decision, words) in decisions.items())
        last = max((row.seq for row in self.records), default=0)
        return consent_from([*self.records, Record(seq=last + 1, said=said)], self.sheet)

    def read_out(self, decisions: Decisions) -> ReadOut:
        """What would stand authorized with these decisions, at the taxes sealed on the estimate.

        Raises Refused for a tax class that had no rate then.
        """
        consent = self.after(self.with_standing(decisions))
        rows = [self._agreed(row) for row in consent.operations.values() if row.state == AUTHORIZED]
        sums = charges.sums_at(self.estimate, counted(rows))
        taxes = shares_of_tax(rows, sums.taxes)
        shares = {row.operation or 0: Share(row.net, tax) for row, tax in zip(rows, taxes, strict=True)}
        return ReadOut(consent, sums, shares, only_if_needed(counted(rows)))

    def _agreed(self, standing: Standing) -> OperationCharges:
        """An authorized operation as its yes was given, on this estimate or before; an alternative counts now."""
        assert standing.yes is not None
        now = self.offered.get(standing.yes.row)
        return replace(now if now is not None else self.before[standing.operation], counted=True)


def asking_of(estimate: Estimate, job: Job, consent: Consent) -> Asking:
    """Read what a customer is asked about; `job` comes from `jobs.queries.sheets`."""
    rows = [row for row in estimate.operations.all() if row.operation_id is not None]
    return Asking(
        estimate=estimate,
        consent=consent,
        records=records_of([job.pk])[job.pk],
        sheet=[work_of(row, bool(estimate.exemption)) for row in job.operations.all()],
        offers={row.operation_id: consents.offer_of(row, estimate) for row in rows if row.operation_id is not None},
        offered={row.pk: charges.offered_on(row) for row in rows},
        before=charges.agreed(consent),
    )


@dataclass(frozen=True)
class Amounts:
    """An operation's amounts beside its marks. `share` is what it comes to within what is read out, None outside it;
    `adds` what a yes would add to the total with tax, None where there is nothing to add."""

    key: int
    net: Decimal
    share: Share | None = None
    adds: Decimal | None = None


@dataclass(frozen=True)
class Shown:
    """What is read out while the marks are set; before the first one (`offered`) it is all that is offered, with what
    stands authorized."""

    heard: ReadOut
    rows: Mapping[int, Amounts]
    offered: bool


def shown(asking: Asking, marks: Decisions) -> Shown:
    """The amounts that follow the marks: before the first what is offered in all, then what would stand authorized.

    Raises Refused for a tax class that had no rate when the estimate was written.
    """
    asks = asking.consent.asks & asking.offers.keys()
    offered = not marks
    everything = {row.operation: (AUTHORIZED, "") for row in asking.offered.values() if row.counted}
    heard = asking.read_out({key: yes for key, yes in everything.items() if key in asks} if offered else marks)
    chosen = {_group(work) for work in asking.sheet if work.operation in heard.shares}
    left = {
        work.operation
        for work in asking.sheet
        if work.operation in asks - marks.keys() and (work.operation in heard.shares or _group(work) not in chosen)
    }
    rows = {
        key: Amounts(
            key,
            offer.net,
            heard.shares.get(key),
            _added(asking, marks, key, heard) if key in left and not offered else None,
        )
        for key, offer in asking.offers.items()
    }
    return Shown(heard, rows, offered)


def _added(asking: Asking, marks: Decisions, key: int, heard: ReadOut) -> Decimal:
    """By how much a yes to one more operation changes the total with tax."""
    return asking.read_out({**marks, key: (AUTHORIZED, "")}).sums.gross - heard.sums.gross


def _group(work: Work) -> int | None:
    """What alternatives to one another share."""
    return work.alternative_to or work.operation

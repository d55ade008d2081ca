"""What consent has to say, in sentences: why an operation may not be worked on, and what goes beyond a yes."""

from garage.money import spoken
from jobs.consent import Excess, Standing
from jobs.offers import ADDED, AMOUNT, EXEMPTION, METHOD, NEED, NOT_AUTHORIZED, PART, TAXED, Beyond


def beyond(row: Beyond) -> str:
    """One thing that a yes does not cover, without the stop."""
    return {
        PART: f"{row.after} instead of {row.before}",
        ADDED: f"{row.after} added, {spoken(row.amount)}",
        TAXED: f"{row.after} is taxed higher",
        EXEMPTION: f"the customer was exempt from tax then and is not now, {spoken(row.amount)} more",
        METHOD: f"“{row.after}” instead of “{row.before}”",
        NEED: f"{row.after} comes to {spoken(row.amount)} more than it was to be at most",
        AMOUNT: f"{spoken(row.amount)} more",
        NOT_AUTHORIZED: "it is not authorized",
    }[row.key]


def all_beyond(standing: Standing) -> str:
    """Everything that goes beyond the yes to an operation, in one line."""
    return "; ".join(beyond(row) for row in standing.beyond)


def why_not(standing: Standing) -> str:
    """Why an operation may not be worked on; empty when it may."""
    if standing.allows_work:
        return ""
    return {
        "authorized": f"another work than was authorized: {all_beyond(standing)}",
        "addition declined": f"another work than was authorized: {all_beyond(standing)}",
        "declined": "declined by the customer",
        "withdrawn": "the customer no longer wants it",
        "alternative": "an alternative to authorized work",
    }.get(standing.reason, "not authorized: it may not be started")


def excess(row: Excess) -> str:
    """What of a bill was not authorized, by how much, as a whole sentence."""
    if any(why.key == NOT_AUTHORIZED for why in row.why):
        return f"“{row.title}” is not authorized: {spoken(row.over)} of it may not be billed."
    basis = "with tax" if row.with_tax else "before tax"
    more = f"comes to {spoken(row.over)} more than the {spoken(row.limit)} that was authorized ({basis})"
    others = "; ".join(beyond(why) for why in row.why if why.key != AMOUNT)
    other = f"holds what was not authorized: {others}"
    return f"“{row.title}” {' and '.join(filter(None, [more if row.over else '', other if others else '']))}."

"""Words that the program no longer says, and what it says instead: plain words of the trade, one name for an act."""

import re

RETIRED = {
    "Write it up": "Write estimate",
    "Put it into the bay": "Start work",
    "See the steps": "Open steps",
    "Go on": "Continue",
    "Make the invoice": "Make invoice",
    "Issue the invoice": "Issue invoice",
    "Take it back": "Reverse payment",
    "Give back": "Refund",
    "Owed in all": "Total balance due",
    "paid too much": "overpaid",
    "Why so exact": "What is kept",
    "Noticed something": "Add recommendation",
    "Noticed for later": "Recommended work",
    "Noticed before": "Previously recommended",
    "Settle it": "Mark done, Dismiss, Open mail",
    "Bring back": "Return to shelf",
    "was drawn": "was taken from the shelf",
    "In words": "Findings",
    "Cannot do this": "Can’t do this",
    "Leave it out": "Skip step",
    "Keep the note": "Save note",
    "Keep the photo": "Save photo",
    "Open it again": "Reopen step",
    "Opened again": "Reopened",
    "Write it down": "Save count",
    "written down": "added, recorded, listed",
    "Empty ones too": "Show empties",
    "See what to order": "Order list",
    "Of it open": "In open containers",
    "In it": "Left",
    "Came": "Received, Arrived",
    "Came in": "Arrived",
    "Came out": "Drained",
    "Worth": "Value",
    "Each": "Unit price",
    "Stands": "Parked at",
    "Title and words": "Edit title and notes",
    "Or free": "Without a procedure",
    "Take up again": "Reopen job",
    "Finer kind": "Line type",
    "What stands on the car": "Plate and VIN",
    "Another owner": "Change owner",
    "nobody known": "New owner unknown",
    "Password until now": "Current password",
    "Last here": "Last login",
    "In the book since": "Customer since",
    "than signs": "characters",
    "signs of a VIN": "characters",
    "On the fluid": "Miles on fluid",
    "cannot be seen through": "opaque",
    "by distance": "mileage reached",
    "Take in a": "Import file",
    "Take in somebody": "New visit",
    "Look it over": "Check file",
    "Further": "Older, Next",
    "See it": "Open",
    "on a day to come": "in the future",
    "Nothing is known as": "Unknown placeholder",
    "had grown old": "This page expired",
    "this act": "this page or action",
    "work done by others": "Sublet",
    "Others’ work": "Sublet",
    "End it": "End rate",
    "Not taxed": "no row",
    "Credit note": "Credit memo",
    "credit note": "credit memo",
    "hold point": "must check first",
    "Movements": "Stock history",
    "Dear {customer}": "Hello {customer}",
    "Save it as it is": "Save anyway",
    "This field is required": "a sentence of its own",
}
#: Short ones are given up as a whole label only: inside a sentence they may be right.
AS_A_LABEL = {"Came", "Worth", "Each", "Stands", "In it", "Go on", "In words", "Further", "Not taxed", "Give back"}


def retired_in(text: str) -> list[str]:
    """The retired words in one thing that is said."""
    bare = re.sub(r"\s+", " ", text).strip()
    return [
        word
        for word in RETIRED
        if (bare.rstrip(":.") == word if word in AS_A_LABEL else re.search(rf"(?<!\w){re.escape(word)}(?!\w)", bare))
    ]

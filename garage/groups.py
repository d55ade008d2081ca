"""Things that are one, found from pairs of them. Pure: no Django here."""

from collections.abc import Iterable


def joined(pairs: Iterable[tuple[int, int]]) -> dict[int, int]:
    """For each key that stands in a pair, one key that stands for all it is joined with, directly or by others."""
    lead: dict[int, int] = {}

    def end(key: int) -> int:
        while lead.setdefault(key, key) != key:
            key = lead[key]
        return key

    for one, other in pairs:
        lead[end(one)] = end(other)
    return {key: end(key) for key in list(lead)}

"""How much of the fluid is fresh after draining and filling, once or several times.

Each change takes out `drained` of `capacity` and fills the same amount again, so the old share shrinks by
the factor 1 - drained/capacity: the dilution law of repeated batch exchange (as in repeated extraction or
discontinuous diafiltration). It assumes that the fluid mixes fully between changes. No measured data confirm
that for a gearbox: say so wherever a figure from here is shown.
"""

from decimal import Decimal, localcontext

from garage.numbers import WORKING, answer, exact, positive, whole

_MOST_CHANGES = 10**9


def fresh_share(capacity: Decimal, drained: Decimal, times: int) -> Decimal:
    """Return the share of fresh fluid, 0 to 1, after `times` changes: 1 - (1 - drained/capacity)^times.

    Capacity and drained are in the same unit. Raises ValueError unless 0 < drained ≤ capacity and times ≥ 0.
    """
    kept = _kept(capacity, drained)
    return _fresh(kept, whole(times, "Times", least=0, most=_MOST_CHANGES))


def changes_needed(capacity: Decimal, drained: Decimal, target: Decimal) -> int:
    """Return the least number of changes after which the fresh share reaches `target`, 0 to 1.

    A whole drain needs one. Raises ValueError where the amounts are wrong as in `fresh_share`, for a target
    outside 0 to 1, and for a target of 1 where old fluid stays behind: no number of changes reaches it.
    """
    kept = _kept(capacity, drained)
    wanted = exact(target, "Target")
    if not 0 <= wanted <= 1:
        raise ValueError(f"Target must be a share from 0 to 1, not {wanted}.")
    if wanted == 0:
        return 0
    if kept == 0:
        return 1
    if wanted == 1:
        raise ValueError("Target must be below 1: some old fluid stays behind at every change.")
    with localcontext(WORKING):
        return _least_power(kept, 1 - wanted)


def _kept(capacity: Decimal, drained: Decimal) -> Decimal:
    """The share of old fluid that one change leaves behind."""
    full = positive(capacity, "Capacity")
    out = positive(drained, "Drained")
    if out > full:
        raise ValueError(f"Drained must not be more than the capacity: {out} of {full}.")
    with localcontext(WORKING):
        return (full - out) / full


def _fresh(kept: Decimal, times: int) -> Decimal:
    if times == 0:
        return Decimal(0)
    with localcontext(WORKING):
        return answer(1 - kept**times)


def _least_power(base: Decimal, limit: Decimal) -> int:
    """The least n with base^n ≤ limit, both between 0 and 1: doubled until past it, then halved back."""
    high = 1
    while base**high > limit:
        high *= 2
    low = high // 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if base**middle > limit else (low, middle)
    return high

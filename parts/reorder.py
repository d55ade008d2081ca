"""When to order again, and how much. Pure: no Django here.

These are forecasts, not money or stock, so they are floats. Quantities are in the item's base unit, times in
days unless a name says years. Sources of the formulas: any handbook of operations management; the worked
examples the tests hold them to are named in tests/reference/reorder.json.
"""

import math
from decimal import Decimal
from statistics import NormalDist

Number = int | float | Decimal


def safety_stock(
    service_level: Number,
    daily_mean: Number,
    daily_sd: Number,
    lead_days_mean: Number,
    lead_days_sd: Number = 0,
) -> float:
    """The stock that covers chance until the delivery: z·√(L·σd² + d²·σL²), never below 0.

    `service_level` is the wanted chance of not running out during one delivery, strictly between 0 and 1; z
    is its normal quantile. Below one half z is negative and no safety stock is needed. Raises ValueError
    for a level outside that range and for a negative or non-finite figure.
    """
    level = _number(service_level, "Service level")
    if not 0 < level < 1:
        raise ValueError(f"Service level must be strictly between 0 and 1, not {service_level}.")
    mean = _not_negative(daily_mean, "Daily mean")
    deviation = _not_negative(daily_sd, "Daily standard deviation")
    lead = _not_negative(lead_days_mean, "Mean lead days")
    lead_deviation = _not_negative(lead_days_sd, "Standard deviation of lead days")
    spread = math.hypot(math.sqrt(lead) * deviation, mean * lead_deviation)
    return _answer(max(0.0, NormalDist().inv_cdf(level) * spread), "Safety stock")


def reorder_point(daily_mean: Number, lead_days_mean: Number, safety: Number) -> float:
    """The stock at which to order: use during the delivery plus the safety stock, d·L + safety.

    Compare it with stock on hand plus what is already on order. Raises ValueError for a negative or
    non-finite figure.
    """
    mean = _not_negative(daily_mean, "Daily mean")
    lead = _not_negative(lead_days_mean, "Mean lead days")
    return _answer(mean * lead + _not_negative(safety, "Safety stock"), "Reorder point")


def economic_order_quantity(annual_demand: Number, order_cost: Number, holding_cost_per_unit_year: Number) -> float:
    """The quantity that makes ordering and holding cost least together: √(2·D·S / H).

    `order_cost` is money for one order, the holding cost money for one base unit kept a year. Raises
    ValueError for a negative or non-finite figure and for a holding cost of zero, with which no order is
    too large.
    """
    demand = _not_negative(annual_demand, "Annual demand")
    ordering = _not_negative(order_cost, "Order cost")
    holding = _not_negative(holding_cost_per_unit_year, "Holding cost")
    if holding == 0:
        raise ValueError("Holding cost must be greater than zero.")
    return _answer(math.sqrt(2 * demand * ordering / holding), "Economic order quantity")


def _number(value: Number, name: str) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float, Decimal)):
        raise ValueError(f"{name} must be a number, not {type(value).__name__}.")
    try:
        number = float(value)
    except (OverflowError, ValueError):  # a whole number beyond a float; a signaling NaN
        number = math.inf
    if not math.isfinite(number):
        raise ValueError(f"{name} must be a finite number.")
    return number


def _not_negative(value: Number, name: str) -> float:
    number = _number(value, name)
    if number < 0:
        raise ValueError(f"{name} must not be below zero, not {value}.")
    return number


def _answer(value: float, name: str) -> float:
    if not math.isfinite(value):
        raise ValueError(f"{name} is too large to be told: one of the figures is out of range.")
    return value

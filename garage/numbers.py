"""What every calculation asks of a number before it uses it. Pure: no Django here.

Each check answers with the number itself or raises ``ValueError`` with a sentence that begins with the
name of the input, so that a form can show the sentence beside the field as it stands.
"""

from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Context, Decimal, localcontext

#: Every answer carries at most this many significant digits.
ANSWER = Context(prec=28, rounding=ROUND_HALF_EVEN)

#: Room for the steps in between, so that only the answer is rounded. Callers' own contexts do not matter.
WORKING = Context(prec=60, rounding=ROUND_HALF_EVEN)

#: Nothing in a garage is counted this far; such a number is a slip of the keyboard or of a program.
LIMIT = Decimal(10) ** 18


def exact(value: Decimal | int, name: str) -> Decimal:
    """Return `value` as a finite Decimal below 10^18 in size; whole numbers are welcome, floats are not."""
    if isinstance(value, bool) or not isinstance(value, (Decimal, int)):
        raise ValueError(f"{name} must be an exact decimal number, not {type(value).__name__}.")
    number = Decimal(value)
    if not number.is_finite():
        raise ValueError(f"{name} must be a finite number, not {number}.")
    if number.copy_abs() >= LIMIT:
        raise ValueError(f"{name} is too large: it must be smaller than 10^18.")
    return number


def positive(value: Decimal | int, name: str) -> Decimal:
    """Like `exact`, and above zero."""
    number = exact(value, name)
    if number <= 0:
        raise ValueError(f"{name} must be greater than zero, not {number}.")
    return number


def not_negative(value: Decimal | int, name: str) -> Decimal:
    """Like `exact`, and zero or above."""
    number = exact(value, name)
    if number < 0:
        raise ValueError(f"{name} must not be below zero, not {number}.")
    return number


def whole(value: int, name: str, *, least: int, most: int) -> int:
    """Return `value` if it is a whole number from `least` to `most`, both included."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"{name} must be a whole number, not {type(value).__name__}.")
    if not least <= value <= most:
        raise ValueError(f"{name} must be from {least} to {most}, not {value}.")
    return value


def answer(value: Decimal) -> Decimal:
    """Round a working value to 28 digits, without the zeros that the working precision leaves behind."""
    rounded = ANSWER.plus(value)
    shorter = ANSWER.normalize(rounded)
    exponent = shorter.as_tuple().exponent
    if isinstance(exponent, int) and exponent > 0:
        return shorter.quantize(Decimal(1), context=WORKING)
    return shorter


def round_half_up(value: Decimal, places: int) -> Decimal:
    """Round to `places` decimals, ties away from zero; never answers minus zero."""
    with localcontext(Context(prec=60, rounding=ROUND_HALF_UP)):
        return value.quantize(Decimal(1).scaleb(-places)) + 0


def minus(text: str) -> str:
    """A figure with a true minus sign, as wide as the other figures."""
    return text.replace("-", "−")

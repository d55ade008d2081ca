"""Decimal numbers kept as integers in the database.

SQLite stores a DecimalField as a REAL, so sums of it drift (ten movements of 0.1 less one of 1 give -1.1e-16).
These fields keep the number as a 64-bit integer in a fixed fraction of its unit: every SUM in SQL is exact on
SQLite and PostgreSQL alike, and Python only ever sees `Decimal`.
"""

from decimal import Decimal
from typing import TYPE_CHECKING, Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models.expressions import Combinable

from garage import forms_fields
from garage.errors import Refused

Set = TypeVar("Set", contravariant=True)
Get = TypeVar("Get", covariant=True)

if TYPE_CHECKING:

    class _Integer(models.BigIntegerField[Set, Get]):
        _pyi_private_set_type: Decimal | int | str | Combinable  # type: ignore[assignment]
        _pyi_private_get_type: Decimal  # type: ignore[assignment]
        _pyi_lookup_exact_type: Decimal | int | str  # type: ignore[assignment]
else:

    class _Integer(models.BigIntegerField):
        def __class_getitem__(cls, types: object) -> type:
            """Let the type parameters below stand at run time, where Django's fields know none."""
            return cls


LIMIT = 2**63 - 1


class ScaledField(_Integer[Set, Get]):
    """A Decimal with a fixed number of places, stored as an integer of its smallest unit.

    A value with more places than the field holds is refused (ValueError), never rounded in silence:
    rounding is the caller's decision and has one function, `money.round_money`.
    """

    places: int

    def from_db_value(self, value: Any, expression: object, connection: object) -> Decimal | None:
        return None if value is None else Decimal(int(value)).scaleb(-self.places)

    def to_python(self, value: Any) -> Any:
        if value is None or isinstance(value, Decimal):
            return value
        try:
            return Decimal(str(value))
        except ArithmeticError as error:
            raise ValidationError(f"“{value}” is not a number.") from error

    def get_prep_value(self, value: Any) -> Any:
        if value is None or hasattr(value, "resolve_expression"):
            return value
        if isinstance(value, float):
            raise TypeError(f"{self.name}: a float may not touch money or stock")
        scaled = Decimal(value).scaleb(self.places)
        whole = int(scaled)
        if whole != scaled:
            raise ValueError(f"{self.name}: {value} has more than {self.places} places")
        if abs(whole) > LIMIT:
            # Refused: two figures that each fit their field may multiply to one that fits none.
            raise Refused(f"{Decimal(value):,f} is too large to store: look for a slip in the figures.")
        return whole

    @property
    def validators(self) -> list[Any]:
        # The integer range checks of the base class would compare the Decimal with the scaled limits.
        return list(self._validators)  # type: ignore[attr-defined]

    def value_to_string(self, obj: models.Model) -> str:
        return str(self.value_from_object(obj))

    def formfield(self, **kwargs: Any) -> Any:
        return super(models.IntegerField, self).formfield(
            **{"form_class": forms_fields.PlainDecimalField, "max_places": self.places, **kwargs}
        )


class MoneyField(ScaledField[Set, Get]):
    """An amount of money in the shop's currency, in cents underneath."""

    places = 2


class UnitPriceField(ScaledField[Set, Get]):
    """A price or cost per unit, or the value of a stock movement, in millionths of the currency underneath."""

    places = 6


class QuantityField(ScaledField[Set, Get]):
    """A quantity in the item's base unit (each, or L), in billionths underneath: a US quart is exact."""

    places = 9


class ShareField(ScaledField[Set, Get]):
    """A share or rate, 0.0725 for 7.25%, in billionths underneath."""

    places = 9

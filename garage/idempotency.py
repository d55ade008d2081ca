"""A double tap is one act: every POST that moves money or stock carries a key made by the client."""

import uuid
from collections.abc import Callable
from typing import TypeVar

from django.db import models

from garage.errors import Refused
from garage.models import IdempotencyKey
from garage.writing import writing

Result = TypeVar("Result", bound=models.Model)


class KeyReused(Refused):
    """The same key came with another act."""


def once(*, key: uuid.UUID, action: str, model: type[Result], do: Callable[[], Result]) -> Result:
    """Run `do` the first time this key is seen and return its row; a repeat returns the stored row.

    Key row and act stand in one transaction: a crash leaves both or neither. Raises KeyReused when the key
    was first used for another action.
    """
    with writing():
        row, created = IdempotencyKey.objects.get_or_create(key=key, defaults={"action": action})
        if row.action != action:
            raise KeyReused("This form was already sent for something else. Load the page again.")
        if not created:
            return model._default_manager.get(pk=row.result)
        result = do()
        row.result = result.pk
        row.save(update_fields=["result"])
        return result


def done(*, key: uuid.UUID, action: str, model: type[Result]) -> Result | None:
    """The row that this key's act made, when it was done already.

    For a form whose own judgment would no longer pass: after the first tap a new plate is one seen before.
    """
    row = IdempotencyKey.objects.filter(key=key, action=action).first()
    return model._default_manager.filter(pk=row.result).first() if row is not None else None

"""A double tap is one act: every act that moves money or stock carries a key made by the client.

The key remembers what was asked with it. The same key with the same words is a repeat and gives the same answer; the
same key with other words is another act that a stale page sent under an old key, and is refused in words: answered
like a repeat it would be lost without anybody knowing.
"""

import dataclasses
import datetime as dt
import functools
import hashlib
import inspect
import json
import uuid
from collections.abc import Callable, Collection, Mapping
from decimal import Decimal
from typing import Any, ParamSpec, TypeVar

from django.core.files.base import File
from django.db import models
from django.http import HttpRequest

from garage.errors import Refused
from garage.models import IdempotencyKey
from garage.writing import writing

P = ParamSpec("P")
Result = TypeVar("Result", bound=models.Model)

#: Arguments that are no part of what was asked: a repeat comes later, and perhaps after another log-in.
NOT_ASKED = frozenset({"key", "actor", "clock", "said"})


class KeyReused(Refused):
    """The same key came with another act, or with other words."""

    def __init__(self) -> None:
        super().__init__(
            "This form was sent before with something else in it, and that was kept. "
            "What is typed here is not: copy it, open the page again and enter it there."
        )


def once(action: str, model: type[Result]) -> Callable[[Callable[P, Result]], Callable[P, Result]]:
    """Make a verb with a `key` run once for each key, in one transaction with the key's row.

    A crash leaves both or neither. A repeat returns the row that the first run made; `said`, where the verb has it,
    is what the client's form said and stands for the other arguments, which may differ at a repeat (a new customer is
    one in the book by then). The verb may be called without a key from within another verb. Raises KeyReused when
    the key was used with another action or other words, Refused when what the first run made was removed since.
    """

    def decorate(verb: Callable[P, Result]) -> Callable[P, Result]:
        signature = inspect.signature(verb)

        @functools.wraps(verb)
        def run(*args: P.args, **kwargs: P.kwargs) -> Result:
            bound = signature.bind(*args, **kwargs)
            bound.apply_defaults()
            key: uuid.UUID | None = bound.arguments["key"]
            with writing():
                if key is None:
                    return verb(*args, **kwargs)
                said = bound.arguments.get("said") or digest_of(bound.arguments)
                known = _known(key, action, said)
                if known is not None:
                    return _made(model, known)
                result = verb(*args, **kwargs)
                IdempotencyKey.objects.filter(key=key).update(result=result.pk)
                return result

        return run

    return decorate


def _known(key: uuid.UUID, action: str, said: str) -> int | None:
    """The row that this key's act made; None the first time, when the key is taken down."""
    row, created = IdempotencyKey.objects.get_or_create(key=key, defaults={"action": action, "said": said})
    if (row.action, row.said) != (action, said):
        raise KeyReused
    return None if created else row.result


def _made(model: type[Result], key: int) -> Result:
    """The row that an act made; Refused when it was taken away again before the act was repeated."""
    row = model._default_manager.filter(pk=key).first()
    if row is None:
        raise Refused("This was done when the form was sent before, and what it wrote was removed since.")
    return row


def done(*, key: uuid.UUID, action: str, said: str, model: type[Result]) -> Result | None:
    """The row that this key's act made, when it was done already with the same words.

    For a form whose own judgment would no longer pass: after the first tap a new plate is one seen before.
    """
    row = IdempotencyKey.objects.filter(key=key, action=action, said=said).first()
    return model._default_manager.filter(pk=row.result).first() if row is not None else None


def used(key: uuid.UUID) -> bool:
    """Whether a key's act was done: a form sent twice is not asked about what it did itself."""
    return IdempotencyKey.objects.filter(key=key).exists()


def said_by(request: HttpRequest) -> str:
    """What a form said as it was sent, its key aside: a digest of its fields and files."""
    fields = {name: request.POST.getlist(name) for name in request.POST if name not in ("csrfmiddlewaretoken", "key")}
    files = {name: request.FILES.getlist(name) for name in request.FILES}
    return digest_of({**fields, **files})


def digest_of(arguments: Mapping[str, Any]) -> str:
    """SHA-256 of what was asked."""
    asked = {name: _plain(value) for name, value in arguments.items() if name not in NOT_ASKED}
    return hashlib.sha256(json.dumps(asked, sort_keys=True).encode()).hexdigest()


def _plain(value: Any) -> Any:
    """An argument of a verb as JSON: the same for the same act, whatever objects carry it."""
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat()
    if isinstance(value, dt.date | uuid.UUID):
        return str(value)
    if isinstance(value, models.Model):
        return f"{value._meta.label_lower}:{value.pk}"
    if isinstance(value, File):
        return _file(value)
    if dataclasses.is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(name): _plain(one) for name, one in value.items()}
    if isinstance(value, Collection):
        return [_plain(one) for one in value]
    raise TypeError(f"{type(value).__name__} cannot be compared at a repeat")


def _file(file: File) -> str:
    file.seek(0)
    found = hashlib.sha256(file.read()).hexdigest()
    file.seek(0)
    return found

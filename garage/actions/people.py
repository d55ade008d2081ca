"""Who may log in, and as what."""

from axes.utils import reset as forget_failures
from django.contrib.auth import password_validation
from django.core.exceptions import ValidationError

from garage import audit, changes
from garage.clock import Clock
from garage.errors import Refused
from garage.models import Role, User
from garage.writing import writing


@writing()
def add_person(
    *, username: str, name: str, role: str, password: str, email: str = "", actor: User | None, clock: Clock
) -> User:
    """Give somebody a login. Raises Refused for a login name that is taken or a password too weak."""
    now = clock()
    person = User(username=username.strip(), name=name.strip(), role=role, email=email, date_joined=now)
    _check_role(role)
    if User.objects.filter(username__iexact=person.username).exists():
        raise Refused(f"“{person.username}” is taken. Choose another login name.", "username")
    _set_password(person, password, "password")
    person.save()
    audit.record("gave login", person, actor=actor, now=now, username=person.username, role=role)
    return person


@writing()
def change_person(
    *, person: User, name: str, role: str, is_active: bool, email: str = "", actor: User | None, clock: Clock
) -> User:
    """Change somebody's name and role, or take their login away: their sessions end with the next request.

    Raises Refused when no owner who may log in would be left.
    """
    now = clock()
    row = User.objects.get(pk=person.pk)
    _check_role(role)
    changed = changes.assign(
        row,
        {"name": name.strip(), "role": role, "is_active": is_active, "email": email},
        among=("name", "role", "is_active", "email"),
    )
    row.save(update_fields=["name", "role", "is_active", "email"])
    if not User.objects.filter(role=Role.OWNER, is_active=True).exists():
        raise Refused("The shop needs an owner. Make another person owner first.", "role")
    audit.record("changed login", row, actor=actor, now=now, changed=changed)
    return row


@writing()
def set_password(*, person: User, password: str, actor: User | None, clock: Clock) -> User:
    """Give somebody a new password: their sessions end, and a lock for wrong passwords is lifted.

    Raises Refused for a password too weak.
    """
    now = clock()
    row = User.objects.get(pk=person.pk)
    _set_password(row, password, "password")
    row.save(update_fields=["password"])
    forget_failures(username=row.username)
    audit.record("set password", row, actor=actor, now=now)
    return row


@writing()
def change_own_password(*, actor: User, old: str, new: str, clock: Clock) -> User:
    """Change one's own password; the other sessions of this person end. Raises Refused."""
    now = clock()
    row = User.objects.get(pk=actor.pk)
    if not row.check_password(old):
        raise Refused("That is not your password.", "old")
    _set_password(row, new, "new")
    row.save(update_fields=["password"])
    audit.record("changed own password", row, actor=row, now=now)
    return row


def _check_role(role: str) -> None:
    if role not in Role.values:
        raise Refused(f"“{role}” is no role.", "role")


def _set_password(person: User, password: str, field: str) -> None:
    if len(password) > 128:
        raise Refused("A password may have 128 characters at most.", field)
    try:
        password_validation.validate_password(password, person)
    except ValidationError as error:
        raise Refused(" ".join(error.messages), field) from None
    person.set_password(password)

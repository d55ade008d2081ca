"""Changing what the shop says about itself on every paper."""

import datetime as dt
import re
import zoneinfo
from collections.abc import Mapping
from typing import Any

from django.core.files.uploadedfile import UploadedFile

from garage import audit, changes, photos, shop
from garage.clock import Clock
from garage.errors import Refused
from garage.models import ShopProfile, StoredFile, User
from garage.writing import writing

FIELDS = tuple(field.name for field in ShopProfile._meta.concrete_fields if field.name not in ("id", "logo"))

#: What the mail with an invoice may name in braces.
MAIL_WORDS = {"customer", "number", "vehicle", "garage", "phone", "total", "due", "payable"}


@writing()
def save_profile(
    *,
    fields: Mapping[str, Any],
    logo: UploadedFile | None = None,
    without_logo: bool = False,
    actor: User | None,
    clock: Clock,
) -> ShopProfile:
    """Save the shop's profile; a new `logo` takes the place of the old one, which stays in the files.

    Raises Refused for a time zone or currency nobody knows, a labor rate below zero, a mail that names what is not
    known, a logo that is no picture, and another currency once a paper was written in one (`shop.fix`).
    """
    now = clock()
    row = ShopProfile.objects.first() or ShopProfile(pk=1)
    changed = changes.assign(row, fields, among=FIELDS)
    for name in changed:
        if said := shop.why_fixed(name):
            raise Refused(said, name)
    _check(row)
    if logo or without_logo:
        old, row.logo = row.logo_id, _stored_logo(logo, actor=actor, now=now) if logo else None
        changed["logo"] = [old, row.logo_id]
    row.save()
    audit.record("changed the shop's profile", row, actor=actor, now=now, changed=changed)
    return row


def _check(profile: ShopProfile) -> None:
    if profile.time_zone not in zoneinfo.available_timezones():
        raise Refused(f"“{profile.time_zone}” is no time zone. It is written like America/New_York.", "time_zone")
    if not re.fullmatch("[A-Z]{3}", profile.currency):
        raise Refused("Three letters, such as USD.", "currency")
    if profile.labor_rate < 0:
        raise Refused("Not less than 0.", "labor_rate")
    if unknown := set(re.findall(r"\{([^{}]*)\}", profile.mail_text)) - MAIL_WORDS:
        raise Refused(f"Unknown placeholder {{{min(unknown)}}}.", "mail_text")


def _stored_logo(logo: UploadedFile, *, actor: User | None, now: dt.datetime) -> StoredFile:
    try:
        return photos.store_photo(logo, actor=actor, now=now, kind=StoredFile.Kind.LOGO)
    except Refused as error:
        raise Refused(str(error), "logo") from None

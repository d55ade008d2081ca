"""Passwords: hashing sized for a small computer, and no words that everybody in the shop's street would try."""

import re

from django.contrib.auth.hashers import Argon2PasswordHasher
from django.core.exceptions import ValidationError

from garage import shop


class Argon2(Argon2PasswordHasher):
    """Argon2id at 46 MiB: above OWASP's floor (19 MiB, t=2) and well below Django's 100 MiB, so that
    eight people logging in at once do not exhaust a small computer's memory."""

    memory_cost = 47104
    time_cost = 2
    parallelism = 1


class NotTheShop:
    """Refuses a password that is little more than the shop's name or the program's (ASVS 5.0, 6.2.11)."""

    LEAST_BESIDE = 8

    def validate(self, password: str, user: object = None) -> None:
        rest = password.casefold()
        for word in [*re.findall(r"\w{3,}", shop.profile().name.casefold()), "sumpbook", "garage", "password"]:
            rest = rest.replace(word, "")
        if len(rest) < self.LEAST_BESIDE and rest != password.casefold():
            raise ValidationError(self.get_help_text())

    def get_help_text(self) -> str:
        return "A password needs more than the name of the shop or of the program."

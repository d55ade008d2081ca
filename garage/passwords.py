"""Password hashing sized for a small computer."""

from django.contrib.auth.hashers import Argon2PasswordHasher


class Argon2(Argon2PasswordHasher):
    """Argon2id at 46 MiB: above OWASP's floor (19 MiB, t=2) and well below Django's 100 MiB, so that
    eight people logging in at once do not exhaust a small computer's memory."""

    memory_cost = 47104
    time_cost = 2
    parallelism = 1

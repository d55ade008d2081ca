"""The installation's secret key: made once, kept in a file that only its owner can read."""

import os
import secrets
from pathlib import Path

MINIMUM_LENGTH = 50


def read_or_create(path: Path) -> str:
    """Return the key in `path`; make a random one, mode 0600, when there is none.

    Raises ValueError when the file holds a key too short to protect sessions and links.
    """
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        key = path.read_text().strip()
        if len(key) < MINIMUM_LENGTH:
            raise ValueError(
                f"{path} holds a key shorter than {MINIMUM_LENGTH} characters; remove it to get a new one"
            ) from None
        return key
    key = secrets.token_urlsafe(64)
    with os.fdopen(descriptor, "w") as file:
        file.write(key + "\n")
    return key

"""The installation's secret key: made once, kept in a file that only its owner can read."""

import secrets
from pathlib import Path

from garage.firststart import make_once

MINIMUM_LENGTH = 50


def read_or_create(path: Path) -> str:
    """Return the key in `path`; make a random one, mode 0600, when there is none.

    Processes that begin at the same moment all get the same key. Raises ValueError when the file holds a key too
    short to protect sessions and links.
    """
    make_once(path, lambda aside: aside.write_text(secrets.token_urlsafe(64) + "\n"))
    key = path.read_text().strip()
    if len(key) < MINIMUM_LENGTH:
        raise ValueError(f"{path} holds a key shorter than {MINIMUM_LENGTH} characters; remove it to get a new one")
    return key

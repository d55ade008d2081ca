"""The program's own settings for the served program, with the collected static files in its data directory."""

from garage.settings import *  # noqa: F403
from garage.settings import DATA_DIR

STATIC_ROOT = DATA_DIR / "static"

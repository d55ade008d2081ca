"""The program's own settings, in a data directory of the test run's own."""

import atexit
import os
import shutil
import tempfile

os.environ["SUMPBOOK_DATA"] = tempfile.mkdtemp(prefix="sumpbook-tests-")
atexit.register(shutil.rmtree, os.environ["SUMPBOOK_DATA"], ignore_errors=True)

from garage.settings import *  # noqa: E402, F403
from garage.settings import DATABASES, STORAGES  # noqa: E402

# The zone of the shop of the tests: what a test calls today is the shop's day, also when it is tomorrow in Greenwich.
TIME_ZONE = "America/New_York"
# One cheap round: the real hasher has a test of its own.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES = {**STORAGES, "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}}
WHITENOISE_USE_FINDERS = True
DATABASES["default"]["CONN_MAX_AGE"] = 0
if "sqlite" in DATABASES["default"]["ENGINE"]:
    # A file, not memory: live servers and concurrency tests need several connections to one database.
    DATABASES["default"]["TEST"] = {"NAME": os.environ["SUMPBOOK_DATA"] + "/test.sqlite3"}

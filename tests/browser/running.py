"""The program as a garage runs it: bin/serve on a book and a port of its own, with a real mail server to talk to."""

import email.policy
import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from email import message_from_bytes
from email.message import EmailMessage
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psycopg
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import Envelope
from django.db import connection
from django.test import override_settings
from psycopg import sql
from pytest_django.plugin import DjangoDbBlocker

ROOT = Path(__file__).resolve().parents[2]
STARTING = 60.0  # seconds


class Postbox:
    """A real SMTP server that keeps what it is handed."""

    def __init__(self) -> None:
        self.mails: list[Envelope] = []
        self._server = Controller(self, hostname="127.0.0.1", port=free_port())
        self._server.start()
        self.port = int(self._server.port)

    async def handle_DATA(self, server: object, session: object, envelope: Envelope) -> str:
        self.mails.append(envelope)
        return "250 taken"

    def mail_to(self, address: str, wait: float = 30.0) -> EmailMessage:
        """The first mail to an address, as soon as it is there."""
        last_moment = time.monotonic() + wait
        while time.monotonic() < last_moment:
            for mail in self.mails:
                if address in mail.rcpt_tos and isinstance(mail.content, bytes):
                    return message_from_bytes(mail.content, policy=email.policy.default)
            time.sleep(0.1)
        raise AssertionError(f"no mail to {address} within {wait:.0f} s")

    def close(self) -> None:
        self._server.stop()


class Database:
    """A database for the served program: a SQLite file, or one more in the PostgreSQL that the tests use."""

    def __init__(self, home: Path, copied: "Database | None" = None) -> None:
        self.on_postgres = connection.vendor == "postgresql"
        self.name = f"browser_{os.getpid()}_{home.name}" if self.on_postgres else str(home / "browser.sqlite3")
        if self.on_postgres:
            self._as_server("DROP DATABASE IF EXISTS {}", self.name)
            self._as_server("CREATE DATABASE {} TEMPLATE {}", self.name, copied.name if copied else "template1")
            self.url = urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{self.name}").geturl()
        else:
            self.url = f"sqlite:///{self.name}"
            if copied:
                with closing(sqlite3.connect(copied.name)) as there, closing(sqlite3.connect(self.name)) as here:
                    there.backup(here)

    def _as_server(self, statement: str, *names: str) -> None:
        with psycopg.connect(os.environ["DATABASE_URL"], autocommit=True) as server:
            server.execute(sql.SQL(statement).format(*map(sql.Identifier, names)))

    def drop(self) -> None:
        if self.on_postgres:
            self._as_server("DROP DATABASE {} WITH (FORCE)", self.name)


class Book:
    """A book outside this process, with a data directory of its own: commands and this process' verbs reach it."""

    def __init__(self, home: Path, blocker: DjangoDbBlocker, copied: "Book | None" = None) -> None:
        home.mkdir(exist_ok=True)
        self.home, self.blocker = home, blocker
        self.database: Database = Database(home, copied.database if copied else None)
        self.environment = os.environ | {
            "DJANGO_SETTINGS_MODULE": "tests.browser.settings",
            "DATABASE_URL": self.database.url,
            "SUMPBOOK_DATA": str(home / "data"),
        }
        if copied:
            shutil.copytree(copied.home / "data", home / "data")
            return
        with subprocess.Popen(self._command("collectstatic", "--no-input", "-v0"), **self.there) as collecting:
            self.manage("migrate", "-v0")
        assert collecting.returncode == 0, "the static files could not be collected"

    @property
    def there(self) -> dict[str, Any]:
        """How a command is started on this book."""
        return {"cwd": ROOT, "env": self.environment}

    @staticmethod
    def _command(*words: str) -> list[str]:
        return [sys.executable, "manage.py", *words]

    def manage(self, *words: str) -> str:
        """Run `manage.py …` on this book; give what it printed."""
        done = subprocess.run(self._command(*words), capture_output=True, text=True, **self.there)
        assert done.returncode == 0, f"manage.py {' '.join(words)}\n{done.stdout}{done.stderr}"
        return done.stdout

    @contextmanager
    def book(self) -> Iterator[None]:
        """Let this process' verbs and queries speak to this book."""
        own = {"PASSWORD_HASHERS": ["garage.passwords.Argon2"], "MEDIA_ROOT": self.home / "data" / "media"}
        before = connection.settings_dict["NAME"]
        with self.blocker.unblock(), override_settings(**own):
            connection.close()
            connection.settings_dict["NAME"] = self.database.name
            try:
                yield
            finally:
                connection.close()
                connection.settings_dict["NAME"] = before

    def close(self) -> None:
        self.database.drop()


class Running(Book):
    """The running program on a copy of a book: its address and its mail."""

    def __init__(self, home: Path, copied: Book) -> None:
        super().__init__(home, copied.blocker, copied)
        self.post = Postbox()
        port = free_port()
        self.url = f"http://127.0.0.1:{port}"
        self.environment |= {
            "SUMPBOOK_BASE_URL": self.url,
            "PORT": str(port),
            "SMTP_HOST": "127.0.0.1",
            "SMTP_PORT": str(self.post.port),
            "SMTP_SECURITY": "none",
        }
        self.log = home / "serve.log"
        with self.log.open("w") as log:
            self._serve = subprocess.Popen(
                [sys.executable, "bin/serve"], stdout=log, stderr=log, start_new_session=True, **self.there
            )
        self._wait_until_open()

    def _wait_until_open(self) -> None:
        last_moment = time.monotonic() + STARTING
        while "Sumpbook is open at" not in self.log.read_text():
            assert self._serve.poll() is None and time.monotonic() < last_moment, self.log.read_text()
            time.sleep(0.05)

    def last_words(self) -> str:
        """The end of what the server has logged."""
        return "\n".join(self.log.read_text().splitlines()[-25:])

    def close(self) -> None:
        self._serve.send_signal(signal.SIGTERM)  # bin/serve takes its children along
        self._serve.wait(20)
        self.post.close()
        super().close()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])

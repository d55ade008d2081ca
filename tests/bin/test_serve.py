"""bin/serve with a web application and a worker made by the test: what starts, what revives, what stops."""

import os
import shutil
import signal
import socket
import subprocess
import sys
import textwrap
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

SERVE = Path(__file__).resolve().parents[2] / "bin" / "serve"
WEB = """
    import os

    def application(environ, start_response):
        start_response("200 OK", [("Content-Type", "text/plain")])
        return [f"{os.getpid()} {os.getppid()}".encode()]
"""
WORKER = """
    import os, pathlib, sys, time
    if "--logins" in sys.argv:
        print("owner: a demo password")
        sys.exit()
    with open("worker-pids", "a") as pids:
        print(os.getpid(), file=pids)
    time.sleep(600)
"""

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def runs(pid: int) -> bool:
    """Whether the process is there and not merely waiting to be collected by a parent that never looks."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def eventually(holds: Callable[[], bool], seconds: float = 20) -> bool:
    last_moment = time.monotonic() + seconds
    while time.monotonic() < last_moment:
        if holds():
            return True
        time.sleep(0.05)
    return holds()


class Garage:
    """A folder like the program's, with a stub for each child."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port = free_port()
        self.web = WEB
        self.worker = WORKER
        self.hang_up: signal.Handlers = signal.SIG_DFL  # nohup, around these tests or not, must make no difference
        self.serve: subprocess.Popen[bytes] | None = None

    def open(self) -> subprocess.Popen[bytes]:
        (self.folder / "bin").mkdir()
        (self.folder / "garage").mkdir()
        shutil.copy(SERVE, self.folder / "bin" / "serve")
        (self.folder / "garage" / "__init__.py").touch()
        (self.folder / "garage" / "wsgi.py").write_text(textwrap.dedent(self.web))
        (self.folder / "manage.py").write_text(textwrap.dedent(self.worker))
        with (self.folder / "said").open("w") as said:
            self.serve = subprocess.Popen(
                [sys.executable, "bin/serve", "--demo"],
                cwd=self.folder,
                env=os.environ | {"PORT": str(self.port)},
                stdout=said,
                stderr=subprocess.STDOUT,
                preexec_fn=lambda: signal.signal(signal.SIGHUP, self.hang_up),
            )
        return self.serve

    def said(self) -> str:
        return (self.folder / "said").read_text()

    def is_open(self) -> bool:
        return "Sumpbook is open at" in self.said()

    def web_pids(self) -> list[int]:
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/", timeout=5) as answer:
            return [int(pid) for pid in answer.read().split()]

    def worker_pids(self) -> list[int]:
        written = self.folder / "worker-pids"
        return [int(pid) for pid in written.read_text().split()] if written.exists() else []


@pytest.fixture
def garage(tmp_path: Path) -> Iterator[Garage]:
    garage = Garage(tmp_path)
    yield garage
    if garage.serve and garage.serve.poll() is None:
        garage.serve.terminate()
        garage.serve.wait(20)


def test_it_says_the_address_and_the_demo_logins_once_the_first_page_answers(garage: Garage) -> None:
    garage.open()
    assert eventually(garage.is_open)
    assert f"http://127.0.0.1:{garage.port}/\nowner: a demo password\n" in garage.said()
    assert garage.web_pids()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_stop_ends_everything_and_counts_as_success(garage: Garage, number: int) -> None:
    serve = garage.open()
    assert eventually(garage.is_open)
    pids = garage.web_pids() + garage.worker_pids()
    assert len(pids) == 3 and all(runs(pid) for pid in pids)
    serve.send_signal(number)
    assert serve.wait(10) == 0
    assert not any(runs(pid) for pid in pids)


def ignores_a_hang_up(pid: int) -> bool:
    """Read from the mask of ignored signals that Linux shows."""
    [mask] = [
        row.split()[1] for row in Path(f"/proc/{pid}/status").read_text().splitlines() if row.startswith("SigIgn")
    ]
    return bool(int(mask, 16) >> (signal.SIGHUP - 1) & 1)


def test_under_nohup_a_closed_terminal_stops_nothing_and_its_children_are_as_ever(garage: Garage) -> None:
    garage.hang_up = signal.SIG_IGN
    serve = garage.open()
    assert eventually(garage.is_open) and eventually(lambda: bool(garage.worker_pids()))
    pids = garage.web_pids() + garage.worker_pids()
    assert ignores_a_hang_up(serve.pid)
    assert not any(ignores_a_hang_up(pid) for pid in pids)
    serve.send_signal(signal.SIGHUP)
    time.sleep(1)
    assert serve.poll() is None and all(runs(pid) for pid in pids)
    serve.terminate()
    assert serve.wait(10) == 0
    assert not any(runs(pid) for pid in pids)


def test_a_web_server_and_a_worker_that_hang_are_ended_too(garage: Garage) -> None:
    garage.worker = "import signal; signal.signal(signal.SIGTERM, signal.SIG_IGN)" + WORKER.replace("\n    ", "\n")
    serve = garage.open()
    assert eventually(garage.is_open) and eventually(lambda: bool(garage.worker_pids()))
    pids = garage.web_pids() + garage.worker_pids()
    for pid in garage.web_pids():
        os.kill(pid, signal.SIGSTOP)
    serve.terminate()
    assert serve.wait(15) == 0
    assert not any(runs(pid) for pid in pids)


def test_a_stop_lets_the_worker_finish_with_its_own_helper(garage: Garage) -> None:
    finish = """import signal, subprocess
    helper = subprocess.Popen(["sleep", "600"])
    def stop(*_):
        time.sleep(0.5)
        pathlib.Path("helper").write_text(f"{helper.pid} {helper.poll()}")
        sys.exit()
    signal.signal(signal.SIGTERM, stop)
    """
    garage.worker = WORKER.replace("with open", finish + "with open")
    serve = garage.open()
    assert eventually(garage.is_open)
    assert eventually(lambda: bool(garage.worker_pids()))
    serve.terminate()
    assert serve.wait(15) == 0
    pid, ended = (garage.folder / "helper").read_text().split()
    assert ended == "None"
    assert not runs(int(pid))


def test_a_taken_port_is_said_and_nothing_starts(garage: Garage) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", garage.port))
        other.listen()
        assert garage.open().wait(10) == 1
    assert f"Cannot open port {garage.port}" in garage.said()
    assert not garage.worker_pids()


def test_a_web_server_that_cannot_start_ends_it_all_with_its_reason(garage: Garage) -> None:
    garage.web = "raise RuntimeError('no such setting')"
    assert garage.open().wait(30) == 1
    assert "no such setting" in garage.said()
    assert "could not start" in garage.said()
    assert not any(runs(pid) for pid in garage.worker_pids())


def test_a_first_page_that_fails_ends_it_all_at_once(garage: Garage) -> None:
    garage.web = WEB.replace("200 OK", "500 Internal Server Error")
    assert garage.open().wait(30) == 1
    assert "The first page fails with status 500" in garage.said()
    assert not any(runs(pid) for pid in garage.worker_pids())


#: Leads to a log-in page that asks for a static file; each has a status of its own.
PAGES = """
    STATUS = {"/": "302 Found", "/login/": "200 OK", "/static/base.css": "200 OK"}

    def application(environ, start_response):
        path = environ["PATH_INFO"]
        onward = [("Location", "/login/?next=/")] if path == "/" else []
        start_response(STATUS[path], [("Content-Type", "text/html"), *onward])
        return [b'<html><link rel="stylesheet" href="/static/base.css"></html>']
"""


def test_pages_whose_static_files_answer_are_open(garage: Garage) -> None:
    garage.web = PAGES
    garage.open()
    assert eventually(garage.is_open)


@pytest.mark.parametrize("hosts", ["shop.example, 10.1.2.3", ".shop.example", "other.example,127.0.0.1", "*"])
def test_pages_that_answer_to_their_own_names_alone_are_open_too(
    garage: Garage, monkeypatch: pytest.MonkeyPatch, hosts: str
) -> None:
    monkeypatch.setenv("SUMPBOOK_HOSTS", hosts)
    known = ("shop.example", f"127.0.0.1:{garage.port}")[hosts in ("other.example,127.0.0.1", "*")]
    garage.web = PAGES.replace("path = ", f"assert environ['HTTP_HOST'] == {known!r}\n        path = ")
    garage.open()
    assert eventually(garage.is_open), garage.said()


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ('"/login/": "200 OK"', '"/login/": "500 Oops"', "The first page fails with status 500: the reason is above."),
        ('base.css": "200 OK"', 'base.css": "404 Not Found"', "asks for /static/base.css, which fails with status 404"),
    ],
)
def test_pages_without_collected_static_files_end_it_all_and_it_says_what_to_type(
    garage: Garage, before: str, after: str, said: str
) -> None:
    garage.web = PAGES.replace(before, after)
    assert garage.open().wait(30) == 1
    assert said in garage.said()
    assert "manage.py collectstatic --no-input" in garage.said()
    assert "is open" not in garage.said()
    assert not any(runs(pid) for pid in garage.worker_pids())


def test_the_real_program_without_collected_static_files_is_not_called_open(tmp_path: Path) -> None:
    (tmp_path / "bare.py").write_text(f"from garage.settings import *\nSTATIC_ROOT = {str(tmp_path / 'static')!r}\n")
    environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"} | {
        "PORT": str(free_port()),
        "PYTHONPATH": str(tmp_path),
        "DJANGO_SETTINGS_MODULE": "bare",
        "SUMPBOOK_DATA": str(tmp_path / "data"),
    }

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        root = SERVE.parent.parent
        return subprocess.run(
            [sys.executable, *words], cwd=root, env=environment, capture_output=True, text=True, timeout=60
        )

    assert run("manage.py", "migrate", "-v0").returncode == 0
    done = run("bin/serve")
    assert done.returncode == 1
    assert "Missing staticfiles manifest entry" in done.stderr
    assert "The first page fails with status 500" in done.stdout
    assert "manage.py collectstatic --no-input" in done.stdout


def test_a_dead_worker_is_started_again_and_what_it_left_running_is_ended(garage: Garage) -> None:
    leave = """import subprocess
    left = subprocess.Popen(["sleep", "600"])
    pathlib.Path("left").write_text(str(left.pid))
    time.sleep(600)
    """
    garage.worker = WORKER.replace("time.sleep(600)\n", leave)
    garage.open()
    assert eventually(garage.is_open) and eventually((garage.folder / "left").exists)
    assert eventually(lambda: bool((garage.folder / "left").read_text()))
    left = int((garage.folder / "left").read_text())
    (first,) = garage.worker_pids()
    os.kill(first, signal.SIGKILL)
    assert eventually(lambda: len(garage.worker_pids()) == 2)
    assert "The worker ended (killed by SIGKILL). Starting it again in 1 s." in garage.said()
    assert not runs(left)


def test_a_worker_that_dies_at_once_rests_longer_each_time(garage: Garage) -> None:
    garage.worker = "import sys; sys.exit(0 if '--logins' in sys.argv else 3)"
    garage.open()
    assert eventually(lambda: "(exit code 3). Starting it again in 4 s." in garage.said())
    assert "in 1 s." in garage.said() and "in 2 s." in garage.said()


def test_killing_the_supervisor_itself_leaves_no_child(garage: Garage) -> None:
    serve = garage.open()
    assert eventually(garage.is_open)
    pids = garage.web_pids() + garage.worker_pids()
    serve.kill()
    serve.wait(10)
    assert eventually(lambda: not any(runs(pid) for pid in pids))

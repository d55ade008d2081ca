"""What happens once for a data directory, however many processes begin there at the same moment.

A file that is made at first need is written aside and then linked to its name: nobody can see half of it, and of
several that come at once one wins and all read what stands. Work of many steps (migrations, static files, the demo) is
done by one process while the others wait.
"""

import fcntl
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

_held: set[Path] = set()


def make_once(path: Path, fill: Callable[[Path], object]) -> None:
    """Make the file `path`, mode 0600, unless it stands; `fill` writes the one aside, in the same directory.

    Raises OSError where the directory cannot be written to, or its file system knows no hard links.
    """
    if path.exists():
        return
    descriptor, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
    aside = Path(name)
    try:
        fill(aside)
        os.fsync(descriptor)
        os.link(aside, path)
        _keep_name(path.parent)
    except FileExistsError:
        pass  # another process was quicker: what stands holds for both
    finally:
        os.close(descriptor)
        aside.unlink()


def _keep_name(directory: Path) -> None:
    """Bring a new name in a directory to the disk: a power cut must not take away a file that is in use already."""
    descriptor = os.open(directory, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


@contextmanager
def alone(directory: Path) -> Iterator[None]:
    """Wait until no other process is at work in this directory, then keep others out until the block ends.

    The directory itself is locked, so that no lock file is left over; a crash lets the next one in. A block within
    a block of the same directory goes on at once: `demo` brings the schema up to date with `migrate`.
    """
    if directory in _held:
        yield
        return
    descriptor = os.open(directory, os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        _held.add(directory)
        yield
    finally:
        _held.discard(directory)
        os.close(descriptor)

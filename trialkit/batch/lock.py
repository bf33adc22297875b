"""One render of a study at a time; the second is told who holds the lock."""

import getpass
import json
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import IO

from trialkit.errors import TrialkitError

LOCK = ".lock"


@contextmanager
def study_lock(reports: Path) -> Iterator[None]:
    """Hold the lock of a study's reports; raises TrialkitError when another render holds it.

    The system itself frees the lock when the holder ends or is killed.
    """
    path = reports / LOCK
    with path.open("a+", encoding="utf-8") as stream:
        if not _taken(stream):
            raise TrialkitError(
                f"{path}::: another render of this study is at work ({_holder(path)}). Wait until "
                "it is done, or stop it, and render again."
            )
        stream.truncate(0)
        stream.write(_about_me())
        stream.flush()
        try:
            yield
        finally:
            stream.truncate(0)


def _taken(stream: IO[str]) -> bool:
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(stream.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        else:
            import fcntl

            fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _about_me() -> str:
    since = datetime.now().astimezone().isoformat(timespec="seconds")
    about = {"who": _user(), "host": socket.gethostname(), "process": os.getpid(), "since": since}
    return json.dumps(about)


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # no such user in this container
        return "somebody"


def _holder(path: Path) -> str:
    try:
        about = json.loads(path.read_text(encoding="utf-8"))
        return "{who} on {host}, process {process}, since {since}".format(**about)
    except (OSError, ValueError, KeyError):
        return "just started"

"""Files that appear whole or not at all, and digests that tell whether they changed."""

import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from trialkit.errors import TrialkitError

STAGING = ".unfinished-"


def digest(content: bytes) -> str:
    """Return the SHA-256 checksum of some bytes."""
    return hashlib.sha256(content).hexdigest()


def digest_of(path: Path) -> str:
    """Return the SHA-256 checksum of a file."""
    return digest(path.read_bytes())


def write_synced(path: Path, content: bytes) -> None:
    """Write a file and wait until it is on the disk."""
    with path.open("wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def write_whole(path: Path, content: bytes) -> None:
    """Write a file that appears whole or not at all; an unchanged file is left alone."""
    if path.is_file() and path.read_bytes() == content:
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    with staging_beside(path) as folder:
        write_synced(folder / path.name, content)
        os.replace(folder / path.name, path)
        sync_folder(path.parent)


@contextmanager
def staging_beside(place: Path) -> Iterator[Path]:
    """Make a private folder beside ``place`` (same disk, same depth) and remove it at the end."""
    place.parent.mkdir(parents=True, exist_ok=True)
    folder = Path(tempfile.mkdtemp(prefix=STAGING, dir=place.parent))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def sync_folder(folder: Path) -> None:
    """Wait until the names in a folder are on the disk (where the system can say so)."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextmanager
def swept(reports: Path) -> Iterator[None]:
    """Remove what is unfinished, of renders that were killed before and of this one at its end.

    Only for a holder of the study's lock: what is unfinished could be another's work.
    """
    _sweep(reports)
    try:
        yield
    finally:
        _sweep(reports)


def _sweep(reports: Path) -> None:
    for folder in (*reports.glob(f"{STAGING}*"), *reports.glob(f"*/{STAGING}*")):
        shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def disk_faults_in_words(place: Path) -> Iterator[None]:
    """Turn an error of the disk into words that name the place and the remedy."""
    try:
        yield
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        where = error.filename or place
        raise TrialkitError(
            f"{where}::: cannot be written ({reason}). Make room or set the permissions, close "
            "the file if another program holds it, and render again; what was there is untouched."
        ) from error

"""Checksums as sha256sum reads them, and a zip file whose bytes depend on its contents alone."""

import hashlib
import zipfile
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from trialkit.publish.archive.contents import files_in

# The earliest date that a zip file can hold; file times would differ between two makings.
FIXED_TIME: Final = (1980, 1, 1, 0, 0, 0)
_PLAIN_FILE: Final = 0o100644 << 16


def checksum_lines(folder: Path, names: Iterable[str]) -> bytes:
    """Return one line a file below ``folder``, which ``sha256sum -c`` run there can check."""
    lines = [f"{_digest(folder / name)}  {name}\n" for name in names]
    return "".join(lines).encode()


def _digest(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def write_zip(folder: Path, target: Path) -> None:
    """Pack a folder under its own name; the same files give the same bytes."""
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as packed:
        for name in files_in(folder):
            entry = zipfile.ZipInfo(f"{folder.name}/{name}", FIXED_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system, entry.external_attr = 3, _PLAIN_FILE
            with packed.open(entry, "w") as inside, (folder / name).open("rb") as source:
                while block := source.read(1 << 20):
                    inside.write(block)

"""trialkit itself as a wheel, so that an archive can be rendered again wherever Python is.

A wheel is a zip file with a record of its files (PyPA specification "Binary distribution format").
This one is put together from the files at hand, so that it holds just the code that ran.
"""

import base64
import hashlib
import tomllib
import zipfile
from collections.abc import Iterator, Mapping
from importlib import metadata
from pathlib import Path
from typing import Any, Final

from trialkit import __version__
from trialkit.batch.resources import PACKAGE, notebooks_folder
from trialkit.errors import TrialkitError
from trialkit.publish.archive import FIXED_TIME

_LEFT_OUT: Final = ("__pycache__", "_data_examples", "_notebooks")
_PLACE: Final = f"trialkit-{__version__}.dist-info"
_WHEEL: Final = (
    "Wheel-Version: 1.0\nGenerator: trialkit\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
)
_PLAIN_FILE: Final = 0o100644 << 16


def write_own_wheel(folder: Path) -> Path:
    """Write the wheel of this very trialkit, without its example study, and return its path."""
    target = folder / f"trialkit-{__version__}-py3-none-any.whl"
    files = {**dict(sorted(_package_files())), **_described()}
    record = "".join(f"{name},{_digest(data)},{len(data)}\n" for name, data in files.items())
    files[f"{_PLACE}/RECORD"] = f"{record}{_PLACE}/RECORD,,\n".encode()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name, FIXED_TIME)
            entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, _PLAIN_FILE
            entry.create_system = 3
            packed.writestr(entry, data)
    return target


def _digest(data: bytes) -> str:
    told = base64.urlsafe_b64encode(hashlib.sha256(data).digest()).decode()
    return f"sha256={told.rstrip('=')}"


def _package_files() -> Iterator[tuple[str, bytes]]:
    for path in PACKAGE.rglob("*"):
        within = path.relative_to(PACKAGE)
        hidden = any(part.startswith(".") or part in _LEFT_OUT for part in within.parts)
        if path.is_file() and not hidden:
            yield f"trialkit/{within.as_posix()}", path.read_bytes()
    for path in notebooks_folder().glob("*.ipynb"):
        yield f"trialkit/_notebooks/{path.name}", path.read_bytes()


def _described() -> dict[str, bytes]:
    """What an installer must know, from the clone that runs, else from what was installed."""
    project = PACKAGE.parent / "pyproject.toml"
    told = _from_clone(project) if project.is_file() else _from_installed()
    return {f"{_PLACE}/{name}": text.encode() for name, text in {**told, "WHEEL": _WHEEL}.items()}


def _from_clone(project: Path) -> dict[str, str]:
    about = tomllib.loads(project.read_text(encoding="utf-8"))["project"]
    lines = [
        "Metadata-Version: 2.1",
        f"Name: {about['name']}",
        f"Version: {__version__}",
        f"Summary: {about['description']}",
        f"License: {about['license']}",
        f"Requires-Python: {about['requires-python']}",
        *(f"Requires-Dist: {one}" for one in about["dependencies"]),
    ]
    return {
        "METADATA": "\n".join(lines) + "\n",
        "entry_points.txt": _entry_points(about),
        "licenses/LICENSE": (project.parent / "LICENSE").read_text(encoding="utf-8"),
    }


def _entry_points(about: Mapping[str, Any]) -> str:
    groups = {"console_scripts": about["scripts"], **about["entry-points"]}
    parts = [
        "\n".join([f"[{group}]", *(f"{name} = {place}" for name, place in points.items())])
        for group, points in groups.items()
    ]
    return "\n\n".join(parts) + "\n"


def _from_installed() -> dict[str, str]:
    try:
        installed = metadata.distribution("trialkit")
    except metadata.PackageNotFoundError:
        raise TrialkitError(
            f"{PACKAGE}: trialkit runs from neither a clone nor an installation, so it cannot be "
            "put into the archive. Install it with pip, and archive again."
        ) from None
    names = ("METADATA", "entry_points.txt", "licenses/LICENSE")
    return {name: installed.read_text(name) or "" for name in names}

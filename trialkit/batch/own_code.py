"""One checksum over what trialkit's own code does, whatever its comments and docstrings say."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import CodeType
from typing import Any, Final

from trialkit.batch.files import digest, digest_of
from trialkit.batch.resources import PACKAGE

DATA_FILES: Final = {".j2", ".css", ".json", ".toml", ".html"}
ASIDE: Final = ("cli", "simulate.py")  # imported by nobody, so no report can depend on them
KNOWN: Final = ".code.json"


@dataclass(frozen=True)
class OwnCode:
    """Checksums of all files of the package: of their bytes, and of what they do."""

    as_bytes: str
    meaning: str

    def to_bytes(self) -> bytes:
        """Return both as they are kept, to be compared by bytes the next time."""
        return json.dumps({"bytes": self.as_bytes, "meaning": self.meaning}).encode()


def own_code(reports: Path | None = None, package: Path = PACKAGE) -> OwnCode:
    """Return the checksums of the package's files.

    Reading what code does takes a while. ``reports`` may hold what was found the last time, which
    stands as long as the bytes are the same.
    """
    paths = sorted(_files(package))
    listed = [(path.relative_to(package).as_posix(), digest_of(path)) for path in paths]
    as_bytes = digest(json.dumps(listed).encode())
    known = _known(reports / KNOWN) if reports else None
    if known and known.as_bytes == as_bytes:
        return known
    meanings = [(name, _meaning(package / name, found)) for name, found in listed]
    return OwnCode(as_bytes, digest(json.dumps(meanings).encode()))


def _files(package: Path) -> Iterator[Path]:
    for path in package.rglob("*"):
        aside = path.relative_to(package).parts[0] in ASIDE
        if not aside and (path.suffix == ".py" or path.suffix in DATA_FILES):
            yield path


def _known(path: Path) -> OwnCode | None:
    try:
        content = json.loads(path.read_bytes())
        return OwnCode(str(content["bytes"]), str(content["meaning"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _meaning(path: Path, as_bytes: str) -> str:
    return meaning_of(path.read_bytes()) if path.suffix == ".py" else as_bytes


def meaning_of(source: bytes) -> str:
    """Return a checksum of what Python code does.

    The interpreter leaves out comments and docstrings. Assertions go with them: they change no
    number. Code that cannot be compiled stands for itself.

    >>> meaning_of(b"x = 1  # one") == meaning_of(b"# one\\nx = 1")
    True
    >>> meaning_of(b"x = 1") == meaning_of(b"x = 2")
    False
    """
    try:
        code = compile(source, "code", "exec", dont_inherit=True, optimize=2)
    except (SyntaxError, ValueError):
        return digest(source)
    return digest(repr(_told(code)).encode())


def _told(constant: Any) -> Any:
    """What a constant of compiled code says, in an order that does not hang on the process."""
    if isinstance(constant, CodeType):
        names = (
            constant.co_names,
            constant.co_varnames,
            constant.co_freevars,
            constant.co_cellvars,
        )
        shape = (constant.co_argcount, constant.co_posonlyargcount, constant.co_kwonlyargcount)
        inside = [_told(one) for one in constant.co_consts]
        code = (constant.co_code, getattr(constant, "co_exceptiontable", b""), constant.co_flags)
        return constant.co_name, shape, names, code, inside
    if isinstance(constant, frozenset):
        return "frozenset", sorted(repr(_told(one)) for one in constant)
    if isinstance(constant, tuple):
        return tuple(_told(one) for one in constant)
    return type(constant).__name__, repr(constant)

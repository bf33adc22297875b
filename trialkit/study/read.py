"""Reading study.toml: every fault at once, each with its line and the nearest known key."""

import difflib
import re
import tomllib
import types
import typing
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from trialkit.errors import Fault, StudyError
from trialkit.study.description import Study

STUDY_FILE = "study.toml"


def read_study(folder: str | Path) -> Study:
    """Read ``folder/study.toml`` (or the file itself) into a :class:`Study`.

    Raises StudyError listing every fault with file, line, key and remedy.
    """
    path = Path(folder)
    path = path if path.suffix == ".toml" else path / STUDY_FILE
    text = _text_of(path)
    try:
        study = Study.model_validate(_parsed(text, path))
    except ValidationError as error:
        raise StudyError(tuple(_fault(item, text, path) for item in error.errors())) from None
    study._folder = path.parent
    return study


def _text_of(path: Path) -> str:
    if not path.is_file():
        raise StudyError(
            (
                Fault(
                    str(path),
                    what="there is no study description here",
                    remedy=f"Point at a folder that holds {STUDY_FILE}, or start one with "
                    "`trialkit new FOLDER`",
                    code="no_study",
                ),
            )
        )
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise StudyError(
            (
                Fault(
                    str(path),
                    what="the file is not UTF-8 text",
                    remedy="Save it as UTF-8 in your editor",
                    code="encoding",
                ),
            )
        ) from None


def _parsed(text: str, path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"line (\d+)", str(error))
        reason = re.sub(r"\s*\(at .*\)$", "", str(error))
        fault = Fault(
            str(path),
            row=int(line.group(1)) if line else 0,
            what=f"this is not valid TOML: {reason}",
            remedy="Texts stand in double quotes, lists in square brackets, dates as 2026-05-31",
            code="toml",
        )
        raise StudyError((fault,)) from None


def _fault(error: Any, text: str, path: Path) -> Fault:
    location = tuple(error["loc"])
    key = ".".join(str(part) for part in location if not isinstance(part, int))
    what, remedy = _in_words(error, location)
    return Fault(str(path), line_of(text, location), key, what, remedy, error["type"])


def _in_words(error: Any, location: tuple[Any, ...]) -> tuple[str, str]:
    if error["type"] == "extra_forbidden":
        near = difflib.get_close_matches(str(location[-1]), _keys_at(location[:-1]), 1, 0.5)
        known = ", ".join(sorted(_keys_at(location[:-1])))
        hint = f"Did you mean '{near[0]}'?" if near else f"Known keys here: {known}"
        return f"unknown key '{location[-1]}'", hint
    if error["type"] == "missing":
        return f"'{location[-1]}' is missing", "Add it; the comments in a fresh study show how"
    if error["type"] == "string_pattern_mismatch":
        return (
            f"'{error['input']}' cannot be an id",
            "An id starts with a small letter and goes on with small letters, digits and _",
        )
    message = error["msg"].removeprefix("Value error, ")
    given = error.get("input")
    shown = f" (found: {given!r})" if isinstance(given, str | int | float | bool) else ""
    return f"{message}{shown}", "Mend this entry"


def _keys_at(location: Iterable[Any]) -> list[str]:
    """Known keys of the part of Study that a location such as ('sites', 0) leads to."""
    model: type[BaseModel] = Study
    for part in location:
        if isinstance(part, str) and part in model.model_fields:
            found = _model_in(model.model_fields[part].annotation)
            model = found or model
    return list(model.model_fields)


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and not isinstance(annotation, types.GenericAlias):
        return annotation if issubclass(annotation, BaseModel) else None
    inner = (_model_in(argument) for argument in typing.get_args(annotation))
    return next((model for model in inner if model), None)


def line_of(text: str, location: tuple[Any, ...]) -> int:
    """Return the line (from 1) of study.toml at which a key such as ('sites', 1, 'name') stands.

    A key inside braces stands where the entry with the braces does. Falls back to the table's own
    header, then to 0 where nothing of the location is written.
    """
    lines, start = text.splitlines(), 0
    names = [part for part in location if isinstance(part, str)]
    index = next((part for part in location if isinstance(part, int)), 0)
    own = _own_header(lines, location, index)
    if own:
        return _first_line(lines, names[-1], own) or own
    if len(names) > 1 or any(isinstance(part, int) for part in location):
        header = re.compile(rf"\s*\[+\s*{re.escape(names[0])}\b")
        headers = [number for number, line in enumerate(lines) if header.match(line)]
        if not headers:
            return _first_line(lines, names[0], 0)
        start = headers[min(index, len(headers) - 1)] + 1
    found = (_first_line(lines, name, start) for name in reversed(names[1:] or names))
    return next((line for line in found if line), start) if names else 0


def _own_header(lines: list[str], location: tuple[Any, ...], index: int) -> int:
    """Line of the header of a list of tables such as [[layout.assumptions]], 0 without one."""
    numbers = [at for at, part in enumerate(location) if isinstance(part, int)]
    if not numbers or numbers[0] < 2:
        return 0
    name = r"\s*\.\s*".join(re.escape(str(part)) for part in location[: numbers[0]])
    header = re.compile(rf"\s*\[\[\s*{name}\s*\]\]")
    found = [number for number, line in enumerate(lines, 1) if header.match(line)]
    return found[min(index, len(found) - 1)] if found else 0


def _first_line(lines: list[str], key: str, start: int) -> int:
    pattern = re.compile(rf"""\s*["']?{re.escape(key)}["']?\s*=""")
    for number, line in enumerate(lines[start:], start + 1):
        if pattern.match(line):
            return number
        if start and line.lstrip().startswith("["):
            return 0
    return 0

"""Plain values written as TOML that a person can read: one key a line, parts under headings."""

import json
import re
from collections.abc import Iterator, Mapping
from typing import Any


def toml_text(content: Mapping[str, Any]) -> str:
    """Return a TOML document: plain values first, then tables, each list of tables in its order.

    >>> print(toml_text({"name": "a", "sites": [{"id": "x", "size": [1, 2]}]}), end="")
    name = "a"
    <BLANKLINE>
    [[sites]]
    id = "x"
    size = [1, 2]
    """
    plain = {key: one for key, one in content.items() if not _is_part(one)}
    return "\n".join([*_lines(plain), *_parts(content)]) + "\n"


def _is_part(value: Any) -> bool:
    if isinstance(value, list):
        return bool(value) and all(isinstance(one, dict) for one in value)
    return isinstance(value, dict)


def _parts(content: Mapping[str, Any]) -> Iterator[str]:
    for key, value in content.items():
        if isinstance(value, dict):
            yield from ("", f"[{_key(key)}]", *_lines(value))
        elif _is_part(value):
            for one in value:
                yield from ("", f"[[{_key(key)}]]", *_lines(one))


def _lines(values: Mapping[str, Any]) -> Iterator[str]:
    return (f"{_key(key)} = {_value(one)}" for key, one in values.items())


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, dict):
        return "{" + ", ".join(_lines(value)) + "}"
    return str(value)  # numbers and dates are written in TOML as Python writes them


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _value(key)

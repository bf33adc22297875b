"""JSON that people can read and compare, an entry to a line, at the speed of the C encoder."""

import json
from collections.abc import Mapping
from typing import Any


def lined_json(content: Mapping[str, Any]) -> bytes:
    """Return JSON with a line for each entry of the lists and tables that ``content`` holds.

    The standard library's own indented JSON is made by Python code, which takes ten times as long.

    >>> print(lined_json({"seed": 1, "runs": [{"a": 1}, {"a": 2}], "none": []}).decode(), end="")
    {
     "seed": 1,
     "runs": [
      {"a": 1},
      {"a": 2}
     ],
     "none": []
    }
    """
    lines = [f" {_text(name)}: {_entries(value)}" for name, value in content.items()]
    return ("{\n" + ",\n".join(lines) + "\n}\n").encode()


def _entries(value: Any) -> str:
    if isinstance(value, Mapping) and value:
        return _block("{", [f"{_text(key)}: {_text(one)}" for key, one in value.items()], "}")
    if isinstance(value, list | tuple) and value:
        return _block("[", [_text(one) for one in value], "]")
    return _text(value)


def _block(opening: str, entries: list[str], closing: str) -> str:
    return f"{opening}\n  " + ",\n  ".join(entries) + f"\n {closing}"


def _text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)

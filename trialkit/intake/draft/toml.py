"""Text of a study description: entries, each with the evidence of its guess above it."""

import json
from collections.abc import Iterable, Mapping
from typing import Any


def toml_text(value: Any) -> str:
    r"""Return a value as TOML has it.

    >>> toml_text(True), toml_text(["a", 'b"']), toml_text("\x7f")
    ('true', '["a", "b\\""]', '"\\u007f"')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        clean = value.encode("utf-8", "replace").decode("utf-8")
        return json.dumps(clean, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, Mapping):
        inner = ", ".join(f"{toml_text(str(k))} = {toml_text(v)}" for k, v in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, Iterable):
        return f"[{', '.join(toml_text(item) for item in value)}]"
    return str(value)


def comment(text: str) -> str:
    """Return a comment of one line; signs that cannot be seen are left away."""
    shown = "".join(sign if sign.isprintable() else " " for sign in text)
    return f"# {shown}"


def guess(text: str) -> str:
    """Return the comment that marks an entry as guessed, with the evidence."""
    return comment(f"guess: {text}")


def part(header: str, entries: Iterable[tuple[str, Any]], why: str = "") -> list[str]:
    """Return a table of entries under a header such as [[sites]], the evidence above it."""
    lines = [guess(why)] if why else []
    return [*lines, header, *(f"{key} = {toml_text(value)}" for key, value in entries), ""]

"""Notebook templates: the parameters that they declare, and what of them can change a result."""

import ast
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from trialkit.errors import TrialkitError

KERNEL = "python3"


@dataclass(frozen=True)
class Template:
    """A notebook to be run with parameters."""

    path: Path
    content: Mapping[str, Any]

    @property
    def parameters(self) -> dict[str, Any]:
        """Names and defaults that the cell tagged ``parameters`` declares."""
        declared: dict[str, Any] = {}
        for cell in self.content["cells"]:
            if "parameters" in cell["metadata"].get("tags", ()):
                for node in ast.parse(source_of(cell)).body:
                    if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                        declared[node.targets[0].id] = ast.literal_eval(node.value)
        return declared

    @cached_property
    def _loaded(self) -> str:
        """The notebook as papermill loads it, without the outputs that are kept in the clone."""
        from nbformat import from_dict
        from papermill.iorw import load_notebook_node

        cells = [
            {**cell, "outputs": []} if "outputs" in cell else cell for cell in self.content["cells"]
        ]
        return json.dumps(load_notebook_node(from_dict({**self.content, "cells": cells})))

    def with_parameters(self, parameters: Mapping[str, Any]) -> Any:
        """Return a new notebook with papermill's cell of parameters in it.

        Raises TrialkitError for a parameter that the template does not declare.
        """
        from nbformat import from_dict
        from papermill.parameterize import parameterize_notebook

        self.accept(parameters)
        return parameterize_notebook(
            from_dict(json.loads(self._loaded)), dict(parameters), kernel_name=KERNEL
        )

    def accept(self, parameters: Mapping[str, Any]) -> None:
        """Raise TrialkitError for a parameter that the template does not declare.

        papermill itself would run the template's defaults and call it done.
        """
        unknown = sorted(set(parameters) - set(self.parameters))
        if unknown:
            listed = ", ".join(self.parameters) or "none"
            raise TrialkitError(
                f"{self.path.name} has no parameter '{unknown[0]}'. Its cell tagged 'parameters' "
                f"declares: {listed}."
            )

    @property
    def meaning(self) -> str:
        """Everything of the template that reaches a report, as text.

        Comments in code, tags, outputs and other metadata do not.
        """
        parts = [
            [cell["cell_type"], cell.get("id", ""), _meaning(cell)]
            for cell in self.content["cells"]
        ]
        return json.dumps(parts, ensure_ascii=False)


def read_template(path: Path) -> Template:
    """Read a notebook template; raises TrialkitError when it is missing or no notebook."""
    try:
        return _parsed(path, path.read_bytes())
    except OSError as error:
        raise TrialkitError(
            f"The notebook {path} cannot be read ({error.strerror}). Install trialkit again, or "
            "point at the folder of your notebooks."
        ) from None


@lru_cache(maxsize=8)
def _parsed(path: Path, content: bytes) -> Template:
    try:
        return Template(path, json.loads(content))
    except ValueError:
        raise TrialkitError(f"{path} is not a notebook. Restore it from the clone.") from None


def source_of(cell: Mapping[str, Any]) -> str:
    """Return a cell's source as one text, however the file splits it."""
    source = cell["source"]
    return source if isinstance(source, str) else "".join(source)


def _meaning(cell: Mapping[str, Any]) -> str:
    source = source_of(cell)
    if cell["cell_type"] != "code":
        return source
    try:
        return ast.dump(ast.parse(source))
    except SyntaxError:  # a cell magic, or an error to be told when the cell runs
        return source

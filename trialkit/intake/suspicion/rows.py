"""The rows of a table as arrays: what is looked at in thousands of rows needs no more than that."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Rows:
    """A tidy table with its words numbered, each column once however many looks need it."""

    frame: pd.DataFrame
    _words: dict[str, tuple[np.ndarray, list[str]]] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.frame)

    @property
    def index(self) -> np.ndarray:
        """Spreadsheet row of each row."""
        return self.frame.index.to_numpy()

    def values(self, name: str) -> np.ndarray:
        """Return numbers or dates; missing ones are NaN or NaT."""
        return self.frame[name].to_numpy()

    def words(self, name: str) -> tuple[np.ndarray, list[str]]:
        """Return the number of each row's word (-1: none) and the words, in alphabetical order."""
        if name not in self._words:
            codes, found = pd.factorize(self.frame[name].array, sort=True)
            self._words[name] = codes, list(map(str, found))
        return self._words[name]

    def days(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the number of each row's date (-1: none) and the dates, in order."""
        return pd.factorize(self.frame["date"].to_numpy(), sort=True)

    def at(self, mask: np.ndarray) -> list[int]:
        """Return the spreadsheet rows at which ``mask`` holds."""
        return [int(row) for row in self.index[mask]]

    def first(self, mask: np.ndarray) -> list[int]:
        """Return the first spreadsheet row at which ``mask`` holds."""
        return [int(self.index[mask.argmax()])]


Tables = Mapping[str, Rows]


def in_rows(tables: Mapping[str, pd.DataFrame | Rows]) -> dict[str, Rows]:
    """Return every table as rows; those that are so already keep what they know."""
    return {name: one if isinstance(one, Rows) else Rows(one) for name, one in tables.items()}


def of_plots(rows: Rows, plots: Rows, name: str) -> tuple[np.ndarray, list[str]]:
    """Return what the layout says of each row's plot (block or treatment), as :meth:`Rows.words`.

    Of a plot that stands in the layout more than once, the first row counts.
    """
    codes, labels = rows.words("plot")
    laid_out, known = plots.words("plot")
    said, words = plots.words(name)
    of_label = dict(zip(reversed(laid_out.tolist()), reversed(said.tolist()), strict=True))
    at = {label: of_label.get(number, -1) for number, label in enumerate(known)}
    return np.array([*(at.get(label, -1) for label in labels), -1])[codes], words

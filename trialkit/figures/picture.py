"""A finished picture: the image, its alternative text, its caption and the numbers it shows."""

import base64
import struct
from dataclasses import dataclass, field
from typing import Any, Final

import pandas as pd

_PIXELS_PER_INCH_ON_A_PAGE: Final = 96


@dataclass(frozen=True)
class Picture:
    """What every function of this room returns.

    image   : the PNG file as bytes, the same bytes for the same numbers.
    alt     : the finding in a sentence, for people who cannot see the picture.
    caption : what is shown, in which units.
    data    : the plotted numbers in display units, one row per mark.
    width, height : size in inches.

    Jupyter shows the image with ``alt`` and ``caption`` in the output's ``image/png`` metadata
    (where nbconvert looks for ``alt``), and ``text/plain`` says the same in words.
    """

    image: bytes = field(repr=False)
    alt: str
    caption: str
    data: pd.DataFrame = field(repr=False, compare=False)
    width: float
    height: float

    def __repr__(self) -> str:
        return f"Figure: {self.caption}\n{self.alt}"

    def _repr_mimebundle_(
        self, include: object = None, exclude: object = None
    ) -> tuple[dict[str, Any], dict[str, Any]]:
        about = {
            "alt": self.alt,
            "caption": self.caption,
            "width": round(self.width * _PIXELS_PER_INCH_ON_A_PAGE),
            "height": round(self.height * _PIXELS_PER_INCH_ON_A_PAGE),
        }
        shown = {"image/png": base64.b64encode(self.image).decode(), "text/plain": repr(self)}
        return shown, {"image/png": about}


def pixels(image: bytes) -> tuple[int, int]:
    """Return width and height in pixels, read from the head of a PNG file."""
    width, height = struct.unpack(">II", image[16:24])
    return width, height

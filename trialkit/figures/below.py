"""Several pictures in one, each below the one before."""

import io
from collections.abc import Sequence

import numpy as np
import pandas as pd
from PIL import Image

from trialkit.figures.encoding import PALETTE, compact, file_of
from trialkit.figures.picture import Picture


def below_each_other(*pictures: Picture) -> Picture:
    """Return one picture of several; the alternative texts and captions follow each other."""
    images = [Image.open(io.BytesIO(one.image)) for one in pictures]
    return Picture(
        image=_two(*images) if _fit(images) else _joined(images),
        alt=" ".join(one.alt for one in pictures),
        caption=" ".join(one.caption for one in pictures),
        data=pd.concat([one.data for one in pictures], ignore_index=True),
        width=max(one.width for one in pictures),
        height=sum(one.height for one in pictures),
    )


def _fit(images: Sequence[Image.Image]) -> bool:
    """True for two pictures of one width whose colours fit into one palette side by side."""
    alike = len(images) == 2 and images[0].width == images[1].width
    colours = sum(len(one.getpalette() or []) // 3 for one in images)
    return alike and all(one.mode == "P" for one in images) and colours <= PALETTE


def _two(above: Image.Image, below: Image.Image) -> bytes:
    """Keep the colours of both as they are, the second's behind the first's."""
    colours = [*(above.getpalette() or [])]
    shift = len(colours) // 3
    pixels = np.vstack([np.asarray(above), np.asarray(below) + np.uint8(shift)])
    whole = Image.fromarray(pixels, mode="P")
    whole.putpalette([*colours, *(below.getpalette() or [])])
    return file_of(whole)


def _joined(images: Sequence[Image.Image]) -> bytes:
    size = max(one.width for one in images), sum(one.height for one in images)
    whole, top = Image.new("RGB", size, "white"), 0
    for image in images:
        whole.paste(image.convert("RGB"), (0, top))
        top += image.height
    return compact(np.asarray(whole.convert("RGBA")))

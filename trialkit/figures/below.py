"""Several pictures in one, each below the one before."""

import io

import pandas as pd
from PIL import Image

from trialkit.figures import theme
from trialkit.figures.picture import Picture


def below_each_other(*pictures: Picture) -> Picture:
    """Return one picture of several; the alternative texts and captions follow each other."""
    images = [Image.open(io.BytesIO(one.image)).convert("RGB") for one in pictures]
    size = max(one.width for one in images), sum(one.height for one in images)
    whole, top = Image.new("RGB", size, "white"), 0
    for image in images:
        whole.paste(image, (0, top))
        top += image.height
    return Picture(
        image=theme.compact(whole),
        alt=" ".join(one.alt for one in pictures),
        caption=" ".join(one.caption for one in pictures),
        data=pd.concat([one.data for one in pictures], ignore_index=True),
        width=max(one.width for one in pictures),
        height=sum(one.height for one in pictures),
    )

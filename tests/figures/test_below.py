"""Several pictures in one."""

import io

from PIL import Image

from trialkit.figures.below import below_each_other
from trialkit.figures.blank import blank


def test_nothing_of_either_picture_is_lost():
    top, bottom = blank("One", "No value yet."), blank("Two", "Nor here.")
    both = below_each_other(top, bottom)
    assert (both.width, both.height) == (top.width, top.height + bottom.height)
    assert both.alt == f"{top.alt} {bottom.alt}"
    parts = [Image.open(io.BytesIO(one.image)).convert("L") for one in (top, bottom, both)]
    ink = [sum(pixel < 128 for pixel in part.get_flattened_data()) for part in parts]
    assert ink[0] + ink[1] == ink[2] > 0


def test_the_same_pictures_give_the_same_bytes():
    pictures = blank("One", "No value yet."), blank("Two", "Nor here.")
    assert below_each_other(*pictures).image == below_each_other(*pictures).image

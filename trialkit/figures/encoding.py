"""Pictures of few colours as small PNG files: a palette found in one pass over the pixels.

Flat areas keep their exact colours; only the pixels on the edges of letters and lines, which mix
two colours, are rounded. The same pixels give the same bytes.
"""

import io
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

PALETTE: Final = 256  # colours that one PNG can hold
_FLAT: Final = 12  # pixels in a row that make an area; edges are shorter

Bits = tuple[int, int, int]
Codes = NDArray[np.uint32]
Places = NDArray[np.uint8]

# Bits of red, green and blue kept on edges; the first that make few enough colours are taken.
# The eye sees least of blue and most of green; the last always fit beside half a palette.
_BITS: Final[tuple[Bits, ...]] = ((4, 4, 4), (4, 4, 3), (3, 4, 3), (3, 3, 3), (3, 3, 1))


def compact(pixels: NDArray[np.uint8]) -> bytes:
    """Return opaque pixels (rows × columns × red, green, blue, alpha) as PNG.

    Four bits a channel cannot be told from eight on the edges of letters and lines, and make a
    third of the bytes of full colour.
    """
    codes = np.ascontiguousarray(pixels).view("<u4").reshape(-1)
    starts = np.flatnonzero(np.concatenate([[True], codes[1:] != codes[:-1]]))
    lengths = np.diff(starts, append=codes.size)
    colours, places = _palette(codes[starts], lengths >= _FLAT)
    image = Image.fromarray(np.repeat(places, lengths).reshape(pixels.shape[:2]), mode="P")
    image.putpalette(colours.astype("<u4")[:, None].view(np.uint8)[:, :3].tobytes())
    return file_of(image)


def file_of(image: Image.Image) -> bytes:
    """Return an image of few colours as PNG; harder compression takes longer and saves 3 %."""
    file = io.BytesIO()
    image.save(file, format="png", compress_level=5)
    return file.getvalue()


def _palette(runs: Codes, flat: NDArray[np.bool_]) -> tuple[Codes, Places]:
    """Return a palette for runs of equal pixels, and each run's place in it."""
    exact = np.unique(runs[flat])[: PALETTE // 2]
    for bits in _BITS:
        rounded = np.setdiff1d(_used(_cell(runs, bits), bits), _cell(exact, bits))
        if len(exact) + len(rounded) <= PALETTE:
            break
    place = np.zeros(1 << sum(bits), np.uint8)
    place[_cell(exact, bits)] = np.arange(len(exact))
    place[rounded] = len(exact) + np.arange(len(rounded))
    places = place[_cell(runs, bits)]
    known = np.flatnonzero(flat)
    known = known[np.isin(runs[known], exact)]
    places[known] = np.searchsorted(exact, runs[known])
    return np.concatenate([exact, _middle(rounded, bits)]), places


def _used(cells: Codes, bits: Bits) -> NDArray[np.intp]:
    seen = np.zeros(1 << sum(bits), bool)
    seen[cells] = True
    return np.flatnonzero(seen)


def _cell(codes: Codes, bits: Bits) -> Codes:
    """Number of the block of neighbouring colours that a colour lies in."""
    red, green, blue = (
        codes >> (8 * (channel + 1) - kept) & ((1 << kept) - 1) for channel, kept in enumerate(bits)
    )
    cells = red | green << bits[0] | blue << (bits[0] + bits[1])
    return cells.astype(np.uint32, copy=False)


def _middle(cells: NDArray[np.intp], bits: Bits) -> Codes:
    """Colour in the middle of a block, the opposite of :func:`_cell`."""
    starts = (0, bits[0], bits[0] + bits[1])
    red, green, blue = (
        ((cells >> start & ((1 << kept) - 1)) * 2 + 1) << (7 - kept)
        for start, kept in zip(starts, bits, strict=True)
    )
    return (red | green << 8 | blue << 16 | 0xFF000000).astype(np.uint32)

"""Outlined text on pictures: drawn once, kept, and blended in wherever it is needed again."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import matplotlib as mpl
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

Colour = tuple[int, int, int]
"""Red, green, blue, 0 to 255."""
Picture = NDArray[np.uint8]
"""Shape (height, width, 3), RGB; drawn on in place."""

_KEPT: Final = 400
"""Tiles kept; the oldest go first."""
_BLACK: Final = 0


@dataclass(frozen=True, slots=True)
class Look:
    """How a line of text looks."""

    size_px: int
    colour: Colour
    struck: bool = False
    """Crossed out by a line."""


class Lettering:
    """Writes lines of text onto pictures, in the bold sans that matplotlib brings along."""

    def __init__(self) -> None:
        """Start with nothing drawn."""
        self._font_file = Path(mpl.get_data_path()) / "fonts" / "ttf" / "DejaVuSans-Bold.ttf"
        self._fonts: dict[int, ImageFont.FreeTypeFont] = {}
        self._tiles: dict[tuple[str, Look], Picture] = {}

    def width_px(self, text: str, size_px: int) -> int:
        """Return how wide a line of text is, without its outline."""
        return int(np.ceil(self._font(size_px).getlength(text)))

    def wrapped(self, text: str, size_px: int, room_px: int) -> list[str]:
        """Return the text in lines no wider than `room_px`, broken between words."""
        lines: list[str] = []
        for word in text.split():
            longer = f"{lines[-1]} {word}" if lines else word
            if lines and self.width_px(longer, size_px) <= room_px:
                lines[-1] = longer
            else:
                lines.append(word)
        return lines

    def write(self, picture: Picture, text: str, at: tuple[int, int], look: Look) -> None:
        """Write one line with its top left corner at `at` (x, y); what lies outside is cut off."""
        if text:
            blend(picture, self._tile(text, look), at)

    def _font(self, size_px: int) -> ImageFont.FreeTypeFont:
        if size_px not in self._fonts:
            self._fonts[size_px] = ImageFont.truetype(str(self._font_file), size_px)
        return self._fonts[size_px]

    def _tile(self, text: str, look: Look) -> Picture:
        key = (text, look)
        if key not in self._tiles:
            while len(self._tiles) >= _KEPT:
                del self._tiles[next(iter(self._tiles))]
            self._tiles[key] = self._drawn(text, look)
        return self._tiles[key]

    def _drawn(self, text: str, look: Look) -> Picture:
        """Return (height, width, 4): the text with a dark outline on nothing."""
        edge = max(1, round(look.size_px / 9))
        width = self.width_px(text, look.size_px) + 2 * edge
        tile = Image.new("RGBA", (width, line_px(look.size_px)), (*look.colour, 0))
        drawing = ImageDraw.Draw(tile)
        drawing.text(
            (edge, 0),
            text,
            font=self._font(look.size_px),
            fill=(*look.colour, 255),
            stroke_width=edge,
            stroke_fill=(_BLACK, _BLACK, _BLACK, 255),
        )
        if look.struck:
            middle = round(0.66 * look.size_px)
            drawing.line((0, middle, width, middle), fill=(*look.colour, 255), width=edge)
        return np.asarray(tile, dtype=np.uint8)


def line_px(size_px: int) -> int:
    """Return the height of a line of text."""
    return round(1.35 * size_px)


def blend(picture: Picture, tile: Picture, at: tuple[int, int]) -> None:
    """Lay a (height, width, 4) tile over the picture; what lies outside is cut off."""
    x, y = at
    left, top = max(x, 0), max(y, 0)
    right = min(x + tile.shape[1], picture.shape[1])
    bottom = min(y + tile.shape[0], picture.shape[0])
    if left >= right or top >= bottom:
        return
    part = tile[top - y : bottom - y, left - x : right - x].astype(np.uint16)
    under = picture[top:bottom, left:right]
    cover = part[..., 3:]
    under[:] = ((part[..., :3] * cover + under * (255 - cover)) // 255).astype(np.uint8)


def darken(picture: Picture, corner: tuple[int, int], size: tuple[int, int]) -> None:
    """Put a dark, see-through box behind text; `corner` (x, y) and `size` (width, height)."""
    left, top = max(corner[0], 0), max(corner[1], 0)
    right, bottom = max(corner[0] + size[0], 0), max(corner[1] + size[1], 0)
    under = picture[top:bottom, left:right]
    under[:] = (under.astype(np.uint16) * 2 // 5).astype(np.uint8)

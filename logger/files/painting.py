"""Paints an overlay onto the pictures of a recording.

The colours are those of Okabe and Ito, which colour-blind viewers can tell apart, and none tells
anything alone: the right arm has round joints and the left square ones, both are named, a status
has its own kind of line and its words, a caption its own mark. Sizes go with the picture's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.core.events import SIDES, RowStatus, SetupStatus, Side
from logger.core.words import clock
from logger.files.lettering import Colour, Lettering, Look, Picture, darken, line_px
from logger.files.overlay import (
    ArmNote,
    Caption,
    Joint,
    Overlay,
    Points,
    body_at,
    captions_at,
    joint_of,
    note_at,
)

_WHITE: Final = (255, 255, 255)
_BLACK: Final = (0, 0, 0)
_SKY, _ORANGE = (86, 180, 233), (230, 159, 0)
_GREEN, _YELLOW, _VERMILION = (0, 158, 115), (240, 228, 66), (213, 94, 0)
_GREY: Final = (200, 200, 200)
ARM_COLOUR: Final[Mapping[Side, Colour]] = {"right": _SKY, "left": _ORANGE}
STATUS_COLOUR: Final[Mapping[SetupStatus, Colour]] = {
    SetupStatus.IN_RANGE: _GREEN,
    SetupStatus.BORDERLINE: _YELLOW,
    SetupStatus.OUT_OF_RANGE: _VERMILION,
}
_DASHES: Final[Mapping[SetupStatus, int]] = {
    SetupStatus.BORDERLINE: 3,
    SetupStatus.OUT_OF_RANGE: 1,
}
"""How many corners of an arc a dash has; a status that is not here has an unbroken line."""
_TRUNK: Final = (
    ("left_shoulder", "right_shoulder"),
    ("right_shoulder", "right_hip"),
    ("right_hip", "left_hip"),
    ("left_hip", "left_shoulder"),
)
_FINE: Final = 4
"""OpenCV draws at 1/16 of a pixel."""
WINDOW_RADII: Final = (1.15, 1.45)
"""Where the window is drawn about the shoulder, in upper arms: beyond the elbow, so that the arm
points to it as the hand of a gauge does."""
ARC_RADIUS: Final = 0.6
"""Where the arm's own angle is drawn, in upper arms."""
_MOST_CAPTIONS: Final = 3
_TRIES: Final = 20
_BASE_PX: Final = 480
"""The height for which sizes are given."""


class _Sizes(NamedTuple):
    """Sizes in pixels of one picture."""

    text: int
    small: int
    line: int
    dot: int
    gap: int


class Painter:
    """Paints one overlay; keeps the text it has drawn."""

    def __init__(self, overlay: Overlay) -> None:
        """Paint `overlay`."""
        self._overlay = overlay
        self._letters = Lettering()

    def paint(self, rgb: Picture, time_s: float) -> Picture:
        """Return a painted copy of the (h, w, 3) picture at `time_s`."""
        picture = np.ascontiguousarray(rgb).copy()
        sizes = _sizes(picture)
        points = body_at(self._overlay.bodies, time_s)
        notes = {side: self._note(side, time_s) for side in SIDES}
        _skeleton(picture, points, notes, sizes)
        for side in SIDES:
            note, joint = notes[side], joint_of(points, side)
            if note is not None and joint is not None and note.angle_deg is not None:
                _angle(picture, joint, note, sizes)
                self._limits(picture, joint, note, sizes)
        taken: list[tuple[int, int, int, int]] = []
        for side in SIDES:
            self._words(picture, side, points, notes[side], taken)
        self._captions(picture, time_s, sizes)
        self._boxed(picture, (clock(time_s),), (sizes.gap, sizes.gap), Look(sizes.text, _WHITE))
        return picture

    def _note(self, side: Side, time_s: float) -> ArmNote | None:
        return note_at((self._overlay.arms or {}).get(side, ()), time_s)

    def _limits(self, picture: Picture, joint: Joint, note: ArmNote, sizes: _Sizes) -> None:
        """Write the window's limits at its corners."""
        for limit in note.window or ():
            x, y = joint.at(limit, (WINDOW_RADII[1] + 0.22) * joint.arm_px)
            text = f"{limit:g}°"
            half = self._letters.width_px(text, sizes.small) // 2
            at = (round(float(x)) - half, round(float(y)) - line_px(sizes.small) // 2)
            self._letters.write(picture, text, at, Look(sizes.small, _WHITE))

    def _words(
        self,
        picture: Picture,
        side: Side,
        points: Mapping[str, tuple[float, float]],
        note: ArmNote | None,
        taken: list[tuple[int, int, int, int]],
    ) -> None:
        """Write the note above and outside the shoulder, clear of the arm and the other note."""
        place = _beside(points, side)
        if note is None or place is None or not note.words:
            return
        sizes = _sizes(picture)
        look = Look(sizes.small, _WHITE if note.angle_deg is not None else _GREY)
        width = max(self._letters.width_px(line, look.size_px) for line in note.words)
        width, height = width + 2 * sizes.gap, len(note.words) * line_px(look.size_px) + sizes.gap
        x, y = _free_corner(picture, place, (width, height), taken)
        taken.append((x, y, x + width, y + height))
        edge = ARM_COLOUR[side]
        self._boxed(picture, note.words, (x, y), look)
        cv2.rectangle(picture, (x, y), (x + width, y + height), edge, max(sizes.line // 2, 1))

    def _boxed(
        self, picture: Picture, lines: tuple[str, ...], corner: tuple[int, int], look: Look
    ) -> None:
        sizes = _sizes(picture)
        width = max(self._letters.width_px(line, look.size_px) for line in lines) + 2 * sizes.gap
        step = line_px(look.size_px)
        darken(picture, corner, (width, len(lines) * step + sizes.gap))
        for number, line in enumerate(lines):
            at = (corner[0] + sizes.gap // 2, corner[1] + number * step + sizes.gap // 2)
            self._letters.write(picture, line, at, look)

    def _captions(self, picture: Picture, time_s: float, sizes: _Sizes) -> None:
        """Write the captions of now at the bottom, the latest lowest."""
        bottom = picture.shape[0] - sizes.gap
        shown = captions_at(self._overlay.captions, time_s)[-_MOST_CAPTIONS:]
        for caption in reversed(shown):
            bottom = self._caption(picture, caption, bottom, sizes) - sizes.gap

    def _caption(self, picture: Picture, caption: Caption, bottom: int, sizes: _Sizes) -> int:
        """Write one caption above `bottom` and return its top."""
        indent = 2 * sizes.dot + 3 * sizes.gap
        room = picture.shape[1] - indent - 4 * sizes.gap
        head, *rest = caption.lines
        parts = [(head, Look(sizes.text, _WHITE, caption.status is RowStatus.WITHDRAWN))]
        parts += [(line, Look(sizes.small, _CAPTION_COLOUR[caption.status])) for line in rest]
        lines = [
            (line, look)
            for text, look in parts
            for line in self._letters.wrapped(text, look.size_px, room)
        ]
        most = max(picture.shape[0] // (3 * line_px(sizes.text)), 1)
        if len(lines) > most:
            last, look = lines[most - 1]
            lines = [*lines[: most - 1], (f"{last} …", look)]
        height = sum(line_px(look.size_px) for _, look in lines) + sizes.gap
        top = bottom - height
        widest = max(self._letters.width_px(line, look.size_px) for line, look in lines)
        darken(picture, (sizes.gap, top), (widest + indent + 2 * sizes.gap, height))
        _mark(
            picture, caption.status, (2 * sizes.gap + sizes.dot, top + line_px(sizes.text)), sizes
        )
        y = top + sizes.gap // 2
        for line, look in lines:
            self._letters.write(picture, line, (indent, y), look)
            y += line_px(look.size_px)
        return top


_CAPTION_COLOUR: Final[Mapping[RowStatus, Colour]] = {
    RowStatus.LOGGED: _WHITE,
    RowStatus.CHECK: _YELLOW,
    RowStatus.WITHDRAWN: _ORANGE,
}


def _sizes(picture: Picture) -> _Sizes:
    unit = min(picture.shape[0], picture.shape[1] * 3 / 4) / _BASE_PX
    return _Sizes(
        text=max(round(17 * unit), 8),
        small=max(round(14 * unit), 7),
        line=max(round(3 * unit), 1),
        dot=max(round(6 * unit), 2),
        gap=max(round(6 * unit), 2),
    )


def _beside(points: Mapping[str, tuple[float, float]], side: Side) -> Points | None:
    """Return the shoulder, and the directions of length 1 to the head and to the outside."""
    other = "left" if side == "right" else "right"
    names = (f"{side}_shoulder", f"{other}_shoulder", f"{side}_hip", f"{other}_hip")
    if any(name not in points for name in names):
        return None
    shoulder, across, hip, far_hip = (np.array(points[name], np.float64) for name in names)
    axis, out = (hip + far_hip - shoulder - across) / 2, shoulder - across
    lengths = np.linalg.norm(axis), np.linalg.norm(out)
    if min(lengths) < 1:
        return None
    head = -axis / lengths[0]
    square = out - (out @ head) * head
    return np.stack([shoulder, head, square / max(float(np.linalg.norm(square)), 1e-6)])


def _free_corner(
    picture: Picture,
    place: Points,
    size: tuple[int, int],
    taken: Sequence[tuple[int, int, int, int]],
) -> tuple[int, int]:
    """Return the top left corner of a box of (width, height) beside the neck.

    It begins at the shoulder and goes towards the head and outwards, so that it covers neither
    the head nor an arm that is not raised overhead; further out where something is there already.
    """
    shoulder, head, outward = place
    half = np.array(size) / 2
    sizes = _sizes(picture)
    room = np.maximum(np.array([picture.shape[1], picture.shape[0]]) - size, 0)
    up = float(np.abs(head) @ half) + 2 * sizes.dot
    out = float(np.abs(outward) @ half) - 2 * sizes.dot
    for step in range(_TRIES):
        corner = shoulder + up * head + (out + step * 2 * sizes.gap) * outward - half
        x, y = (round(value) for value in np.clip(corner, 0, room).tolist())
        right, bottom = x + size[0], y + size[1]
        if not any(x < r and right > left and y < b and bottom > top for left, top, r, b in taken):
            break
    return x, y


def _skeleton(
    picture: Picture,
    points: Mapping[str, tuple[float, float]],
    notes: Mapping[Side, ArmNote | None],
    sizes: _Sizes,
) -> None:
    for one, two in _TRUNK:
        if one in points and two in points:
            ends = np.array([points[one], points[two]])
            _line(picture, ends, _WHITE, max(sizes.line - 1, 1))
    for side in SIDES:
        note = notes[side]
        seen = note is not None and note.angle_deg is not None
        colour = ARM_COLOUR[side] if seen else _GREY
        chain = [points[n] for n in (f"{side}_shoulder", f"{side}_elbow") if n in points]
        if len(chain) > 1:
            line = np.array(chain)
            _line(picture, line if seen else _dotted(line), colour, sizes.line + 1, joined=seen)
        for point in chain:
            _dot(picture, point, side, colour, sizes)


def _dotted(line: Points) -> Points:
    """Return a line as points in pairs, each pair a dash."""
    return np.linspace(line[0], line[-1], 12)


def _line(
    picture: Picture, points: Points, colour: Colour, width: int, *, joined: bool = True
) -> None:
    """Draw a line with a dark edge; not `joined`, each pair of points is a dash of its own."""
    pieces = [points] if joined else [points[i : i + 2] for i in range(0, len(points) - 1, 2)]
    for ink, wide in ((_BLACK, width + 2), (colour, width)):
        fine = [_fine(piece) for piece in pieces]
        cv2.polylines(
            picture,
            fine,
            isClosed=False,
            color=ink,
            thickness=wide,
            lineType=cv2.LINE_AA,
            shift=_FINE,
        )


def _fine(points: Points) -> NDArray[np.int32]:
    return np.round(points * (1 << _FINE)).astype(np.int32)


def _dot(
    picture: Picture, at: tuple[float, float], side: Side, colour: Colour, sizes: _Sizes
) -> None:
    """Draw a joint: round on the right, square on the left."""
    x, y = round(at[0]), round(at[1])
    for ink, size in ((_BLACK, sizes.dot + 1), (colour, sizes.dot)):
        if side == "right":
            cv2.circle(picture, (x, y), size, ink, -1, cv2.LINE_AA)
        else:
            cv2.rectangle(picture, (x - size, y - size), (x + size, y + size), ink, -1)


def _angle(picture: Picture, joint: Joint, note: ArmNote, sizes: _Sizes) -> None:
    """Draw the trunk's axis at the shoulder, the arm's angle from it, and the window."""
    arm_px = joint.arm_px
    colour = STATUS_COLOUR.get(note.status, _WHITE)
    if note.window is not None:
        _window(picture, joint, note, sizes)
    axis = np.linspace(joint.shoulder, joint.at(0.0, WINDOW_RADII[1] * arm_px), 10)
    _line(picture, axis, _WHITE, max(sizes.line // 2, 1), joined=False)
    _line(picture, joint.arc(0.0, joint.angle_deg, ARC_RADIUS * arm_px), colour, sizes.line)


def _window(picture: Picture, joint: Joint, note: ArmNote, sizes: _Sizes) -> None:
    """Draw the window as a see-through band between its limits, its edge in the status's dashes."""
    if note.window is None:
        return
    low, high = note.window
    inner, outer = (radius * joint.arm_px for radius in WINDOW_RADII)
    colour = STATUS_COLOUR.get(note.status, _WHITE)
    inside, outside = joint.arc(low, high, inner), joint.arc(low, high, outer)
    band = _fine(np.concatenate([inside, outside[::-1]]))
    left, top = np.maximum(band.min(axis=0) >> _FINE, 0)
    right, bottom = (band.max(axis=0) >> _FINE) + 2
    under = picture[top:bottom, left:right]
    if under.size:
        tinted = under.copy()
        corner = np.array([left, top], np.int32) << _FINE
        cv2.fillPoly(tinted, [band - corner], colour, cv2.LINE_AA, _FINE)
        under[:] = cv2.addWeighted(under, 0.55, tinted, 0.45, 0)
    dash = _DASHES.get(note.status, 0)
    for arc in (inside, outside):
        for piece in _dashed(arc, dash):
            _line(picture, piece, colour, max(sizes.line // 2, 1))
    for limit in (low, high):
        ends = np.stack([joint.at(limit, inner), joint.at(limit, outer)])
        _line(picture, ends, colour, sizes.line)


def _dashed(arc: Points, dash: int) -> list[Points]:
    """Return an arc in dashes of so many corners, with gaps of two; whole for 0."""
    if not dash:
        return [arc]
    return [arc[i : i + dash + 1] for i in range(0, len(arc) - 1, dash + 2)]


def _mark(picture: Picture, status: RowStatus, at: tuple[int, int], sizes: _Sizes) -> None:
    """Draw a caption's mark: a disc, a triangle for a check, a cross for taken back."""
    x, y, r = at[0], at[1] - sizes.dot, sizes.dot
    colour = _CAPTION_COLOUR[status]
    if status is RowStatus.LOGGED:
        cv2.circle(picture, (x, y), r, colour, -1, cv2.LINE_AA)
    elif status is RowStatus.CHECK:
        corners = np.array([[x, y - r], [x - r, y + r], [x + r, y + r]], np.int32)
        cv2.fillPoly(picture, [corners], colour, cv2.LINE_AA)
    else:
        for way in (-1, 1):
            cv2.line(
                picture,
                (x - r, y - way * r),
                (x + r, y + way * r),
                colour,
                sizes.line + 1,
                cv2.LINE_AA,
            )

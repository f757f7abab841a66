"""Follows one patient from picture to picture, with few runs of the model for each.

A picture that has changed is shown in one view of a mirrored pair, and the view of the picture
before stands in for the other. One that stays as it is is shown in ever more views.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from logger.seeing.arms import ArmReader, Held, Reading, Sighting

if TYPE_CHECKING:
    from logger.core.events import Side
    from logger.seeing.looks import Picture
    from logger.seeing.pose import Person
    from logger.seeing.settings import WatchSettings


class Following:
    """The views of the picture that is in front of the camera now."""

    def __init__(self, settings: WatchSettings, reader: ArmReader, most_runs: int) -> None:
        """Follow the patient of `reader`, which may be replaced as the trunk is pinned afresh.

        `most_runs` of the model are spent on one picture, one where it has just changed.
        """
        self._settings = settings
        self._most_runs = most_runs
        self.reader = reader
        self.readings: dict[Side, Reading] = {}
        """What the last picture says of each arm."""
        self.fresh: list[Person] = []
        """Who was seen in the last picture's new views where the patient may be."""
        self.fresh_swapped = 0
        """In how many of them with left and right the other way round."""
        self._held: Held | None = None
        self._order: list[int] = []
        self._carried = 0
        self._last_s = float("-inf")

    def look(self, time_s: float, rgb: Picture) -> Held:
        """Show the model more views of a picture, if it has not seen it in all."""
        small, held = self.reader.small(rgb), self._held
        if held is None or self.reader.changed(small, held.small):
            held = self._held = self._begun(time_s, held, Held(small))
        self._last_s = time_s
        before = len(held.trunks), held.swapped
        if self._order:
            runs = 1 if self._carried and held.shown == self._carried else self._most_runs
            self.reader.show(rgb, held, self._order[:runs])
            del self._order[:runs]
            if held.shown - self._carried > 1:
                self._drop_carried(held)
            self.readings = self.reader.readings(held, rgb.shape)
        self.fresh = held.trunks[before[0] :]
        self.fresh_swapped = held.swapped - before[1]
        return held

    def _begun(self, time_s: float, last: Held | None, held: Held) -> Held:
        """Begin with a picture that has changed, from a recent view of the one before."""
        # Never a view that was carried already: nobody is seen there any more.
        own = last.sightings[self._carried :][-1:] if last is not None else []
        first = self._carried = 0
        if own and time_s - self._last_s <= self._settings.pair_s:
            first = 1 - own[0].view % 2
            held.sightings.append(Sighting(1 - first, own[0].person))
            held.shown = self._carried = 1
        self._order = [first, 1 - first, *range(2, self.reader.view_count)]
        return held

    def _drop_carried(self, held: Held) -> None:
        """Leave the picture before out where there is a pair without it."""
        del held.sightings[: self._carried]
        held.shown -= self._carried
        self._carried = 0

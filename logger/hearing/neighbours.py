"""What sounds like the reading taken, scored for itself where the search has let go of it.

The beam follows sixteen paths: of "horizontal adduction" and "horizontal abduction" it may keep one
early on, and then nothing tells that the other was as likely.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Final

from logger.grammar.alike import alike_phrases
from logger.grammar.pack import Pack
from logger.grammar.phrases import Phrase
from logger.hearing.moonshine import END_TOKEN, MoonshineModel
from logger.hearing.network import Place, Spoken, TokenNetwork, said_text, ways_written
from logger.hearing.search import Listening, Reading, score_beside

_FAR_BEHIND_NATS: Final = 9.0
"""What is farther behind the reading taken, weights and all, makes nothing doubtful: the most that
is asked is 6. Of 771 in five tracks none came nearer than 6 that was over 6 behind where it first
differed, and two gained three nats or more after it."""


class Neighbours:
    """The pack's phrases that sound alike, and how likely each would be in a phrase's place."""

    def __init__(self, pack: Pack, model: MoonshineModel, network: TokenNetwork) -> None:
        """Compute which phrases sound alike."""
        self._model, self._network = model, network
        self._alike: dict[str, list[Phrase]] = defaultdict(list)
        for slot in pack.slots:
            for one, other in alike_phrases(pack, slot):
                self._alike[one.text].append(other)
                self._alike[other.text].append(one)

    def unlooked(
        self, listening: Listening, taken: Reading, others: Sequence[Reading]
    ) -> Iterator[tuple[str, float]]:
        """Yield what differs from the reading taken by one such phrase and is not among the others.

        Each with how far it is behind, in nats; negative where it is ahead.
        """
        known = {Place(0, other.said).meaning for other in others}
        variants = [
            (said, written)
            for said, written in self._variants(taken)
            if Place(0, said).meaning not in known
        ]
        if not variants:
            return
        texts = [self._model.text(list(taken.token_ids)), *(written for _, written in variants)]
        paths = [[*self._model.tokenize(text), END_TOKEN] for text in texts]
        weight = self._network.weight(Place(0, taken.said))
        more = [self._network.weight(Place(0, said)) - weight for said, _ in variants]
        limits = [_FAR_BEHIND_NATS + each for each in more]
        own, scores = score_beside(listening, paths[0], paths[1:], limits)
        for (said, _), score, nats in zip(variants, scores, more, strict=True):
            if math.isfinite(score):
                yield said_text(said), own - score - nats

    def _variants(self, taken: Reading) -> Iterator[tuple[tuple[Spoken, ...], str]]:
        text = self._model.text(list(taken.token_ids))
        for at, phrase in enumerate(taken.said):
            for other in self._alike.get(phrase.text, ()):
                changed = _replaced(text, phrase.text, other.text)
                if changed:
                    yield (*taken.said[:at], other, *taken.said[at + 1 :]), changed


def _replaced(text: str, phrase: str, other: str) -> str:
    """Put another phrase in place of one as the model wrote it; empty where it wrote otherwise.

    Where only one of two has a number in it, only as they are said are they written alike.
    """
    for one, in_its_place in zip(ways_written(phrase), ways_written(other), strict=False):
        pattern = r"[\s,.\-]+".join(map(re.escape, one.split()))
        found = re.search(rf"(?<!\w){pattern}(?!\w)", text, re.IGNORECASE)
        if found is not None:
            capital = found.group()[0].isupper()
            words = in_its_place[:1].upper() + in_its_place[1:] if capital else in_its_place
            return text[: found.start()] + words + text[found.end() :]
    return ""

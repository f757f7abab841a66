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
from logger.hearing.network import Place, Spoken, TokenNetwork, said_text
from logger.hearing.search import Listening, Reading, score_beside
from logger.hearing.tokens import tokenize

_FAR_BEHIND_NATS: Final = 12.0
"""What is farther behind the reading taken, before weights, makes nothing doubtful."""


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
        paths = [[*tokenize(text, self._model.tokens), END_TOKEN] for text in texts]
        own, scores = score_beside(listening, paths[0], paths[1:], _FAR_BEHIND_NATS)
        weight = self._network.weight(Place(0, taken.said))
        for (said, _), score in zip(variants, scores, strict=True):
            behind = own + weight - score - self._network.weight(Place(0, said))
            if math.isfinite(behind):
                yield said_text(said), behind

    def _variants(self, taken: Reading) -> Iterator[tuple[tuple[Spoken, ...], str]]:
        written = self._model.text(list(taken.token_ids))
        for at, phrase in enumerate(taken.said):
            for other in self._alike.get(phrase.text, ()):
                changed = _replaced(written, phrase.text, other.text)
                if changed:
                    yield (*taken.said[:at], other, *taken.said[at + 1 :]), changed


def _replaced(written: str, phrase: str, other: str) -> str:
    """Put another phrase in place of one as the model wrote it; empty where it wrote otherwise."""
    pattern = r"[\s,.\-]+".join(map(re.escape, phrase.split()))
    found = re.search(rf"(?<!\w){pattern}(?!\w)", written, re.IGNORECASE)
    if found is None:
        return ""
    capital = found.group()[0].isupper()
    words = other[:1].upper() + other[1:] if capital else other
    return written[: found.start()] + words + written[found.end() :]

"""The engines that turn sound into utterances, behind one small protocol."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Protocol

import numpy as np

from logger.core.errors import ModelError, UsageError
from logger.core.events import Alternative, Utterance, Verdict
from logger.core.sound import SAMPLE_RATE_HZ
from logger.grammar.normalising import normalised
from logger.grammar.pack import Pack
from logger.grammar.phrases import command_phrases, spoken_phrases
from logger.hearing.credits import rare_phrase_credits
from logger.hearing.moonshine import FloatArray, MoonshineModel, packaged_model_folder
from logger.hearing.network import TokenNetwork, said_text
from logger.hearing.search import FreeReading, Reading, SearchRules, read_freely, read_network
from logger.hearing.stretches import Stretch, StretchRules, cut
from logger.hearing.tokens import tokenize

ENGINES: Final = ("moonshine", "vosk")


class Recogniser(Protocol):
    """Sound in, utterances out."""

    name: str

    def hear(self, stretch: Stretch) -> Utterance:
        """Return what was heard in one stretch of speech (16 kHz mono)."""


@dataclass(frozen=True, slots=True)
class HearingRules:
    """When a reading counts.

    Gaps are in nats a spoken word, against the model's free reading. A word is counted, not a
    token: a path through talk can stretch itself over many small tokens, but not over words.
    """

    search: SearchRules = field(default_factory=SearchRules)
    tokens_per_s: float = 8.0
    heard_gap: float = 2.8
    """Measured on nine synthetic voices: talk from 4.0; real meetings from 18."""
    unsure_gap: float = 3.6
    note_gap_nats: float = 3.0
    """How far "note" may be behind the model's own first word, in all."""
    worst_nats: float = 50.0
    """No reading further than this behind the free one is looked for: it could not count."""
    letters_per_s: float = 7.0
    share_of_letters: float = 0.5
    """A reading with fewer letters than both is talk. Measured at 1.5 m and 5 dB: findings from
    9.5 letters a second; talk that passed the gaps had 5 or less, and 0.4 of the letters."""
    alternatives: int = 5


class MoonshineRecogniser:
    """Constrained search over the Moonshine decoder, judged against its free reading."""

    name = "moonshine"

    def __init__(self, pack: Pack, model: MoonshineModel, rules: HearingRules) -> None:
        """Build the word network of the pack over the model's tokens."""
        self._model = model
        self._rules = rules
        credits_nats = rare_phrase_credits(pack, model)
        self._network = TokenNetwork(pack, model.tokens, credits_nats)
        notes = [p.text for p in command_phrases(pack) if p.takes_words]
        self._notes = [(text, tokenize(text.capitalize(), model.tokens)) for text in notes]

    def hear(self, stretch: Stretch) -> Utterance:
        """Search the stretch freely and along the network, and judge the difference."""
        seconds = len(stretch.samples) / SAMPLE_RATE_HZ
        most = int(seconds * self._rules.tokens_per_s) + 8
        listening = self._model.encode(stretch.samples)
        free = read_freely(listening, most)
        for text, prefix in self._notes:
            least = free.log_probability - self._rules.note_gap_nats
            note = read_freely(listening, most, prefix, give_up_below=least)
            if note.log_probability >= least:
                return self._noted(stretch, text, free, note, len(prefix))
        readings = read_network(
            listening,
            self._network,
            self._rules.search,
            most_tokens=most,
            worst=free.log_probability - self._rules.worst_nats,
        )
        if not readings:
            return self._talk(stretch, free)
        best = readings[0]
        gap = self._gap(best, free)
        verdict = self._verdict(gap)
        if verdict is Verdict.TALK or not self._covers(best, free, stretch):
            return self._talk(stretch, free)
        others = tuple(
            Alternative(said_text(r.said), best.score - r.score)
            for r in readings[1 : self._rules.alternatives + 1]
        )
        return Utterance(
            said_text(best.said), stretch.start_s, stretch.end_s, math.exp(-gap), verdict, others
        )

    def _gap(self, reading: Reading, free: FreeReading) -> float:
        odd = self._network.oddity(reading.said)
        behind = free.log_probability - reading.log_probability + odd
        return max(0.0, behind / len(said_text(reading.said).split()))

    def _covers(self, reading: Reading, free: FreeReading, stretch: Stretch) -> bool:
        """Tell whether the reading is long enough for the speech, or for what is freely read.

        In noise the free reading can be so poor that a few words seem to stand for a sentence.
        """
        letters = _letters(said_text(reading.said))
        least = self._rules.letters_per_s * (stretch.end_s - stretch.start_s)
        written = " ".join(normalised(self._model.text(free.token_ids)))
        return letters >= min(least, self._rules.share_of_letters * _letters(written))

    def _verdict(self, gap: float) -> Verdict:
        if gap <= self._rules.heard_gap:
            return Verdict.HEARD
        return Verdict.UNSURE if gap <= self._rules.unsure_gap else Verdict.TALK

    def _noted(
        self, stretch: Stretch, text: str, free: FreeReading, note: FreeReading, used: int
    ) -> Utterance:
        words = self._model.text(note.token_ids[used:]).strip(" ,.:;-")
        gap = max(0.0, free.log_probability - note.log_probability)
        return Utterance(
            f"{text} {words}", stretch.start_s, stretch.end_s, math.exp(-gap), Verdict.HEARD
        )

    def _talk(self, stretch: Stretch, free: FreeReading) -> Utterance:
        words = self._model.text(free.token_ids)
        return Utterance(words, stretch.start_s, stretch.end_s, 0.0, Verdict.TALK)


def _letters(text: str) -> int:
    return sum(letter.isalnum() for letter in text)


class VoskRecogniser:
    """Vosk's own recogniser, held to the words of the pack."""

    name = "vosk"

    def __init__(self, pack: Pack, folder: Path) -> None:
        """Load the model in `folder`.

        Raises:
            ModelError: if the folder is no Vosk model.

        """
        import vosk  # noqa: PLC0415 - loads a native library that the default engine never needs

        if not (folder / "am" / "final.mdl").is_file():
            raise ModelError(
                f"{folder} is not a Vosk model folder: am/final.mdl not found. "
                "Give an unpacked English Vosk model with --speech-model."
            )
        vosk.SetLogLevel(-1)
        try:
            self._model = vosk.Model(str(folder))
        except Exception as error:  # vosk raises the bare class
            raise ModelError(f"The Vosk model in {folder} cannot be loaded: {error}.") from error
        texts = {phrase.text for phrase in spoken_phrases(pack)}
        texts |= {phrase.text for phrase in command_phrases(pack)}
        self._grammar = json.dumps([*sorted(texts), "[unk]"])
        self._recogniser_class: Any = vosk.KaldiRecognizer

    def hear(self, stretch: Stretch) -> Utterance:
        """Decode the stretch with the grammar; the confidence is the least sure word's."""
        recogniser = self._recogniser_class(self._model, SAMPLE_RATE_HZ, self._grammar)
        recogniser.SetWords(True)
        clipped = np.clip(stretch.samples, -1, 1)
        recogniser.AcceptWaveform((clipped * 32767).astype(np.int16).tobytes())
        result = json.loads(recogniser.FinalResult())
        words = [(word["word"], float(word["conf"])) for word in result.get("result", [])]
        text = " ".join(word for word, _ in words)
        sure = min((conf for _, conf in words), default=0.0)
        known = bool(words) and "[unk]" not in text
        verdict = Verdict.HEARD if known and sure >= _SURE else Verdict.UNSURE
        return Utterance(
            text, stretch.start_s, stretch.end_s, sure, verdict if known else Verdict.TALK
        )


_SURE: Final = 0.7


def open_recogniser(
    engine: str, pack: Pack, model_folder: Path | None = None, threads: int = 2
) -> Recogniser:
    """Return the engine of this name, with the model in `model_folder` or its default.

    Raises:
        UsageError: for an unknown engine, or Vosk without a model folder.
        ModelError: if the model is missing or broken.

    """
    if engine == "moonshine":
        model = MoonshineModel(model_folder or packaged_model_folder(), threads)
        return MoonshineRecogniser(pack, model, HearingRules())
    if engine == "vosk":
        if model_folder is None:
            raise UsageError("The engine vosk needs a model: give its folder with --speech-model.")
        return VoskRecogniser(pack, model_folder)
    raise UsageError(f"Unknown engine {engine!r}: use one of {', '.join(ENGINES)}.")


def hear_all(
    blocks: Iterable[FloatArray], recogniser: Recogniser, rules: StretchRules | None = None
) -> Iterator[Utterance]:
    """Yield an utterance for each stretch of speech, talk too, in the order of time."""
    for stretch in cut(blocks, rules):
        yield recogniser.hear(stretch)

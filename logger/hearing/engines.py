"""The engines that turn sound into utterances, behind one small protocol."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from pathlib import Path
from typing import Final, NamedTuple, Protocol

import numpy as np

from logger.core.errors import UsageError
from logger.core.events import Alternative, Utterance, Verdict
from logger.core.sound import SAMPLE_RATE_HZ
from logger.core.statements import STOPS, Act
from logger.grammar.normalising import normalised
from logger.grammar.pack import Pack
from logger.grammar.phrases import CommandPhrase, Phrase, command_phrases, counts_beside_row
from logger.hearing.credits import rare_phrase_credits
from logger.hearing.moonshine import END_TOKEN, MoonshineModel, open_packaged_model
from logger.hearing.neighbours import Neighbours
from logger.hearing.network import Spoken, TokenNetwork, said_text
from logger.hearing.search import (
    FreeReading,
    Listening,
    Reading,
    SearchRules,
    read_freely,
    read_network,
    reluctance,
    score_paths,
)
from logger.hearing.stretches import FloatArray, Stretch
from logger.hearing.vosk_engine import VoskRecogniser, VoskWords

ENGINES: Final = ("moonshine", "vosk")
_SOUNDING: Final = {"end feel": "and feel", "End feel": "And feel"}
"""The model knows no end feel: in running speech it writes "and feel", eight nats likelier."""


class Recogniser(Protocol):
    """Sound in, utterances out."""

    name: str
    warnings: tuple[str, ...]
    """What the user must know of this engine and its model; a sentence each."""

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
    mirrored_s: float = 0.1
    """So much of the end of a stretch is put on once more, turned round: a "note" with 0.2 s of
    sound after it was freely "no", with more of it, its own or mirrored, it was not."""
    heard_gap: float = 2.8
    heard_behind_nats: float = 7.0
    """Of the whole sentence, by the sound alone: "three out of four" is heard as "three out of
    six", one word in seven and 13 nats behind, which is little a word. Of 369 sentences as the pack
    has them, close, in noise and far, three were so far behind, all of an old voice at 1.5 m."""
    heard_freely_nats: float = 1.9
    """What a word of the free reading may itself cost for a sure one: where that does not know what
    was said, nothing can be behind it. Of 709 sure readings of things said, five cost more, four of
    them in an old or robotic voice; "life fair extension" in a meeting, 2.6 a word, had become
    "left and extension"."""
    side_heard_gap: float = 0.8
    """For a change of side alone, which rules the rows after it: those said in 23 tracks were all
    within 0.3; "right to the side" in a meeting was 1.1 behind."""
    unsure_gap: float = 3.6
    """Measured on nine synthetic voices: talk from 4.0; real meetings from 18."""
    sentence_gap: float = 2.0
    """The most for a reading with linking words or looser phrases, which lie near ordinary talk.
    Of 51 whole sentences the farthest was 1.7 behind; the two pieces of talk at 5 dB that passed
    for one were 2.4 and 3.2 behind."""
    side_gap: float = 6.0
    """Up to here a refused reading that changes the side is kept as an alternative of the talk.
    Of 36 such in noise and at 1.5 m one was refused, at 3.7; of 41 short pieces of talk none had
    one within 9."""
    named_side_gap: float = 4.2
    """The same for a refused reading that names a side among other things: "right abduction" was
    lost at 4.1, and the "other side" after it led to the wrong one; talk came from 4.5."""
    opening_gap_nats: float = 6.0
    """How far a whole reading that begins with the opening word may be behind the free one. Of 50
    utterances that began with it, half of them at 1.5 m, one was farther; of 40 that did not none
    was nearer than 7.3."""
    stop_gap: float = 2.0
    """The most for a sure command that stops the record, such as "end session". To ask for the
    very words of the free reading was tried: it hears "paws listening" and "and session", and 2 of
    24 commands in twelve robotic voices were left; with this gap 18 are, the others are asked."""
    alike_heard: float = 0.4
    """How alike the letters of a sure reading and of the free one must be, 0 to 1. Of 676 readings
    of things said 2 that were sure lay under 0.45; "pause listening" has 0.41, written freely as
    "possibly singing", and in an hour of real talk nothing lay between."""
    few_letters: int = 12
    alike_heard_short: float = 0.65
    """The same for a reading of fewer letters: "pain two" from talk ("save two") had 0.57."""
    alike_unsure: float = 0.35
    """Less alike is talk. All 676 lay over it, the lowest at 0.36; of 23 readings of three hours of
    real talk 18 lay under it, even where they fitted as well as the free one ("right side" for a
    mumbled "I'm not going to lie")."""
    alike_plain: float = 0.6
    """So alike, a refused reading that names a side is kept up to `side_gap`: of "left anterior to
    posterior glide, hard to say, but I'd call it lax" all but four words were read, 4.7 behind."""
    note_gap_nats: float = 3.0
    """How far a reading that begins with "note" may be behind the free one, in all."""
    note_word_nats: float = 2.5
    """How much rather the model may begin otherwise than with "note". In noise a reading led on
    from "note" can come out ahead of the free one: of 194 things said in another voice, at 5 dB
    and at 1.5 m, eight or so became notes. Of 11 true notes 8 lay within 2.5; of them one."""
    note_sure_nats: float = 0.2
    """The same for a sure note that free listening begins otherwise: no more than the model's 8-bit
    arithmetic moves by. A true "note" was freely "no" by 0.06 with one numpy and not with another;
    of talk in twelve tracks at 5 dB and at 1.5 m nothing lay under 2.2."""
    note_token_nats: float = 0.6
    """What the words of a note may cost, a token, before they are kept as unsurely heard."""
    letters_per_s: float = 7.0
    share_of_letters: float = 0.5
    """A reading with fewer letters than both is talk. Measured at 1.5 m and 5 dB: findings from
    9.5 letters a second; talk that passed the gaps had 5 or less, and 0.4 of the letters."""
    alternatives: int = 12


class Fit(NamedTuple):
    """How far a reading is behind free listening."""

    heard_nats: float
    """By the sound, as a whole; negative where it is ahead."""
    odd_nats: float
    """What is put on for what is hardly ever said."""
    words: int

    @property
    def behind_nats(self) -> float:
        """Return how far it is behind, oddities counted, 0 or more."""
        return max(0.0, self.heard_nats + self.odd_nats)

    @property
    def gap(self) -> float:
        """Return how far by the word, oddities counted, in nats."""
        return self.behind_nats / self.words


class MoonshineRecogniser:
    """Constrained search over the Moonshine decoder, judged against its free reading."""

    name = "moonshine"
    warnings: tuple[str, ...] = ()

    def __init__(self, pack: Pack, model: MoonshineModel, rules: HearingRules) -> None:
        """Build the word network of the pack over the model's tokens."""
        self._model = model
        corrections = (p.text for p in command_phrases(pack) if p.act is Act.CORRECTION)
        self._must_stand = (*pack.utterance.turn_round, *corrections)
        self._rules = rules
        credits_nats = rare_phrase_credits(pack, model)
        self._network = TokenNetwork(pack, model.tokens, credits_nats)
        self._neighbours = Neighbours(pack, model, self._network)
        openings = pack.utterance.opening_word or ("",)
        self._openings = [model.tokenize(word.capitalize()) for word in pack.utterance.opening_word]
        notes = [
            f"{opening} {phrase.text}".strip()
            for opening in openings
            for phrase in command_phrases(pack)
            if phrase.takes_words
        ]
        self._notes = [(text, model.tokenize(text.capitalize())) for text in notes]

    def hear(self, stretch: Stretch) -> Utterance:
        """Search the stretch freely and along the network, and judge the difference."""
        seconds = len(stretch.samples) / SAMPLE_RATE_HZ
        most = int(seconds * self._rules.tokens_per_s) + 8
        listening = self._model.encode(self._with_more_after(stretch.samples))
        free, readings = read_network(
            listening, self._network, self._rules.search, most_tokens=most
        )
        if not self._opened(listening, free, most):
            return self._talk(stretch, free)
        for text, prefix in self._notes:
            otherwise_nats = reluctance(listening, prefix)
            if otherwise_nats > self._rules.note_word_nats:
                continue
            if _goes_on(self._freely(free), text):
                continue  # "noted" is another word
            least = free.log_probability - self._rules.note_gap_nats
            note = read_freely(listening, most, prefix, give_up_below=least)
            words = self._model.text(note.token_ids[len(prefix) :]).strip(" ,.:;-")
            if note.log_probability >= least and words:
                begun = otherwise_nats <= self._rules.note_sure_nats
                begun = begun or self._freely(free).startswith(text)
                return self._noted(stretch, f"{text} {words}", free, note, begun=begun)
        if not readings:
            return self._talk(stretch, free)
        best = readings[0]
        fit = self._fit(best, free)
        alike = _alike(self._freely(free), said_text(best.said))
        verdict = self._verdict(best, fit, alike)
        if verdict is Verdict.HEARD and self._doubtful(listening, free, best, fit):
            verdict = Verdict.UNSURE
        loose = fit.gap > self._rules.sentence_gap and any(map(counts_beside_row, best.said))
        if loose or verdict is Verdict.TALK or not self._covers(best, free, stretch):
            return self._talk(stretch, free, *self._perhaps_side(best, fit, alike))
        listed = readings[1 : self._rules.alternatives + 1]
        others = [Alternative(said_text(r.said), best.score - r.score) for r in listed]
        others += [
            Alternative(text, max(0.0, behind))
            for text, behind in self._neighbours.unlooked(listening, best, listed)
        ]
        said = said_text(best.said)
        sure = math.exp(-fit.gap)
        return Utterance(said, stretch.start_s, stretch.end_s, sure, verdict, tuple(others))

    def _with_more_after(self, samples: FloatArray) -> FloatArray:
        """Return a stretch with its end mirrored, as far as there is any."""
        more = min(round(self._rules.mirrored_s * SAMPLE_RATE_HZ), len(samples) - 1)
        return np.pad(samples, (0, max(more, 0)), "reflect")

    def _opened(self, listening: Listening, free: FreeReading, most_tokens: int) -> bool:
        """Whether the stretch begins with the opening word; so does any where there is none."""
        least = free.log_probability - self._rules.opening_gap_nats
        readings = (
            read_freely(listening, most_tokens, word, give_up_below=least)
            for word in self._openings
        )
        return not self._openings or any(r.log_probability >= least for r in readings)

    def _doubtful(self, listening: Listening, free: FreeReading, best: Reading, fit: Fit) -> bool:
        """Whether free listening does not know what it hears, or hears what the reading has not."""
        words = max(1, len(self._freely(free).split()))
        unknown = -free.log_probability > words * self._rules.heard_freely_nats
        if unknown or self._left_out(free, said_text(best.said)):
            return True
        behind_nats = fit.heard_nats
        if behind_nats > self._rules.heard_behind_nats:
            behind_nats -= self._gained_as_it_sounds(listening, best)
        return behind_nats > self._rules.heard_behind_nats

    def _gained_as_it_sounds(self, listening: Listening, reading: Reading) -> float:
        """Return how many nats more likely a reading is written as it sounds, 0 or more."""
        text = self._model.text(list(reading.token_ids))
        sounding = text
        for said, written in _SOUNDING.items():
            sounding = sounding.replace(said, written)
        if sounding == text:
            return 0.0
        paths = [[*self._model.tokenize(each), END_TOKEN] for each in (text, sounding)]
        as_written, as_sounding = score_paths(listening, paths)
        return max(0.0, as_sounding - as_written)

    def _left_out(self, free: FreeReading, said: str) -> bool:
        """Whether free listening hears "not", "correction" or the like, and the reading does not.

        "Correction right shoulder" was once read as "flexion right shoulder", a row of its own.
        """
        heard = f" {self._freely(free)} "
        return any(
            f" {word} " in heard and f" {word} " not in f" {said} " for word in self._must_stand
        )

    def _fit(self, reading: Reading, free: FreeReading) -> Fit:
        odd = self._network.oddity(reading.said)
        heard_nats = free.log_probability - reading.log_probability
        return Fit(heard_nats, odd, len(said_text(reading.said).split()))

    def _covers(self, reading: Reading, free: FreeReading, stretch: Stretch) -> bool:
        """Tell whether the reading is long enough for the speech, or for what is freely read.

        In noise the free reading can be so poor that a few words seem to stand for a sentence.
        """
        letters = _letters(said_text(reading.said))
        least = self._rules.letters_per_s * (stretch.end_s - stretch.start_s)
        written = self._freely(free)
        return letters >= min(least, self._rules.share_of_letters * _letters(written))

    def _freely(self, free: FreeReading) -> str:
        """Return the words of a free reading as they are spoken."""
        return " ".join(normalised(self._model.text(free.token_ids)))

    def _verdict(self, reading: Reading, fit: Fit, alike: float) -> Verdict:
        if fit.gap > self._rules.unsure_gap or alike < self._rules.alike_unsure:
            return Verdict.TALK
        short = _letters(said_text(reading.said)) < self._rules.few_letters
        least = self._rules.alike_heard_short if short else self._rules.alike_heard
        sure = fit.gap <= self._most_sure(reading) and alike >= least
        return Verdict.HEARD if sure else Verdict.UNSURE

    def _most_sure(self, reading: Reading) -> float:
        """Return the gap up to which a reading counts as heard."""
        if _stops(reading):
            return self._rules.stop_gap
        changes_side = all(map(_changes_side, reading.said))
        return self._rules.side_heard_gap if changes_side else self._rules.heard_gap

    def _noted(
        self, stretch: Stretch, text: str, free: FreeReading, note: FreeReading, *, begun: bool
    ) -> Utterance:
        gap = max(0.0, free.log_probability - note.log_probability)
        cost = -note.log_probability / (len(note.token_ids) + 1)
        # "No, that's fine" became a note, though it was read freely as it was said.
        sure = begun and cost <= self._rules.note_token_nats
        verdict = Verdict.HEARD if sure else Verdict.UNSURE
        return Utterance(text, stretch.start_s, stretch.end_s, math.exp(-gap), verdict)

    def _perhaps_side(self, reading: Reading, fit: Fit, alike: float) -> Iterator[Alternative]:
        sides = [_changes_side(phrase) for phrase in reading.said]
        if all(sides):
            near = fit.gap <= self._rules.side_gap
        else:
            plain = alike >= self._rules.alike_plain
            most = self._rules.side_gap if plain else self._rules.named_side_gap
            near = fit.gap <= most and alike >= self._rules.alike_unsure
        if any(sides) and near:
            yield Alternative(said_text(reading.said), fit.behind_nats)

    def _talk(self, stretch: Stretch, free: FreeReading, *others: Alternative) -> Utterance:
        words = self._model.text(free.token_ids)
        return Utterance(words, stretch.start_s, stretch.end_s, 0.0, Verdict.TALK, others)


def _changes_side(spoken: Spoken) -> bool:
    if isinstance(spoken, CommandPhrase):
        return spoken.act is Act.OTHER_SIDE
    return isinstance(spoken, Phrase) and spoken.slot == "side"


def _stops(reading: Reading) -> bool:
    """Whether it would stop the record."""
    return any(isinstance(each, CommandPhrase) and each.act in STOPS for each in reading.said)


def _goes_on(text: str, start: str) -> bool:
    """Whether a text begins with `start` but its last word is longer there."""
    return text.startswith(start) and text[len(start) : len(start) + 1].isalpha()


def _alike(one: str, other: str) -> float:
    """Return how alike two texts are without their spaces, 0 to 1."""
    together = SequenceMatcher(None, one.replace(" ", ""), other.replace(" ", ""), autojunk=False)
    return together.ratio()


def _letters(text: str) -> int:
    return sum(letter.isalnum() for letter in text)


def open_recogniser(
    engine: str, pack: Pack, model_folder: Path | None = None, threads: int = 2
) -> Recogniser:
    """Return the engine of this name, with the model in `model_folder` or its default.

    Raises:
        UsageError: for an unknown engine.
        ModelError: if the model is missing or broken.

    """
    check_engine(engine)
    if engine == "moonshine":
        if model_folder:
            model = MoonshineModel(model_folder, threads)
        else:
            model = open_packaged_model(threads)
        return MoonshineRecogniser(pack, model, HearingRules())
    return VoskRecogniser(VoskWords.of_pack(pack), model_folder)


def check_engine(engine: str) -> None:
    """Find out whether there is such an engine.

    Raises:
        UsageError: if there is none.

    """
    if engine not in ENGINES:
        raise UsageError(f"Unknown engine {engine!r}: use one of {', '.join(ENGINES)}.")

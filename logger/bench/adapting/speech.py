"""Clean speech to train with: made sentences in every voice that is not kept aside.

And in voices of nobody. Every other sentence holds a word which sounds like another: what tells
two like words apart is learnt from many speakers, and in sentences as they fall such words are few.
"""

from __future__ import annotations

import argparse
import random
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, cycle
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from logger.bench.adapting.strangers import any_phrase, said_otherwise, strangers, variants
from logger.bench.hearing.finding_scripts import finding_script
from logger.bench.hearing.natural_scripts import natural_script
from logger.bench.hearing.talk_scripts import talk_lines
from logger.bench.hearing.voices import KEPT_ASIDE, Voice, open_voices
from logger.core.errors import UsageError
from logger.core.sound import SAMPLE_RATE_HZ
from logger.grammar.alike import alike_words, all_alike
from logger.grammar.loading import load_pack
from logger.grammar.pack import Pack

SPEECH_SEED: Final = 7001
"""Far from the seeds of the benchmark: no sentence is made for both on purpose."""
_LENGTHS_S: Final = (0.3, 8.0)
_FINDINGS, _SENTENCES = 12, 6


def voices_to_train_with(voices: Sequence[Voice]) -> tuple[Voice, ...]:
    """Return all but those that stand for the voices of strangers."""
    return tuple(voice for voice in voices if voice.name not in KEPT_ASIDE)


def sentences(pack: Pack, seed: int) -> Iterator[str]:
    """Yield findings, whole sentences and the talk between them, without end."""
    rng = random.Random(seed)  # noqa: S311 - which sentence is no secret
    while True:
        talk = talk_lines(pack, _next(rng))
        for script in (
            finding_script(pack, _next(rng), _FINDINGS, talk),
            natural_script(pack, _next(rng), _SENTENCES, talk),
        ):
            yield from (line.text for line in script.lines)


def contrasts(pack: Pack, seed: int, about: str = "") -> Iterator[str]:
    """Yield sentences without end that hold one of two like phrases, each of all in turn.

    Like numbers too with `about`: only of pairs with this text in either phrase.

    Raises:
        UsageError: if no pair has it.

    """
    like = all_alike(pack) if about else alike_words(pack)
    pairs = [(one.text, other.text) for one, other in like]
    pairs = [pair for pair in pairs if any(about in text for text in pair)]
    if not pairs:
        raise UsageError(f"No like phrase of the pack {pack.name} holds {about!r}.")
    in_turn = [turn for one, other in pairs for turn in ((one, other), (other, one))]
    phrase = any_phrase(pack)
    waiting: dict[str, list[str]] = {one: [] for one, _ in in_turn}
    made = sentences(pack, seed)
    for wanted, other in cycle(in_turn):
        while not (waiting[wanted] or waiting[other]):
            text = next(made)
            for found in phrase.finditer(text):
                if (said := found[0].lower()) in waiting:
                    waiting[said].append(text)
        held = (waiting[wanted] or waiting[other]).pop()
        yield _holding(wanted, other, held, phrase)


def _holding(wanted: str, other: str, text: str, phrase: re.Pattern[str]) -> str:
    """Return the text with the one of two phrases in place of the other."""
    either = (wanted, other)
    changed = phrase.sub(lambda found: wanted if found[0].lower() in either else found[0], text)
    return changed[:1].upper() + changed[1:] if text[:1].isupper() else changed


@dataclass(frozen=True, slots=True)
class Spoken:
    """An utterance and what was said."""

    sound: NDArray[np.int16]
    """Shape (n,), 16 kHz."""
    text: str
    """Empty where nobody knows."""


def drawn(voices: Sequence[Voice], rng: random.Random) -> Iterator[Voice]:
    """Yield who speaks, without end.

    Half of the time a synthesis is drawn first and then one of its voices: one that has many
    does not drown the others.
    """
    of_synthesis: dict[str, list[Voice]] = {}
    for voice in voices:
        of_synthesis.setdefault(voice.name.partition(":")[0], []).append(voice)
    while True:
        some = rng.choice([voices, rng.choice(list(of_synthesis.values()))])
        yield rng.choice(some)


Saying = tuple[Voice, str, str]
"""A voice, what it is asked to say, and what that means."""


def of_voices(voices: Sequence[Voice], pack: Pack, seed: int, about: str = "") -> Iterator[Saying]:
    """Let the voices of this machine speak in turn, without end."""
    rng = random.Random(seed)  # noqa: S311 - which voice is no secret
    return _said_by(drawn(voices, rng), _texts(pack, seed, about), rng)


def of_strangers(kokoro_folder: Path, pack: Pack, seed: int, about: str = "") -> Iterator[Saying]:
    """Let strangers speak, each once, without end."""
    rng = random.Random(seed)  # noqa: S311 - as above
    return _said_by(strangers(kokoro_folder, rng), _texts(pack, seed, about), rng)


def _texts(pack: Pack, seed: int, about: str) -> Iterator[str]:
    """Yield in turn a sentence of any kind and one with a like phrase; the latter only `about`."""
    if about:
        return contrasts(pack, seed, about)
    return chain.from_iterable(zip(sentences(pack, seed), contrasts(pack, seed + 1), strict=True))


def _said_by(voices: Iterator[Voice], texts: Iterator[str], rng: random.Random) -> Iterator[Saying]:
    for voice, text in zip(voices, texts, strict=True):
        yield voice, said_otherwise(text, rng), text


def spoken(sayings: Iterator[Saying], count: int) -> Iterator[Spoken]:
    """Yield `count` utterances."""
    least, most = (round(SAMPLE_RATE_HZ * s) for s in _LENGTHS_S)
    while count:
        voice, asked, text = next(sayings)
        speech = voice.say(asked)
        if least <= len(speech) <= most:
            count -= 1
            yield Spoken((speech * 32767).clip(-32768, 32767).astype(np.int16), text)


def save_speech(path: Path, utterances: Sequence[Spoken]) -> None:
    """Write utterances end to end, with their lengths and texts."""
    np.savez(
        path,
        samples=np.concatenate([each.sound for each in utterances]),
        lengths=[len(each.sound) for each in utterances],
        texts=[each.text for each in utterances],
    )


def load_speech(path: Path) -> tuple[Spoken, ...]:
    """Read what `save_speech` wrote."""
    with np.load(path) as kept:
        sounds = np.split(kept["samples"], np.cumsum(kept["lengths"])[:-1])
        return tuple(map(Spoken, sounds, map(str, kept["texts"])))


def _next(rng: random.Random) -> random.Random:
    return random.Random(rng.random())  # noqa: S311 - as above


def main() -> None:
    """Make speech: `python -m logger.bench.adapting.speech OUT.npz`."""
    asked = argparse.ArgumentParser(description=main.__doc__)
    asked.add_argument("out", type=Path)
    asked.add_argument("--count", type=int, default=2000, help="in each kind of voices")
    asked.add_argument("--seed", type=int, default=SPEECH_SEED)
    asked.add_argument("--cache", type=Path, required=True, help="where what voices say is kept")
    asked.add_argument("--kokoro", type=Path, help="folder of the npm package kokoro-js")
    asked.add_argument("--voice", nargs="*", default=[], help="only these, such as flite:awb")
    asked.add_argument("--variants", action="store_true", help="only those of espeak, 70 voices")
    asked.add_argument(
        "--about", default="", help="only like phrases with this, as duction or degrees"
    )
    given = asked.parse_args()
    pack = load_pack("glenohumeral")
    found = variants() if given.variants else open_voices(given.cache, given.kokoro).found
    voices = [
        voice
        for voice in voices_to_train_with(found)
        if not given.voice or voice.name in given.voice
    ]
    if not voices:
        asked.error("none of these voices is installed and may be taught with")
    try:
        utterances = list(spoken(of_voices(voices, pack, given.seed, given.about), given.count))
        if given.kokoro and not (given.voice or given.variants):
            strangers_say = of_strangers(given.kokoro, pack, given.seed, given.about)
            utterances += spoken(strangers_say, given.count)
    except UsageError as error:
        asked.error(str(error))
    save_speech(given.out, utterances)


if __name__ == "__main__":
    main()

"""Talk that must leave no trace: our own sentences, filled with the pack's trade words."""

from __future__ import annotations

import random
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from importlib.resources import files
from typing import Any, Final

from logger.bench.hearing.finding_scripts import spelled
from logger.bench.hearing.scripts import Line, Script
from logger.grammar.numbers import number_words
from logger.grammar.pack import Pack
from logger.grammar.phrases import slot_phrases

NOISES: Final = ("door", "keys", "cough", "hum", "tones", "knock", "silence")
"""The names of the sounds that `noises.py` makes."""
_BLANK: Final = re.compile(r"\{(\w+)\}")
_MOST: Final = 12
_PAUSED: Final = 0.2
_NOISY: Final = 0.15


@dataclass(frozen=True, slots=True)
class TalkSentence:
    """One sentence; "{test}" and the like still to be filled."""

    text: str
    by_patient: bool
    about: str


def read_data(name: str) -> dict[str, Any]:
    """Return one of the data files of this package, parsed."""
    text = (files("logger.bench.hearing") / "data" / name).read_text(encoding="utf-8")
    return tomllib.loads(text)


def talk_sentences() -> tuple[TalkSentence, ...]:
    """Return every sentence of the data file."""
    return tuple(
        TalkSentence(text, bool(group.get("patient")), group["about"])
        for group in read_data("talk.toml")["talk"]
        for text in group["sentences"]
    )


def filled(text: str, pack: Pack, rng: random.Random) -> str:
    """Put a random spoken form of the pack into every blank of `text`."""

    def choose(blank: re.Match[str]) -> str:
        if blank[1] == "number":
            return number_words(rng.randint(0, _MOST))
        phrases = [
            p
            for p in slot_phrases(pack, blank[1])
            if (not p.bare or blank[1] == "side") and not p.beside_row
        ]
        bare = [p for p in phrases if p.bare]
        return spelled(rng.choice(bare or phrases).text)

    return _BLANK.sub(choose, text)


def talk_lines(pack: Pack, rng: random.Random, *, noises: bool = False) -> Iterator[Line]:
    """Yield lines of talk without end, every sentence once before any comes again.

    Args:
        pack: where trade words come from.
        rng: the same state gives the same lines.
        noises: whether sounds that nobody says stand between them now and then.

    """
    sentences = talk_sentences()
    while True:
        for sentence in rng.sample(sentences, len(sentences)):
            if noises and rng.random() < _NOISY:
                yield Line((rng.choice(NOISES),), "noise")
            text = filled(sentence.text, pack, rng)
            yield Line(_pieces(text, rng), "talk", sentence.by_patient)


def talk_script(pack: Pack, rng: random.Random, lines: int) -> Script:
    """Return a script of nothing but talk and noises."""
    source = talk_lines(pack, rng, noises=True)
    return Script(tuple(next(source) for _ in range(lines)))


def noise_script(rng: random.Random, lines: int) -> Script:
    """Return a script of sounds that nobody says."""
    return Script(tuple(Line((rng.choice(NOISES),), "noise") for _ in range(lines)))


def opened(script: Script, opening: str) -> Script:
    """Return the script with a word before everything that is not talk."""
    lines = tuple(
        line
        if line.kind in ("talk", "noise")
        else replace(
            line, pieces=(f"{opening.capitalize()}, {_small(line.pieces[0])}", *line.pieces[1:])
        )
        for line in script.lines
    )
    return replace(script, lines=lines)


def _small(text: str) -> str:
    """Write the first letter small, unless it is spelled: "A P glide" keeps its letters."""
    return text if text[1:2] == " " else text[0].lower() + text[1:]


def _pieces(text: str, rng: random.Random) -> tuple[str, ...]:
    """Cut a sentence at a comma now and then: people stop in the middle of talk too."""
    head, comma, rest = text.partition(", ")
    if comma and rng.random() < _PAUSED:
        return (f"{head},", rest)
    return (text,)

"""The pack's grammar in the JSpeech Grammar Format, for recognisers that take one."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Final

from logger.grammar.pack import Pack
from logger.grammar.phrases import command_phrases, slot_phrases

_HEAD: Final = "#JSGF V1.0;\ngrammar findings;\n"


def to_jsgf(pack: Pack, opening: str = "") -> str:
    """Return everything that can be said, except notes, whose words are free.

    Args:
        pack: what can be said.
        opening: a word that every utterance must begin with; empty for none.

    """
    return _HEAD + "".join(f"{rule}\n" for rule in _rules(pack, opening))


def words_of(jsgf: str) -> frozenset[str]:
    """Return every word that stands in a grammar made here."""
    right_sides = (line.partition("=")[2] for line in jsgf.splitlines() if "=" in line)
    words = (word for side in right_sides for word in re.split(r"[\s()\[\];|+]+", side))
    return frozenset(word for word in words if word and not word.startswith("<"))


def _rules(pack: Pack, opening: str) -> Iterator[str]:
    # The looser phrases of whole sentences are left out, as are linking words: a grammar without
    # the rule that they count only beside a row would take a patient's words for findings.
    strict = {
        slot: [p.text.split() for p in slot_phrases(pack, slot) if not p.beside_row]
        for slot in pack.slots
    }
    slots = [slot for slot, phrases in strict.items() if phrases]
    for slot in slots:
        yield f"<{slot}> = {_shared(strict[slot])};"
    yield f"<phrase> = {' | '.join(f'<{slot}>' for slot in slots)};"
    commands = command_phrases(pack)
    takes_slots = [phrase.text for phrase in commands if phrase.takes_slots]
    plain = [p.text for p in commands if not p.takes_slots and not p.takes_words]
    # Slots after "begin bout" are left out too: no script of the benchmark says them.
    said = ["<phrase>+", *(f"{text} <phrase>+" for text in takes_slots), *plain]
    utterance = " | ".join(f"({opening} {text})" if opening else f"({text})" for text in said)
    yield f"public <utterance> = {utterance};"


def _shared(phrases: Sequence[Sequence[str]]) -> str:
    """Write phrases as a tree of their first words.

    A recogniser then follows one path for "one hundred" and not one for each of the eighty
    numbers that begin so: PocketSphinx is several times faster that way.
    """
    branches: dict[str, list[Sequence[str]]] = {}
    for phrase in phrases:
        branches.setdefault(phrase[0], []).append(phrase[1:])
    written = []
    for word, rests in branches.items():
        longer = [rest for rest in rests if rest]
        if not longer:
            written.append(word)
        elif len(longer) < len(rests):
            written.append(f"{word} [{_shared(longer)}]")
        else:
            written.append(f"{word} ({_shared(longer)})")
    return " | ".join(written)

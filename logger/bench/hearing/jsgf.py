"""The pack's grammar in the JSpeech Grammar Format, for recognisers that take one."""

from __future__ import annotations

from collections.abc import Iterator
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
    words = (word.strip("();|+") for side in right_sides for word in side.split())
    return frozenset(word for word in words if word and not word.startswith("<"))


def _rules(pack: Pack, opening: str) -> Iterator[str]:
    slots = [slot for slot in pack.slots if slot_phrases(pack, slot)]
    for slot in slots:
        forms = " | ".join(dict.fromkeys(phrase.text for phrase in slot_phrases(pack, slot)))
        yield f"<{slot}> = {forms};"
    yield f"<phrase> = {' | '.join(f'<{slot}>' for slot in slots)};"
    commands = command_phrases(pack)
    takes_slots = [phrase.text for phrase in commands if phrase.takes_slots]
    plain = [p.text for p in commands if not p.takes_slots and not p.takes_words]
    said = ["<phrase>+", *(f"{text} <phrase>+" for text in takes_slots), *plain]
    utterance = " | ".join(f"({opening} {text})" if opening else f"({text})" for text in said)
    yield f"public <utterance> = {utterance};"

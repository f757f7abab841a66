"""The word network of a pack, walked token by token.

The network is kept over letters, not tokens: a phrase is its letters and digits without spaces,
commas, hyphens or capitals, and a token may be taken if its own letters go on from where the
path stands. So every way in which the model can write the same words ("Hypo-mobile,", "hypo
mobile", "HYPOMOBILE"), and every way to cut them into tokens, is one and the same path.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from logger.grammar.numbers import HIGHEST, number_forms
from logger.grammar.phrases import (
    CommandPhrase,
    Linking,
    Phrase,
    command_phrases,
    linking_words,
    spoken_phrases,
)
from logger.hearing.moonshine import is_text

if TYPE_CHECKING:
    from logger.grammar.pack import Pack

_SILENT: Final = frozenset(" ,.-?!;:'\"\u2581")
_PUNCTUATION: Final = frozenset(mark.encode() for mark in ",.-?!;:\u2581")
"""The lone space among them: the model writes it before digits."""
_MENTIONS: Final = 2
"""How often one slot may be said in one utterance: twice, so that "pain two, pain three" is heard
whole and marked for a check, not lost."""

_MOST_LINKS: Final = 8
_LINK_COST: Final = 1.5
"""In nats: a path with linking words must be better by this than one without."""


@dataclass(frozen=True, slots=True)
class Opening:
    """The word without which a pack hears nothing."""

    text: str


Spoken = Phrase | CommandPhrase | Linking | Opening


@dataclass(frozen=True, slots=True)
class Place:
    """Where a path stands: inside a phrase (a node) or between phrases (node 0)."""

    node: int
    said: tuple[Spoken, ...]

    @property
    def meaning(self) -> tuple[object, ...]:
        """What paths at this place mean, whatever words they used."""
        meanings = (_meaning(phrase) for phrase in self.said)
        # Linking words mean nothing, but what may follow depends on whether one was just said.
        linked = bool(self.said) and isinstance(self.said[-1], Linking)
        return (self.node, linked, *(meaning for meaning in meanings if meaning))


@dataclass(slots=True)
class _Node:
    children: dict[str, int] = field(default_factory=dict)
    ends: list[Spoken] = field(default_factory=list)
    kinds: set[str] = field(default_factory=set)
    """The slots and commands that can still be reached from here."""


@dataclass(slots=True)
class _TokenNode:
    children: dict[str, int] = field(default_factory=dict)
    ids: list[int] = field(default_factory=list)


class TokenNetwork:
    """Which tokens may follow which, so that every whole path is something the pack can say."""

    def __init__(
        self, pack: Pack, tokens: Sequence[bytes], credits_nats: Mapping[str, float] | None = None
    ) -> None:
        """Build the network; `credits_nats` are added to the phrases of these texts."""
        self._credits = dict(credits_nats or {})
        self._nodes = [_Node()]
        every: list[Spoken] = [
            *spoken_phrases(pack),
            *command_phrases(pack),
            *linking_words(pack),
            *(Opening(text) for text in pack.utterance.opening_word),
        ]
        self._opens_row = frozenset(pack.utterance.opens_row)
        self._needs_opening = bool(pack.utterance.opening_word)
        for phrase in every:
            if not (isinstance(phrase, CommandPhrase) and phrase.takes_words):
                for written in _written(phrase.text):
                    self._add(_letters(written), phrase)
        self._tokens = _token_tree(tokens)
        self._moves: dict[tuple[object, ...], list[tuple[int, int, tuple[Spoken, ...]]]] = {}
        self.punctuation = tuple(i for i, token in enumerate(tokens) if token in _PUNCTUATION)

    start: Final = Place(0, ())

    def credit(self, said: Sequence[Spoken]) -> float:
        """Return what these phrases are granted, in nats; linking words cost something."""
        return sum(self._credit_of(phrase) for phrase in said)

    def _credit_of(self, phrase: Spoken) -> float:
        if isinstance(phrase, Linking):
            return -_LINK_COST
        return self._credits.get(phrase.text, 0.0)

    def moves(self, place: Place) -> list[tuple[int, Place]]:
        """Return every token that may come next, with the place it leads to."""
        counts = Counter(_kind(phrase) for phrase in place.said)
        last = place.said[-1:]
        key = (
            place.node,
            frozenset(counts.items()),
            *map(_kind, last),
            bool(last) and _is_last(last[-1]),
        )
        if key not in self._moves:
            kept = len(place.said)
            self._moves[key] = [
                (token, end.node, end.said[kept:]) for token, end in self._walk(place, 0)
            ]
        return [(token, Place(node, place.said + more)) for token, node, more in self._moves[key]]

    def ends(self, place: Place) -> Iterator[tuple[Spoken, ...]]:
        """Yield what has been said if the utterance ends here; nothing if it cannot."""
        for end in self._closed(place) if place.node else (place,):
            if self._is_whole(end.said):
                yield end.said

    def _add(self, letters: str, phrase: Spoken) -> None:
        node = self._nodes[0]
        node.kinds.add(_kind(phrase))
        for letter in letters:
            if letter not in node.children:
                node.children[letter] = len(self._nodes)
                self._nodes.append(_Node())
            node = self._nodes[node.children[letter]]
            node.kinds.add(_kind(phrase))
        if phrase not in node.ends:
            node.ends.append(phrase)

    def _closed(self, place: Place) -> Iterator[Place]:
        for phrase in self._nodes[place.node].ends:
            if self._may_follow(place.said, _kind(phrase)):
                yield Place(0, (*place.said, phrase))

    def _walk(self, place: Place, token_node: int) -> Iterator[tuple[int, Place]]:
        for token in self._tokens[token_node].ids:
            yield token, place
        starts = [place, *(self._closed(place) if place.node else ())]
        for at in starts:
            for letter, next_token_node in self._tokens[token_node].children.items():
                child = self._nodes[at.node].children.get(letter)
                if child is None:
                    continue
                if any(self._may_follow(at.said, kind) for kind in self._nodes[child].kinds):
                    yield from self._walk(Place(child, at.said), next_token_node)

    def _may_follow(self, said: Sequence[Spoken], kind: str) -> bool:
        if self._needs_opening and not said:
            return kind == _OPENING
        said = [phrase for phrase in said if not isinstance(phrase, Opening)]
        if kind == _OPENING or (said and _is_last(said[-1])):
            return False
        if kind.startswith("command "):
            return not said
        if kind.startswith("link"):
            return _may_link(said, kind)
        return sum(_kind(phrase) == kind for phrase in said) < _MENTIONS

    def _is_whole(self, said: Sequence[Spoken]) -> bool:
        """Tell whether these phrases state something: a lone "right" or "correction" does not."""
        if any(_is_last(phrase) for phrase in said):
            return True
        phrases = [phrase for phrase in said if isinstance(phrase, Phrase)]
        corrects = any(isinstance(phrase, CommandPhrase) for phrase in said)
        links = any(isinstance(phrase, Linking) for phrase in said)
        if links or any(phrase.beside_row for phrase in phrases):
            opens = any(phrase.slot in self._opens_row for phrase in phrases)
            last = said[-1]
            if not (opens or corrects) or (isinstance(last, Linking) and not last.may_end):
                return False
        return any(corrects or not phrase.bare for phrase in phrases)


def said_text(said: Sequence[Spoken]) -> str:
    """Return the spoken forms of a path, as plain words."""
    return " ".join(phrase.text for phrase in said)


def _meaning(phrase: Spoken) -> tuple[object, ...]:
    if isinstance(phrase, Phrase):
        return (phrase.slot, phrase.value, phrase.bare, phrase.beside_row)
    return (phrase.act,) if isinstance(phrase, CommandPhrase) else ()


_OPENING: Final = "opening"


def _kind(phrase: Spoken) -> str:
    if isinstance(phrase, Phrase):
        return phrase.slot
    if isinstance(phrase, Linking):
        return "link" + " first" * phrase.may_begin + " join" * phrase.may_join
    return f"command {phrase.act}" if isinstance(phrase, CommandPhrase) else _OPENING


def _is_last(phrase: Spoken) -> bool:
    return isinstance(phrase, CommandPhrase) and not phrase.takes_slots


def _may_link(said: Sequence[Spoken], kind: str) -> bool:
    if not said:
        return " first" in kind
    links = sum(isinstance(phrase, Linking) for phrase in said)
    return " join" in kind and not isinstance(said[-1], Linking) and links < _MOST_LINKS


def _letters(text: str) -> str:
    return "".join(letter for letter in text.lower() if letter not in _SILENT)


_DIGITS: Final = {form: str(n) for n in range(HIGHEST + 1) for form in number_forms(n)}
_NUMBER: Final = re.compile(
    r"\b(" + "|".join(sorted(_DIGITS, key=lambda form: -len(form))) + r")\b"
)


def _written(text: str) -> Iterator[str]:
    """Yield a phrase as said and as the model may write it, with digits."""
    yield text
    digits = _NUMBER.sub(lambda match: _DIGITS[match[1]], text)
    if digits != text:
        yield digits
        yield digits.replace(" out of ", "/")
        yield digits.replace(" plus", "+")
        yield digits.replace(" degrees", "\u00b0")
        yield text.replace(" out of ten", " out of 10")


def _token_tree(tokens: Sequence[bytes]) -> list[_TokenNode]:
    tree = [_TokenNode()]
    for token_id, token in enumerate(tokens):
        if not is_text(token_id, token):
            continue
        try:
            letters = _letters(token.decode())
        except UnicodeDecodeError:
            continue
        node = tree[0]
        for letter in letters:
            if letter not in node.children:
                node.children[letter] = len(tree)
                tree.append(_TokenNode())
            node = tree[node.children[letter]]
        if letters and letters.isprintable():
            node.ids.append(token_id)
    return tree

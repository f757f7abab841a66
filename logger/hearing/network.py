"""The word network of a pack, walked token by token.

The network is kept over letters, not tokens: a phrase is its letters and digits without spaces,
commas, hyphens or capitals, and a token may be taken if its own letters go on from where the
path stands. So every way in which the model can write the same words ("Hypo-mobile,", "hypo
mobile", "HYPOMOBILE"), and every way to cut them into tokens, is one and the same path.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from logger.core.statements import Act
from logger.grammar.numbers import HIGHEST, NUMBER, number_forms
from logger.grammar.pack import NumberSlot
from logger.grammar.phrases import (
    CommandPhrase,
    Linking,
    Phrase,
    command_phrases,
    linking_words,
    span_phrases,
    spoken_phrases,
    stands_beside_row,
)
from logger.hearing.moonshine import is_text

if TYPE_CHECKING:
    from logger.grammar.pack import Pack

_SILENT: Final = frozenset(" ,.-?!;:'\"\u2581")
_PUNCTUATION: Final = frozenset(mark.encode() for mark in ",.-?!;:'\u2581")
"""The lone space among them: the model writes it before digits."""
_MENTIONS: Final = 2
"""How often one slot may be said in one utterance: twice, so that "pain two, pain three" is heard
whole and marked for a check, not lost."""

_ODD_NATS: Final = 5.0
"""What it costs to say a slot twice, or degrees without a motion: such is said by mistake once in
a hundred times (judged, not measured), and without a price the search drowns in it."""

_MOST_KEPT: Final = 300
"""How many places, how many contexts and how many things said are kept: after 40 minutes of real
talk 446 MB were in use in all, 514 with 1000, and no slower."""

_MOST_LINKS: Final = 8
_LINK_COST: Final = 1.5
"""In nats: a path with linking words must be better by this than one without."""


@dataclass(frozen=True, slots=True)
class Opening:
    """The word without which a pack hears nothing."""

    text: str


Spoken = Phrase | CommandPhrase | Linking | Opening
_Piece = tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.float32]]
"""Tokens, nodes, weights."""


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


@dataclass(frozen=True, slots=True)
class Moves:
    """What may come next at a place, token by token; row i of each belongs together."""

    token_ids: NDArray[np.int32]
    """Shape (moves,)."""
    weights_nats: NDArray[np.float32]
    """How much each move adds to the weight of its path, shape (moves,)."""
    nodes: NDArray[np.int32]
    """Shape (moves,)."""
    completed: tuple[tuple[Spoken, ...], ...]
    """What may be completed."""
    which: NDArray[np.int32]
    """The index in `completed` of what each move completes, shape (moves,)."""

    def place(self, at: Place, row: int) -> Place:
        """Return where move `row` leads from `at`."""
        return Place(int(self.nodes[row]), at.said + self.completed[self.which[row]])


@dataclass(frozen=True, slots=True)
class _Walk:
    """Where tokens lead from a node without ending a phrase, whatever has been said."""

    token_ids: NDArray[np.int32]
    nodes: NDArray[np.int32]
    crossings: tuple[tuple[int, int], ...]
    """Nodes where a phrase may end in mid-token, and where in the token that is."""


@dataclass(slots=True)
class _Context:
    """What has been said, as far as it decides what may follow."""

    said: tuple[Spoken, ...]
    counts: Counter[str]
    oddity: float
    weights: NDArray[np.float32]
    """Of a path at each node, without the credits of what has been said; -inf where it may not
    be. Shape (nodes,)."""


@dataclass(slots=True)
class _Node:
    children: dict[str, int] = field(default_factory=dict)
    ends: list[Spoken] = field(default_factory=list)
    digit: bool = False
    """Whether its last letter is a digit."""
    best: dict[str, float] = field(default_factory=dict)
    """The largest credit that a path has earned by here, by the slot or command it leads to."""


@dataclass(frozen=True, slots=True)
class _Best:
    """The largest credits at all nodes, end to end: a node leads to few kinds of the many."""

    credit: NDArray[np.float32]
    kind: NDArray[np.int64]
    starts: NDArray[np.int64]
    """Where the credits of each node begin, shape (nodes,)."""

    @classmethod
    def of(cls, nodes: Sequence[_Node], kinds: Sequence[str]) -> _Best:
        """Gather the credits; a node that leads to none has one that is -inf."""
        number = {kind: at for at, kind in enumerate(kinds)}
        each = [node.best or {kinds[0]: -np.inf} for node in nodes]
        starts = np.cumsum([0, *(len(best) for best in each[:-1])])
        credit = np.array([nats for best in each for nats in best.values()], np.float32)
        kind = np.array([number[kind] for best in each for kind in best], np.int64)
        return cls(credit, kind, starts)

    def weights(self, most: NDArray[np.float32], costs: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the best of each node, none over `most` of its kind, less the kind's cost."""
        each = np.minimum(self.credit, most[self.kind]) - costs[self.kind]
        weights: NDArray[np.float32] = np.maximum.reduceat(each, self.starts)
        return weights


@dataclass(slots=True)
class _TokenNode:
    children: dict[str, int] = field(default_factory=dict)
    ids: list[int] = field(default_factory=list)


class TokenNetwork:
    """Which tokens may follow which, so that every whole path is something the pack can say.

    Besides what the model makes of a path, a path has a weight: what its phrases are credited,
    less what is hardly ever said. Inside a phrase it grows letter by letter, as the cost of a rare
    phrase does: granted at its start it would favour whoever starts one, granted at its end it
    would come too late for a path that the search has given up.
    """

    def __init__(
        self, pack: Pack, tokens: Sequence[bytes], credits_nats: Mapping[str, float] | None = None
    ) -> None:
        """Build the network; `credits_nats` are added to the phrases of these texts."""
        self._credits = dict(credits_nats or {})
        self._rules = pack.utterance
        self._numbers = {slot for slot, rule in pack.slots.items() if isinstance(rule, NumberSlot)}
        self._nodes = [_Node()]
        every: list[Spoken] = [
            *spoken_phrases(pack),
            *span_phrases(pack),
            *command_phrases(pack),
            *linking_words(pack),
            *(Opening(text) for text in pack.utterance.opening_word),
        ]
        for phrase in every:
            if not (isinstance(phrase, CommandPhrase) and phrase.takes_words):
                for written in ways_written(phrase.text):
                    self._add(_letters(written), phrase)
        self._tokens = _token_tree(tokens)
        words = {k: v for k, v in self._tokens[0].children.items() if not k.isdigit()}
        self._tokens.append(_TokenNode(words))
        self._words_alone = len(self._tokens) - 1
        self._kinds = sorted({kind for node in self._nodes for kind in node.best})
        self._best = _Best.of(self._nodes, self._kinds)
        self._contexts: dict[tuple[object, ...], _Context] = {}
        self._known: dict[tuple[Spoken, ...], tuple[tuple[object, ...], _Context]] = {}
        self._walks: dict[tuple[int, int], _Walk] = {}
        self._moves: dict[tuple[object, ...], Moves] = {}
        self.punctuation = np.array(
            [i for i, token in enumerate(tokens) if token in _PUNCTUATION], np.int64
        )

    start: Final = Place(0, ())

    def weight(self, place: Place) -> float:
        """Return the weight of a path that stands here, in nats."""
        total, counts = 0.0, Counter[str]()
        for phrase in place.said:
            total += self._credit_beside(counts, phrase)
            counts[_kind(phrase)] += 1
        return total + _weight_in(self._context(place.said)[1], place.node)

    def _credit_beside(self, counts: Counter[str], phrase: Spoken) -> float:
        """Return the credit of a phrase after these kinds: what is said twice has it once."""
        credit = self._credit_of(phrase)
        return min(credit, 0.0) if counts[_kind(phrase)] else credit

    def _credit_of(self, phrase: Spoken) -> float:
        if isinstance(phrase, Linking):
            # What turns a finding round must never be read over: it costs nothing.
            return 0.0 if phrase.turns else -_LINK_COST
        return self._credits.get(phrase.text, 0.0)

    def _context(self, said: tuple[Spoken, ...]) -> tuple[tuple[object, ...], _Context]:
        """Return what `said` comes to, with a key that is the same for all that comes to it."""
        if said in self._known:
            return self._known[said]
        counts = Counter(_kind(phrase) for phrase in said)
        last = said[-1:]
        key = (frozenset(counts.items()), *map(_kind, last), bool(last) and _is_last(last[-1]))
        if key not in self._contexts:
            costs = [
                self._oddity(counts + Counter([kind])) if self._may_follow(said, kind) else np.inf
                for kind in self._kinds
            ]
            most = [0.0 if counts[kind] else np.inf for kind in self._kinds]
            weights = self._best.weights(np.array(most, np.float32), np.array(costs, np.float32))
            _make_room(self._contexts)
            self._contexts[key] = _Context(said, counts, self._oddity(counts), weights)
        _make_room(self._known)
        self._known[said] = key, self._contexts[key]
        return self._known[said]

    def moves(self, place: Place, *, joined: bool = False) -> Moves:
        """Return every token that may come next, with the place it leads to.

        `joined` says that neither a space nor a comma was written last: no number may end here
        and another begin, for "6/100 degrees" holds no "6/10".
        """
        context_key, context = self._context(place.said)
        within_number = joined and self._nodes[place.node].digit
        key = (place.node, within_number, *context_key)
        if key not in self._moves:
            after = self._words_alone if within_number else 0
            pieces = list(self._pieces(context, (place.node, 0), 0.0, (), after))
            weight = _weight_in(context, place.node)
            which = [np.full(len(walk[0]), i, np.int32) for i, (walk, _) in enumerate(pieces)]
            _make_room(self._moves)
            self._moves[key] = Moves(
                np.concatenate([tokens for (tokens, _, _), _ in pieces]),
                np.concatenate([weights for (_, _, weights), _ in pieces]) - np.float32(weight),
                np.concatenate([nodes for (_, nodes, _), _ in pieces]),
                tuple(completed for _, completed in pieces),
                np.concatenate(which),
            )
        return self._moves[key]

    def _pieces(
        self,
        context: _Context,
        at: tuple[int, int],
        credit: float,
        completed: tuple[Spoken, ...],
        after: int,
    ) -> Iterator[tuple[_Piece, tuple[Spoken, ...]]]:
        """Yield the moves that complete nothing more, then those that do, phrase by phrase.

        The next phrase begins with a token under the node `after`, or goes on with one begun.
        """
        walk = self._walk(at)
        weights: NDArray[np.float32] = context.weights[walk.nodes] + np.float32(credit)
        may = np.isfinite(weights)
        yield (walk.token_ids[may], walk.nodes[may], weights[may]), completed
        for end, within in walk.crossings:
            for phrase in self._nodes[end].ends if np.isfinite(context.weights[end]) else ():
                if self._may_follow(context.said, _kind(phrase)):
                    _, then = self._context((*context.said, phrase))
                    more = credit + self._credit_beside(context.counts, phrase)
                    begun = (0, within or after)
                    yield from self._pieces(then, begun, more, (*completed, phrase), after)

    def _leads_on(self, token_node: int) -> bool:
        walk = self._walk((0, token_node))
        return bool(len(walk.token_ids) or walk.crossings)

    def _walk(self, key: tuple[int, int]) -> _Walk:
        if key not in self._walks:
            found: list[tuple[int, int]] = []
            crossings: list[tuple[int, int]] = []
            going = [key]
            while going:
                at, within = going.pop()
                found += ((token, at) for token in self._tokens[within].ids if (at, within) != key)
                if self._nodes[at].ends and (not within or self._leads_on(within)):
                    crossings.append((at, within))
                going += (
                    (self._nodes[at].children[letter], deeper)
                    for letter, deeper in self._tokens[within].children.items()
                    if letter in self._nodes[at].children
                )
            pairs = np.array(found, np.int32).reshape(-1, 2)
            self._walks[key] = _Walk(pairs[:, 0], pairs[:, 1], tuple(crossings))
        return self._walks[key]

    def ends(self, place: Place) -> Iterator[tuple[Spoken, ...]]:
        """Yield what has been said if the utterance ends here; nothing if it cannot."""
        for end in self._closed(place) if place.node else (place,):
            if self._is_whole(end.said):
                yield end.said

    def oddity(self, said: Sequence[Spoken]) -> float:
        """Return the cost of what is hardly ever said, in nats, 0 or more.

        That is a slot said twice, two values that open a row, and degrees without a motion.
        """
        return self._oddity(Counter(_kind(phrase) for phrase in said))

    def _oddity(self, kinds: Counter[str]) -> float:
        repeats = sum(n - 1 for kind, n in kinds.items() if not kind.startswith("link"))
        openings = sum(opening in kinds for opening in self._rules.opens_row)
        # Without an opening they complete a row or correct it, which is ordinary but for a mere
        # number that completes: it is said of other things too.
        corrects = f"command {Act.CORRECTION}" in kinds
        odd_alone = () if corrects else self._numbers
        unmet = sum(
            slot in kinds and not any(other in kinds for other in needed)
            for slot, needed in self._rules.needs.items()
            if openings or slot in odd_alone
        )
        return _ODD_NATS * (repeats + max(0, openings - 1) + unmet)

    def _add(self, letters: str, phrase: Spoken) -> None:
        credit, kind = self._credit_of(phrase), _kind(phrase)
        node = self._nodes[0]
        for depth, letter in enumerate(letters, start=1):
            if letter not in node.children:
                node.children[letter] = len(self._nodes)
                self._nodes.append(_Node(digit=letter.isdigit()))
            node = self._nodes[node.children[letter]]
            share = credit * depth / len(letters)
            node.best[kind] = max(node.best.get(kind, share), share)
        if phrase not in node.ends:
            node.ends.append(phrase)

    def _closed(self, place: Place) -> Iterator[Place]:
        for phrase in self._nodes[place.node].ends:
            if self._may_follow(place.said, _kind(phrase)):
                yield Place(0, (*place.said, phrase))

    def _may_follow(self, said: Sequence[Spoken], kind: str) -> bool:
        if self._rules.opening_word and not said:
            return kind == _OPENING
        said = [phrase for phrase in said if not isinstance(phrase, Opening)]
        if kind == _OPENING or (said and _is_last(said[-1])):
            return False
        if said and isinstance(said[0], CommandPhrase) and said[0].may_take:
            often = sum(_kind(phrase) == kind for phrase in said)
            return kind in said[0].may_take and often < _MENTIONS
        if kind.startswith("command "):
            return not said
        if kind.startswith("link"):
            return _may_link(said, kind)
        return sum(_kind(phrase) == kind for phrase in said) < _MENTIONS

    def _is_whole(self, said: Sequence[Spoken]) -> bool:
        """Tell whether these phrases state something: a lone "right" or "correction" does not."""
        if any(isinstance(phrase, CommandPhrase) and not phrase.takes_slots for phrase in said):
            return True
        phrases = [phrase for phrase in said if isinstance(phrase, Phrase)]
        corrects = any(isinstance(phrase, CommandPhrase) for phrase in said)
        if not (corrects or stands_beside_row(said, self._rules)):
            return False
        if said and isinstance(said[-1], Linking) and not said[-1].may_end:
            return False
        return any(corrects or not phrase.bare for phrase in phrases)


def _weight_in(context: _Context, node: int) -> float:
    return float(context.weights[node]) if node else -context.oddity


def _make_room(cache: dict[Any, Any]) -> None:
    """Forget all once there is too much: what is needed again is soon made again."""
    if len(cache) >= _MOST_KEPT:
        cache.clear()


def said_text(said: Sequence[Spoken]) -> str:
    """Return the spoken forms of a path, as plain words."""
    return " ".join(phrase.text for phrase in said)


def _meaning(phrase: Spoken) -> tuple[object, ...]:
    if isinstance(phrase, Phrase):
        return (phrase.slot, phrase.values, phrase.bare, phrase.beside_row)
    if isinstance(phrase, Linking):
        return ("turned round",) if phrase.turns else ()
    return (phrase.act,) if isinstance(phrase, CommandPhrase) else ()


_OPENING: Final = "opening"


def _kind(phrase: Spoken) -> str:
    if isinstance(phrase, Phrase):
        return phrase.slot
    if isinstance(phrase, Linking):
        return "link" + " first" * phrase.may_begin + " join" * phrase.may_join
    return f"command {phrase.act}" if isinstance(phrase, CommandPhrase) else _OPENING


def _is_last(phrase: Spoken) -> bool:
    takes = isinstance(phrase, CommandPhrase) and (phrase.takes_slots or phrase.may_take)
    return isinstance(phrase, CommandPhrase) and not takes


def _may_link(said: Sequence[Spoken], kind: str) -> bool:
    if not said:
        return " first" in kind
    links = sum(isinstance(phrase, Linking) for phrase in said)
    return " join" in kind and not isinstance(said[-1], Linking) and links < _MOST_LINKS


def _letters(text: str) -> str:
    return "".join(letter for letter in text.lower() if letter not in _SILENT)


_DIGITS: Final = {form: str(n) for n in range(HIGHEST + 1) for form in number_forms(n)}


def in_digits(text: str) -> str:
    """Return a text with the numbers in it, spelt in small letters, as digits."""
    return NUMBER.sub(lambda match: _DIGITS[match[1]], text)


def ways_written(text: str) -> Iterator[str]:
    """Yield a phrase as said and as the model may write it, with digits.

    Two phrases that differ in a number alone are written in the same ways, in the same order.
    """
    yield text
    digits = in_digits(text)
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

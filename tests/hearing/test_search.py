"""The search along the word network, on a toy model that hears what it is told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from logger.grammar.loading import load_pack
from logger.grammar.phrases import spoken_phrases
from logger.hearing.moonshine import END_TOKEN, FloatArray
from logger.hearing.network import Place, Spoken, TokenNetwork, said_text
from logger.hearing.search import (
    FreeReading,
    SearchRules,
    read_freely,
    read_network,
    reluctance,
    score_beside,
    score_paths,
)
from logger.hearing.tokens import Tokenizer

PACK = load_pack("glenohumeral")
_CONTROL = [b"<unk>", b"<s>", b"</s>"]
_PARTS = "\u2581 a b c d e f g h i l m n o p r s t u v w x y , . hy po per mobile right in end"
_UNHEARD = -9.0


def tokenize(text: str, tokens: Sequence[bytes]) -> list[int]:
    """Return the ids of a text's tokens."""
    return Tokenizer(tokens).tokenize(text)


class Hearsay:
    """Stands in for `Listening`: expects given words, and takes given others for them."""

    def __init__(self, tokens: Sequence[bytes], weights: Mapping[str, float]) -> None:
        """Expect each text with its log-probability; anything else costs 9 nats a token."""
        self._size = len(tokens)
        self._paths = {(*tokenize(t, tokens), END_TOKEN): nats for t, nats in weights.items()}
        self._prefixes: list[tuple[int, ...]] = []
        self.follows = 0

    def start(self) -> FloatArray:
        """Return what the first token may be."""
        self._prefixes = [()]
        return self._next()

    def advance(self, parents: NDArray[np.intp], tokens: NDArray[np.int64]) -> FloatArray:
        """Extend the paths."""
        self._prefixes = [
            (*self._prefixes[parent], int(token))
            for parent, token in zip(parents, tokens, strict=True)
        ]
        return self._next()

    def follow(self, tokens: NDArray[np.int64], after: int | None = None) -> FloatArray:
        """Lead the one path along tokens."""
        one = np.zeros(1, np.intp)
        self._prefixes = [self._prefixes[0][:after]]
        self.follows += 1
        return np.concatenate([self.advance(one, token[np.newaxis]) for token in tokens])

    def _next(self) -> FloatArray:
        rows = np.full((len(self._prefixes), self._size), _UNHEARD, np.float32)
        rows[:, END_TOKEN] = 2 * _UNHEARD
        for row, prefix in zip(rows, self._prefixes, strict=True):
            at = len(prefix)
            for path, nats in self._paths.items():
                if path[:at] == prefix and at < len(path):
                    # The whole cost of a text falls on its last token, its end.
                    cost = nats if at == len(path) - 1 else 0.0
                    row[path[at]] = max(row[path[at]], cost)
        return rows


@pytest.fixture(scope="module")
def tokens() -> list[bytes]:
    """Return letters and a few longer tokens, the longest first."""
    parts = sorted(dict.fromkeys(_PARTS.split()), key=lambda part: -len(part))
    return [*_CONTROL, *(part.encode() for part in parts)]


def _read(
    tokens: Sequence[bytes],
    heard: Mapping[str, float],
    credits_nats: Mapping[str, float] | None = None,
    rules: SearchRules | None = None,
) -> list[tuple[str, float]]:
    network = TokenNetwork(PACK, tokens, credits_nats)
    listening = Hearsay(tokens, heard)
    _, found = read_network(listening, network, rules or SearchRules(), most_tokens=60)
    return [(said_text(reading.said), reading.log_probability) for reading in found]


def test_the_likeliest_reading_comes_first_and_its_rival_second(tokens: list[bytes]) -> None:
    found = _read(tokens, {"right abduction": -1.0, "right adduction": -2.5})
    assert [text for text, _ in found[:2]] == ["right abduction", "right adduction"]
    assert [nats for _, nats in found[:2]] == pytest.approx([-1.0, -2.5])


def test_a_credit_turns_the_order_but_not_the_log_probability(tokens: list[bytes]) -> None:
    heard = {"hypermobile": -1.0, "hypomobile": -2.0}
    assert _read(tokens, heard)[0][0] == "hypermobile"
    found = _read(tokens, heard, {"hypomobile": 1.5})
    assert [text for text, _ in found[:2]] == ["hypomobile", "hypermobile"]
    assert found[0][1] == pytest.approx(-2.0)


def test_an_end_that_leaves_speech_unexplained_is_no_end(tokens: list[bytes]) -> None:
    # The short reading would win by far, but the model goes on with words of no pack.
    heard = {"inferior glide is": 0.0, "inferior glide": -6.0}
    assert "inferior glide" not in [text for text, _ in _read(tokens, heard)]
    patient = replace(SearchRules(), ends_within=7.0)
    assert "inferior glide" in [text for text, _ in _read(tokens, heard, rules=patient)]


def test_a_reading_whose_credit_comes_late_is_not_outrun(tokens: list[bytes]) -> None:
    # "Right lateral distraction, hypomobile" lost its first words: without them the credit of
    # "hypomobile" comes in the first steps, with them in the last.
    whole, late = "right lateral distraction hypomobile", "hypomobile"
    heard, credits_nats = {whole: -1.0, late: -6.0}, {"hypomobile": 20.0}
    assert _read(tokens, heard, credits_nats)[0][0] == whole
    outrun = replace(SearchRules(), likeliest=0)
    assert _read(tokens, heard, credits_nats, outrun)[0][0] == late


def test_every_spelling_is_one_reading(tokens: list[bytes]) -> None:
    found = _read(tokens, {"hypo mobile": -0.5, "hypomobile.": -0.75, "hypomobile": -1.0})
    assert [text for text, _ in found].count("hypomobile") == 1
    assert found[0][0] == "hypomobile"
    assert found[0][1] == pytest.approx(-0.5)


def test_no_number_is_cut_in_two(tokens: list[bytes]) -> None:
    # "Pain six, one hundred degrees" became "pain 6/10", then "0 degrees": no range at all.
    with_digits = [*tokens, *(mark.encode() for mark in "0123456789/")]
    credits_nats = {"pain six out of ten": 8.0}
    cut = "extension pain 6/100 degrees"
    assert "zero degrees" not in str(_read(with_digits, {cut: 0.0}, credits_nats)[:1])
    apart = "extension pain 6/10 0 degrees"
    found = _read(with_digits, {apart: 0.0}, credits_nats)
    assert found[0][0] == "extension pain six out of ten zero degrees"


def test_what_is_hopeless_is_given_up_and_the_free_reading_goes_on(tokens: list[bytes]) -> None:
    network = TokenNetwork(PACK, tokens)
    talk = "a longer line of speech about something else"
    listening = Hearsay(tokens, {talk: -0.5})
    rules = replace(SearchRules(), behind_free=20.0)
    free, found = read_network(listening, network, rules, most_tokens=60)
    assert not found
    assert free == read_freely(Hearsay(tokens, {talk: -0.5}), 60)
    assert free.token_ids == tokenize(talk, tokens)


@pytest.mark.parametrize("heard", ["lax", "right abduction", "right side, hypo mobile, lax"])
@pytest.mark.parametrize("most_tokens", [1, 4, 60])
def test_the_free_reading_is_the_same_beside_the_paths(
    tokens: list[bytes], heard: str, most_tokens: int
) -> None:
    said = {heard: -0.5, "right": -3.0}
    network = TokenNetwork(PACK, tokens)
    free, _ = read_network(Hearsay(tokens, said), network, SearchRules(), most_tokens=most_tokens)
    assert free == read_freely(Hearsay(tokens, said), most_tokens)


def test_nothing_heard_is_read_as_nothing(tokens: list[bytes]) -> None:
    network = TokenNetwork(PACK, tokens)
    free, found = read_network(Hearsay(tokens, {"lax": 0.0}), network, SearchRules(), most_tokens=0)
    assert (free, found) == (FreeReading([], 0.0), [])


def test_a_weight_grows_letter_by_letter_up_to_the_credit(tokens: list[bytes]) -> None:
    network = TokenNetwork(PACK, tokens, {"hypomobile": 4.0, "hypermobile": 1.0})
    by_place: dict[Place, float] = {network.start: 0.0}
    grown = []
    for token in tokenize("hypomobile", tokens)[1:]:
        by_place = {
            moves.place(at, row): weight + float(moves.weights_nats[row])
            for at, weight in by_place.items()
            for moves in [network.moves(at)]
            for row in np.flatnonzero(moves.token_ids == token).tolist()
        }
        grown.append(max(by_place.values()))
    # The tokens are "hy", "po", "m", "o", "b", "i", "l", "e": letters 2, 4, 5 ... of 10.
    assert grown == pytest.approx([0.8, 1.6, 2.0, 2.4, 2.8, 3.2, 3.6, 4.0])
    for place, weight in by_place.items():
        assert weight == pytest.approx(network.weight(place))


def test_a_slot_said_twice_costs(tokens: list[bytes]) -> None:
    network = TokenNetwork(PACK, tokens)
    by_text = {said_text(end): end for end in _ends(network, tokens, "soft end feel")}
    once = by_text["soft end feel"]
    assert network.weight(Place(0, (*once, *once))) < network.weight(Place(0, once))


def _ends(network: TokenNetwork, tokens: list[bytes], text: str) -> list[tuple[Spoken, ...]]:
    places = [network.start]
    for token in tokenize(text, tokens):
        if token not in network.punctuation:
            places = [
                moves.place(at, row)
                for at in places
                for moves in [network.moves(at)]
                for row in np.flatnonzero(moves.token_ids == token).tolist()
            ]
    return [end for place in places for end in network.ends(place)]


def test_free_reading_takes_the_best_token_and_scores_like_the_path(tokens: list[bytes]) -> None:
    listening = Hearsay(tokens, {"lax": -0.5, "loose": -1.0})
    free = read_freely(listening, 30)
    assert b"".join(tokens[i] for i in free.token_ids).decode() == "\u2581lax"
    assert free.log_probability == pytest.approx(-0.5)
    lax, loose, other = (tokenize(text, tokens) for text in ("lax", "loose", "soft"))
    # Without its end a text costs nothing; an unheard one 9 nats for each token but the space.
    assert score_paths(listening, [lax, loose, other]) == pytest.approx(
        [0.0, 0.0, _UNHEARD * (len(other) - 1)]
    )


def test_others_are_scored_from_where_they_differ_as_if_led_along_whole(
    tokens: list[bytes],
) -> None:
    said = {"lax end feel, right": -0.5, "loose": -1.0, "lax end feel, left": -2.0}
    texts = ("lax end feel, right", "soft end feel, right", "lax end feel, left", "loose", "lax")
    paths = [[*tokenize(text, tokens), END_TOKEN] for text in texts]
    whole = score_paths(Hearsay(tokens, said), paths)
    own, others = score_beside(Hearsay(tokens, said), paths[0], paths[1:], [200.0] * 4)
    assert [own, *others] == pytest.approx(whole)
    limits = [own - nats + more for nats, more in zip(others, (1.0, -1.0, 1.0, -1.0), strict=True)]
    bounded = score_beside(Hearsay(tokens, said), paths[0], paths[1:], limits)[1]
    assert bounded == pytest.approx([others[0], -np.inf, others[2], -np.inf])


def test_what_is_far_behind_in_its_first_token_is_not_followed(tokens: list[bytes]) -> None:
    listening = Hearsay(tokens, {"lax end feel": -0.5})
    paths = [[*tokenize(text, tokens), END_TOKEN] for text in ("lax end feel", "lax side", "lax")]
    assert score_beside(listening, paths[0], paths[1:], [5.0] * 2)[1] == [-np.inf] * 2
    assert listening.follows == 1


def test_no_paths_have_no_scores(tokens: list[bytes]) -> None:
    assert score_paths(Hearsay(tokens, {"lax": -0.5}), []) == []


def test_what_is_said_twice_is_credited_once(tokens: list[bytes]) -> None:
    network = TokenNetwork(PACK, tokens, {"pain two": 6.0, "pain three": 6.0})
    pain = {p.text: p for p in spoken_phrases(PACK) if p.text in ("pain two", "pain three")}
    once = network.weight(Place(0, (pain["pain two"],)))
    twice = network.weight(Place(0, (pain["pain two"], pain["pain three"])))
    assert once == pytest.approx(6.0)
    assert twice < once
    # Inside the second phrase too, so that the search is not led on by what it will not get.
    at, text = Place(0, (pain["pain two"],)), "pain thr"
    for token in tokenize(text, tokens)[1:]:
        moves = network.moves(at)
        if token in network.punctuation:
            continue
        rows = [row for row in range(len(moves.token_ids)) if moves.token_ids[row] == token]
        at = next(p for p in (moves.place(at, r) for r in rows) if len(p.said) == 1)
    assert network.weight(at) <= twice


def test_reluctance_is_what_the_model_would_rather_have_begun_with(tokens: list[bytes]) -> None:
    listening = Hearsay(tokens, {"right": 0.0})
    assert reluctance(listening, tokenize("right", tokens)) == pytest.approx(0.0)
    # 9 nats for each token that the model does not expect, in a model that is told what to hear.
    unheard = tokenize("left", tokens)
    assert reluctance(listening, unheard) > 8.9

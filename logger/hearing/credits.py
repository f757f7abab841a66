"""What each phrase is credited for being rare in ordinary text.

The model is a reader as much as an ear: having heard nothing, it expects "hypermobile" rather
than "hypomobile", any common word rather than "caudal", and above all an early end. What it
expects when it listens to faint noise is measured once, phrase by phrase, and a share of it is
given back, so that paths are compared by what was heard. Between two values of a slot that sound
alike all of it is given back: with seven tenths, 5 of 28 findings with "hypomobile" in seven
synthetic voices were still heard as hypermobile, by up to 3 nats.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from logger.core.sound import SAMPLE_RATE_HZ
from logger.core.statements import SESSION_ACTS
from logger.grammar.alike import alike_words, of_kind
from logger.grammar.numbers import NUMBER
from logger.grammar.pack import BLANK
from logger.grammar.phrases import command_phrases, slot_phrases, slot_spans, spoken_phrases
from logger.hearing.search import score_paths

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from logger.core.statements import SlotValue
    from logger.grammar.pack import Pack
    from logger.grammar.phrases import Phrase
    from logger.hearing.moonshine import MoonshineModel

_SHARE: Final = 0.7
_CHOICE: Final = 1.5
"""Both from a grid over 78 findings at 1.5 m and at 5 dB: 69 right; 66 with a share of 0.3 and no
cost of choice, 51 with all given back."""
_SHORT_WORDS: Final = 5
"""As in "pain four out of ten". "With a bit of pain, four out of ten" got 9 nats more, and had been
heard in talk."""
_BEFORE: Final = "Right lateral distraction,"
_NOISE: Final = 1e-3
_NOISE_S: Final = 3


def rare_phrase_credits(pack: Pack, model: MoonshineModel) -> dict[str, float]:
    """Return the credit in nats of each phrase and command, by its text.

    It takes about a second. What the model was found to hear too seldom has been added.

    Phrases that differ in their numbers alone are credited alike: which number was said is for
    the ear to tell.
    """
    families: dict[str, list[str]] = {}
    values = {slot: len({p.value for p in slot_phrases(pack, slot)}) for slot in pack.slots}
    choices = {phrase.text: values[phrase.slot] for phrase in spoken_phrases(pack)}
    choices |= _commands_beside(pack)
    for text in choices:
        families.setdefault(NUMBER.sub(BLANK, text), []).append(text)
    measured = {family: _sample(texts) for family, texts in families.items()}
    expected = _expected(sorted({t for texts in measured.values() for t in texts}), model)
    credits_nats: dict[str, float] = {}
    for family, texts in families.items():
        mean = sum(expected[each] for each in measured[family]) / len(measured[family])
        credits_nats |= dict.fromkeys(texts, -_SHARE * mean)
    for text, nats in _alike(pack, expected).items():
        credits_nats[text] += nats
    # Half as much again as each value's equal share: a slot of many values is not to be heard
    # more often for it.
    net = {text: credits_nats[text] - _CHOICE * math.log(count) for text, count in choices.items()}
    held = _held_back(pack, net)
    leant = {text: held[text] + model.leanings.get(of_kind(text), 0.0) for text in held}
    return leant | _of_spans(pack, leant)


def _commands_beside(pack: Pack) -> dict[str, int]:
    """Return, by the text of each command, how many commands stand in its group.

    Those about rows and those about the session are two groups: a pack with more of one makes the
    other no harder to hear.
    """
    of_session = len(SESSION_ACTS & set(pack.commands))
    of_rows = len(pack.commands) - of_session
    return {
        phrase.text: of_session if phrase.act in SESSION_ACTS else of_rows
        for phrase in command_phrases(pack)
    }


def _held_back(pack: Pack, credits_nats: Mapping[str, float]) -> dict[str, float]:
    """Return the credits with those of looser and of long phrases held to what their value's get.

    What is long and ordinary lacks much, but is not to be heard more often for it: looser phrases
    get what their value's own phrase does, long ones what the best of its short ones does.
    """
    held = dict(credits_nats)
    for slot in pack.slots:
        phrases = slot_phrases(pack, slot)
        own = _own(phrases, credits_nats)
        short: dict[SlotValue, float] = {}
        for phrase in phrases:
            nats = credits_nats[phrase.text]
            if not (phrase.beside_row or _is_long(phrase)):
                short[phrase.value] = max(short.get(phrase.value, nats), nats)
        for phrase in phrases:
            nats = credits_nats[phrase.text]
            if phrase.beside_row:
                held[phrase.text] = min(nats, own.get(phrase.value, 0.0))
            elif _is_long(phrase):
                held[phrase.text] = min(nats, short.get(phrase.value, nats))
    return held


def _of_spans(pack: Pack, credits_nats: Mapping[str, float]) -> dict[str, float]:
    """Return the credit of each span, which is what its first value has by itself.

    It is longer, but is not to be heard more often for it.
    """
    spans: dict[str, float] = {}
    for slot in pack.slots:
        own = _own(slot_phrases(pack, slot), credits_nats)
        spans |= {each.text: own.get(each.value, 0.0) for each in slot_spans(pack, slot)}
    return spans


def _own(phrases: Sequence[Phrase], credits_nats: Mapping[str, float]) -> dict[SlotValue, float]:
    """Return the credit of each value's own phrase: its first that is not a looser one."""
    own: dict[SlotValue, float] = {}
    for phrase in phrases:
        if not phrase.beside_row:
            own.setdefault(phrase.value, credits_nats[phrase.text])
    return own


def _is_long(phrase: Phrase) -> bool:
    return len(phrase.text.split()) > _SHORT_WORDS


def _alike(pack: Pack, expected: Mapping[str, float]) -> dict[str, float]:
    """Return what the rarer of two values of a slot gets on top where they sound alike.

    Between those two the ear alone must tell: what the model expects is given back whole.
    """
    more: dict[str, float] = {}
    for one, other in alike_words(pack):
        lead = expected[one.text] - expected[other.text]
        rarer = other.text if lead > 0 else one.text
        more[rarer] = max(more.get(rarer, 0.0), (1 - _SHARE) * abs(lead))
    return more


def _sample(texts: list[str]) -> list[str]:
    return list(dict.fromkeys((texts[0], texts[len(texts) // 2], texts[-1])))


def _expected(texts: list[str], model: MoonshineModel) -> dict[str, float]:
    """Return the log-probability of each text as the next phrase, when only noise is heard."""
    noise = np.random.default_rng(0).normal(0, _NOISE, _NOISE_S * SAMPLE_RATE_HZ)
    listening = model.encode(noise.astype(np.float32), untaught=True)
    paths = [model.tokenize(f"{_BEFORE} {text}") for text in texts]
    before, *whole = score_paths(listening, [model.tokenize(_BEFORE), *paths])
    return {text: nats - before for text, nats in zip(texts, whole, strict=True)}

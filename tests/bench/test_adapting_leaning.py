"""How much a word is put forward that is heard too seldom for what sounds like it."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("pyroomacoustics", reason="needs the dependency group bench")

from logger.bench.adapting.leaning import Margin, alike_pairs, leanings
from logger.grammar.loading import load_pack


def drawn(lean_nats: float, abductions: int, adductions: int) -> list[Margin]:
    """Return margins of normal distributions that differ by a leaning towards adduction."""
    rng = np.random.default_rng(4)
    return [
        *(Margin("abduction", "adduction", n) for n in rng.normal(3 - lean_nats, 3, abductions)),
        *(Margin("adduction", "abduction", n) for n in rng.normal(3 + lean_nats, 3, adductions)),
    ]


@pytest.mark.parametrize(("abductions", "adductions"), [(3000, 3000), (4000, 800)])
@pytest.mark.parametrize("lean_nats", [-1.5, 0.0, 2.0])
def test_a_leaning_is_found_however_often_each_was_said(
    lean_nats: float, abductions: int, adductions: int
) -> None:
    """Of two normal distributions of one width the best limit lies midway between their means."""
    found = leanings(drawn(lean_nats, abductions, adductions))
    apart = found["abduction"] - found["adduction"]
    assert apart == pytest.approx(lean_nats, abs=0.2)


def test_what_was_never_said_gets_nothing() -> None:
    assert leanings([]) == {}
    assert leanings([Margin("abduction", "adduction", -9.0)]) == {}


def test_pairs_come_in_both_orders() -> None:
    pairs = {(one.text, other.text) for one, other in alike_pairs(load_pack("glenohumeral"))}
    assert ("hypomobile", "hypermobile") in pairs
    assert ("one hundred and fifteen degrees", "one hundred and fifty degrees") in pairs
    assert {(other, one) for one, other in pairs} == pairs
    assert not any("grade" in one for one, _ in pairs)


def test_numbers_lean_by_their_kind() -> None:
    found = leanings(
        Margin(f"{said} degrees", f"{other} degrees", nats)
        for teen, ten in (("thirteen", "thirty"), ("sixteen", "sixty"))
        for said, other, lean in ((teen, ten, -2.0), (ten, teen, 2.0))
        for nats in np.random.default_rng(4).normal(3 + lean, 3, 1000)
    )
    assert set(found) == {"teen degrees", "tens degrees"}
    assert found["teen degrees"] - found["tens degrees"] == pytest.approx(2.0, abs=0.3)

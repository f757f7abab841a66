"""What sounds alike is weighed even where the search has let go of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from logger.core.events import Verdict
from logger.grammar.interpreting import Closeness
from logger.grammar.loading import load_pack
from logger.hearing import neighbours
from logger.hearing.ear import hear_all
from logger.hearing.engines import HearingRules, MoonshineRecogniser
from logger.hearing.moonshine import open_packaged_model
from logger.hearing.neighbours import _replaced
from logger.hearing.search import SearchRules
from logger.recording.media import open_recording

DATA = Path(__file__).parent / "data"


@pytest.mark.parametrize(
    ("written", "phrase", "other", "result"),
    [
        ("Abduction, grade 2", "abduction", "adduction", "Adduction, grade 2"),
        ("Left, horizontal abduction.", "abduction", "adduction", "Left, horizontal adduction."),
        ("Left hypo-mobile", "hypo mobile", "hyper mobile", "Left hyper mobile"),
        ("a p glide, p a glide", "p a glide", "a p glide", "a p glide, a p glide"),
        ("Flexion 14 degrees.", "fourteen degrees", "forty degrees", "Flexion 40 degrees."),
        (
            "108\u00b0 flexion",
            "one hundred eight degrees",
            "one hundred eighty degrees",
            "180\u00b0 flexion",
        ),
        ("Stage one stiff", "stage one stiff", "stage on stiff", "Stage on stiff"),
        ("Stage 1 stiff", "stage one stiff", "stage on stiff", ""),
        ("Stiffly", "stiff", "lax", ""),
        ("Left in fury or glide", "inferior glide", "anterior glide", ""),
    ],
)
def test_one_phrase_takes_the_place_of_another(
    written: str, phrase: str, other: str, result: str
) -> None:
    """As the model wrote it; where it wrote something else there is nothing to compare."""
    assert _replaced(written, phrase, other) == result


@pytest.mark.model
@pytest.mark.parametrize(
    ("name", "said", "neighbour"),
    [("hypomobile", "hypomobile", "hypermobile"), ("hypermobile", "hypermobile", "hypomobile")],
)
def test_a_narrow_search_still_weighs_them(
    name: str, said: str, neighbour: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With two paths the other word is lost; however far, its margin is told."""
    monkeypatch.setattr(neighbours, "_FAR_BEHIND_NATS", 60.0)
    pack, model = load_pack("glenohumeral"), open_packaged_model(threads=1)
    rules = HearingRules(search=SearchRules(width=2))
    recogniser = MoonshineRecogniser(pack, model, rules)
    blocks = open_recording(DATA / f"{name}.flac").audio_blocks(1.0)
    (utterance,) = hear_all((block.samples for block in blocks), recogniser)
    assert utterance.verdict is Verdict.HEARD
    swapped = utterance.text.replace(said, neighbour)
    assert swapped != utterance.text
    margins = [other.margin for other in utterance.alternatives if other.text == swapped]
    assert len(margins) == 1
    assert margins[0] > 0


def test_whatever_may_raise_a_doubt_is_weighed() -> None:
    """With room for what a rival gains after the word in which it differs."""
    assert Closeness().farthest_nats + 3.0 <= neighbours._FAR_BEHIND_NATS

"""Text is cut as the merge order says, word by word or all at once."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.hearing.moonshine import packaged_model_folder, read_tokens
from logger.hearing.tokens import Tokenizer

WORDS = ("abduction", "hypo-mobile", "eighty-eight", "A", "P", "glide,", "feel.", "", "106", "5/10")


def _cut_whole(text: str, ranks: Mapping[bytes, int]) -> list[int]:
    """Cut a text by its definition: the earliest merge of all first, across its words."""
    parts = [letter.encode() for letter in ("\u2581" + text.replace(" ", "\u2581"))]
    while pairs := [
        (ranks[parts[at] + parts[at + 1]], at)
        for at in range(len(parts) - 1)
        if parts[at] + parts[at + 1] in ranks
    ]:
        _, at = min(pairs)
        parts[at : at + 2] = [parts[at] + parts[at + 1]]
    return [ranks[part] for part in parts]


@pytest.fixture(scope="module")
def packaged() -> tuple[bytes, ...]:
    """Return the tokens of the packaged model."""
    return read_tokens(packaged_model_folder() / "tokenizer.bin")


@pytest.mark.model
@given(words=st.lists(st.sampled_from(WORDS) | st.text("abehimopty -.,", max_size=9), max_size=7))
def test_word_by_word_as_all_at_once(packaged: tuple[bytes, ...], words: list[str]) -> None:
    text = " ".join(words)
    ranks = {token: rank for rank, token in enumerate(packaged)}
    tokenizer = Tokenizer(packaged)
    cut = tokenizer.tokenize(text)
    assert cut == _cut_whole(text, ranks)
    assert tokenizer.tokenize(text) == cut

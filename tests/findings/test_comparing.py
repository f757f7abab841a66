"""Comparisons with the other side: taken over only where that is certain, and said so."""

from __future__ import annotations

from typing import TYPE_CHECKING

from said import SCRATCH, correction, doubted, glide, merged, more

from logger.core.events import Finding, RowStatus

if TYPE_CHECKING:
    from logger.core.statements import Heard

SAME = "same_as_other_side"


def last_of(*said: Heard) -> Finding:
    """Return the last row of what was said, a few seconds apart."""
    return merged(*said).rows[-1]


def test_the_same_takes_the_mobility_over_and_says_from_where() -> None:
    row = last_of(glide("left", mobility="hypomobile"), glide("right", comparison=SAME))
    assert (row.mobility, row.side, row.status) == ("hypomobile", "right", RowStatus.LOGGED)
    assert any("taken over from the left side at" in caution for caution in row.cautions)
    assert row.grade is None


def test_it_is_the_last_row_of_the_same_test_that_was_not_withdrawn() -> None:
    row = last_of(
        glide("left", mobility="normal"),
        glide("left", test="posterior_glide", mobility="hypermobile"),
        glide("left", mobility="hypomobile"),
        SCRATCH,
        glide("right", comparison=SAME),
    )
    assert row.mobility == "normal"


def test_with_nothing_to_take_over_the_row_is_checked_and_stays_empty() -> None:
    for before in ([], [glide("left")], [glide("right", mobility="normal")]):
        row = last_of(*before, glide("right", comparison=SAME))
        assert row.mobility is None
        assert row.status is RowStatus.CHECK
        assert "the other side has none" in row.reasons[-1]


def test_taken_over_from_a_doubtful_row_is_doubtful() -> None:
    doubtful = doubted(glide("left", mobility="normal"), "mobility", "normal", "hypomobile")
    row = last_of(doubtful, glide("right", comparison=SAME))
    assert row.status is RowStatus.CHECK
    assert row.mobility == "normal"


def test_the_sides_own_name_in_a_comparison_is_a_reason_for_a_check() -> None:
    for comparison in ("same_as_right", "against_right"):
        row = last_of(glide("left", mobility="normal"), glide("right", comparison=comparison))
        assert row.status is RowStatus.CHECK
        assert row.mobility is None


def test_against_the_other_side_takes_nothing_over() -> None:
    row = last_of(
        glide("right", mobility="normal"),
        glide("left", mobility="hypomobile", comparison="against_right"),
    )
    assert (row.mobility, row.status) == ("hypomobile", RowStatus.LOGGED)


def test_said_and_the_same_must_agree() -> None:
    row = last_of(
        glide("left", mobility="normal"), glide("right", mobility="hypomobile", comparison=SAME)
    )
    assert row.status is RowStatus.CHECK
    assert row.mobility == "hypomobile"
    assert any("said hypomobile, and the same as the left side, normal" in r for r in row.reasons)


def test_a_correction_replaces_the_same_and_the_other_way_round() -> None:
    left = glide("left", mobility="normal")
    row = last_of(left, glide("right", comparison=SAME), correction(mobility="hypomobile"))
    assert (row.mobility, row.status, row.comparison) == ("hypomobile", RowStatus.LOGGED, None)
    row = last_of(left, glide("right", mobility="hypomobile"), correction(comparison=SAME))
    assert (row.mobility, row.status) == ("normal", RowStatus.LOGGED)


def test_attributes_after_the_same_add_to_it() -> None:
    row = last_of(glide("left", mobility="normal"), glide("right", comparison=SAME), more(pain=2))
    assert (row.mobility, row.pain) == ("normal", 2)

"""What there is to say of the agreement of raters, slot by slot."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from logger.agreement.categories import (
    WEIGHTINGS,
    contingency,
    fleiss,
    kappa,
    percent_agreement,
)
from logger.agreement.estimates import Estimate, undefined
from logger.agreement.matching import Matched, Target, Values
from logger.agreement.measures import icc_agreement, icc_consistency, limits_of_agreement
from logger.agreement.scales import Kind, Scale
from logger.core.statements import SlotValue

LEAST_PAIRS: Final = 10
"""Fewer say too little for a figure with an interval (common practice, no source)."""
_PAIR: Final = 2


@dataclass(frozen=True, slots=True)
class SlotAgreement:
    """How far some raters agree in one slot."""

    slot: str
    raters: tuple[str, ...]
    count: int
    """Findings in which all of them gave a value."""
    lacking: int
    """Findings in which some of them did and some did not."""
    off_list: int
    """Findings with a value that the pack does not have: not counted."""
    measures: tuple[tuple[str, Estimate], ...]
    """Each measure's name with what was found."""


def agreements(
    matched: Matched, scales: Sequence[Scale], least: int = LEAST_PAIRS
) -> Iterator[SlotAgreement]:
    """Yield the agreement of every two raters, then of all where there are more.

    Raters who share no recording are left out; slots of which nobody said anything too.
    """
    raters = matched.raters
    groups: list[tuple[str, ...]] = list(itertools.combinations(raters, _PAIR))
    if len(raters) > _PAIR:
        groups.append(raters)
    for group in groups:
        if matched.shared(group):
            for scale in scales:
                found = _in_slot(matched, scale, group, least)
                if found.count or found.lacking or found.off_list:
                    yield found


def strangers(matched: Matched) -> list[tuple[str, str]]:
    """Return every two raters who share no recording."""
    pairs = itertools.combinations(matched.raters, _PAIR)
    return [pair for pair in pairs if not matched.shared(pair)]


def _in_slot(matched: Matched, scale: Scale, raters: tuple[str, ...], least: int) -> SlotAgreement:
    shared = matched.shared(raters)
    rated = [matched.values[rater] for rater in raters]
    targets = sorted({t for values in rated for t in values if t.recording in shared})
    lines = [_line(rated, target, scale.slot) for target in targets]
    whole = [tuple(v for v in line if v is not None) for line in lines]
    whole = [line for line in whole if len(line) == len(raters)]
    known = [line for line in whole if all(_on(scale, value) for value in line)]
    return SlotAgreement(
        slot=scale.slot,
        raters=raters,
        count=len(known),
        lacking=sum(any(v is not None for v in line) for line in lines) - len(whole),
        off_list=len(whole) - len(known),
        measures=tuple(_measures(scale, known, least)),
    )


def _line(
    rated: Iterable[dict[Target, Values]], target: Target, slot: str
) -> tuple[SlotValue | None, ...]:
    return tuple(values.get(target, {}).get(slot) for values in rated)


def _on(scale: Scale, value: SlotValue) -> bool:
    # True is 1 to Python; a session read from a file holds no booleans here.
    return value in scale.values


def _measures(
    scale: Scale, lines: Sequence[tuple[SlotValue, ...]], least: int
) -> Iterator[tuple[str, Estimate]]:
    pairs = [(line[0], line[-1]) for line in lines if len(line) == _PAIR]
    if pairs:
        yield "same value", percent_agreement(contingency(pairs, scale.values))
    few = f"too few: {len(lines)} in common, at least {least} needed" if len(lines) < least else ""
    for name, found in _figures(scale, lines):
        yield name, undefined(few) if few else found


def _figures(
    scale: Scale, lines: Sequence[tuple[SlotValue, ...]]
) -> Iterator[tuple[str, Estimate]]:
    many = bool(lines) and len(lines[0]) > _PAIR
    if scale.kind is Kind.MEASURED:
        yield from _of_numbers(_matrix(lines), many=many)
    elif many:
        yield "Fleiss' kappa", fleiss(lines, scale.values)
    else:
        table = contingency([(line[0], line[-1]) for line in lines], scale.values)
        for weighting in WEIGHTINGS if scale.kind is Kind.ORDERED else WEIGHTINGS[:1]:
            yield f"kappa, {weighting}", kappa(table, weighting)


def _of_numbers(values: NDArray[np.float64], *, many: bool) -> Iterator[tuple[str, Estimate]]:
    yield "ICC(2,1)", icc_agreement(values)
    yield "ICC(3,1)", icc_consistency(values)
    if not many:
        limits = limits_of_agreement(values)
        yield "mean difference", limits.bias
        yield "lower limit", limits.low
        yield "upper limit", limits.high


def _matrix(lines: Sequence[tuple[SlotValue, ...]]) -> NDArray[np.float64]:
    raters = len(lines[0]) if lines else _PAIR
    return np.array(lines, dtype=np.float64).reshape(len(lines), raters)

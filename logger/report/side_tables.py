"""The screening and the accessory tests, one side beside the other."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from logger.core.events import Side
from logger.grammar.pack import NumberSlot, Pack
from logger.report.document import Cell, Section, Table, Text
from logger.report.sides import Difference, Moves, difference
from logger.report.tested import OTHER, OneTest, What
from logger.report.wording import compared_text, plain, rows_text, said_text, setup_text, signed

_NOT_TESTED: Final = Cell("not tested")
_WORDS: Final[Mapping[Moves, str]] = {
    Moves.LESS: "{} less mobile",
    Moves.MORE: "{} more mobile",
    Moves.ALIKE: "alike",
    Moves.UNKNOWN: "not compared",
}


def screening_section(tested: Mapping[What, OneTest], involved: Side | None, pack: Pack) -> Section:
    """Return the motions that were screened, one line for each mode."""
    first = involved or "right"
    keys = sorted(
        {What(first, w.name, w.mode, is_motion=True) for w in tested if w.is_motion},
        key=lambda what: (_place(pack, "motion", what.name), _place(pack, "mode", what.mode or "")),
    )
    if not keys:
        return Section("Motions screened", (Text("No motion was screened."),))
    lines: list[tuple[Cell, ...]] = []
    for what in keys:
        mine, other = tested.get(what), tested.get(what.across())
        lines.append(
            (
                Cell(f"{plain(what.name)}, {what.mode or 'mode not said'}"),
                _screened(mine),
                _screened(other),
                Cell(_range_difference((mine, other), first if involved is None else None, pack)),
            )
        )
    head = ("Motion", *_heads(involved), "Difference")
    return Section("Motions screened", (Table("Motions screened", head, tuple(lines),
                                              (23, 31, 27, 19)),))  # fmt: skip


def accessory_section(tested: Mapping[What, OneTest], involved: Side | None, pack: Pack) -> Section:
    """Return the accessory tests, one line each."""
    first = involved or "right"
    keys = sorted(
        {What(first, what.name) for what in tested if not what.is_motion},
        key=lambda what: _place(pack, "test", what.name),
    )
    title = "Accessory movements, passive"
    if not keys:
        return Section(title, (Text("No accessory movement was tested."),))
    lines = []
    for what in keys:
        mine, other = tested.get(what), tested.get(what.across())
        found = difference(mine, other, pack)
        lines.append(
            (
                Cell(plain(what.name)),
                _test(mine, pack),
                _test(other, pack),
                _difference(found, first if involved is None else None),
            )
        )
    head = ("Direction", *_heads(involved), "Difference")
    table = Table(title, head, tuple(lines), (15, 37, 32, 16))
    return Section(title, (table, Text(_scale(pack), small=True)) if _scale(pack) else (table,))


def _heads(involved: Side | None) -> tuple[str, str]:
    if involved is None:
        return "Right", "Left"
    return f"Involved: {involved}", f"Other side: {OTHER[involved]}"


def _scale(pack: Pack) -> str:
    if not pack.mobility_of_score:
        return ""
    words: dict[str, list[int]] = {}
    for score, word in sorted(pack.mobility_of_score.items()):
        words.setdefault(word, []).append(score)
    told = ", ".join(
        f"{scores[0]}{f' to {scores[-1]}' if len(scores) > 1 else ''} {word}"
        for word, scores in words.items()
    )
    return f"Scale: {told}. [4] row of the table and the picture; ? to be checked."


def _screened(one: OneTest | None) -> Cell:
    if one is None:
        return _NOT_TESTED
    told = [
        said_text(one.said("range_deg"), "{}°"),
        said_text(one.said("mobility")),
        said_text(one.said("pain"), "pain {}"),
        said_text(one.said("end_feel"), "{} end feel"),
        said_text(one.said("symptoms"), "symptoms {}"),
    ]
    return Cell(f"{', '.join(filter(None, told)) or 'nothing said'}  {rows_text(one)}")


def _test(one: OneTest | None, pack: Pack) -> Cell:
    if one is None:
        return _NOT_TESTED
    score = pack.slots.get("mobility_score")
    form = f"{{}} of {score.high}" if isinstance(score, NumberSlot) else "{}"
    first = [
        said_text(one.said("mobility")),
        said_text(one.said("mobility_score"), form),
        said_text(one.said("pain"), "pain {}"),
        said_text(one.said("grade"), "grade {}"),
    ]
    setups = dict.fromkeys(
        setup_text(row.finding.setup, pack.setup.get(one.what.name)) for row in one.rows
    )
    second = [
        said_text(one.said("end_feel"), "{} end feel"),
        said_text(one.said("symptoms"), "symptoms {}"),
        compared_text(one.said("comparison")),
        *setups,
    ]
    return Cell(
        f"{', '.join(filter(None, first)) or 'no value said'}  {rows_text(one)}",
        "; ".join(filter(None, second)),
    )


def _range_difference(
    sides: tuple[OneTest | None, OneTest | None], named: Side | None, pack: Pack
) -> str:
    mine, other = sides
    if mine is None or other is None:
        return "one side only"
    one, two = mine.said("range_deg"), other.said("range_deg")
    if not one.values or not two.values:
        return "no degrees"
    if one.number is None or two.number is None or not (one.sure and two.sure):
        return "to check"
    more = one.number - two.number
    limit = pack.together.limits.get("range_deg")
    error_deg = limit.value if limit else None
    within = limit is not None and error_deg is not None and not limit.passed(more, error_deg)
    side = f"{named} " if named else ""
    return f"{side}{signed(more, '°')}{', within error' if within else ''}"


def _difference(found: Difference, named: Side | None) -> Cell:
    words = _WORDS[found.moves].format(named or "").strip()
    check = " (?)" if found.to_check else ""
    steps = "" if found.steps is None else f"{signed(found.steps)} on the scale"
    return Cell(f"{words}{check}", "; ".join(filter(None, (steps, found.why))))


def _place(pack: Pack, slot: str, name: str) -> int:
    words = pack.slots.get(slot)
    names = list(getattr(words, "values", {}))
    return names.index(name) if name in names else len(names)

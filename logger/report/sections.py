"""The parts of a session's report that are no table of sides."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from logger.core.clocks import moment_of
from logger.core.events import RowStatus, Side
from logger.core.session import Bout, CautionAnswer, Edit, Judgement
from logger.core.words import clock
from logger.files.session_json import UnplacedWords
from logger.grammar.pack import Pack, PublishedDoubt
from logger.report.correlating import (
    Direction,
    MotionOutcome,
    Outcome,
    Pattern,
    PatternFound,
    directions,
    patterns,
)
from logger.report.document import Block, Cell, Item, Items, Section, Table, Text
from logger.report.ranges import Ranges
from logger.report.sides import Moves
from logger.report.tested import OneTest, Row, Stage, What
from logger.report.wording import clean, isolated, plain, rows_text, said_text, what_text

_RULE: Final = (
    "What each limited direction is taught to go with, held against the motions screened; an "
    "agreement is no diagnosis and names no direction to treat."
)


def cautions_section(answers: Sequence[CautionAnswer], pack: Pack) -> Section:
    """Return the cautions as they were answered."""
    title = "Cautions"
    if not answers:
        words = "They were not asked in this session; nothing here says that there are none."
        return Section(title, (Text(words),))
    urgency = {caution.text: caution.urgency for caution in pack.cautions}
    present = [answer for answer in answers if answer.present]
    absent = [answer for answer in answers if not answer.present]
    blocks: list[Block] = []
    if present:
        blocks.append(Items(tuple(_present(answer, urgency) for answer in present)))
    else:
        blocks.append(Text(f"All {len(answers)} were asked and answered no."))
    if absent:
        told = "; ".join(_short(answer.text) for answer in absent)
        blocks.append(Text(f"Answered no: {told}.", small=True))
    return Section(title, tuple(blocks))


def _present(answer: CautionAnswer, urgency: Mapping[str, str]) -> Item:
    asked = urgency.get(answer.text, "")
    label = f"Present ({asked}):" if asked else "Present:"
    reason = "Tested all the same, because: " if answer.reason else "No reason given for testing."
    return Item(f"{clean(answer.text)}. {reason}", clean(answer.reason), label)


def _short(text: str) -> str:
    """Return a caution without what follows its colon."""
    return clean(text).partition(":")[0]


def correlation_section(
    tested: Mapping[What, OneTest], involved: Side | None, pack: Pack
) -> Section | None:
    """Return the limited directions beside their motions, and the capsular pattern."""
    together = pack.together
    if not together.taught_with and together.capsular_pattern is None:
        return None
    blocks: list[Block] = []
    if together.taught_with:
        found = directions(tested, pack)
        items = tuple(item for direction in found for item in _direction(direction))
        none = f"No direction was found {together.limited}."
        blocks.append(Items(items) if items else Text(none))
    shown = _patterns(patterns(tested, involved, pack), pack)
    blocks += [Items(shown)] if shown else []
    blocks.append(Text(_doubted(pack), small=True))
    return Section("Read together: a rule of teaching, disputed", tuple(blocks))


def _direction(direction: Direction) -> Iterator[Item]:
    label = f"{what_text(What(direction.side, direction.test))}:"
    if direction.contradictory:
        yield Item("said to be limited and not to be, so held against no motion.", label=label)
        return
    if direction.against.moves is not Moves.LESS:
        why = {
            Moves.ALIKE: "limited on both sides alike",
            Moves.MORE: "limited, and the other side more so",
        }.get(direction.against.moves, f"limited; {direction.against.why}")
        yield Item(f"{why}, so held against no motion.", label=label)
        return
    check = " (?)" if direction.against.to_check else ""
    if direction.whole_joint:
        yield Item(f"limited{check}; taught for the joint as a whole, no one motion.", label=label)
        return
    told = "; ".join(_motion(motion) for motion in direction.motions)
    yield Item(f"limited{check}; {told}.", label=label)


def _motion(motion: MotionOutcome) -> str:
    name, found = plain(motion.ranges.motion), motion.ranges
    outcome = motion.outcome.value
    if motion.outcome in (Outcome.AGREES, Outcome.DOES_NOT_AGREE):
        return f"{name} {outcome} ({_degrees(found)})"
    if motion.outcome is Outcome.TO_CHECK and found.lost_deg is not None:
        return f"{name} {outcome} ({_degrees(found)})"
    return f"{name} {outcome}{f' ({found.why})' if found.why else ''}"


def _degrees(found: Ranges) -> str:
    mode = f", {found.mode}" if found.mode else ""
    return f"{found.mine_deg}° against {found.other_deg}°{mode}"


def _patterns(found: Sequence[PatternFound], pack: Pack) -> tuple[Item, ...]:
    """Return one item a side; one for both where neither can be computed for the same reason."""
    reasons = {(one.pattern, one.why) for one in found}
    if len(found) > 1 and len(reasons) == 1 and found[0].pattern is Pattern.NOT_COMPUTABLE:
        return (_pattern(found[0], pack, "either side"),)
    return tuple(_pattern(one, pack, one.side) for one in found)


def _pattern(found: PatternFound, pack: Pack, side: str) -> Item:
    pattern = pack.together.capsular_pattern
    order = " > ".join(plain(motion) for motion in pattern.order) if pattern else ""
    shares = ", ".join(
        f"{plain(loss.ranges.motion)} {100 * loss.share:.0f} %"
        for loss in found.losses
        if loss.share is not None
    )
    why = f"; {found.why}" if found.why else ""
    lost = f" Lost: {shares}." if shares else ""
    return Item(f"{found.pattern.value}{why}.{lost}", label=f"Capsular pattern, {side} ({order}):")


def _doubted(pack: Pack) -> str:
    together = pack.together
    limit = together.limits.get("range_deg")
    told = [_RULE]
    if limit is not None and limit.value is not None:
        told.append(f"Limited means more than {limit.value:g}° less [{limit.source}].")
    if together.doubts:
        told.append(f"Against the rule: {_with_sources(together.doubts)}.")
    if together.capsular_pattern and together.capsular_pattern.doubts:
        told.append(f"Against the pattern: {_with_sources(together.capsular_pattern.doubts)}.")
    return " ".join(told)


def _with_sources(doubts: Sequence[PublishedDoubt]) -> str:
    return "; ".join(
        f"{doubt.text[:1].lower()}{doubt.text[1:]} [{doubt.source}]" for doubt in doubts
    )


def bouts_section(bouts: Sequence[Bout], found: Sequence[Stage]) -> Section | None:
    """Return the bouts and what was tested again after them; None where there was none."""
    if not bouts:
        return None
    blocks: list[Block] = [Items(tuple(map(_bout, bouts)))]
    again = tuple(line for stage in found[1:] for line in _again(stage, found))
    if again:
        head = ("Tested again", "Before", "After")
        blocks.append(Table("Tested again after a bout", head, again, (28, 37, 35)))
    return Section("Bouts of treatment", tuple(blocks))


def _again(stage: Stage, found: Sequence[Stage]) -> Iterator[tuple[Cell, ...]]:
    """Yield what was tested at a stage beside what it was before."""
    for what, one in stage.tested.items():
        before = [s.tested[what] for s in found if s.bouts_before < stage.bouts_before
                  and what in s.tested]  # fmt: skip
        name = Cell(f"{what_text(what)}, after bout {stage.bouts_before}")
        yield name, Cell(_values(before[-1]) if before else "not tested"), Cell(_values(one))


def _bout(bout: Bout) -> Item:
    known = bout.end_s is not None and bout.end_s >= bout.start_s
    length = f"{(bout.end_s or 0) - bout.start_s:.0f} s" if known else "length not known"
    what = " ".join(
        filter(None, (bout.side or "side not said", plain(bout.test or "no direction")))
    )
    grade = f", grade {bout.grade}" if bout.grade else ""
    check = f" (?) {'; '.join(bout.reasons)}" if bout.reasons else ""
    return Item(f"{what}{grade}, {length}{check}", label=f"{clock(bout.start_s)}:")


def _values(one: OneTest) -> str:
    told = [
        said_text(one.said("range_deg"), "{}°"),
        said_text(one.said("mobility")),
        said_text(one.said("mobility_score"), "score {}"),
        said_text(one.said("pain"), "pain {}"),
        said_text(one.said("end_feel"), "{} end feel"),
        said_text(one.said("symptoms"), "symptoms {}"),
    ]
    return f"{', '.join(filter(None, told)) or 'no value said'}  {rows_text(one)}"


def checks_section(
    rows: Sequence[Row], found: Sequence[Stage], unplaced: Sequence[UnplacedWords]
) -> Section:
    """Return the rows that wait for a check, what contradicts, and what found no row."""
    items = [
        Item(f"{_named(row)}. {clean('; '.join(row.finding.reasons))}", label=f"Row {row.number},")
        for row in rows
        if row.finding.status is RowStatus.CHECK
    ]
    placed = {row.number for stage in found for one in stage.tested.values() for row in one.rows}
    items += [
        Item(f"{_named(row)}. In no table: of no one test and side.", label=f"Row {row.number},")
        for row in rows
        if row.finding.status is RowStatus.LOGGED and row.number not in placed
    ]
    items += [
        _contradiction(one)
        for stage in found
        for one in stage.tested.values()
        if one.contradictions
    ]
    items += [
        Item(f"{_named(row)}. {clean('; '.join(row.finding.cautions))}",
             label=f"Row {row.number},")
        for row in rows
        if row.finding.cautions and row.finding.status is RowStatus.LOGGED
    ]  # fmt: skip
    items += [
        Item(f"({words.reason})", clean(words.words.text),
             f"Heard at {clock(words.words.start_s)}, in no row:")
        for words in unplaced
    ]  # fmt: skip
    gone = [str(row.number) for row in rows if row.finding.status is RowStatus.WITHDRAWN]
    blocks: list[Block] = [Items(tuple(items)) if items else Text("No row is left to check.")]
    if gone:
        blocks.append(Text(f"Withdrawn and not counted: {', '.join(gone)}.", small=True))
    return Section("Still to check", tuple(blocks))


def _contradiction(one: OneTest) -> Item:
    slots = "; ".join(
        f"{plain(slot)} {' / '.join(plain(str(v)) for v in one.said(slot).values)}"
        for slot in one.contradictions
    )
    numbers = ", ".join(str(row.number) for row in one.rows)
    return Item(f"{what_text(one.what)}, said in two ways: {slots}", label=f"Rows {numbers},")


def _named(row: Row) -> str:
    finding = row.finding
    what = plain(finding.test or finding.motion or "no test")
    mode = f", {finding.mode}" if finding.mode else ""
    side = f"{finding.side} {what}" if finding.side else f"{what}, side not said"
    return f"{clock(finding.start_s)}: {side}{mode}"


def notes_section(
    rows: Sequence[Row], edits: Sequence[Edit], judgements: Sequence[Judgement]
) -> Section | None:
    """Return the notes, what was changed by hand, and who else judged; None for nothing."""
    items = [
        Item(f"{_named(row)}.", clean(row.finding.note), f"Row {row.number},")
        for row in rows
        if row.finding.note and row.finding.status is not RowStatus.WITHDRAWN
    ]
    blocks: list[Block] = [Items(tuple(items))] if items else []
    if edits:
        told = "; ".join(map(_edit, edits))
        blocks.append(Text(f"Changed by hand: {told}.", small=True))
    raters = sorted({judgement.by for judgement in judgements})
    if raters:
        named = ", ".join(map(isolated, raters))
        told = f"{len(judgements)} values of other raters ({named}) are kept beside."
        blocks.append(Text(told, small=True))
    title = "Notes, in free words as they were heard, which may be wrong" if items else "Notes"
    return Section(title, tuple(blocks)) if blocks else None


def _edit(edit: Edit) -> str:
    before, after = (
        "nothing" if value is None else isolated(plain(str(value)))
        for value in (edit.before, edit.after)
    )
    at = moment_of(edit.at)
    when = f"{at:%Y-%m-%d %H:%M}" if at else "at an unknown time"
    return f"row {edit.row}, {plain(edit.slot)} {before} → {after} ({isolated(edit.by)}, {when})"

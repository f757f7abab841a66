"""A pack: what can be said for a joint, what it fills, and the clinical values of its tests."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

    from logger.core.statements import Act, SetupWindow

Urgency = Literal["do not test", "take care"]
LimitKind = Literal["measurement error", "important difference"]

BLANK = "{}"
"""Where a template takes the value's word or number."""


@dataclass(frozen=True, slots=True)
class WordSlot:
    """A slot whose values are words, such as the test or the end feel."""

    values: Mapping[str, tuple[str, ...]]
    """The spoken forms of each value, in the pack's order, lower case."""
    templates: tuple[str, ...] = (BLANK,)
    """Every form is said inside each of these; "{}" stands for the form."""
    bare: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Forms too short to count by themselves (`UtteranceRules.bare_side_with`); side only."""
    beside_row: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Whole phrases of a value that count only in an utterance that opens a row or corrects one."""
    templates_beside_row: tuple[str, ...] = ()
    """Every form is said inside each of these too, but only where a row is opened."""
    ordered: bool = False
    """Whether the values, as they stand, go from less to more."""


@dataclass(frozen=True, slots=True)
class Spans:
    """Two numbers said as one value left open: "two to three", "forty or fifty"."""

    words: tuple[str, ...]
    """What stands between the two."""
    steps: tuple[int, ...]
    """How far apart they may be; both are multiples of the first."""


@dataclass(frozen=True, slots=True)
class NumberSlot:
    """A slot whose values are whole numbers, or whole numbers with a mark such as "2+"."""

    low: int
    high: int
    """The largest value; both ends are included, within 0 to 180."""
    templates: tuple[str, ...]
    """Every number is said inside each of these; "{}" stands for the number's words."""
    also: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    """Whole phrases that mean a number, such as "no pain" for 0."""
    templates_beside_row: tuple[str, ...] = ()
    """As in `WordSlot`."""
    marks: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Words that may follow the phrase and the mark they add: "+" for "plus"."""
    spans: Spans | None = None
    """If any, how two numbers may be said for one."""
    as_text: bool = False
    """True where the value is text ("2", "2+"), as a grade is; False for whole numbers."""
    measured: bool = False
    """Whether equal steps mean the same everywhere, so that values may be subtracted; where not,
    they are ranks."""


@dataclass(frozen=True, slots=True)
class UtteranceRules:
    """Which slots may stand together in one utterance.

    An utterance is any number of phrases in any order, each of a slot of `opens_row`, of
    `completes_row` or the side; or a command's phrase; or "correction" with phrases after it; or
    "note" with free words after it; or "begin bout" with phrases of `bout_takes` after it.
    """

    opens_row: tuple[str, ...]
    """A value of one of these slots makes the utterance a finding."""
    completes_row: tuple[str, ...]
    """Slots that may be said with those, or without them to complete the row before."""
    bare_side_with: tuple[str, ...]
    """A bare side counts only in an utterance that fills one of these, or in a correction."""
    beside_row_only: tuple[str, ...] = ()
    """Slots of which no phrase counts but in an utterance that opens a row or corrects one."""
    sentence_completes: tuple[str, ...] = ()
    """Slots that a sentence with linking words may fill without opening a row: "that's a firm end
    feel" completes the row before."""
    opening_word: tuple[str, ...] = ()
    """If any, only an utterance that begins with one of these is heard at all."""
    turn_round: tuple[str, ...] = ()
    """Words such as "not": where free listening hears one that the reading does not hold, the
    opposite may have been said, and the row is marked for a check."""
    bout_takes: tuple[str, ...] = ()
    """Slots that may follow "begin bout" in the same utterance; the side among them, even bare."""
    no_note: tuple[str, ...] = ()
    """What is talk after "note": "note to self"."""
    needs: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Slots that are meaningful only in a row that has one of the slots listed. A finding that
    says one without the other ("inferior glide, active") is still parsed, so that nothing said
    is lost; whoever builds the row marks it for a check."""


@dataclass(frozen=True, slots=True)
class LinkingWords:
    """Words that mean nothing and may stand where a row is opened, corrected or so completed.

    There is never more than one in a place.
    """

    first: tuple[str, ...] = ()
    """May begin an utterance."""
    between: tuple[str, ...] = ()
    """May stand between two phrases."""
    last: tuple[str, ...] = ()
    """May end an utterance, or stand between two phrases."""


@dataclass(frozen=True, slots=True)
class Caution:
    """A reason not to test, or to take care; shown to the reader, never acted on."""

    text: str
    urgency: Urgency
    source: str


@dataclass(frozen=True, slots=True)
class PublishedDoubt:
    """What speaks against a rule, to stand beside everything that is said by it."""

    text: str
    source: str


@dataclass(frozen=True, slots=True)
class TaughtWith:
    """The motions that a test's direction is taught to go with."""

    motions: tuple[str, ...]
    """Empty for a direction that is taught for the joint as a whole."""
    source: str


@dataclass(frozen=True, slots=True)
class CapsularPattern:
    """Motions in the order in which they are taught to be lost, the greatest loss first."""

    order: tuple[str, ...]
    source: str
    doubts: tuple[PublishedDoubt, ...] = ()


@dataclass(frozen=True, slots=True)
class Limit:
    """How large a difference must be to count for more than error, or to matter."""

    kind: LimitKind
    source: str
    value: float | None
    """None where no value is published; `source` then says so."""
    value_two_examiners: float | None = None
    """Where two people measured, or may have; None where that makes no difference."""
    source_two_examiners: str = ""

    def passed(self, difference: float, value: float) -> bool:
        """Whether a difference of either sign passes `value`.

        An important difference is one that is reached, measurement error one that is exceeded.
        """
        reached = abs(difference) >= value
        return reached if self.kind == "important difference" else abs(difference) > value


@dataclass(frozen=True, slots=True)
class Together:
    """What the findings of a joint say together; nothing of it is a judgement on a patient."""

    joint: str = ""
    """Where the drawing of the body marks the findings; empty for nowhere."""
    limited: str = ""
    """The mobility that counts as limited; empty where nothing is read together."""
    modes: tuple[str, ...] = ()
    """In which ranges of two sides are compared: the first that both sides have."""
    taught_with: Mapping[str, TaughtWith] = field(default_factory=dict)
    """By test."""
    doubts: tuple[PublishedDoubt, ...] = ()
    """What speaks against `taught_with`."""
    capsular_pattern: CapsularPattern | None = None
    limits: Mapping[str, Limit] = field(default_factory=dict)
    """By slot of a number."""


@dataclass(frozen=True, slots=True)
class Pack:
    """Everything that is particular to a joint."""

    name: str
    """The file's name without its ending."""
    title: str
    slots: Mapping[str, WordSlot | NumberSlot]
    """By slot name, in the order of `logger.core.statements.SLOTS`; a pack may leave some out."""
    commands: Mapping[Act, tuple[str, ...]]
    """The spoken forms; a pack may leave out the commands about the session."""
    utterance: UtteranceRules
    linking: LinkingWords
    setup: Mapping[str, SetupWindow]
    """By test; a test without a window asks for no setup."""
    mobility_of_score: Mapping[int, str]
    """The mobility that a mobility score means; empty where the pack has no score."""
    mobility_of_score_source: str
    cautions: tuple[Caution, ...]
    together: Together = field(default_factory=Together)
    text: str = field(default="", repr=False, compare=False)
    """The whole file, so that a session can be kept with the pack that it was begun with."""


def pack_digest(pack: Pack) -> str:
    """Return a version of the pack that changes with anything in it."""
    return hashlib.sha256(repr(pack).encode()).hexdigest()[:12]

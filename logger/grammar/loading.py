"""Read a pack file and report every mistake in it with its line and key."""

from __future__ import annotations

import re
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Final

from logger.core.errors import PackError
from logger.core.statements import Act, SetupWindow
from logger.grammar.checking import checked
from logger.grammar.pack import (
    CapsularPattern,
    Caution,
    Limit,
    LinkingWords,
    NumberSlot,
    Pack,
    PublishedDoubt,
    Spans,
    TaughtWith,
    Together,
    UtteranceRules,
    WordSlot,
)
from logger.grammar.sections import Sections, read_sections
from logger.grammar.toml_text import parsed, report, text_of

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

    from logger.grammar.schema import DoubtTable, NumberTable, WordTable

_SHIPPED_NAME: Final = re.compile(r"[A-Za-z0-9_-]+")


def load_pack(name_or_path: str) -> Pack:
    """Load a pack by the name of a shipped one ("glenohumeral") or by the path of a file.

    Raises:
        PackError: if there is no such pack, or the file has mistakes; the message names all of
            them, one a line, each as "file:line: key: what is wrong and what to do".

    """
    source = _find(name_or_path)
    return _pack_of(text_of(source, name_or_path), Path(source.name).stem, name_or_path)


def pack_of_text(text: str, name: str) -> Pack:
    """Return the pack whose file has this text; `name` is its file's name without its ending.

    Raises:
        PackError: if the text has mistakes, as one kept by another version may.

    """
    return _pack_of(text, name, f"the kept pack {name}")


def _pack_of(text: str, name: str, shown: str) -> Pack:
    data = parsed(text, shown)
    sections, mistakes = read_sections(data)
    mistakes += checked(sections)
    if mistakes:
        raise PackError(report(mistakes, text, shown))
    return replace(_build(sections, name), text=text)


def shipped_packs() -> tuple[str, ...]:
    """Return the names of the packs that come with the program, sorted."""
    folder = _shipped_folder()
    if not folder.is_dir():
        return ()
    names = (Path(entry.name) for entry in folder.iterdir())
    return tuple(sorted(name.stem for name in names if name.suffix == ".toml"))


def _shipped_folder() -> Traversable:
    installed = resources.files("logger").joinpath("_grammars")
    # In a checkout the packs are beside the package instead of in it.
    return installed if installed.is_dir() else Path(__file__).resolve().parents[2] / "grammars"


def _find(name_or_path: str) -> Traversable:
    if not _SHIPPED_NAME.fullmatch(name_or_path):
        return Path(name_or_path)
    if name_or_path not in shipped_packs():
        known = ", ".join(shipped_packs()) or "none"
        raise PackError(
            f"There is no pack named {name_or_path}; shipped packs: {known}. "
            "Name one of them, or give the path of a .toml file."
        )
    return _shipped_folder().joinpath(f"{name_or_path}.toml")


def _build(sections: Sections, name: str) -> Pack:
    utterance, commands, score = sections.utterance, sections.commands, sections.score
    if utterance is None or commands is None:
        # Both are required sections; `read_sections` has reported them if they are missing.
        raise PackError(f"The pack {name} is incomplete; add its utterance and commands tables.")
    slots = {slot: _word_slot(table) for slot, table in sections.words.items()} | {
        slot: _number_slot(slot, table) for slot, table in sections.numbers.items()
    }
    return Pack(
        name=name,
        title=sections.title,
        slots={slot: slots[slot] for slot in sections.slot_names()},
        commands={Act(act): forms for act, forms in commands if isinstance(forms, tuple) and forms},
        utterance=UtteranceRules(**dict(utterance)),
        linking=LinkingWords(**dict(sections.linking or {})),
        setup={
            test: SetupWindow(table.low_deg, table.high_deg, table.source, table.plane_deg)
            for test, table in sections.setup.items()
        },
        mobility_of_score=score.values if score else {},
        mobility_of_score_source=score.source if score else "",
        cautions=tuple(Caution(c.text, c.urgency, c.source) for c in sections.cautions),
        together=_together(sections),
    )


def _together(sections: Sections) -> Together:
    report, taught, pattern = sections.report, sections.taught_with, sections.capsular_pattern
    if report is None:
        return Together(limits=_limits(sections))
    return Together(
        joint=report.joint,
        limited=report.limited,
        modes=report.modes,
        taught_with={
            test: TaughtWith(table.motions, table.source) for test, table in taught.tests.items()
        }
        if taught
        else {},
        doubts=_doubts(taught.doubts) if taught else (),
        capsular_pattern=CapsularPattern(pattern.order, pattern.source, _doubts(pattern.doubts))
        if pattern
        else None,
        limits=_limits(sections),
    )


def _limits(sections: Sections) -> dict[str, Limit]:
    return {slot: Limit(**dict(table)) for slot, table in sections.limits.items()}


def _doubts(tables: tuple[DoubtTable, ...]) -> tuple[PublishedDoubt, ...]:
    return tuple(PublishedDoubt(table.text, table.source) for table in tables)


def _word_slot(table: WordTable) -> WordSlot:
    return WordSlot(
        table.values,
        table.phrases,
        table.bare,
        table.beside_row,
        table.phrases_beside_row,
        table.ordered,
    )


def _number_slot(slot: str, table: NumberTable) -> NumberSlot:
    return NumberSlot(
        table.low,
        table.high,
        table.phrases,
        table.also,
        table.phrases_beside_row,
        table.marks,
        Spans(table.spans.words, table.spans.steps) if table.spans else None,
        as_text=slot == "grade",
        measured=table.measured,
    )

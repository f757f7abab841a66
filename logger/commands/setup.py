"""`setup`: how the arm was held in a practice recording, for the student."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import click

from logger.commands.showing import progress_bar, wrapped
from logger.core.errors import RecordingError, UsageError
from logger.core.events import SIDES, ArmAngle, Side
from logger.core.holds import Fit, JudgedHold, Practice, Target
from logger.core.statements import SetupWindow
from logger.core.words import angle_text, clock, fits_text, letter, named, remarks, target_text
from logger.files.atomic import replace_folder
from logger.files.hold_table import write_holds
from logger.files.tables import angles_frame, write_csv
from logger.findings.holds import find_holds, find_unseen, judge, targets_of
from logger.findings.pieces import HoldRules
from logger.grammar.loading import load_pack
from logger.grammar.pack import Pack
from logger.reading import EyeChoice, watch_recording
from logger.recording.media import Recording, open_recording

FILES: Final = ("holds.csv", "arm_angle.csv", "setup.png", "setup.svg")
REMINDER: Final = (
    "This is feedback on the setup angle only, as the camera sees it. It says nothing about the "
    "technique and is no reason to test: the teacher and the licensed clinician decide that."
)
_HEAD: Final = (
    f"{'no':>2} {'arm':<5} {'from':>7} {'to':>7} {'angle':>7} {'spread':>6} {'there in':>8} "
    f"{'seen':>4}  fit"
)
_COLUMNS: Final = (
    "spread: of the middle 90 % of the angles; there in: from leaving the hold before to holding "
    "still; seen: how much of the time since the hold before the arm was seen. The angle is that "
    'of an arm straight out to the side; "at" gives it for an arm held forward, where a window '
    "asks for that"
)


@dataclass(frozen=True, slots=True)
class PracticeJob:
    """What to look for and where to put it."""

    windows: Mapping[str, SetupWindow]
    sides: tuple[Side, ...]
    out: Path
    pose_model: Path | None = None
    quiet: bool = False

    def run(self, path: Path) -> None:
        """Watch the recording, write holds.csv and the plots, and show the table."""
        recording = open_recording(path)
        if not recording.has_video:
            raise RecordingError(f"{path.name} has no picture: setup needs a video of the arm.")
        with progress_bar(path.name, self.quiet) as report:
            watched = watch_recording(recording, EyeChoice(self.pose_model), report)
        angles = [sample for sample in watched.angles if sample.side in self.sides]
        practice = self.practice(angles, recording.duration_s)
        folder = self.out / path.stem
        self._save(folder, path.name, practice, angles)
        trouble = _trouble(recording, practice, angles)
        if not self.quiet:
            _show(path.name, practice)
        for sentence in (*recording.warnings, *watched.warnings):
            click.echo(wrapped("warning: ", sentence))
        if trouble:
            click.echo(wrapped("", trouble))
        if not self.quiet:
            click.echo(f"files: {folder}\n\n{wrapped('', REMINDER)}")

    def practice(self, angles: Sequence[ArmAngle], duration_s: float) -> Practice:
        """Return the holds of the arms asked for, compared with the windows."""
        rules = HoldRules()
        targets = targets_of(self.windows)
        unseen = find_unseen(angles, duration_s, rules)
        return Practice(
            duration_s=duration_s,
            holds=judge(find_holds(angles, rules), targets, angles, rules),
            unseen=tuple(stretch for stretch in unseen if stretch.side in self.sides),
            targets=targets,
        )

    def _save(
        self, folder: Path, name: str, practice: Practice, angles: Sequence[ArmAngle]
    ) -> None:
        # matplotlib takes a second to import, which no other command should pay.
        from logger.files.angle_plot import PlotText, write_plots  # noqa: PLC0415

        def write(new: Path) -> None:
            write_holds(practice, new / "holds.csv")
            write_csv(angles_frame(angles), new / "arm_angle.csv")
            text = PlotText(f"Setup angle: {name}", summary(practice))
            write_plots(practice, angles, self.sides, text, new)

        replace_folder(folder, FILES, write)


@click.command("setup")
@click.argument("recording", type=click.Path(path_type=Path))
@click.option("--pack", "pack_name", default="glenohumeral", help="Pack name or TOML file.")
@click.option("--test", "tests", multiple=True, help="Compare with this test only; repeatable.")
@click.option("--side", type=click.Choice(SIDES), help="Look at this arm only.")
@click.option("--out", default="setup", type=click.Path(path_type=Path), help="Folder of results.")
@click.option("--pose-model", type=click.Path(path_type=Path), help="Another .task bundle.")
@click.option("--quiet", is_flag=True, help="No progress bar and no table.")
def setup_command(
    recording: Path,
    pack_name: str,
    tests: Sequence[str],
    side: Side | None,
    out: Path,
    pose_model: Path | None,
    quiet: bool,
) -> None:
    """Show how the arm was held in a practice video; no speech is needed.

    Each time an arm is put into position and held, you see its angle, whether that is in the
    window, how steady it was and how long it took to get there: as a table, as holds.csv and as
    a picture (setup.png, setup.svg) in DIR/NAME.

    Example: spoken-findings setup practice.mp4 --test inferior_glide --side right
    """
    windows = chosen_windows(load_pack(pack_name), tests)
    sides: tuple[Side, ...] = (side,) if side else ("right", "left")
    PracticeJob(windows, sides, out, pose_model, quiet).run(recording)


def chosen_windows(pack: Pack, tests: Sequence[str]) -> dict[str, SetupWindow]:
    """Return the windows of the tests named, of all tests where none is.

    Raises:
        UsageError: for a test that the pack has no window for.

    """
    wanted = [test.strip().lower().replace(" ", "_") for test in tests]
    for test in wanted:
        if test not in pack.setup:
            known = ", ".join(pack.setup) or "none"
            raise UsageError(
                f"The pack {pack.name} has no setup window for {test!r}: name one of {known}."
            )
    return {test: pack.setup[test] for test in wanted or pack.setup}


def summary(practice: Practice) -> str:
    """Return in one sentence how many holds there were and how they fit."""
    holds = practice.holds
    if not holds:
        return "No hold was found."
    counts = Counter(_best(judged) for judged in holds)
    told = [
        f"{counts[fit]} {words}"
        for fit, words in (
            (Fit.IN_RANGE, "in a window" if len(practice.targets) > 1 else "in the window"),
            (Fit.BORDERLINE, "borderline"),
            (Fit.OUT_OF_RANGE, "out"),
            (Fit.AT_REST, "at rest"),
        )
        if counts[fit]
    ]
    number = f"{len(holds)} hold{'s' if len(holds) > 1 else ''}"
    return f"{number}: {', '.join(told)}." if told else f"{number}."


def _best(judged: JudgedHold) -> Fit | None:
    order = (Fit.IN_RANGE, Fit.BORDERLINE, Fit.OUT_OF_RANGE, Fit.AT_REST)
    return min((c.fit for c in judged.comparisons), key=order.index, default=None)


def _trouble(recording: Recording, practice: Practice, angles: Sequence[ArmAngle]) -> str:
    """Return in a sentence why there is no hold; empty where there is one."""
    rules = HoldRules()
    if practice.holds:
        return ""
    if recording.duration_s < rules.least_s:
        return (
            f"The recording lasts {recording.duration_s:.1f} s; a hold lasts {rules.least_s:g} s "
            "or longer."
        )
    if recording.fps is None or 1 / recording.fps > rules.most_gap_s:
        return (
            f"The recording has {recording.fps or 0:.1f} pictures a second: too few to tell a "
            f"hold from a movement. Record {1 / rules.most_gap_s:g} a second or more."
        )
    if not any(sample.visible for sample in angles):
        reasons = Counter(sample.reason for sample in angles if sample.reason).most_common(1)
        why = f" ({reasons[0][0]})" if reasons else ""
        return f"The arm was not seen in any picture{why}: no angle can be given."
    return f"No arm was seen to keep still for {rules.least_s:g} s: there is no hold to show."


def _show(name: str, practice: Practice) -> None:
    click.echo(f"{name}: {summary(practice)}")
    for number, target in enumerate(practice.targets):
        click.echo(_target_line(number, target, several=len(practice.targets) > 1))
    if practice.holds:
        click.echo(f"\n{_HEAD}")
    for judged in practice.holds:
        click.echo("\n".join(_hold_lines(judged, practice.targets)))
    if practice.holds:
        click.echo(wrapped("", _COLUMNS))
    for stretch in practice.unseen:
        why = f" ({stretch.reason})" if stretch.reason else ""
        text = f"{clock(stretch.start_s)} to {clock(stretch.end_s)}{why}"
        click.echo(wrapped(f"not seen, {stretch.side} arm: ", text))


def _target_line(number: int, target: Target, *, several: bool) -> str:
    start = f"window {letter(number)}" if several else "window"
    return wrapped(f"{start}  {target_text(target)}  ", named(target.tests))


def _hold_lines(judged: JudgedHold, targets: tuple[Target, ...]) -> list[str]:
    hold = judged.hold
    there = "" if hold.got_there_s is None else f"{hold.got_there_s:.1f} s"
    start = (
        f"{judged.number:>2} {hold.side:<5} {clock(hold.start_s):>7} {clock(hold.end_s):>7} "
        f"{angle_text(hold):>7} {f'{hold.spread_deg:.1f}°':>6} {there:>8} "
        f"{f'{100 * hold.seen_share:.0f}%':>4}  "
    )
    fits = fits_text(judged, targets).split("; ")
    lines = [wrapped(start, fits[0]).rstrip()]
    lines += [wrapped(" " * len(start), fit) for fit in fits[1:]]
    told = () if _best(judged) is Fit.AT_REST else remarks(hold)
    return [*lines, *(wrapped(" " * len(start), remark) for remark in told)]

"""`bench hearing` and `bench hearing-curves`: findings heard, talk left out, what it costs."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import platformdirs

from logger.bench.hearing import report
from logger.bench.hearing.conditions import chosen
from logger.bench.hearing.document import as_markdown, by_hand
from logger.bench.hearing.measuring import Engine, Laboratory, measured
from logger.bench.hearing.peers import PEERS
from logger.bench.hearing.short import short_tracks
from logger.commands import showing
from logger.core.errors import OutputError, UsageError
from logger.grammar.loading import load_pack

if TYPE_CHECKING:
    from logger.bench.hearing.planning import Plan

_Command = Callable[..., None]


def _plan_options(command: _Command) -> _Command:
    """Add the options that say which tracks are made."""
    folder = click.Path(path_type=Path)
    for option in reversed(
        (
            click.option("--findings", default=60, show_default=True, help="Findings a track."),
            click.option("--tracks", default=1, show_default=True, help="Tracks a line."),
            click.option("--seed", default=12, show_default=True, help="Other sentences."),
            click.option(
                "--talk",
                "talk_folders",
                multiple=True,
                type=folder,
                help="Folder of recordings with nothing to log; may be repeated.",
            ),
            click.option(
                "--talk-minutes", default=60.0, show_default=True, help="Of talk by real people."
            ),
            click.option("--pack", "pack_name", default="glenohumeral", help="Pack name or file."),
            click.option("--cache", type=folder, help="Folder for what the voices said."),
            click.option("--kokoro", type=folder, help="Unpacked npm package kokoro-js."),
            click.option("--threads", default=2, show_default=True, help="Of the speech model."),
        )
    ):
        command = option(command)
    return command


def _plan(options: dict[str, Any]) -> Plan:
    """Find the voices and say which are missing."""
    try:
        from logger.bench.hearing import planning, voices  # noqa: PLC0415 - the group bench
    except ImportError as error:
        raise UsageError(
            f"{error.name} is not installed: run with --group bench, or use --short."
        ) from None
    cache = options["cache"] or Path(platformdirs.user_cache_dir("spoken-findings")) / "voices"
    found = voices.open_voices(cache, options["kokoro"])
    for missing in found.missing:
        click.echo(f"left out: {missing}", err=True)
    return planning.Plan(
        load_pack(options["pack_name"]),
        found,
        options["findings"],
        options["tracks"],
        options["seed"],
        options["talk_minutes"],
        tuple(options["talk_folders"]),
    )


@dataclass(frozen=True, slots=True)
class _Table:
    """Shows results as they come."""

    peers: bool
    verbose: bool

    def show(self, results: Iterable[report.Result]) -> list[report.Result]:
        """Print one line a result, and with peers a heading for each condition."""
        click.echo(f"{report.machine()}\n\n{report.HEADING}")
        shown: list[report.Result] = []
        for result in results:
            if self.peers and (not shown or shown[-1].heading != result.heading):
                click.echo(result.heading)
            click.echo(report.line(result, engine=self.peers))
            if self.verbose:
                score = result.outcome.score
                for text in (*(error.sentence() for error in score.errors), *score.traces):
                    click.echo(showing.wrapped("    ", text))
            shown.append(result)
        click.echo(f"\n{report.LEGEND}\n")
        for engine in dict.fromkeys(result.engine for result in shown):
            click.echo(report.cost([result for result in shown if result.engine == engine]))
        return shown


@click.command("hearing")
@click.option("--condition", "conditions", multiple=True, help="Only this one; may be repeated.")
@click.option("--main", is_flag=True, help="Only the main conditions.")
@click.option("--short", is_flag=True, help="Small committed tracks only: seconds, no voices.")
@click.option("--no-kept", is_flag=True, help="Leave out the voices that are kept aside.")
@click.option("--peers", is_flag=True, help="The peers on the same tracks, side by side.")
@click.option(
    "--engine", "engines", multiple=True, help="Only this one of the peers; may be repeated."
)
@click.option("--vosk-model", type=click.Path(path_type=Path), help="Folder of a Vosk model.")
@click.option("--export", type=click.Path(path_type=Path), help="Only write the tracks here.")
@click.option("--markdown", type=click.Path(path_type=Path), help="Write the table here too.")
@click.option("--json", "as_json", is_flag=True, help="End with one line of JSON.")
@click.option("--verbose", is_flag=True, help="List every error and what talk left.")
@_plan_options
def hearing_command(
    conditions: Sequence[str],
    main: bool,
    short: bool,
    no_kept: bool,
    peers: bool,
    engines: Sequence[str],
    vosk_model: Path | None,
    export: Path | None,
    markdown: Path | None,
    as_json: bool,
    verbose: bool,
    **options: Any,
) -> None:
    """Measure how well findings are heard, on tracks made on this machine.

    Needs the dependency group bench, and Debian's flite, espeak-ng and festival for more voices;
    what is missing is left out and named.

    Example: spoken-findings bench hearing --main --peers --markdown hearing.md
    """
    names = _names(engines, peers=peers, vosk_model=vosk_model)
    table = _Table(len(names) > 1, verbose)
    chosen_engines = [
        Engine(name, options["pack_name"], vosk_model, options["threads"]) for name in names
    ]
    if short:
        with Laboratory(chosen_engines) as laboratory:
            results = table.show(
                result
                for condition, track in short_tracks()
                for result in measured(condition, [track], laboratory)
            )
    else:
        plan = _plan(options)
        from logger.bench.hearing import session  # noqa: PLC0415 - the group bench

        request = session.Request(chosen(conditions, main=main), kept=not no_kept)
        if export:
            for path in session.export(plan, request, export):
                click.echo(str(path))
            return
        with Laboratory(chosen_engines) as laboratory:
            results = table.show(session.run(plan, request, laboratory))
    if markdown:
        kept = by_hand(markdown.read_text("utf-8")) if markdown.is_file() else ""
        _write(markdown, as_markdown(results, _said(), kept))
    if as_json:
        about = {key: options[key] for key in ("findings", "tracks", "seed", "pack_name")}
        click.echo(json.dumps(report.as_document(results, about)))


@click.command("hearing-curves")
@click.argument("picture", type=click.Path(path_type=Path))
@_plan_options
def hearing_curves_command(picture: Path, **options: Any) -> None:
    """Draw findings kept against talk let through as the threshold moves.

    PICTURE is an SVG or PNG file. Example: spoken-findings bench hearing-curves curves.svg
    """
    plan = _plan(options)
    from logger.bench.hearing import session  # noqa: PLC0415 - the group bench

    session.curves(plan, picture, options["threads"])
    click.echo(f"written: {picture}")


def _names(engines: Sequence[str], *, peers: bool, vosk_model: Path | None) -> Sequence[str]:
    """Return the engines to run.

    Raises:
        UsageError: for an unknown one, or Vosk without a model.

    """
    for name in engines:
        if name not in PEERS:
            raise UsageError(f"Unknown engine {name!r}: use some of {', '.join(PEERS)}.")
    if "vosk" in engines and vosk_model is None:
        raise UsageError("The engine vosk needs a model: give its folder with --vosk-model.")
    if engines:
        return engines
    return [name for name in PEERS if name != "vosk" or vosk_model] if peers else PEERS[:1]


def _said() -> str:
    """Return the command as it was given, with no folder of this machine in it."""
    words = list(sys.argv[1:])
    for option in ("--cache", "--kokoro"):
        if option in words:
            del words[words.index(option) : words.index(option) + 2]
    for at, word in enumerate(words[:-1]):
        if word in ("--talk", "--vosk-model", "--markdown"):
            words[at + 1] = Path(words[at + 1]).name
    return " ".join(["spoken-findings", *words])


def _write(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise OutputError(f"{path} cannot be written: {error.strerror}.") from error

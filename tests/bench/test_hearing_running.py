"""Running, peers, curves and the table; the model hears the small committed tracks."""

from __future__ import annotations

import importlib.util
import json
import random
import re
import subprocess
import sys
from dataclasses import replace
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from logger.bench.hearing import curves, peers, report, short
from logger.bench.hearing.conditions import CONDITIONS
from logger.bench.hearing.document import as_markdown, by_hand
from logger.bench.hearing.finding_scripts import finding_script
from logger.bench.hearing.jsgf import to_jsgf, words_of
from logger.bench.hearing.measuring import Engine, Laboratory, measured
from logger.bench.hearing.running import Outcome, Stored, peak_mb, run_track
from logger.bench.hearing.scoring import Score
from logger.bench.hearing.scripts import TimedLine, Truth, TruthRow
from logger.bench.hearing.talk_scripts import talk_lines
from logger.cli import main
from logger.core.errors import UsageError
from logger.core.events import Utterance, Verdict
from logger.core.sound import rounded
from logger.grammar.loading import load_pack
from logger.grammar.normalising import normalised
from logger.grammar.parsing import Parser
from logger.hearing.engines import HearingRules
from logger.hearing.stretches import Stretch

PACK = load_pack("glenohumeral")


class Told:
    """A recogniser that is told what to hear, in order."""

    name = "told"
    warnings: tuple[str, ...] = ()

    def __init__(self, *texts: str) -> None:
        """Take the texts; an empty one is talk."""
        self._texts = iter(texts)
        self._told: dict[float, str] = {}

    def hear(self, stretch: Stretch) -> Utterance:
        """Return the next text; the same again for a stretch that went on after a pause."""
        if stretch.start_s not in self._told:
            self._told[stretch.start_s] = next(self._texts, "")
        text = self._told[stretch.start_s]
        verdict = Verdict.HEARD if text else Verdict.TALK
        return Utterance(text, stretch.start_s, stretch.end_s, 1.0, verdict)


def tracks() -> dict[str, tuple[np.ndarray, Truth]]:
    return {c.name: (track.samples, track.truth) for c, track in short.short_tracks()}


def test_a_perfect_ear_on_the_committed_tracks_gets_everything() -> None:
    """The committed truth agrees with the words in it, heard through the real path."""
    samples, truth = tracks()["close_findings"]
    texts = [line.text if line.kind != "talk" else "" for line in truth.lines]
    outcome = run_track(rounded(samples), truth, Told(*texts), PACK)
    assert outcome.score.exact == outcome.score.rows == 3
    assert outcome.score.errors == ()
    said = sum(line.kind != "talk" for line in truth.lines)
    assert len(outcome.delays_s) == said
    # The silence that ends an utterance is 0.7 s; the work of nobody takes no time.
    assert 0.6 < outcome.delay_s(50, processor=True) < 1.1  # type: ignore[operator]
    assert outcome.processor_s > 0
    assert outcome.speed > 1
    assert max(outcome.score.time_errors_s) < 0.3


def test_a_wrong_side_on_the_committed_tracks_is_found() -> None:
    samples, truth = tracks()["noisy_findings"]
    text = truth.lines[0].text.replace("Right", "Left")
    outcome = run_track(rounded(samples), truth, Told(text), PACK)
    assert [error.slot for error in outcome.score.errors] == ["side"]
    assert outcome.rows[0].side == "left"


def test_the_committed_tracks_are_small() -> None:
    folder = Path(short.__file__).parent / "data" / "short"
    assert sum(path.stat().st_size for path in folder.iterdir()) < 1_000_000


def test_outcomes_add_up_and_nothing_heard_has_no_delay() -> None:
    one = Outcome(Score(seconds=60), (1.0,), (0.8,), 10.0, 12.0, 300.0)
    both = one + Outcome(Score(seconds=60), (3.0,), (1.0,), 5.0, 6.0, 200.0)
    assert both.speed == pytest.approx(120 / 15)
    assert both.delay_s(50) == pytest.approx(2.0)
    assert both.delay_s(50, processor=True) == pytest.approx(0.9)
    assert both.peak_mb == 300.0
    assert Outcome().delay_s(50) is None
    assert Outcome().speed == 0.0


@given(data=st.data(), length=st.integers(0, 40))
def test_stored_sound_is_read_as_an_array_is(data: st.DataObject, length: int) -> None:
    whole = np.arange(length, dtype=np.int16) - 20
    place = st.integers(0, length + 5)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "track.s16"
        whole.tofile(path)
        stored = Stored(path)
        assert len(stored) == length
        wanted = slice(data.draw(place), data.draw(place))
        assert stored[wanted].tolist() == whole[wanted].tolist()


def test_memory_is_that_of_the_process() -> None:
    before = peak_mb()
    block = np.ones(int(50e6 / 8))
    assert block.sum() > 0
    assert before > 50
    assert peak_mb() >= before


@pytest.mark.model
def test_the_short_form_runs_from_the_command_line(tmp_path: Path) -> None:
    table = tmp_path / "table.md"
    args = ["bench", "hearing", "--short", "--threads", "1", "--json", "--verbose"]
    result = CliRunner().invoke(main, [*args, "--markdown", str(table)], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    *lines, last = result.output.splitlines()
    assert max(len(line) for line in lines) <= 80
    document = json.loads(last)
    found = {entry["condition"]: entry for entry in document["results"]}
    assert set(found) == {"close_findings", "noisy_findings", "talk"}
    assert found["close_findings"]["exact"] == found["close_findings"]["rows"] == 3
    for entry in found.values():
        assert entry["silent_critical_errors"] == entry["false_findings"] == 0
        assert entry["amendments_from_talk"] == 0
        assert 100 < entry["peak_mb"] < 700
    assert found["close_findings"]["time_error_p95_s"] < 0.3
    assert table.read_text(encoding="utf-8").count("| close findings |") == 1


@pytest.mark.model
def test_free_moonshine_hears_talk_as_talk_and_wants_the_opening_word() -> None:
    samples, truth = tracks()["talk"]
    free = peers.open_peer("moonshine-free", PACK, threads=1)
    assert run_track(rounded(samples), truth, free, PACK).score.false_findings == 0
    samples, truth = tracks()["close_findings"]
    opened = peers.open_peer("moonshine-free", PACK, threads=1, opening="record")
    outcome = run_track(rounded(samples), truth, opened, PACK)
    assert (outcome.score.slots_heard, outcome.delays_s) == (0, ())


@pytest.mark.model
@pytest.mark.skipif(
    importlib.util.find_spec("pocketsphinx") is None, reason="needs the dependency group bench"
)
def test_pocketsphinx_takes_the_grammar_and_hears_with_it() -> None:
    samples, truth = tracks()["close_findings"]
    outcome = run_track(rounded(samples), truth, peers.open_peer("pocketsphinx", PACK), PACK)
    assert outcome.score.recall is not None
    assert outcome.score.recall > 0.5


def test_an_engine_that_takes_no_opening_word_is_left_out() -> None:
    condition = next(c for c in CONDITIONS if c.opening)
    with Laboratory([Engine("vosk")]) as laboratory:
        track = next(track for _, track in short.short_tracks())
        assert not list(measured(condition, [track], laboratory))


def as_pattern(jsgf: str) -> re.Pattern[str]:
    """Write a JSGF grammar as a regular expression, by another way than it was made."""
    rules = dict(
        re.findall(r"^(?:public )?<(\w+)> = (.*);$", jsgf.partition("\n")[2], re.MULTILINE)
    )
    pattern = rules["utterance"]
    while "<" in pattern:
        pattern = re.sub(r"<(\w+)>", lambda name: f"({rules[name[1]]})", pattern)
    pattern = re.sub(r"[a-z]+", lambda word: f"(?:{word[0]} )", pattern)
    pattern = pattern.replace("[", "(").replace("]", ")?")
    pattern = re.sub(r"(?<=[)|(?+]) (?=[(|])|(?<=\|) ", "", pattern.replace("(?: ", "(?:"))
    return re.compile(pattern.replace("( ", "("))


@pytest.mark.parametrize("opening", ["", "record"])
def test_the_exported_grammar_takes_what_can_be_said_and_no_talk(opening: str) -> None:
    pattern = as_pattern(to_jsgf(PACK, opening))
    script = finding_script(PACK, random.Random(2), 150, talk_lines(PACK, random.Random(3)))
    for line in script.lines:
        words = " ".join((*([opening] if opening else []), *normalised(line.text))) + " "
        expected = line.kind not in ("talk", "note")
        assert bool(pattern.fullmatch(words)) == expected, words


def test_the_exported_grammar_takes_every_number_of_degrees() -> None:
    pattern = as_pattern(to_jsgf(PACK))
    parser = Parser(PACK)
    for number in (0, 1, 15, 50, 99, 100, 101, 115, 150, 180):
        words = " ".join(normalised(f"flexion {number} degrees"))
        assert parser.parse(words) is not None
        assert pattern.fullmatch(f"{words} "), words
    for words in ("flexion one hundred ninety degrees ", "flexion hundred degrees "):
        assert not pattern.fullmatch(words)


def test_the_words_of_the_grammar() -> None:
    words = words_of(to_jsgf(PACK, "record"))
    assert {"record", "hypomobile", "scratch", "plus", "a", "p", "degrees"} <= words
    assert "note" not in words
    assert all(re.fullmatch(r"[a-z]+", word) for word in words)


def result(title: str = "far field", *, kept: bool = False, rows: int = 60) -> report.Result:
    score = Score(seconds=720.0, rows=rows, exact=min(rows, 51), slots_said=200, slots_heard=190)
    return report.Result("far", title, "ours", Outcome(score, (0.8,), (0.8,), 90.0), (), kept)


def test_lines_fit_80_columns_and_line_up() -> None:
    widest = 'far field, "record" first'
    lines = [report.line(result(widest, kept=kept)) for kept in (False, True)]
    assert {len(line) for line in [*lines, report.HEADING]} <= {len(report.HEADING)}
    assert len(report.HEADING) <= 80
    assert all(len(line) <= 80 for line in report.LEGEND.splitlines())
    assert all(len(line) <= 80 for line in report.cost([result()]).splitlines())
    assert "51/60" in lines[0]
    assert lines[1].startswith(f"{widest} "[:26])


def test_talk_has_rates_and_no_rows() -> None:
    score = Score(seconds=1800.0, false_findings=1, false_checks=2, amendments=3)
    line = report.line(report.Result("talk", "talk", "ours", Outcome(score)))
    assert line.split() == ["talk", "-", "-", "-", "-", "-", "2", "(4)", "6"]


def test_markdown_has_a_row_a_result_and_the_star_of_voices_kept_aside() -> None:
    text = as_markdown([result(), result(kept=True)], "spoken-findings bench hearing")
    assert "    spoken-findings bench hearing\n" in text
    assert "| far field * |" in text
    assert text.count("| 51/60 |") == 2
    rows = [line for line in text.splitlines() if line.startswith("|")]
    assert len({line.count("|") for line in rows}) == 1


def test_what_was_written_by_hand_outlives_a_new_table() -> None:
    old = as_markdown([result()], "x", "Measured apart, by hand: 3 rows.\n\nAnd more.")
    again = as_markdown([result(), result()], "y", by_hand(old))
    assert again.endswith("Measured apart, by hand: 3 rows.\n\nAnd more.\n")
    assert by_hand(as_markdown([result()], "x")) == ""


def test_our_engine_takes_the_opening_word_from_the_pack() -> None:
    opened = Parser(peers.with_opening(PACK, "record"))
    assert opened.parse("record left inferior glide") is not None
    assert opened.parse("left inferior glide") is None
    assert peers.PEERS[0] in peers.TAKE_OPENING


def test_several_engines_get_a_column() -> None:
    other = replace(result(), engine="pocketsphinx")
    text = as_markdown([result(), other], "x")
    assert "| far field | ours |" in text
    assert "| far field | pocketsphinx |" in text
    assert text.count("times as fast") == 2


def test_the_document_is_json_and_names_the_machine_only_by_its_kind() -> None:
    document = json.loads(json.dumps(report.as_document([result()], {"seed": 1})))
    assert document["seed"] == 1
    assert document["results"][0]["exact"] == 51
    assert "cores" in document["machine"]


def test_curves_rise_and_count_what_has_no_reading_as_lost() -> None:
    gaps = curves.Gaps("far", 1800.0, 4, (0.5, 1.0, 7.0), (2.0, 6.0))
    kept, through = curves.kept(gaps), curves.let_through(gaps)
    assert kept == sorted(kept)
    assert (kept[0], kept[-1]) == (0.0, 0.75)
    assert (through[0], through[-1]) == (0.0, 4.0)


def test_curves_are_drawn_the_same_each_time(tmp_path: Path) -> None:
    gaps = [curves.Gaps("far", 1800.0, 4, (0.5, 1.0), (2.0,))]
    for name in ("a.svg", "b.svg"):
        curves.draw(tmp_path / "c" / name, gaps, gaps, HearingRules())
    texts = [(tmp_path / "c" / name).read_text(encoding="utf-8") for name in ("a.svg", "b.svg")]
    assert texts[0] == texts[1]
    assert texts[0].startswith("<?xml")


@pytest.mark.parametrize(
    ("args", "message"),
    [
        (["--engine", "parrot"], "'parrot'"),
        (["--engine", "vosk"], "--vosk-model"),
    ],
)
def test_wrong_use_is_one_sentence(args: list[str], message: str) -> None:
    result = CliRunner().invoke(main, ["bench", "hearing", *args])
    assert result.exit_code == UsageError.exit_code
    assert message in result.output


def test_the_delay_counts_only_what_was_said() -> None:
    samples, truth = tracks()["talk"]
    outcome = run_track(rounded(samples), truth, Told("pain three", "pain two"), PACK)
    assert outcome.delays_s == ()
    assert outcome.score.amendments > 0
    lines = (TimedLine("x", "finding", 0.0, truth.duration_s),)
    rows = (TruthRow(0.0, truth.duration_s, {"pain": 3}),)
    said = run_track(
        rounded(samples), Truth(truth.duration_s, lines, rows), Told("pain three"), PACK
    )
    assert len(said.delays_s) == 1
    assert len(list(islice(said.delays_s, 2))) == 1


@pytest.mark.skipif(sys.platform != "linux", reason="the peak is told otherwise elsewhere")
def test_a_process_is_not_blamed_for_the_memory_of_the_one_that_started_it() -> None:
    held = bytearray(600 * 2**20)
    code = "from logger.bench.hearing.running import peak_mb; print(peak_mb())"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True)  # noqa: S603 - our own words
    assert len(held) > 0
    assert 20 < float(told.stdout) < 500

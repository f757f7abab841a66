"""The whole main job on the demonstration session, with the network shut off."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pandas as pd
import pytest
from click.testing import CliRunner
from pytest_socket import disable_socket, enable_socket

from logger.cli import main

SCHEMAS = Path(__file__).parent.parent / "logger" / "files" / "schemas"
DEMO = Path(__file__).parent.parent / "demo_media"


def expected_rows() -> list[dict[str, object]]:
    """Return what the script of the demonstration session says, as rows."""
    rows: list[dict[str, object]] = []
    for event in json.loads((DEMO / "session_said.json").read_text(encoding="utf-8")):
        expect = event["expect"] or {}
        if "test" in expect or "motion" in expect:
            angle = {"arm_elevation_deg": event["arm_elevation_deg"]} if "test" in expect else {}
            rows.append({**expect, **angle, "status": "logged", "start_s": event["start"]})
        elif expect.get("command") == "scratch_that":
            rows[-1]["status"] = "withdrawn"
        elif "command" not in expect and expect:
            rows[-1].update({k: v for k, v in expect.items() if k != "correction"})
    return rows


@pytest.fixture(scope="module")
def demo_table(tmp_path_factory: pytest.TempPathFactory) -> pd.DataFrame:
    """Read the demonstration session whole, sound and picture, with every socket blocked."""
    folder = tmp_path_factory.mktemp("demo")
    disable_socket()
    try:
        result = CliRunner().invoke(
            main, ["read", str(DEMO / "session.mp4"), "--out", str(folder), "--quiet"]
        )
    finally:
        enable_socket()
    assert result.exit_code == 0, result.output
    document = json.loads((folder / "session" / "session.json").read_text(encoding="utf-8"))
    schema = (SCHEMAS / "session.schema.json").read_text(encoding="utf-8")
    jsonschema.validate(document, json.loads(schema))
    return pd.read_parquet(folder / "session" / "findings.parquet")


@pytest.mark.model
def test_demo_session_gives_every_row_and_none_from_talk(demo_table: pd.DataFrame) -> None:
    """Every row of the script with every slot right, and no network needed."""
    expected = expected_rows()
    assert len(demo_table) == len(expected)
    for (_, row), want in zip(demo_table.iterrows(), expected, strict=True):
        for slot, value in want.items():
            if slot == "start_s":
                # The script counts the silence with which a voice begins, up to 0.4 s here.
                assert 0 <= row[slot] - float(str(value)) < 0.45
            elif slot not in ("status", "arm_elevation_deg"):
                assert row[slot] == value, (slot, row["said"])
        assert (row["status"] == "withdrawn") == (want["status"] == "withdrawn")


@pytest.mark.model
def test_demo_setup_angles_are_near_the_true_elevations_or_blank(
    demo_table: pd.DataFrame,
) -> None:
    """The true elevations are those that the body was rendered with."""
    angles = demo_table["arm_angle_deg"]
    assert angles.isna().sum() <= 2
    for angle, want in zip(angles, expected_rows(), strict=True):
        if not pd.isna(angle):
            assert abs(angle - float(str(want["arm_elevation_deg"]))) <= 8


def test_missing_recording_is_one_sentence_and_code_3(tmp_path: Path) -> None:
    """No traceback for a wrong name."""
    args = ["read", str(tmp_path / "no such.mp4"), "--out", str(tmp_path / "o")]
    result = CliRunner().invoke(main, args)
    assert result.exit_code == 3
    assert "No such file" in result.output
    assert not list(tmp_path.iterdir())

"""The whole main job on the demonstration session, with the network shut off."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pandas as pd
import pytest
from click.testing import CliRunner
from pytest_socket import disable_socket

from logger.cli import cli

SCHEMAS = Path(__file__).parent.parent / "logger" / "files" / "schemas"
DEMO = Path(__file__).parent.parent / "demo_media"


def expected_rows() -> list[dict[str, object]]:
    """Return what the script of the demonstration session says, as rows."""
    rows: list[dict[str, object]] = []
    for event in json.loads((DEMO / "session_said.json").read_text(encoding="utf-8")):
        expect = event["expect"] or {}
        if "test" in expect or "motion" in expect:
            rows.append({**expect, "status": "logged", "start_s": event["start"]})
        elif expect.get("command") == "scratch_that":
            rows[-1]["status"] = "withdrawn"
        elif "command" not in expect and expect:
            rows[-1].update({k: v for k, v in expect.items() if k != "correction"})
    return rows


@pytest.mark.model
def test_demo_session_gives_every_row_and_none_from_talk(tmp_path: Path) -> None:
    """Every row of the script with every slot right, and no network needed."""
    disable_socket()
    result = CliRunner().invoke(
        cli, ["read", str(DEMO / "session.mp4"), "--out", str(tmp_path), "--no-camera", "--quiet"]
    )
    assert result.exit_code == 0, result.output
    document = json.loads((tmp_path / "session" / "session.json").read_text(encoding="utf-8"))
    schema = (SCHEMAS / "session.schema.json").read_text(encoding="utf-8")
    jsonschema.validate(document, json.loads(schema))
    table = pd.read_parquet(tmp_path / "session" / "findings.parquet")
    expected = expected_rows()
    assert len(table) == len(expected)
    for (_, row), want in zip(table.iterrows(), expected, strict=True):
        for slot, value in want.items():
            if slot == "start_s":
                # The script counts the silence with which a voice begins, up to 0.4 s here.
                assert 0 <= row[slot] - float(str(value)) < 0.45
            elif slot != "status":
                assert row[slot] == value, (slot, row["said"])
        assert (row["status"] == "withdrawn") == (want["status"] == "withdrawn")


def test_missing_recording_is_one_sentence_and_code_3(tmp_path: Path) -> None:
    """No traceback for a wrong name."""
    args = ["read", str(tmp_path / "no such.mp4"), "--out", str(tmp_path / "o")]
    result = CliRunner().invoke(cli, args)
    assert result.exit_code == 3
    assert "No such file" in result.output
    assert not list(tmp_path.iterdir())

"""What `live` says where it cannot start."""

from __future__ import annotations

import os
import socket
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from logger.cli import main


def live(folder: Path, *more: str) -> Result:
    """Run the command until it fails."""
    places = ["--out", str(folder / "out"), "--journal", str(folder / "journal.db")]
    return CliRunner().invoke(main, ["live", "--no-browser", "--no-camera", *places, *more])


def test_a_port_in_use_is_named(tmp_path: Path) -> None:
    """With what to do."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        result = live(tmp_path, "--port", str(port))
    assert result.exit_code == 2
    assert f"Port {port} cannot be used" in result.output
    assert "--port" in result.output


def test_a_missing_pose_model_is_named(tmp_path: Path) -> None:
    """Before the page is served."""
    places = ["--out", str(tmp_path / "out"), "--journal", str(tmp_path / "j.db")]
    model = str(tmp_path / "no.task")
    result = CliRunner().invoke(main, ["live", "--no-browser", *places, "--pose-model", model])
    assert result.exit_code == 5
    assert "no.task" in result.output


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    """Before a session, not after it."""
    (tmp_path / "file").write_text("in the way")
    result = live(tmp_path, "--out", str(tmp_path / "file" / "out"))
    assert result.exit_code == 6
    assert "--out" in result.output


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="the owner of all may write")
def test_a_folder_without_permission_is_named(tmp_path: Path) -> None:
    """The same for one that is there."""
    (tmp_path / "out").mkdir(mode=0o500)
    assert live(tmp_path).exit_code == 6


def test_an_unknown_engine_is_named(tmp_path: Path) -> None:
    """Before the page is served."""
    result = live(tmp_path, "--engine", "parrot")
    assert result.exit_code == 2
    assert "parrot" in result.output


def test_the_help_has_an_example() -> None:
    """As every command's."""
    result = CliRunner().invoke(main, ["live", "--help"])
    assert "Example: spoken-findings live" in result.output

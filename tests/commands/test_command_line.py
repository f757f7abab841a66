"""The list of commands is quick to show, and says what each command says of itself."""

from __future__ import annotations

import click
import pytest
from click.testing import CliRunner
from fresh import loaded_by

from logger.cli import COMMANDS, main


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_is_found_and_begins_its_help_as_listed(name: str) -> None:
    command = main.get_command(click.Context(main), name)
    assert command is not None
    assert command.name == name
    assert command.help is not None
    assert command.help.split("\n\n")[0].replace("\n", " ") == COMMANDS[name][1]


def test_the_list_shows_every_command() -> None:
    shown = CliRunner().invoke(main, ["--help"]).output
    assert all(f"\n  {name} " in shown for name in COMMANDS)
    assert max(map(len, shown.splitlines())) <= 80


def test_what_is_no_command_is_wrong_use() -> None:
    outcome = CliRunner().invoke(main, ["raed"])
    assert outcome.exit_code == 2
    assert "No such command 'raed'" in outcome.output


def test_the_list_loads_nothing_heavy() -> None:
    """It took seven seconds when it did, and every process of the benchmark 200 MB more."""
    code = (
        "from click.testing import CliRunner; from logger.cli import main; "
        "CliRunner().invoke(main, ['--help'])"
    )
    assert loaded_by(code, {"pandas", "scipy", "spacy", "mediapipe", "onnxruntime"}) == set()

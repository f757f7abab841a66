"""The session sheet as it is written."""

from __future__ import annotations

from pathlib import Path

import pytest

from logger.core.errors import PackError
from logger.grammar.loading import load_pack
from logger.review.criteria import SHIPPED, BothSides, load_sheet

_PACK = load_pack("glenohumeral")


def _written(folder: Path, text: str) -> str:
    path = folder / "sheet.toml"
    path.write_text(text)
    return str(path)


def test_the_shipped_sheet_has_every_kind_once() -> None:
    plan = load_sheet(SHIPPED, _PACK)
    kinds = [criterion.kind for criterion in plan.criteria]
    assert len(kinds) == len(set(kinds)) == 8
    assert all(criterion.source for criterion in plan.criteria)


def test_an_educators_own_sheet(tmp_path: Path) -> None:
    path = _written(
        tmp_path,
        'title = "Ours"\n[[criteria]]\nkind = "both_sides"\ntext = "Both"\nsource = "ours"\n',
    )
    plan = load_sheet(path, _PACK)
    assert plan.title == "Ours"
    assert plan.criteria == (BothSides(kind="both_sides", text="Both", source="ours"),)


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("title = 3\ncriteria = []\n", 1, "should be text in quotes"),
        ('title = "x"\n', 1, r"criteria: should be written as \[\[criteria\]\] tables"),
        (
            'title = "x"\nextra = 1\n[[criteria]]\nkind = "judged"\ntext = "x"\nsource = "y"\n',
            2,
            "unknown key; known here are title, criteria",
        ),
        (
            'title = "x"\n[[criteria]]\nkind = "joy"\ntext = "x"\nsource = "y"\n',
            3,
            "should be one of screened_first, ",
        ),
        ('title = "x"\n[[criteria]]\ntext = "x"\nsource = "y"\n', 2, "should be one of"),
        ('title = "x"\n[[criteria]]\nkind = "judged"\ntext = ""\nsource = "y"\n', 4, "text"),
        (
            'title = "x"\n[[criteria]]\nkind = "judged"\ntext = "x"\nsource = "y"\nmost_s = 4\n',
            6,
            "unknown key; known here are text, source, kind",
        ),
        (
            (
                'title = "x"\n[[criteria]]\nkind = "time_a_test"\ntext = "x"'
                '\nsource = "y"\nmost_s = 0\n'
            ),
            6,
            "greater than 0",
        ),
        (
            (
                'title = "x"\n[[criteria]]\nkind = "each_direction"\ntext = "x"\nsource = "y"\n'
                'tests = ["inferior_glide", "sideways"]\n'
            ),
            6,
            "'sideways' is no test of the pack",
        ),
        (
            (
                'title = "x"\n[[criteria]]\nkind = "noted_before"\ntext = "x"\nsource = "y"\n'
                'words = ["elbow"]\ntest = "pull"\n'
            ),
            7,
            "'pull' is no test of the pack",
        ),
        (
            (
                'title = "x"\n[[criteria]]\nkind = "screened_first"\ntext = "x"\nsource = "y"\n'
                "modes = []\n"
            ),
            6,
            "give at least one entry",
        ),
        ("title = ", 1, "this is not TOML"),
    ],
)
def test_a_mistake_names_its_line(tmp_path: Path, text: str, line: int, said: str) -> None:
    path = _written(tmp_path, text)
    with pytest.raises(PackError, match=rf"sheet\.toml:{line}: .*{said}"):
        load_sheet(path, _PACK)


def test_a_sheet_that_is_missing(tmp_path: Path) -> None:
    with pytest.raises(PackError, match="is not a file"):
        load_sheet(str(tmp_path / "none.toml"), _PACK)

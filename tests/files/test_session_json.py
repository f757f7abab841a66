"""The session's document against its committed schema."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path

import jsonschema
import pytest

import logger.files
from logger.core.events import Finding, PositionCheck, SetupReading, SetupStatus, Utterance, Verdict
from logger.core.session import Bout, CautionAnswer, Edit, Judgement, SessionFacts
from logger.core.statements import Act, Heard, Statement
from logger.files.session_json import (
    PackFacts,
    RecordingFacts,
    SessionRecord,
    Talk,
    UnplacedWords,
    document,
    heard_and_talk,
    heard_words,
    session_schema,
)

SCHEMA = json.loads(
    (Path(logger.files.__file__).parent / "schemas" / "session.schema.json").read_text(
        encoding="utf-8"
    )
)
SURE = Utterance("right inferior glide", 1.234, 2.345, 0.98765, Verdict.HEARD)
UNSURE = Utterance("pain three", 3.0, 4.0, 0.5, Verdict.UNSURE)
WHEN = "2026-11-25T10:00:00+01:00"
TALK = Utterance("a secret of the patient", 5.0, 6.0, 0.1, Verdict.TALK)


def record() -> SessionRecord:
    """Return a session with something in every field."""
    heard, talk = heard_and_talk(
        [
            Heard(SURE, Statement(Act.FINDING)),
            Heard(UNSURE, Statement(Act.ATTRIBUTES)),
            Heard(TALK, None),
        ]
    )
    reading = SetupReading(SetupStatus.NOT_REQUIRED, 51.26, 0.04, 0.999)
    facts = RecordingFacts("a.mp4", 12.3456, True, True, 48_000, 640, 480, 29.97003, 90, None)
    return SessionRecord(
        tool_version="0.1.0",
        recording=facts,
        pack=PackFacts("glenohumeral", "1"),
        engine="moonshine",
        models=("tiny",),
        options={"camera": True, "close_nats": 2.0},
        findings=(Finding(1.234, 2.345, side="right", setup=reading, reasons=("a", "b")),),
        position_checks=(PositionCheck(0.5, "left", SetupReading(SetupStatus.NOT_SEEN)),),
        unplaced=(UnplacedWords(heard_words(UNSURE), "no row was open for it"),),
        heard=heard,
        talk=talk,
        warnings=("a.mp4 is cut off at 12.3 s.",),
        facts=SessionFacts("P1", "E1", WHEN, "left", (CautionAnswer("fracture", False),)),
        bouts=(Bout(1.234, None, "right", "inferior_glide", "2+", ("not ended",)),),
        edits=(Edit(1, "pain", None, 3, "E2", WHEN),),
        judgements=(Judgement(1, "grade", "2-", "E2", WHEN),),
    )


def check(instance: object) -> None:
    jsonschema.Draft202012Validator(SCHEMA).validate(instance)


def test_committed_schema_is_the_one_of_the_types() -> None:
    """After a change of the types, write it anew and raise `format`."""
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert session_schema() == SCHEMA


def test_document_follows_the_schema_and_survives_json() -> None:
    made = document(record())
    check(made)
    again = json.loads(json.dumps(made, allow_nan=False))
    check(again)
    assert again == made
    empty = dataclasses.replace(
        record(),
        findings=(),
        position_checks=(),
        unplaced=(),
        heard=(),
        talk=Talk(0, ()),
        warnings=(),
    )
    check(document(empty))


@pytest.mark.parametrize(
    ("key", "value"), [("format", 1), ("findings", None), ("talk", []), ("words", "extra")]
)
def test_schema_refuses_what_is_no_session(key: str, value: object) -> None:
    with pytest.raises(jsonschema.ValidationError):
        check({**document(record()), key: value})


def test_schema_refuses_a_missing_key_and_an_unknown_status() -> None:
    made = document(record())
    for key in made:
        with pytest.raises(jsonschema.ValidationError):
            check({k: v for k, v in made.items() if k != key})
    finding = json.loads(json.dumps(made["findings"]))[0]
    with pytest.raises(jsonschema.ValidationError):
        check({**made, "findings": [{**finding, "status": "perhaps"}]})


def test_talk_leaves_its_times_and_none_of_its_words() -> None:
    made = document(record())
    assert made["talk"] == {"count": 1, "spans": [{"start_s": 5.0, "end_s": 6.0}]}
    assert "secret" not in json.dumps(made)
    with pytest.raises(ValueError, match="only by its times"):
        heard_words(TALK)
    _, talk = heard_and_talk([Heard(TALK, Statement(Act.FINDING)), Heard(SURE, None)])
    assert talk.count == 2


def test_numbers_are_rounded_as_in_the_tables() -> None:
    made = json.loads(json.dumps(document(record())))
    assert made["heard"][0] == {
        "start_s": 1.23,
        "end_s": 2.35,
        "text": "right inferior glide",
        "confidence": 0.988,
        "unsure": False,
    }
    assert made["findings"][0]["setup"]["angle_deg"] == 51.3
    assert made["recording"]["fps"] == 29.97


def test_name_that_is_no_utf_8_and_what_is_no_number_are_written_all_the_same() -> None:
    facts = dataclasses.replace(record().recording, name="\udcff.mp4", fps=math.inf)
    made = document(dataclasses.replace(record(), recording=facts))
    check(made)
    json.dumps(made, ensure_ascii=False, allow_nan=False).encode("utf-8")

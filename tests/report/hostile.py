"""A session in which every free text is ill meant or of another script."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from invented import facts, record, row

from logger.core.events import Utterance, Verdict
from logger.core.session import Bout, CautionAnswer, Edit, Judgement
from logger.files.session_json import SessionRecord, UnplacedWords, heard_words

SCRIPT: Final = '</script></style><script>alert("x")</script><img src=x onerror=alert(1)>'
MARKUP: Final = "#let x = 1; $a^2$ *b* _c_ \\ ] \" ' & [link](http://example.invalid/)"
HEBREW: Final = "כאב חד בסוף הטווח, 3 מתוך 10"
ARABIC: Final = "ألم حاد"
OVERRIDE: Final = "a\u202eb\u2066c\0d\ud800e\x07"
FORMULA: Final = '=HYPERLINK("http://example.invalid/")'


def hostile_session() -> SessionRecord:
    """Return it."""
    notes = (SCRIPT, MARKUP, HEBREW, ARABIC, OVERRIDE, FORMULA)
    names = ("inferior_glide", "posterior_glide", "anterior_glide")
    rows = [
        row(10.0 * i, "right" if i % 2 else "left", names[i % 3], note=note,
            reasons=(SCRIPT,) if i == 0 else (), cautions=(SCRIPT,) if i == 1 else ())
        for i, note in enumerate(notes)
    ]  # fmt: skip
    heard = heard_words(Utterance(SCRIPT, 1.0, 2.0, 0.5, Verdict.UNSURE))
    session = record(
        rows,
        facts=facts(patient_code=SCRIPT, examiner_code=HEBREW, started_at=SCRIPT,
                    cautions=(CautionAnswer(SCRIPT, present=True, reason=SCRIPT),)),
        warnings=(SCRIPT,),
        models=(SCRIPT,),
        unplaced=(UnplacedWords(heard, SCRIPT),),
        bouts=(Bout(55.0, 58.0, "left", SCRIPT, SCRIPT, (SCRIPT,)),),
        edits=(Edit(1, "pain", SCRIPT, 4, SCRIPT, SCRIPT),),
        judgements=(Judgement(1, "pain", 4, SCRIPT, SCRIPT),),
    )  # fmt: skip
    return replace(session, recording=replace(session.recording, name=f"{HEBREW} {SCRIPT}.mp4"))

"""Vosk's own recogniser, held to the words of the pack."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from logger.core.errors import ModelError
from logger.core.events import Utterance, Verdict
from logger.core.sound import SAMPLE_RATE_HZ, rounded
from logger.grammar.pack import Pack
from logger.grammar.phrases import command_phrases, linking_words, spoken_phrases
from logger.hearing.stretches import Stretch

_SURE: Final = 0.7
"""The least sure word's confidence from which an utterance counts as heard; from memory of how
Vosk spreads its values, not measured: no English model was at hand."""
_OTHER: Final = "[unk]"
"""What English Vosk models call a word outside the grammar."""


@dataclass(frozen=True, slots=True)
class VoskWords:
    """What may be recognised."""

    phrases: tuple[str, ...]
    """Lower-case words parted by single spaces."""
    notes: tuple[str, ...] = ()
    """Phrases after which the words are free."""

    @classmethod
    def of_pack(cls, pack: Pack) -> VoskWords:
        """Return every phrase of the pack."""
        commands = command_phrases(pack)
        texts = {phrase.text for phrase in spoken_phrases(pack)}
        texts |= {phrase.text for phrase in commands}
        texts |= {linking.text for linking in linking_words(pack)}
        texts |= {*pack.utterance.opening_word}
        openings = [f"{word} " for word in pack.utterance.opening_word] or [""]
        notes = (p.text for p in commands if p.takes_words)
        return cls(
            tuple(sorted(texts)), tuple(first + note for note in notes for first in openings)
        )


class VoskRecogniser:
    """One Vosk model and one grammar."""

    name = "vosk"

    def __init__(self, words: VoskWords, folder: Path | None) -> None:
        """Load the model in `folder`; where None, Vosk's own English one, fetched if need be.

        Raises:
            ModelError: if there is no such model, or it knows none of the words.

        """
        import vosk  # noqa: PLC0415 - loads a native library that the default engine never needs

        vosk.SetLogLevel(-1)
        kind = _freed_once(vosk.Model)
        model = _own_model(kind) if folder is None else _model_in(folder, kind)
        self._make: Callable[..., Any] = lambda *grammar: vosk.KaldiRecognizer(
            model, SAMPLE_RATE_HZ, *grammar
        )
        self._notes = words.notes
        unknown = _unknown(model, words.phrases)
        known = [p for p in words.phrases if not unknown.intersection(p.split())]
        if not known:
            raise ModelError(
                f"The Vosk model{_at(folder)} knows none of the pack's words; give a model of the "
                "pack's language with --speech-model."
            )
        self._tells_talk = bool(model.vosk_model_find_word(_OTHER) >= 0)
        other = [_OTHER] if self._tells_talk else []
        self._grammar = json.dumps([*known, *other], ensure_ascii=False)
        self.warnings = tuple(_warnings(sorted(unknown), self._tells_talk))

    def hear(self, stretch: Stretch) -> Utterance:
        """Decode the stretch with the grammar; the confidence is the least sure word's."""
        words = self._decode(stretch, self._grammar)
        text = " ".join(word for word, _ in words)
        sure = min((conf for _, conf in words), default=0.0)
        if note := next((n for n in self._notes if f"{text} ".startswith(f"{n} ")), ""):
            free = " ".join(word for word, _ in self._decode(stretch))
            text = f"{note} {free.removeprefix(note).strip()}"
            # A note whose free reading begins otherwise may be no note at all.
            return self._heard(stretch, text, sure if free.startswith(note) else 0.0)
        if not words or _OTHER in text:
            return Utterance(text, stretch.start_s, stretch.end_s, 0.0, Verdict.TALK)
        return self._heard(stretch, text, sure)

    def _heard(self, stretch: Stretch, text: str, sure: float) -> Utterance:
        counts = self._tells_talk and sure >= _SURE
        verdict = Verdict.HEARD if counts else Verdict.UNSURE
        return Utterance(text, stretch.start_s, stretch.end_s, sure, verdict)

    def _decode(self, stretch: Stretch, *grammar: str) -> list[tuple[str, float]]:
        recogniser = self._make(*grammar)
        recogniser.SetWords(True)
        recogniser.AcceptWaveform(rounded(np.nan_to_num(stretch.samples)).tobytes())
        result = json.loads(recogniser.FinalResult())
        # Kaldi's rounding gives confidences such as 1.0000001.
        return [(w["word"], min(float(w["conf"]), 1.0)) for w in result.get("result", [])]


def _freed_once(model: Any) -> Any:
    """Return Vosk's model class without its complaint on freeing a model that was never made."""

    def free(self: Any) -> None:
        if getattr(self, "_handle", None):
            model.__del__(self)

    return type("KeptModel", (model,), {"__del__": free})


def _model_in(folder: Path, make: Callable[..., Any]) -> Any:
    for part in ("am/final.mdl", "conf/model.conf"):
        if not (folder / part).is_file():
            raise ModelError(
                f"{folder} is not a Vosk model folder: {part} not found. "
                "Give an unpacked English Vosk model with --speech-model."
            )
    # A model with one fixed graph ignores a grammar without a word and would hear talk as talk.
    if not all((folder / "graph" / part).is_file() for part in ("HCLr.fst", "Gr.fst")):
        raise ModelError(
            f"The Vosk model in {folder} cannot be held to a grammar (graph/HCLr.fst or Gr.fst "
            "not found); take one of the small models."
        )
    try:
        return make(model_path=str(folder))
    except Exception as error:  # vosk raises the bare class
        raise ModelError(
            f"The Vosk model in {folder} cannot be loaded; unpack it again. ({error})"
        ) from error


def _own_model(make: Callable[..., Any]) -> Any:
    """Return the small English model that Vosk keeps, fetched by Vosk where there is none."""
    try:
        return make(lang="en-us")
    except (Exception, SystemExit) as error:  # vosk leaves the process where it finds no model
        raise ModelError(
            "No English Vosk model is kept on this machine and none could be fetched; give the "
            "folder of one with --speech-model, or connect to a network once."
        ) from error


def _unknown(model: Any, phrases: Iterable[str]) -> set[str]:
    words = {word for phrase in phrases for word in phrase.split()}
    return {word for word in words if model.vosk_model_find_word(word) < 0}


def _warnings(unknown: Sequence[str], tells_talk: bool) -> list[str]:
    found = []
    if unknown:
        found.append(
            f"The Vosk model does not know {len(unknown)} words of the pack, which it cannot "
            f"hear: {', '.join(unknown)}."
        )
    if not tells_talk:
        found.append(
            "The Vosk model has no word for what is outside the grammar: talk can look like "
            "findings, so every row is marked for a check."
        )
    return found


def _at(folder: Path | None) -> str:
    return "" if folder is None else f" in {folder}"

"""What else a builder would reach for, behind the same protocol as our own engines.

PocketSphinx holds the same grammar as JSGF. Moonshine writes freely and the pack's own parser
reads what it wrote. Vosk, with the pack's words and a model folder, is one of the tool's engines.
"""

from __future__ import annotations

import importlib
import math
import tempfile
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from logger.bench.hearing.jsgf import to_jsgf, words_of
from logger.core.errors import ModelError
from logger.core.events import Utterance, Verdict
from logger.core.sound import SAMPLE_RATE_HZ, rounded
from logger.grammar.normalising import normalised
from logger.grammar.pack import Pack
from logger.grammar.parsing import Parser
from logger.hearing.engines import Recogniser, open_recogniser
from logger.hearing.moonshine import MoonshineModel, packaged_model_folder
from logger.hearing.search import read_freely
from logger.hearing.stretches import Stretch

PEERS: Final = ("ours", "pocketsphinx", "moonshine-free", "vosk")
"""Our own engine first, then what else there is."""
TAKE_OPENING: Final = frozenset({"ours", "pocketsphinx", "moonshine-free"})
"""Those that can be told a word with which everything to be heard begins."""
_TOKENS_A_SECOND: Final = 8.0


def open_peer(
    name: str,
    pack: Pack,
    *,
    vosk_model: Path | None = None,
    threads: int = 2,
    opening: str = "",
) -> Recogniser:
    """Return a recogniser by its name in `PEERS`.

    Args:
        name: which.
        pack: what can be said.
        vosk_model: the folder of a model, for Vosk.
        threads: of the Moonshine model.
        opening: only what begins with this word is heard; for those of `TAKE_OPENING`. Our own
            engine takes it from the pack (`with_opening`).

    Raises:
        ModelError: if what it needs is not installed.

    """
    if name == "pocketsphinx":
        return PocketSphinxRecogniser(pack, opening)
    if name == "moonshine-free":
        return FreeMoonshineRecogniser(pack, opening, threads)
    if name == "vosk":
        return open_recogniser("vosk", pack, vosk_model)
    return open_recogniser("moonshine", pack, threads=threads)


def with_opening(pack: Pack, word: str) -> Pack:
    """Return the pack as it is, but for hearing only what begins with `word`."""
    return replace(pack, utterance=replace(pack.utterance, opening_word=(word,)))


class PocketSphinxRecogniser:
    """PocketSphinx with its own English model, held to the pack's grammar."""

    name = "pocketsphinx"
    warnings: tuple[str, ...] = ()

    def __init__(self, pack: Pack, opening: str = "") -> None:
        """Load the model of the wheel and the grammar, with a word before everything in it.

        Raises:
            ModelError: if the wheel is not installed.

        """
        try:
            pocketsphinx: Any = importlib.import_module("pocketsphinx")
        except ImportError:
            raise ModelError(
                "The package pocketsphinx is not installed: install the group bench."
            ) from None
        grammar = to_jsgf(pack, opening)
        self._opening = opening
        model = Path(pocketsphinx.get_model_path("en-us"))
        known = _dictionary(model / "cmudict-en-us.dict", words_of(grammar))
        with tempfile.TemporaryDirectory() as folder:
            (Path(folder) / "pack.dict").write_text("\n".join(known) + "\n", encoding="utf-8")
            (Path(folder) / "pack.gram").write_text(grammar, encoding="utf-8")
            self._decoder = pocketsphinx.Decoder(
                hmm=str(model / "en-us"),
                dict=str(Path(folder) / "pack.dict"),
                jsgf=str(Path(folder) / "pack.gram"),
                lm=None,
                loglevel="FATAL",
            )

    def hear(self, stretch: Stretch) -> Utterance:
        """Decode the stretch; no path through the grammar means talk."""
        sound = rounded(stretch.samples).tobytes()
        self._decoder.start_utt()
        self._decoder.process_raw(sound, no_search=False, full_utt=True)
        self._decoder.end_utt()
        best = self._decoder.hyp()
        text = best.hypstr if best is not None else ""
        text = text.removeprefix(f"{self._opening} ") if self._opening else text
        verdict = Verdict.HEARD if text else Verdict.TALK
        return Utterance(text, stretch.start_s, stretch.end_s, 1.0 if text else 0.0, verdict)


def _dictionary(path: Path, words: frozenset[str]) -> list[str]:
    """Return the pronunciations of `words`, with our own for what the dictionary lacks."""
    ours = (files("logger.bench.hearing") / "data" / "pronunciations.txt").read_text("utf-8")
    lines = [*path.read_text(encoding="utf-8").splitlines(), *ours.splitlines()]
    known = [line for line in lines if line.partition(" ")[0].partition("(")[0] in words]
    found = {line.partition(" ")[0].partition("(")[0] for line in known}
    if lacking := words - found:
        raise ModelError(
            f"No pronunciation of {', '.join(sorted(lacking))}: add them to pronunciations.txt."
        )
    return list(dict.fromkeys(known))


class FreeMoonshineRecogniser:
    """Moonshine's own words, read by the pack's parser: what does not parse is talk."""

    name = "moonshine-free"
    warnings: tuple[str, ...] = ()

    def __init__(self, pack: Pack, opening: str = "", threads: int = 2) -> None:
        """Load the model; with `opening`, only what begins with that word is heard."""
        self._model = MoonshineModel(packaged_model_folder(), threads)
        self._parser = Parser(pack)
        self._opening = opening

    def hear(self, stretch: Stretch) -> Utterance:
        """Write freely and parse."""
        most = int(len(stretch.samples) / SAMPLE_RATE_HZ * _TOKENS_A_SECOND) + 8
        free = read_freely(self._model.encode(stretch.samples), most)
        text = self._model.text(free.token_ids)
        words = " ".join(normalised(text))
        opened = not self._opening or words.startswith(f"{self._opening} ")
        if self._opening and opened:
            words = words.removeprefix(f"{self._opening} ")
        stated = self._parser.parse(words) is not None if opened else False
        verdict = Verdict.HEARD if stated else Verdict.TALK
        sure = math.exp(free.log_probability / max(1, len(free.token_ids)))
        return Utterance(words, stretch.start_s, stretch.end_s, sure, verdict)

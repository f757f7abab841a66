"""The conditions of the benchmark: who speaks, how, in what room, over what noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from logger.core.errors import UsageError

NoiseKind = Literal["", "pink", "babble", "fan"]
Content = Literal["findings", "natural", "talk", "noises", "human"]


@dataclass(frozen=True, slots=True)
class Condition:
    """One line of the table."""

    name: str
    title: str
    """At most 26 letters, for the table."""
    content: Content = "findings"
    voices: Literal["natural", "diphone", "all"] = "natural"
    noise: NoiseKind = ""
    snr_db: float = 0.0
    """Of the speech while somebody speaks, over the noise."""
    far: bool = False
    """1.5 m from the microphone in a room with an RT60 of 0.5 s."""
    tempo: tuple[float, float] = (1.0, 1.0)
    """Drawn anew for each line."""
    semitones: float = 0.0
    """Pitch shift up to this either way, drawn anew for each line."""
    level_db: float = -23.0
    """Power of the speech while somebody speaks, against full scale."""
    gain_db: float = 0.0
    """Put on at the end; what is over full scale is clipped."""
    opening: str = ""
    """A word said before everything that is not talk; empty for none."""
    main: bool = False
    """One of the main ones: measured in the voices kept aside too, and by the peers."""


def _noisy() -> list[Condition]:
    return [
        Condition(
            f"{kind}_{snr}",
            f"close, {kind} {snr} dB",
            noise=kind,
            snr_db=snr,
            main=(kind, snr) in (("pink", 10), ("pink", 5)),
        )
        for kind in ("pink", "babble")
        for snr in (20, 10, 5, 0)
    ]


def _rooms() -> list[Condition]:
    return [
        Condition(f"room_{snr}", f"room 1.5 m, pink {snr} dB", noise="pink", snr_db=snr, far=True)
        for snr in (20, 10, 5, 0)
    ]


CONDITIONS: Final = (
    Condition("close", "close, clean", main=True),
    *_noisy(),
    Condition(
        "far",
        "far field",
        noise="fan",
        snr_db=15,
        far=True,
        tempo=(0.85, 1.3),
        semitones=2.5,
        main=True,
    ),
    *_rooms(),
    Condition("slow", "close, slow", tempo=(0.75, 0.75)),
    Condition("fast", "close, fast", tempo=(1.4, 1.4)),
    Condition("loud", "close, loud", level_db=-12.0),
    Condition("quiet", "close, quiet", level_db=-50.0),
    Condition("clipped", "close, clipped", gain_db=24.0),
    Condition("diphone", "robotic voice, clean", voices="diphone", main=True),
    Condition(
        "diphone_10",
        "robotic voice, pink 10 dB",
        voices="diphone",
        noise="pink",
        snr_db=10,
        main=True,
    ),
    Condition("natural", "running speech, clean", content="natural", main=True),
    Condition("talk", "talk, synthetic voices", content="talk", voices="all", main=True),
    Condition(
        "talk_far",
        "talk, synthetic, far",
        content="talk",
        voices="all",
        noise="fan",
        snr_db=15,
        far=True,
        tempo=(0.85, 1.3),
        semitones=2.5,
    ),
    Condition("close_record", 'close, "record" first', opening="record"),
    Condition(
        "far_record",
        'far field, "record" first',
        noise="fan",
        snr_db=15,
        far=True,
        tempo=(0.85, 1.3),
        semitones=2.5,
        opening="record",
    ),
    Condition("noises", "noises, nobody speaks", content="noises"),
    Condition("human", "talk, real people", content="human", main=True),
)


def chosen(names: Sequence[str], *, main: bool) -> tuple[Condition, ...]:
    """Return the conditions of these names, or the main ones, or all.

    Raises:
        UsageError: for an unknown name.

    """
    known = {condition.name: condition for condition in CONDITIONS}
    for name in names:
        if name not in known:
            raise UsageError(f"Unknown condition {name!r}: use some of {', '.join(known)}.")
    if names:
        return tuple(known[name] for name in names)
    return tuple(condition for condition in CONDITIONS if condition.main or not main)

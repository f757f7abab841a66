"""How loud the sound is: for the detector of speech, and to tell who is near from who is not."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class LevelRules:
    """What loudness to bring the sound to. Levels are peaks, of full scale."""

    target: float = 0.5
    lowest: float = 0.01
    """What is fainter counts as this loud: a silent room is not turned up without end."""
    half_life_s: float = 10.0
    """How fast a loud moment is forgotten: not between two utterances."""


class Leveller:
    """Scales sound, chunk by chunk, by the loudest that was lately heard."""

    def __init__(self, sample_rate_hz: int, rules: LevelRules | None = None) -> None:
        """Start as after a long silence."""
        self._rules = rules or LevelRules()
        self._rate = sample_rate_hz
        self._level = self._rules.lowest

    def level(self, chunk: FloatArray) -> FloatArray:
        """Return `chunk`, shape (n,), brought to the target level and clipped to [-1, 1]."""
        fade = 0.5 ** (len(chunk) / self._rate / self._rules.half_life_s)
        loudest = float(np.abs(chunk).max(initial=0.0))
        self._level = max(loudest, self._level * fade, self._rules.lowest)
        scaled: FloatArray = np.clip(chunk * (self._rules.target / self._level), -1, 1)
        return scaled


@dataclass(frozen=True, slots=True)
class ForegroundRules:
    """What tells the speaker from people who talk on in the room.

    Measured on 65 tracks: decision notes 37, 50 and 61.
    """

    smoothing_s: float = 0.15
    fall_db: float = 11.0
    crowded_fall_db: float = 6.0
    """The same where others are known to talk: since a speaker ended among them, or because
    speech has gone on for `crowded_after_s`, longer than nearly all that is said in one breath."""
    crowded_after_s: float = 9.0
    fall_s: float = 1.0
    """The speaker has ended who has been so much fainter than at the loudest, and near the level of
    the room, while speech was heard for so long. With 0.7 s and 13 dB faint last words were cut
    off."""
    rise_db: float = 3.0
    """Who speaks up again is at least so much louder than the talk in the room."""
    background_s: float = 2.0
    """The time over which the loudness of that talk is told."""
    fade_db_a_s: float = 0.5
    """The speaker may come back fainter by so much for each second."""
    early_s: float = 0.15
    """What is noticed to begin began so much earlier."""
    near_room_db: float = 9.0
    """What is louder than the room by more is the speaker, however much fainter than before: with
    20 dB between them the last words of a sentence were cut off as others' talk."""
    far_db: float = 20.0
    """What is so much fainter than the speaker at the loudest is nobody near, whatever the detector
    of speech hears: in babble at 20 dB some ends were found 4.7 s late."""
    room_s: float = 12.0
    """The room is as loud as the faintest moment of so long: a speaker draws breath in it."""
    moment_s: float = 0.3
    drowned_db: float = 9.0
    """Who is not louder than the room by so much, where others talk, is hardly heard: 125 things
    said in babble at 5 dB are 5 to 10 dB louder, nearly all under 9; 63 at 10 dB 8 to 12."""


class _Room:
    """How loud it is when nobody near speaks."""

    def __init__(self, sample_rate_hz: int, rules: ForegroundRules) -> None:
        self._rules = rules
        self._rate = sample_rate_hz
        self._power = 0.0
        self._heard = 0
        self._faintest: deque[tuple[int, float]] = deque()
        """Moments, each with all that came after it louder: when in samples, and its level."""

    def take(self, samples: int, power: float) -> None:
        """Take the power of the next so many samples."""
        rules = self._rules
        self._power += _share(samples, self._rate, rules.moment_s) * (power - self._power)
        self._heard += samples
        if self._heard < 2 * rules.moment_s * self._rate:
            return
        level_db = _db(self._power)
        while self._faintest and self._faintest[-1][1] >= level_db:
            self._faintest.pop()
        self._faintest.append((self._heard, level_db))
        while self._faintest[0][0] < self._heard - rules.room_s * self._rate:
            self._faintest.popleft()

    def is_near(self) -> bool:
        """Whether it is now hardly louder than the room."""
        return self.louder_by_db(self._power) < self._rules.near_room_db

    def louder_by_db(self, power: float) -> float:
        """Return how much louder than the room this power is; 0 where the room is not known yet."""
        return _db(power) - self._faintest[0][1] if self._faintest else 0.0


class Foreground:
    """Follows, chunk by chunk, whether the nearest speaker speaks where speech never ends.

    The detector of speech hears any voice. With several in the background it hears no end.
    """

    def __init__(self, sample_rate_hz: int, rules: ForegroundRules | None = None) -> None:
        """Start with nobody speaking."""
        self._rules = rules or ForegroundRules()
        self._rate = sample_rate_hz
        self._room = _Room(sample_rate_hz, self._rules)
        self._power = 0.0
        self._background_power = 0.0
        self._loudest_db = -math.inf
        self._since_begun = self._since_loud = self._faint_speech = 0
        self._crowded = False
        self.in_front = True
        """Whether the speech is the nearest speaker's, as far as that is known."""

    def begin(self) -> None:
        """Speech begins: the speaker's, unless talk in the room has been going on."""
        if self.in_front:
            self._loudest_db = -math.inf
            self._since_begun = self._since_loud = self._faint_speech = 0

    def end(self) -> None:
        """Nobody speaks any more, in the room neither."""
        self.in_front, self._crowded = True, False

    def take(self, chunk: FloatArray, *, speech: bool) -> None:
        """Take the next samples, shape (n,), and whether anybody speaks in them."""
        rules, samples = self._rules, len(chunk)
        power = _power(chunk)
        self._power += _share(samples, self._rate, rules.smoothing_s) * (power - self._power)
        self._room.take(samples, power)
        if self.in_front:
            self._since_begun += samples
            self._loudest_db = max(self._loudest_db, _db(self._power))
            faint = self._is_faint()
            self._since_loud = self._since_loud + samples if faint else 0
            # A speaker's own pause is silent: only what others say tells that the speaker ended.
            self._faint_speech = self._faint_speech + speech * samples if faint else 0
        else:
            self._loudest_db -= rules.fade_db_a_s * samples / self._rate
            share = _share(samples, self._rate, rules.background_s)
            self._background_power += share * (power - self._background_power)

    def turned(self) -> int | None:
        """Return how many samples ago the speaker ended or spoke up again; None if neither."""
        rules = self._rules
        if self.in_front:
            if self._faint_speech < rules.fall_s * self._rate:
                return None
            self.in_front, self._crowded, self._background_power = False, True, self._power
            return self._since_loud
        near_db = self._loudest_db - rules.crowded_fall_db
        if _db(self._power) < max(near_db, _db(self._background_power) + rules.rise_db):
            return None
        self.in_front = True
        self.begin()
        return round(rules.early_s * self._rate)

    def drowns(self, speech: FloatArray) -> bool:
        """Whether others talk, and what was just said, shape (n,), is hardly louder than they."""
        power = _power(speech)
        return self._others_talk() and self._room.louder_by_db(power) < self._rules.drowned_db

    def far_away(self) -> bool:
        """Whether what sounds now is so much fainter that nobody near can say it."""
        return self.in_front and self._fallen_db() > self._rules.far_db

    def _is_faint(self) -> bool:
        rules = self._rules
        least_db = rules.crowded_fall_db if self._others_talk() else rules.fall_db
        return self._fallen_db() > least_db and self._room.is_near()

    def _fallen_db(self) -> float:
        return self._loudest_db - _db(self._power)

    def _others_talk(self) -> bool:
        return self._crowded or self._since_begun > self._rules.crowded_after_s * self._rate


def _share(samples: int, sample_rate_hz: int, seconds: float) -> float:
    """Return how much so many new samples count in what is smoothed over these seconds."""
    return 1 - math.exp(-samples / sample_rate_hz / seconds)


def _power(sound: FloatArray) -> float:
    return float(np.mean(np.square(sound)))


def _db(power: float) -> float:
    return 10 * math.log10(power + 1e-12)

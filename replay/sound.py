"""What was said in the room, heard with the traces: follows the playhead, when a person asks for it.

Qt's multimedia is a package of its own; without it the sound's times stand on the axis and nothing is played.
The sound stays where it lay when it was brought in: it is not copied into the case.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from afterclamp.io.case import Case, Source
from PySide6.QtCore import QObject, Signal

from .playhead import Playhead

SOUND_READER = "WAV"

SLOWEST, QUICKEST = 0.5, 2.0
"""Speech slower or quicker than this cannot be followed (this project's choice); the sound rests meanwhile."""

APART_S = 0.15
"""The sound is put right where it lies further than this from the playhead."""


class Player(Protocol):
    """What is needed of a player of sounds."""

    def open(self, path: Path) -> None:
        """Take another file."""

    def play(self, at_s: float, speed: float) -> None:
        """Play from a place in the file."""

    def rest(self) -> None:
        """Stop, and stay where it is."""

    @property
    def at_s(self) -> float:
        """Where in the file it is."""


@dataclass(frozen=True, slots=True)
class Heard:
    """One sound of a case and where it lies on this machine."""

    source: Source
    path: Path
    seconds: float


def sounds_of(case: Case) -> list[Heard]:
    """The sounds of a case that still lie where they were brought in from."""
    places = {file.source: file for file in case.source_state(thorough=False)}
    heard = []
    for source in case.sources:
        place = places.get(source.name)
        if (
            source.reader == SOUND_READER
            and place is not None
            and place.path is not None
            and place.state == "as it was"
        ):
            length = max(
                (note.t_end - note.t for note in case.notes if note.source == source.name), default=0.0
            )
            heard.append(Heard(source, place.path, length))
    return heard


class Sound(QObject):
    """Plays the case's sound beside the playhead.

    Signals
    -------
    said(text)
        Why nothing is heard.
    """

    said = Signal(str)

    def __init__(
        self,
        playhead: Playhead,
        parent: QObject | None = None,
        *,
        make: Callable[[QObject], Player | None] | None = None,
    ) -> None:
        super().__init__(parent)
        self._playhead = playhead
        self._make = make or qt_player
        self._player: Player | None = None
        self._case: Case | None = None
        self._sounds: list[Heard] = []
        self._on = False
        self._playing: Heard | None = None
        playhead.moved.connect(lambda _: self._follow())
        playhead.state_changed.connect(self._follow)

    @property
    def on(self) -> bool:
        """Whether the person asked for it."""
        return self._on

    def set_case(self, case: Case | None) -> None:
        """Another case, or another clock in it; nothing is heard until it is asked for anew."""
        self._rest()
        self._case, self._sounds, self._on = case, [], False

    def set_on(self, on: bool) -> bool:
        """Ask for the sound, or for silence; False, and `said` says why, where there is none to be heard."""
        self._on = False
        if not on:
            self._rest()
            return True
        self._sounds = sounds_of(self._case) if self._case is not None else []
        if not self._sounds:
            self.said.emit(
                "There is no sound in this case, or its file no longer lies where it was brought in from."
            )
            return False
        if self._player is None:
            self._player = self._make(self)
        if self._player is None:
            self.said.emit(
                "Qt's multimedia is not installed, so the sound's times are shown and it is not played. "
                "Install the package PySide6-Addons to hear it."
            )
            return False
        self._on = True
        self._follow()
        return True

    def _follow(self) -> None:
        if not self._on or self._player is None:
            return
        now, speed = self._playhead.time, self._playhead.speed
        here = self._at(now)
        if here is None or not self._playhead.playing or not SLOWEST <= speed <= QUICKEST:
            self._rest()
            return
        heard, place = here
        if heard is not self._playing:
            self._player.open(heard.path)
            self._player.play(place, speed)
            self._playing = heard
        elif abs(self._player.at_s - place) > APART_S * max(speed, 1.0):
            self._player.play(place, speed)

    def _at(self, t: float) -> tuple[Heard, float] | None:
        """The sound at a reference time, and how far into it."""
        for heard in self._sounds:
            place = float(heard.source.clock.to_source(t))
            if 0.0 <= place < heard.seconds:
                return heard, place
        return None

    def _rest(self) -> None:
        if self._player is not None and self._playing is not None:
            self._player.rest()
        self._playing = None


def qt_player(parent: QObject) -> Player | None:
    """A player by Qt's multimedia; None where that is not installed."""
    try:
        from PySide6.QtMultimedia import QAudioOutput, QMediaPlayer
    except ImportError:
        return None
    from PySide6.QtCore import QUrl

    class QtPlayer:
        def __init__(self) -> None:
            self._player = QMediaPlayer(parent)
            self._player.setAudioOutput(QAudioOutput(parent))

        def open(self, path: Path) -> None:
            self._player.setSource(QUrl.fromLocalFile(str(path)))

        def play(self, at_s: float, speed: float) -> None:
            self._player.setPlaybackRate(speed)
            self._player.setPosition(round(at_s * 1000))
            self._player.play()

        def rest(self) -> None:
            self._player.pause()

        @property
        def at_s(self) -> float:
            return self._player.position() / 1000

    return QtPlayer()

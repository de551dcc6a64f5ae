"""Sound follows the playhead: only when asked for, only where it was recorded, and put right where it drifts."""

from __future__ import annotations

import wave
from collections.abc import Iterator
from pathlib import Path

import pytest
from afterclamp.io import bring_in
from afterclamp.io.case import Case
from afterclamp.replay.playhead import Playhead
from afterclamp.replay.sound import Sound, sounds_of
from PySide6.QtCore import QObject
from pytestqt.qtbot import QtBot


class TapePlayer:
    """Keeps what it was told."""

    def __init__(self) -> None:
        self.told: list[tuple[object, ...]] = []
        self.at_s = 0.0

    def open(self, path: Path) -> None:
        self.told.append(("open", path.name))

    def play(self, at_s: float, speed: float) -> None:
        self.at_s = at_s
        self.told.append(("play", round(at_s, 1), speed))

    def rest(self) -> None:
        self.told.append(("rest",))


@pytest.fixture
def case(tmp_path: Path) -> Iterator[Case]:
    (tmp_path / "a.csv").write_text(
        "time (s),femoral (mmHg)\n" + "".join(f"{k},{60 + k % 3}\n" for k in range(600)), "utf-8"
    )
    with wave.open(str(tmp_path / "room.wav"), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(8000)
        file.writeframes(bytes(2 * 8000 * 60))
    answers = tmp_path / "answers.toml"
    # The sound began 100 s after the trace: its own second 0 is the reference's second 100.
    answers.write_text("[clocks.room]\npieces = [{offset_s = -100.0, sd_s = 1.0}]\n", "utf-8")
    with bring_in(
        [tmp_path / "a.csv", tmp_path / "room.wav"], tmp_path / "case", answers=answers, accept_proposals=True
    ) as made:
        yield made


@pytest.fixture
def playhead(qtbot: QtBot) -> Iterator[Playhead]:
    made = Playhead()
    made.set_bounds(0.0, 600.0)
    yield made
    made.pause()


def test_nothing_is_heard_until_it_is_asked_for(case: Case, playhead: Playhead) -> None:
    tape = TapePlayer()
    sound = Sound(playhead, make=lambda _: tape)
    sound.set_case(case)
    playhead.seek(120.0)
    playhead.play()
    assert tape.told == []
    assert sound.set_on(True)
    assert tape.told[:2] == [("open", "room.wav"), ("play", 20.0, 1.0)]


def test_it_rests_with_the_playhead_outside_the_sound_and_at_speeds_nobody_follows(
    case: Case, playhead: Playhead
) -> None:
    tape = TapePlayer()
    sound = Sound(playhead, make=lambda _: tape)
    sound.set_case(case)
    sound.set_on(True)
    playhead.seek(120.0)
    playhead.play()
    playhead.set_speed(10.0)
    assert tape.told[-1] == ("rest",)
    playhead.set_speed(1.0)
    assert tape.told[-1][0] == "play"
    playhead.seek(50.0)
    assert tape.told[-1] == ("rest",)
    playhead.seek(130.0)
    playhead.pause()
    assert tape.told[-1] == ("rest",)


def test_it_is_put_right_after_a_jump_and_left_alone_while_it_keeps_up(
    case: Case, playhead: Playhead
) -> None:
    tape = TapePlayer()
    sound = Sound(playhead, make=lambda _: tape)
    sound.set_case(case)
    sound.set_on(True)
    playhead.seek(120.0)
    playhead.play()
    many = len(tape.told)
    playhead.seek(120.05)
    assert len(tape.told) == many
    playhead.seek(140.0)
    assert tape.told[-1] == ("play", 40.0, 1.0)


def test_a_file_that_is_gone_is_said(case: Case, playhead: Playhead, tmp_path: Path, qtbot: QtBot) -> None:
    (tmp_path / "room.wav").unlink()
    assert sounds_of(case) == []
    sound = Sound(playhead, make=lambda _: TapePlayer())
    sound.set_case(case)
    with qtbot.waitSignal(sound.said) as heard:
        assert not sound.set_on(True)
    assert "no longer lies" in heard.args[0]


def test_without_the_package_it_says_what_to_install(case: Case, playhead: Playhead, qtbot: QtBot) -> None:
    def none(_: QObject) -> None:
        return None

    sound = Sound(playhead, make=none)
    sound.set_case(case)
    with qtbot.waitSignal(sound.said) as heard:
        assert not sound.set_on(True)
    assert "PySide6-Addons" in heard.args[0]
    assert not sound.on

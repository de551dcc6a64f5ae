"""Captions: WebVTT and SubRip cues become notes on their own zero."""

from __future__ import annotations

from pathlib import Path

import pytest
from afterclamp.io.errors import FileUnreadable
from afterclamp.io.readers import Claim
from afterclamp.io.readers.timed_text import READER
from afterclamp.io.recording import Recording

VTT = """WEBVTT

NOTE Invented narration.

1
00:39:50.000 --> 00:39:51.800
Going on.

01:16:43.500 --> 01:16:46.000 align:start
<v Perfusion>Line pressure {345},
I am coming down.

101:00:00.000 --> 101:00:01.000
After a hundred hours.
"""


def _write(folder: Path, text: str, name: str = "voice.vtt", encoding: str = "utf-8") -> Path:
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


def _read(path: Path) -> Recording:
    (recording,) = READER.read(path, {})
    return recording


def _claim(path: Path) -> Claim:
    return READER.claims(path, path.read_bytes()[:4096])


# Times follow the WebVTT standard (https://www.w3.org/TR/webvtt1/): hours:minutes:seconds.milliseconds.
@pytest.mark.parametrize(("encoding", "newline"), [("utf-8", "\n"), ("utf-8-sig", "\r\n"), ("utf-8", "\r")])
def test_cues_become_notes_with_start_and_end(tmp_path: Path, encoding: str, newline: str) -> None:
    path = _write(tmp_path, VTT.replace("\n", newline), encoding=encoding)
    assert _claim(path) is Claim.MINE
    voice = _read(path)
    assert [(note.start_s, note.end_s) for note in voice.notes] == [
        (2390.0, 2391.8),
        (4603.5, 4606.0),
        (363600.0, 363601.0),
    ]
    assert voice.notes[0].text == "Going on."
    assert voice.notes[1].text == "Line pressure {345}, I am coming down."
    assert voice.first_stamp is None
    assert not voice.dated
    assert voice.name == "voice"
    assert voice.reader == "WebVTT"


def test_short_stamps_without_hours(tmp_path: Path) -> None:
    assert _read(_write(tmp_path, "WEBVTT\n\n01:02.250 --> 01:03.000\nSaw.\n")).notes[0].start_s == 62.25


def test_subrip(tmp_path: Path) -> None:
    path = _write(
        tmp_path,
        "1\n00:00:02,500 --> 00:00:04,000\nClamp on.\n\n2\n00:01:00,000 --> 00:01:01,000\nOff.\n",
        "v.srt",
    )
    assert _claim(path) is Claim.MINE
    voice = _read(path)
    assert [(note.start_s, note.end_s, note.text) for note in voice.notes] == [
        (2.5, 4.0, "Clamp on."),
        (60.0, 61.0, "Off."),
    ]


def test_a_cue_without_text_is_listed(tmp_path: Path) -> None:
    voice = _read(
        _write(tmp_path, "WEBVTT\n\n00:01.000 --> 00:02.000\n<i></i>\n\n00:03.000 --> 00:04.000\nOn.\n")
    )
    assert [note.text for note in voice.notes] == ["On."]
    assert any("cue 1 has no text" in line for line in voice.set_aside)


@pytest.mark.parametrize(
    ("name", "text", "place", "words"),
    [
        (
            "v.vtt",
            "WEBVTT\n\n00:01.000 --> 00:02.000\nOn.\n\n00:09.000 --> 00:04.000\nOff.\n",
            "line 6",
            "cue 2 ends at 00:00:04.000, before it starts at 00:00:09.000",
        ),
        ("v.vtt", "WEBVTT\n\n00:01.000 --> soon\nOn.\n", "line 3", "found '00:01.000 --> soon'"),
        ("v.vtt", "WEBVTT\n\n00:61:00.000 --> 00:62:00.000\nOn.\n", "line 3", "expected two times"),
        ("v.vtt", "WEBVTT\n\nNOTE nothing said\n", "", "no cue"),
        ("v.vtt", "hello\n", "line 1", "neither 'WEBVTT'"),
        ("v.vtt", "\n", "", "empty"),
        ("v.vtt", "WEBVTT\x00\x01", "", "not a text file"),
    ],
)
def test_what_cannot_be_read_is_named(tmp_path: Path, name: str, text: str, place: str, words: str) -> None:
    path = _write(tmp_path, text, name)
    assert _claim(path) is Claim.MINE
    with pytest.raises(FileUnreadable) as caught:
        _read(path)
    assert caught.value.place == place
    assert words in caught.value.sentence


def test_other_texts_are_left_to_others(tmp_path: Path) -> None:
    assert _claim(_write(tmp_path, "time,flow\n0,1\n", "a.csv")) is Claim.NOT_MINE


def test_four_hundred_cues(tmp_path: Path) -> None:
    cues = "".join(
        f"\n{n // 60:02d}:{n % 60:02d}.000 --> {n // 60:02d}:{n % 60:02d}.900\nLine {n}.\n"
        for n in range(400)
    )
    assert len(_read(_write(tmp_path, "WEBVTT\n" + cues)).notes) == 400

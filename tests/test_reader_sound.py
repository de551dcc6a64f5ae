"""Sound: WAV files that Python's own `wave` module writes, and others put together byte by byte.

Layout of the bytes: Multimedia Programming Interface and Data Specifications 1.0 (1991); lengths beyond 4 GB: EBU
Tech 3306.
"""

from __future__ import annotations

import hashlib
import struct
import wave
from pathlib import Path

import pytest
from afterclamp.io import bring_in
from afterclamp.io.errors import FileUnreadable
from afterclamp.io.readers import Claim, sound
from afterclamp.io.recording import Recording
from hypothesis import given, settings
from hypothesis import strategies as st


def only(path: Path) -> Recording:
    (recording,) = sound.read(path, {})
    return recording


def written(path: Path, frames: int, rate: int = 8000, channels: int = 1, width: int = 2) -> Path:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(channels)
        file.setsampwidth(width)
        file.setframerate(rate)
        file.writeframes(bytes(frames * channels * width))
    return path


def chunk(name: bytes, data: bytes, length: int | None = None) -> bytes:
    return name + struct.pack("<L", len(data) if length is None else length) + data + bytes(len(data) % 2)


def form(kind: int = 1, channels: int = 1, rate: int = 100, a_second: int = 200, block: int = 2) -> bytes:
    return chunk(b"fmt ", struct.pack("<HHLLHH", kind, channels, rate, a_second, block, 16))


def riff(*chunks: bytes, name: bytes = b"RIFF") -> bytes:
    body = b"WAVE" + b"".join(chunks)
    return name + struct.pack("<L", len(body)) + body


@settings(max_examples=20, deadline=None)
@given(
    frames=st.integers(1, 3000),
    rate=st.sampled_from([8000, 11025, 44100]),
    channels=st.integers(1, 3),
    width=st.integers(1, 4),
)
def test_a_sound_is_one_note_as_long_as_it_lasts(
    tmp_path_factory: pytest.TempPathFactory, frames: int, rate: int, channels: int, width: int
) -> None:
    path = written(tmp_path_factory.mktemp("wav") / "theatre.wav", frames, rate, channels, width)
    recording = only(path)
    (note,) = recording.notes
    assert (note.start_s, note.end_s) == (0.0, frames / rate)
    assert recording.channels == ()
    assert recording.first_stamp is None  # its own zero
    assert not any(str(path.parent) in text for text in recording.about.values())
    assert recording.files == (("theatre.wav", hashlib.sha256(path.read_bytes()).hexdigest()),)
    assert recording.set_aside == ()


def test_a_case_takes_it_beside_a_trace(tmp_path: Path) -> None:
    exports = tmp_path / "exports"
    exports.mkdir()
    written(exports / "theatre.wav", 80_000)
    (exports / "pump.csv").write_text("time,Flow [L/min]\n" + "".join(f"08:00:{s:02},4\n" for s in range(30)))
    with bring_in(exports, tmp_path / "case") as case:
        assert {source.name: source.reader for source in case.sources}["theatre"] == "WAV"
        assert any(note.t_end - note.t == pytest.approx(10.0) for note in case.notes)


def test_other_chunks_and_kinds_are_gone_through(tmp_path: Path) -> None:
    path = tmp_path / "x.wav"
    notes = chunk(b"LIST", b"odd")  # filled up to an even number
    for raw, seconds in (
        (riff(notes, form(), chunk(b"junk", bytes(9)), chunk(b"data", bytes(400)), notes), 2.0),
        (riff(form(kind=3, a_second=400, block=4), chunk(b"data", bytes(400))), 1.0),
        (
            riff(
                form(kind=17, block=50, a_second=55),
                chunk(b"fact", struct.pack("<L", 300)),
                chunk(b"data", bytes(400)),
            ),
            3.0,
        ),
        (riff(form(kind=85, block=1, a_second=160), chunk(b"data", bytes(400))), 2.5),
        (
            riff(
                chunk(b"ds64", struct.pack("<QQQL", 0, 600, 300, 0)),
                form(),
                chunk(b"data", bytes(600), 0xFFFFFFFF),
                chunk(b"tail", bytes(50)),
                name=b"RF64",
            ),
            3.0,
        ),
    ):
        path.write_bytes(raw)
        recording = only(path)
        assert recording.notes[0].end_s == pytest.approx(seconds)
        assert recording.set_aside == ()


@pytest.mark.parametrize(
    ("claimed", "words"),
    [(0, "not closed"), (0xFFFFFFFF, "not closed"), (800, "holds 400; what is there is 50%")],
)
def test_a_sound_that_was_not_closed_or_is_cut_lasts_as_long_as_it_is_there(
    tmp_path: Path, claimed: int, words: str
) -> None:
    path = tmp_path / "x.wav"
    path.write_bytes(riff(form(), chunk(b"data", bytes(400), claimed)))
    recording = only(path)
    assert recording.notes[0].end_s == 2.0
    assert words in recording.set_aside[0]


@pytest.mark.parametrize(
    ("raw", "place", "words"),
    [
        (b"", "byte 0", "begins with RIFF"),
        (b"RIFF\x04\0\0\0AVI ", "byte 0", "AVI"),
        (riff(), "byte 12", "ends before its samples"),
        (riff(form()), "byte 36", "ends before its samples"),
        (riff(chunk(b"data", bytes(4)), form()), "byte 12", "before the chunk 'fmt '"),
        (riff(chunk(b"fmt ", bytes(8)), chunk(b"data", bytes(4))), "byte 12", "8 bytes long"),
        (riff(form(channels=0), chunk(b"data", bytes(4))), "byte 12", "0 channels"),
        (riff(form(rate=0), chunk(b"data", bytes(4))), "byte 12", "0 samples a second"),
        (riff(form(block=0), chunk(b"data", bytes(4))), "byte 12", "blocks of 0 bytes"),
        (riff(form(), chunk(b"data", b"")), "byte 44", "no sound"),
        (riff(form(kind=85, a_second=0), chunk(b"data", bytes(4))), "", "packed (kind 85)"),
        (
            riff(form(), chunk(b"junk", b"", 0xFFFFFFF0), chunk(b"data", bytes(4))),
            "byte 56",
            "ends before its samples",
        ),
    ],
)
def test_a_damaged_file_is_told_with_its_place(tmp_path: Path, raw: bytes, place: str, words: str) -> None:
    path = tmp_path / "damaged.wav"
    path.write_bytes(raw)
    assert sound.claims(path, raw[:4096]) is Claim.MINE
    with pytest.raises(FileUnreadable) as caught:
        only(path)
    assert (caught.value.path, caught.value.place) == (path, place)
    assert words in caught.value.what
    assert caught.value.todo


def test_a_file_that_is_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(FileUnreadable, match="cannot be opened"):
        only(tmp_path / "gone.wav")


@pytest.mark.parametrize(
    ("name", "head", "claim"),
    [
        ("x", riff(form()), Claim.MINE),
        ("x.WAV", b"", Claim.MINE),
        ("x.avi", b"RIFF\0\0\0\0AVI ", Claim.NOT_MINE),
        ("x.csv", b"time,ABP\n", Claim.NOT_MINE),
    ],
)
def test_it_claims_by_the_first_bytes_or_the_name(
    tmp_path: Path, name: str, head: bytes, claim: Claim
) -> None:
    assert sound.claims(tmp_path / name, head) is claim

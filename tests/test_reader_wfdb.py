"""WFDB records and annotation files, against decoders of a few lines and against other libraries.

The decoders and encoders here are written from the WFDB Applications Guide, signal(5), header(5) and annot(5)
(physionet.org/physiotools/wag); the reader decodes samples with the `wfdb` library and annotations by itself,
so the oracles are these decoders for samples, `soundfile` for FLAC, and `wfdb` for annotations.
"""

from __future__ import annotations

import tracemalloc
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io.errors import Cancelled, FileUnreadable
from afterclamp.io.readers import Claim, wfdb, wfdb_data
from afterclamp.io.recording import RecordedChannel, Recording
from hypothesis import given, settings
from hypothesis import strategies as st

# The lowest code of each width; format 8 has none.
MISSING = {
    "16": -(2**15), "24": -(2**23), "32": -(2**31), "61": -(2**15), "80": -(2**7), "160": -(2**15),
    "212": -(2**11), "310": -(2**9), "311": -(2**9),
}  # fmt: skip


# signal(5), in a few lines each


def decode_16(raw: bytes) -> np.ndarray:
    """16-bit two's complement, least significant byte first."""
    return np.frombuffer(raw[: len(raw) // 2 * 2], "<i2").astype(np.int64)


def decode_80(raw: bytes) -> np.ndarray:
    """8-bit offset binary: 128 is subtracted from each byte."""
    return np.frombuffer(raw, np.uint8).astype(np.int64) - 128


def decode_212(raw: bytes) -> np.ndarray:
    """Two 12-bit samples in three bytes; the middle one holds the high bits, the second sample's uppermost."""
    triplets = (
        np.frombuffer(raw.ljust(-(-len(raw) // 3) * 3, b"\0"), np.uint8).reshape(-1, 3).astype(np.int64)
    )
    low, middle, high = triplets.T
    codes = np.stack([low + ((middle & 15) << 8), high + ((middle >> 4) << 8)], axis=1).ravel()
    return np.where(codes > 2047, codes - 4096, codes)


DECODE = {"16": decode_16, "80": decode_80, "212": decode_212}


def encode(codes: np.ndarray, form: str) -> bytes:
    plain = {"16": "<i2", "61": ">i2", "32": "<i4", "8": "i1"}
    if form in plain:  # two's complement: lowest byte first, 61 highest first; 8: differences
        return codes.astype(plain[form]).tobytes()
    if form == "24":  # three bytes, lowest first
        return b"".join(int(code).to_bytes(3, "little", signed=True) for code in codes)
    if form in ("80", "160"):  # offset binary
        return (codes + (128 if form == "80" else 32768)).astype("u1" if form == "80" else "<u2").tobytes()
    if form in ("310", "311"):
        return encode_ten_bits(codes, form)
    twelve = [int(code) & 0xFFF for code in codes] + [0] * (len(codes) % 2)
    raw = b"".join(
        bytes([one & 255, one >> 8 | other >> 8 << 4, other & 255])
        for one, other in zip(twelve[::2], twelve[1::2], strict=True)
    )
    return raw[: -(-len(codes) * 3 // 2)]


def encode_ten_bits(codes: np.ndarray, form: str) -> bytes:
    """Three samples in four bytes: 311 one after the other from the lowest bit on; 310 two in the bits 1 to 11 of
    each pair of bytes, the third in the five uppermost bits of the first pair and then of the second."""
    raw = b""
    for first in range(0, len(codes), 3):
        a, b, c = ([int(code) & 0x3FF for code in codes[first : first + 3]] + [0, 0])[:3]
        if form == "311":
            raw += (a | b << 10 | c << 20).to_bytes(4, "little")
        else:
            raw += (a << 1 | (c & 31) << 11).to_bytes(2, "little") + (b << 1 | c >> 5 << 11).to_bytes(
                2, "little"
            )
    over = len(codes) % 3
    return raw if not over else raw[: len(raw) - 4 + (2 if over == 1 else 3 if form == "311" else 4)]


def of_signals(flat: np.ndarray, per_frame: list[int]) -> list[np.ndarray]:
    """Samples of a data file, frame by frame, sorted to their signals."""
    frames = flat[: len(flat) // sum(per_frame) * sum(per_frame)].reshape(-1, sum(per_frame))
    ends = np.cumsum(per_frame)
    return [frames[:, end - many : end].ravel() for end, many in zip(ends, per_frame, strict=True)]


def record(folder: Path, name: str, header: str, **data: bytes) -> Path:
    for suffix, raw in data.items():
        (folder / f"{name}.{suffix}").write_bytes(raw)
    path = folder / f"{name}.hea"
    path.write_text(header)
    return path


def only(path: Path) -> Recording:
    (recording,) = wfdb.read(path, {})
    return recording


def codes_and_valid(channel: RecordedChannel) -> tuple[np.ndarray, np.ndarray]:
    codes, valid = [], []
    for block in channel.blocks():
        assert block.codes.dtype == channel.dtype
        codes.append(block.codes)
        valid.append(np.ones(len(block.codes), bool) if block.valid is None else block.valid)
    assert sum(map(len, codes)) == channel.count == sum(segment.count for segment in channel.segments)
    return np.concatenate(codes), np.concatenate(valid)


def pair(kind: int, low: int) -> bytes:
    return (kind << 10 | low).to_bytes(2, "little")


def note(ticks: int, text: str, kind: int = 22) -> bytes:
    raw = text.encode()
    return pair(kind, ticks) + pair(63, len(raw)) + raw + b"\0" * (len(raw) % 2)


# Samples


@settings(max_examples=40, deadline=None)
@given(
    form=st.sampled_from(sorted(MISSING)),
    per_frame=st.lists(st.integers(1, 4), min_size=1, max_size=3),
    frames=st.integers(1, 30),
    window=st.integers(1, 60),
    seed=st.integers(0, 2**32 - 1),
)
def test_codes_come_back_exactly_in_every_format_and_window(
    tmp_path_factory: pytest.TempPathFactory,
    form: str,
    per_frame: list[int],
    frames: int,
    window: int,
    seed: int,
) -> None:
    lowest = MISSING[form]
    codes = np.random.default_rng(seed).integers(lowest, -lowest, frames * sum(per_frame))
    lines = [f"r.dat {form}x{many} 100(3)/mmHg 12 0 0 0 0 P{index}" for index, many in enumerate(per_frame)]
    header = f"r {len(per_frame)} 125 {frames}\n" + "\n".join(lines) + "\n"
    path = record(tmp_path_factory.mktemp("wfdb"), "r", header, dat=encode(codes, form))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(wfdb_data, "_WINDOW", window)
        channels = only(path).channels
        for channel, written, many in zip(channels, of_signals(codes, per_frame), per_frame, strict=True):
            read, valid = codes_and_valid(channel)
            np.testing.assert_array_equal(read, written)
            np.testing.assert_array_equal(valid, written != lowest)
            assert channel.segments[0].rate_hz == 125 * many
            assert read.dtype == {"80": np.int8, "24": np.int32, "32": np.int32}.get(form, np.int16)


@settings(max_examples=15, deadline=None)
@given(
    frames=st.integers(1, 60),
    per_frame=st.lists(st.integers(1, 3), min_size=1, max_size=2),
    window=st.integers(1, 40),
    seed=st.integers(0, 2**32 - 1),
)
def test_differences_add_up_across_windows(
    tmp_path_factory: pytest.TempPathFactory, frames: int, per_frame: list[int], window: int, seed: int
) -> None:
    # signal(5), format 8: a sample is the first value of the header and all differences up to it.
    differences = np.random.default_rng(seed).integers(-128, 128, frames * sum(per_frame))
    lines = [f"r.dat 8x{many} 100/mmHg 12 0 {40 * n - 7} 0 0 P{n}" for n, many in enumerate(per_frame)]
    header = f"r {len(per_frame)} 125 {frames}\n" + "\n".join(lines) + "\n"
    path = record(tmp_path_factory.mktemp("wfdb"), "r", header, dat=encode(differences, "8"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(wfdb_data, "_WINDOW", window)
        channels = only(path.with_suffix(".hea")).channels
    for n, (channel, steps) in enumerate(zip(channels, of_signals(differences, per_frame), strict=True)):
        read, valid = codes_and_valid(channel)
        np.testing.assert_array_equal(read, 40 * n - 7 + np.cumsum(steps))
        assert valid.all()


def test_differences_beyond_any_converter_are_told(tmp_path: Path) -> None:
    path = record(
        tmp_path, "r", "r 1 125 2\nr.dat 8 1/mmHg 12 0 2147483000\n", dat=encode(np.array([5, 7]), "8")
    )
    np.testing.assert_array_equal(codes_and_valid(only(path).channels[0])[0], [2147483005, 2147483012])
    path.write_text("r 1 125 2\nr.dat 8 1/mmHg 12 0 99999999999\n")
    with pytest.raises(FileUnreadable, match=r"frames 0 to 2 cannot be decoded"):
        only(path)


def test_the_unused_bits_of_a_group_do_not_count(tmp_path: Path) -> None:
    # signal(5), format 311: the two uppermost bits of the four bytes are not used.
    codes = np.array([1, -2, -300, 4, 5, 300])
    raw = np.frombuffer(encode(codes, "311"), "<u4") | np.uint32(0xC0000000)
    path = record(tmp_path, "r", "r 1 125 6\nr.dat 311 1/mmHg 10 0 1 8 0 ABP\n", dat=raw.tobytes())
    np.testing.assert_array_equal(codes_and_valid(only(path).channels[0])[0], codes)


def test_gain_and_baseline_make_the_value(tmp_path: Path) -> None:
    # header(5): value = (sample - baseline) / gain; baseline is the ADC zero where it is not given.
    path = record(
        tmp_path,
        "r",
        "r 3 125 2\n"
        "r.dat 16 12.84(-1605)/mmHg 12 7 0 0 0 ABP\n"
        "r.dat 16 200/mV 14 8192 0 0 0 II\n"
        "r.dat 16 0/mmHg 12 0 0 0 0 raw\n",
        dat=encode(np.array([-943, 8192, 400, -944, 8392, -400]), "16"),
    )
    recording = only(path)
    values = [
        codes_and_valid(channel)[0] * channel.segments[0].scale + channel.segments[0].offset
        for channel in recording.channels
    ]
    np.testing.assert_allclose(values[0], [(-943 + 1605) / 12.84, (-944 + 1605) / 12.84], atol=1e-12)
    np.testing.assert_allclose(values[1], [0, 1], atol=1e-12)
    np.testing.assert_allclose(
        values[2], [2, -2], atol=1e-12
    )  # gain 0: 200 steps a unit are assumed, and told
    assert [
        text for text in recording.set_aside if "calibrated" in text and "line 4" in text and "'raw'" in text
    ]


def test_a_unit_is_kept_as_written_and_never_assumed(tmp_path: Path) -> None:
    path = record(
        tmp_path,
        "r",
        "r 3 125 1\nr.dat 16 1/cm/H2O 12 0 0 0 0 P\nr.dat 16 1 12 0 0 0 0 RESP\nr.dat 16\n",
        dat=encode(np.array([1, 2, 3]), "16"),
    )
    channels = only(path).channels
    assert [channel.unit_as_written for channel in channels] == ["cm/H2O", "", ""]
    assert [channel.label for channel in channels] == ["P", "RESP", "signal 3"]


def test_a_skewed_signal_keeps_its_samples_and_starts_earlier(tmp_path: Path) -> None:
    # header(5): skew is how many frames later than the others a signal was written.
    codes = np.arange(20)
    path = record(
        tmp_path,
        "r",
        "r 2 10 10\nr.dat 16 1/mmHg 12 0 0 0 0 ABP\nr.dat 16:4 1/mmHg 12 0 0 0 0 CVP\n",
        dat=encode(codes, "16"),
    )
    plain, skewed = only(path).channels
    assert plain.segments[0].start_s == 0.0
    assert skewed.segments[0].start_s == -0.4
    np.testing.assert_array_equal(codes_and_valid(skewed)[0], codes[1::2])


@pytest.mark.parametrize(
    ("line", "rate", "stamp", "dated"),
    [
        ("r 1 62.4725/999.56 4", 62.4725, None, False),
        ("r 1 360/24000(-5.5) 4 8:35:12.811", 360.0, datetime(1900, 1, 1, 8, 35, 12, 811000), False),
        ("r 1 125 4 17:27:45 15/08/1994", 125.0, datetime(1994, 8, 15, 17, 27, 45), True),
        ("r 1 125 4 35:12", 125.0, datetime(1900, 1, 1, 0, 35, 12), False),
        ("r 1", 250.0, None, False),  # header(5): 250 where the rate is not given, length from the file
    ],
)
def test_rate_and_start_are_taken_from_the_record_line(
    tmp_path: Path, line: str, rate: float, stamp: datetime | None, dated: bool
) -> None:
    header = f"# a remark\n\n{line}\r\nr.dat 16 1/mmHg 12 0 0 10 0 ABP\r\n"
    recording = only(record(tmp_path, "r", header, dat=encode(np.array([1, 2, 3, 4]), "16")))
    assert recording.channels[0].segments[0].rate_hz == rate
    assert recording.channels[0].count == 4
    assert (recording.first_stamp, recording.dated) == (stamp, dated)
    assert recording.set_aside == ()


def test_a_checksum_that_does_not_fit_is_told_and_the_samples_kept(tmp_path: Path) -> None:
    # header(5): 16-bit signed sum of all samples of the signal.
    codes = np.array([30000, 30000, 5])
    good, bad = 60005 - 65536, 17
    for checksum, told in ((good, 0), (bad, 1)):
        header = f"r 1 125 3\nr.dat 16 1/mmHg 12 0 30000 {checksum} 0 ABP\n"
        recording = only(record(tmp_path, "r", header, dat=encode(codes, "16")))
        assert len(recording.set_aside) == told
        np.testing.assert_array_equal(codes_and_valid(recording.channels[0])[0], codes)
    assert "line 2" in recording.set_aside[0]
    assert str(good) in recording.set_aside[0]


@pytest.mark.parametrize(("form", "subtype", "bits"), [("508", "PCM_S8", 8), ("524", "PCM_24", 24)])
def test_flac_of_other_widths_reads_as_it_was_written(
    tmp_path: Path, form: str, subtype: str, bits: int
) -> None:
    soundfile = pytest.importorskip("soundfile")
    half = 1 << (bits - 1)
    codes = np.random.default_rng(4).integers(-half, half, (50, 1))
    codes[7] = -half
    # soundfile takes the upper bits of a 32-bit number
    soundfile.write(
        tmp_path / "r.dat", (codes << (32 - bits)).astype(np.int32), 8000, format="FLAC", subtype=subtype
    )
    path = record(tmp_path, "r", f"r 1 60 50\nr.dat {form} 1/mmHg {bits} 0 0 {codes.sum() % 65536} 0 ABP\n")
    recording = only(path)
    read, valid = codes_and_valid(recording.channels[0])
    np.testing.assert_array_equal(read, codes[:, 0])
    np.testing.assert_array_equal(valid, codes[:, 0] != -half)
    assert read.dtype == (np.int8 if bits == 8 else np.int32)
    assert recording.set_aside == ()


def test_flac_reads_as_soundfile_decodes_it(tmp_path: Path) -> None:
    soundfile = pytest.importorskip("soundfile")
    codes = np.random.default_rng(3).integers(-32768, 32768, (120, 2)).astype(np.int16)
    soundfile.write(tmp_path / "r.dat", codes, 8000, format="FLAC", subtype="PCM_16")
    header = "r 2 60 60\nr.dat 516x2 1/mmHg 16 0 0 0 0 ABP\nr.dat 516x2 1/mmHg 16 0 0 0 0 PAP\n"
    path = record(tmp_path, "r", header)
    decoded, _ = soundfile.read(tmp_path / "r.dat", dtype="int16")
    for length in (" 60", ""):  # without a length in the header that of the data counts
        path.write_text(header.replace(" 60 60", " 60" + length))
        for index, channel in enumerate(only(path).channels):
            np.testing.assert_array_equal(codes_and_valid(channel)[0], decoded[:, index])
            assert channel.segments[0].rate_hz == 120


def test_without_a_length_the_shortest_data_file_counts_and_the_rest_is_told(tmp_path: Path) -> None:
    codes = np.arange(6)
    (tmp_path / "s.dat").write_bytes(encode(codes[:4], "61"))
    path = record(tmp_path, "r", "r 2 125\nr.dat 16 1/mmHg\ns.dat 61 1/mmHg\n", dat=encode(codes, "16"))
    recording = only(path)
    for channel in recording.channels:
        np.testing.assert_array_equal(codes_and_valid(channel)[0], codes[:4])
    assert [text for text in recording.set_aside if text.startswith("r.dat: 2 frames more")]


def test_it_tells_how_far_it_is_and_stops_when_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(wfdb_data, "_WINDOW", 50)
    path = record(tmp_path, "r", "r 1 125 200\nr.dat 16 1/mmHg\n", dat=encode(np.arange(200), "16"))
    heard: list[float] = []
    wfdb.read(path, {"progress": heard.append})
    assert heard == [0.25, 0.5, 0.75, 1.0]
    with pytest.raises(Cancelled):
        wfdb.read(path, {"cancelled": lambda: True})


# Several segments (header(5), multi-segment records)


def segment(
    folder: Path, name: str, codes: np.ndarray, gain: str, labels: tuple[str, ...] = ("ABP",)
) -> None:
    sums = [int(codes[index :: len(labels)].sum()) for index in range(len(labels))]
    lines = [
        f"{name}.dat 80 {gain} 8 0 0 {total} 0 {label}" for total, label in zip(sums, labels, strict=True)
    ]
    header = f"{name} {len(labels)} 125 {len(codes) // len(labels)}\n" + "\n".join(lines) + "\n"
    record(folder, name, header, dat=encode(codes, "80"))


def test_segments_keep_their_own_gain_and_what_is_absent_is_a_gap(tmp_path: Path) -> None:
    one, two, three = np.arange(50), np.arange(25) - 60, np.arange(50) + 1
    segment(tmp_path, "one", one, "1/mmHg")
    segment(tmp_path, "two", two, "0.833333(-100)/mmHg")
    segment(tmp_path, "three", three, "0.833333(-100)/mmHg")
    segment(tmp_path, "bare", one, "1/mmHg")
    (tmp_path / "bare.dat").unlink()
    path = tmp_path / "whole.hea"
    path.write_text(
        "whole/7 1 125 575 10:00:00\none 50\n~ 200\ntwo 25\nthree 50\nlost 150\nbare 50\none 50\n"
    )
    recording = only(path)
    (channel,) = recording.channels
    assert [(s.start_s, s.first, s.count) for s in channel.segments] == [
        (0.0, 0, 50),
        (2.0, 50, 75),  # two and three follow each other at one gain
        (4.2, 125, 50),
    ]
    assert [(s.scale, s.offset) for s in channel.segments] == [
        (1.0, 0.0),
        (1 / 0.833333, 100 / 0.833333),
        (1.0, 0.0),
    ]
    np.testing.assert_array_equal(codes_and_valid(channel)[0], np.concatenate([one, two, three, one]))
    assert [text for text in recording.set_aside if "lost.hea" in text and "line 6" in text]
    assert [text for text in recording.set_aside if "bare.dat" in text and "line 7" in text]
    assert len(recording.set_aside) == 2
    path.write_text(path.read_text().replace("575", "725"))
    assert [text for text in only(path).set_aside if "says 725 frames, its segments add up to 575" in text]
    assert {name for name, _ in recording.files} == {
        "whole.hea", "one.hea", "one.dat", "two.hea", "two.dat", "three.hea", "three.dat",
    }  # fmt: skip


def test_a_layout_of_changing_signals_gives_each_channel_its_own_stretches(tmp_path: Path) -> None:
    both = np.arange(40)  # ABP and CVP in turn
    segment(tmp_path, "s1", both, "1/mmHg", ("ABP", "CVP"))
    segment(tmp_path, "s2", np.arange(10), "1/mmHg", ("CVP",))
    record(tmp_path, "layout", "layout 2 125 0\n~ 0 1/mmHg 0 0 0 0 0 ABP\n~ 0 1/mmHg 0 0 0 0 0 CVP\n")
    path = tmp_path / "whole.hea"
    path.write_text("whole/3 2 125 30\nlayout 0\ns1 20\ns2 10\n")
    abp, cvp = only(path).channels
    assert [(s.start_s, s.count) for s in abp.segments] == [(0.0, 20)]
    assert [(s.start_s, s.count) for s in cvp.segments] == [(0.0, 30)]
    np.testing.assert_array_equal(codes_and_valid(abp)[0], both[::2])
    np.testing.assert_array_equal(codes_and_valid(cvp)[0], np.concatenate([both[1::2], np.arange(10)]))


@pytest.mark.parametrize(
    ("lines", "name", "words"),
    [
        ("one 49\n~ 10\n", "one.hea", "50"),  # longer than its record says
        ("gone 50\nlost 20\n", "whole.hea", "none of its 2 segments"),
        ("../one 50\n~ 10\n", "whole.hea", "'../one'"),
        ("one fifty\n~ 10\n", "whole.hea", "'one fifty'"),
        ("one 50\n", "whole.hea", "segment 2 of 2"),
        ("one 50\n~ 10\n~ 10\n", "whole.hea", "one more line"),
        ("whole 50\n~ 10\n", "whole.hea", "names itself"),
        ("inner 50\n~ 10\n", "inner.hea", "made of segments"),
    ],
)
def test_segments_that_do_not_hold_together_are_told(
    tmp_path: Path, lines: str, name: str, words: str
) -> None:
    segment(tmp_path, "one", np.arange(50), "1/mmHg")
    (tmp_path / "inner.hea").write_text("inner/1 1 125 50\none 50\n")
    path = tmp_path / "whole.hea"
    path.write_text("whole/2 1 125\n" + lines)
    with pytest.raises(FileUnreadable) as caught:
        only(path)
    assert caught.value.path == tmp_path / name
    assert words in caught.value.what
    assert caught.value.todo


# Damaged records


@pytest.mark.parametrize(
    ("header", "place", "words"),
    [
        ("", "", "record line"),
        ("# only a remark\n", "", "record line"),
        ("r one 125 4\n", "line 1", "'r one 125 4'"),
        ("r 1 0 4\nr.dat 16\n", "line 1", "rate"),
        ("r 1 1e300 4\nr.dat 16\n", "line 1", "rate"),
        ("r 1 125 4 25:00:00\nr.dat 16\n", "line 1", "25:00:00"),
        ("r 1 125 4 10:00:00 1994-08-15\nr.dat 16\n", "line 1", "1994-08-15"),
        ("r 2 125 4\nr.dat 16\n", "", "signal 2 of 2"),
        ("r 99999999 125 4\nr.dat 16\n", "", "signal 2 of 99999999"),
        ("r 1 125 4\nr.dat 16\nr.dat 16\n", "line 3", "one more line"),
        ("r 0 125 4\n", "", "no signals"),
        ("r 1 125 4\nr.dat\n", "line 2", "a format"),
        ("r 1 125 4\nr.dat sixteen\n", "line 2", "'sixteen'"),
        ("r 1 125 4\nr.dat 17 1/mmHg 12 0 0 0 0 ABP\n", "line 2", "format 17, which does not exist"),
        ("r 1 125 7\nr.dat 311 1/mmHg 10 0 0 0 0 ABP\n", "line 2", "r.dat holds 6"),
        ("r 1 125 4\nr.dat 16x0 1/mmHg\n", "line 2", "samples a frame"),
        ("r 1 125 4\nr.dat 16 high/mmHg\n", "line 2", "'high/mmHg'"),
        ("r 1 125 4\nr.dat 16 1e-300/mmHg\n", "line 2", "scale"),
        ("r 1 125 4\nr.dat 16 1/mmHg twelve\n", "line 2", "'twelve'"),
        (
            "r 1 125 5\nr.dat 16 1/mmHg 12 0 0 0 0 ABP\n",
            "line 2",
            "5 frames are announced, r.dat holds 4 (8 bytes)",
        ),
        ("r 1 125 999999999999\nr.dat 16 1/mmHg\n", "line 2", "999999999999 frames"),
        (f"r 1 125 {'9' * 5000}\nr.dat 16 1/mmHg\n", "line 1", "record line"),
        ("r 1 125 4\nr.dat 16x999999999999 1/mmHg\n", "line 2", "holds 0"),
        ("r 1 125\nr.dat 16+8 1/mmHg\n", "", "no frames, the data hold 0"),
        ("r 1 125 0\nr.dat 16 1/mmHg\n", "", "announces 0 frames, the data hold 4"),
        ("r 1 125 3\nr.dat 16+4 1/mmHg\n", "line 2", "holds 2"),
        ("r 3 125 1\nr.dat 16 1/V\ns.dat 16 1/V\nr.dat 16 1/V\n", "line 4", "stand apart"),
        ("r 2 125 1\nr.dat 16 1/V\nr.dat 80 1/V\n", "line 2", "differ"),
        ("r 1 125 4\ngone.dat 16 1/mmHg 12 0 0 0 0 ABP\n", "line 2", "'gone.dat' is not beside the header"),
    ],
)
def test_a_header_that_does_not_hold_is_told_with_its_line(
    tmp_path: Path, header: str, place: str, words: str
) -> None:
    path = record(tmp_path, "r", header, dat=encode(np.array([1, 2, 3, 4]), "16"))
    (tmp_path / "s.dat").write_bytes(bytes(8))
    assert wfdb.claims(path, header.encode()[:4096]) is Claim.MINE
    tracemalloc.start()
    try:
        with pytest.raises(FileUnreadable) as caught:
            only(path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert (caught.value.path, caught.value.place) == (path, place)
    assert words in caught.value.what
    assert caught.value.todo
    assert peak < 4e6


@pytest.mark.parametrize(
    "name",
    [
        "../secret.dat", "..", "/etc/hostname", "sub/r.dat", "http://example.org/r.dat", "file::r.dat", "C:\\r.dat",
        "s3://bucket/r.dat", "-/r.dat", "~/r.dat", "r.dat\0", "a*.dat",
    ],
)  # fmt: skip
def test_a_data_file_elsewhere_is_refused_before_anything_is_looked_for(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for step in ("absent_file", "checked_frames", "Decoded", "sha256"):
        monkeypatch.setattr(wfdb, step, lambda *_: pytest.fail("a data file was looked for"))
    path = record(tmp_path, "r", f"r 1 125 4\n{name} 16 1/mmHg 12 0 0 0 0 ABP\n")
    with pytest.raises(
        FileUnreadable, match=r"line 2: the data file .* is not a plain file name|a zero byte stands"
    ):
        only(path)


def test_flac_that_is_not_what_the_header_says_is_told(tmp_path: Path) -> None:
    soundfile = pytest.importorskip("soundfile")
    soundfile.write(tmp_path / "r.dat", np.zeros((60, 2), np.int16), 8000, format="FLAC", subtype="PCM_16")
    line = "r.dat 516 1/mmHg 16 0 0 0 0 ABP\n"
    for header, words in (
        (f"r 1 60 60\n{line}", "holds 2 channels"),
        (f"r 2 60 61\n{line}{line}", "61 frames are announced, r.dat holds 60"),
    ):
        with pytest.raises(FileUnreadable, match=words):
            only(record(tmp_path, "r", header))
    whole = (tmp_path / "r.dat").read_bytes()
    (tmp_path / "r.dat").write_bytes(whole[:60])
    with pytest.raises(FileUnreadable, match=r"frames 0 to 60 cannot be decoded"):
        only(record(tmp_path, "r", f"r 2 60 60\n{line}{line}"))
    (tmp_path / "r.dat").write_bytes(b"RIFF" + whole[4:])
    with pytest.raises(FileUnreadable, match=r"r\.dat, byte 0: does not begin as FLAC"):
        only(record(tmp_path, "r", f"r 2 60 60\n{line}{line}"))


def test_a_folder_that_the_library_would_take_for_an_address_is_told(tmp_path: Path) -> None:
    folder = tmp_path / "case::7"
    folder.mkdir()
    path = record(folder, "r", "r 1 125 1\nr.dat 16 1/mmHg\n", dat=bytes(2))
    with pytest.raises(FileUnreadable, match="Rename the folder"):
        only(path)


def test_a_folder_with_odd_letters_reads(tmp_path: Path) -> None:
    folder = tmp_path / "case [7] * ü"
    folder.mkdir()
    path = record(folder, "r", "r 1 125 2\nr.dat 16 1/mmHg\n", dat=encode(np.array([5, 6]), "16"))
    np.testing.assert_array_equal(codes_and_valid(only(path).channels[0])[0], [5, 6])


# Annotations (annot(5))


def test_annotations_walk_steps_texts_and_definitions(tmp_path: Path) -> None:
    raw = (
        note(0, "## time resolution: 500.5")
        + note(0, "42 TAP Tap turned")
        + note(0, "free text at the start")
        + pair(1, 1001)
        + pair(61, 3)
        + pair(62, 1)
        + pair(59, 0)
        + (0x0001_0000 >> 16).to_bytes(2, "little")
        + (0x0001_0000 & 0xFFFF).to_bytes(2, "little")
        + pair(5, 2)
        + note(1, "(AFIB\0", kind=28)
        + pair(42, 0)
        + pair(59, 0)
        + b"\xff\xff\xff\xff"
        + pair(1, 0)
        + pair(0, 0)
    )
    path = tmp_path / "r.ann"
    path.write_bytes(raw)
    assert wfdb.claims(path, raw) is Claim.MINE
    recording = only(path)
    ticks = [0, 1001, 1001 + 65536 + 2, 66540, 66540, 66539]
    assert [note.start_s for note in recording.notes] == [tick / 500.5 for tick in ticks]
    assert [note.text for note in recording.notes] == [
        "free text at the start",
        "N",
        "V",
        "+ (AFIB",
        "TAP",
        "N",
    ]
    assert {note.author for note in recording.notes} == {"ann"}
    assert recording.name == "r_ann"
    assert recording.first_stamp is None


def test_annotations_written_by_the_library_read_back(tmp_path: Path) -> None:
    library = pytest.importorskip("wfdb")
    samples = np.array([10, 900, 901, 500_000])
    notes = ["", "on bypass", "", "(N"]
    library.wrann(
        "r", "atr", samples, symbol=["N", '"', "V", "+"], aux_note=notes, fs=360, write_dir=str(tmp_path)
    )
    recording = only(tmp_path / "r.atr")
    assert [note.start_s for note in recording.notes] == [sample / 360 for sample in samples]
    assert [note.text for note in recording.notes] == ["N", "on bypass", "V", "+ (N"]


def test_without_a_resolution_of_its_own_the_frames_of_the_record_count(tmp_path: Path) -> None:
    raw = pair(1, 250) + pair(0, 0)
    (tmp_path / "r.qrs").write_bytes(raw)
    assert wfdb.claims(tmp_path / "r.qrs", raw) is Claim.NOT_MINE  # nothing says what it is
    with pytest.raises(FileUnreadable, match=r"r\.hea is not beside them"):
        only(tmp_path / "r.qrs")
    record(tmp_path, "r", "r 1 125/500 100 10:00:00\ngone.dat 16x4 1/mmHg\n")  # its data file is not needed
    assert wfdb.claims(tmp_path / "r.qrs", raw) is Claim.MINE
    recording = only(tmp_path / "r.qrs")
    assert [note.start_s for note in recording.notes] == [2.0]
    assert (recording.first_stamp, recording.dated) == (datetime(1900, 1, 1, 10), False)


@pytest.mark.parametrize(
    ("raw", "place", "words"),
    [
        (note(0, "## time resolution: 250") + pair(1, 5) + b"\1", "byte 30", "cut"),
        (note(0, "## time resolution: 250") + pair(59, 0) + b"\1\0", "byte 30", "cut"),
        (note(0, "## time resolution: 250") + pair(63, 200) + b"word", "byte 30", "cut"),
        (note(0, "## time resolution: 250") + pair(55, 1) + pair(0, 0), "byte 28", "type 55"),
    ],
)
def test_damaged_annotations_are_told_with_their_byte(
    tmp_path: Path, raw: bytes, place: str, words: str
) -> None:
    path = tmp_path / "r.ann"
    path.write_bytes(raw)
    assert wfdb.claims(path, raw) is Claim.MINE
    with pytest.raises(FileUnreadable) as caught:
        only(path)
    assert (caught.value.path, caught.value.place) == (path, place)
    assert words in caught.value.what


def test_annotations_without_the_mark_of_the_end_are_told(tmp_path: Path) -> None:
    (tmp_path / "r.ann").write_bytes(note(0, "## time resolution: 250") + pair(1, 5))
    recording = only(tmp_path / "r.ann")
    assert len(recording.notes) == 1
    assert "mark of the end" in recording.set_aside[0]


# Whose file it is


def test_each_file_of_a_folder_is_claimed_once(tmp_path: Path) -> None:
    segment(tmp_path, "s1", np.arange(10), "1/mmHg")
    (tmp_path / "whole.hea").write_text("whole/2 1 125 20\nlayout 0\ns1 10\n")
    record(tmp_path, "layout", "layout 1 125 0\n~ 0 1/mmHg 0 0 0 0 0 ABP\n")
    (tmp_path / "s1.qrs").write_bytes(pair(1, 5) + pair(0, 0))
    (tmp_path / "s1.csv").write_text("time,ABP\n0,80\n1,81\n")
    (tmp_path / "s1.bin").write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(40))
    (tmp_path / "other.dat").write_bytes(bytes(10))
    (tmp_path / "s1").write_bytes(bytes(2))
    given = list(tmp_path.iterdir())
    claimed = {
        path.name: Claim.PART if wfdb.part_of(path, given) else wfdb.claims(path, path.read_bytes()[:4096])
        for path in given
    }
    assert claimed == {
        "whole.hea": Claim.MINE,
        "s1.hea": Claim.PART,
        "layout.hea": Claim.PART,
        "s1.dat": Claim.PART,
        "s1.qrs": Claim.MINE,
        "s1.csv": Claim.NOT_MINE,
        "s1.bin": Claim.NOT_MINE,
        "other.dat": Claim.NOT_MINE,
        "s1": Claim.NOT_MINE,
    }


# Real recordings (what they are stands in the README beside them)


def decoded(folder: Path, names: str, form: str, per_frame: list[int]) -> list[np.ndarray]:
    return of_signals(DECODE[form]((folder / names).read_bytes()), per_frame)


def test_the_arterial_record_reads_as_decoded_by_hand(real_traces: Path) -> None:
    folder = real_traces / "arterial_600s"
    recording = only(folder / "03700181.hea")
    by_hand = decoded(folder, "03700181.dat", "212", [4, 1, 1])
    facts = [("MCL1", "mV", 500.0), ("ABP", "mmHg", 125.0), ("RESP", "", 125.0)]
    for channel, written, (label, unit, rate) in zip(recording.channels, by_hand, facts, strict=True):
        codes, valid = codes_and_valid(channel)
        np.testing.assert_array_equal(codes, written)
        assert valid.all()
        assert (channel.label, channel.unit_as_written, channel.segments[0].rate_hz) == (label, unit, rate)
        assert channel.count / rate == 600.0
    abp = recording.channels[1].segments[0]
    assert abp.scale == 1 / 12.84
    pressure = codes_and_valid(recording.channels[1])[0] * abp.scale + abp.offset
    assert pressure[0] == pytest.approx((-943 + 1605) / 12.84)  # first value, gain and baseline of its header
    assert 15 < pressure.min() < pressure.max() < 70  # a low arterial pressure
    assert recording.channels[2].segments[0].start_s == -4 / 125  # written 4 frames late by its header
    assert recording.first_stamp == datetime(1994, 8, 15, 17, 27, 45)
    assert recording.dated
    assert recording.set_aside == ()  # the checksums of the header hold


def test_both_segments_of_the_open_line_read_as_decoded_by_hand(real_traces: Path) -> None:
    folder = real_traces / "arterial_segments"
    found = {}
    for name, frames in (("3975656_0012", 4425), ("3975656_0013", 18075)):
        recording = only(folder / f"{name}.hea")
        for channel, written in zip(
            recording.channels, decoded(folder, f"{name}.dat", "80", [1, 1, 1]), strict=True
        ):
            codes, _ = codes_and_valid(channel)
            np.testing.assert_array_equal(codes, written)
            assert (channel.count, channel.segments[0].rate_hz, channel.dtype) == (frames, 125.0, np.int8)
        assert not recording.dated
        assert recording.set_aside == ()
        found[name] = recording
    assert found["3975656_0012"].channels[2].segments[0].scale == 1.0
    abp = found["3975656_0013"].channels[2]
    pressure = codes_and_valid(abp)[0] * abp.segments[0].scale + abp.segments[0].offset
    assert pressure.max() == pytest.approx(270, abs=0.01)  # the flush, clipped
    assert found["3975656_0013"].first_stamp == datetime(1900, 1, 1, 8, 35, 48, 212000)


def test_the_flac_record_reads_as_soundfile_decodes_it(real_traces: Path) -> None:
    soundfile = pytest.importorskip("soundfile")
    folder = real_traces / "mixed_rates"
    recording = only(folder / "mixedsignals.hea")
    by_hand = [
        soundfile.read(folder / f"mixedsignals_{name}.dat", dtype="int16", always_2d=True)[0][:, index]
        for name, count in (("e", 3), ("p", 2), ("r", 1))
        for index in range(count)
    ]
    rates = [4 * 62.4725] * 3 + [2 * 62.4725] * 2 + [62.4725]
    for channel, written, rate in zip(recording.channels, by_hand, rates, strict=True):
        codes, valid = codes_and_valid(channel)
        np.testing.assert_array_equal(codes, written)
        np.testing.assert_array_equal(valid, written != -32768)
        assert channel.segments[0].rate_hz == rate
        assert channel.count == rate / 62.4725 * 14400
    abp = recording.channels[3]
    codes, valid = codes_and_valid(abp)
    pressure = (codes * abp.segments[0].scale + abp.segments[0].offset)[valid]
    assert (abp.segments[0].scale, abp.segments[0].offset) == (1 / 16, -50.0)
    assert 40 < pressure.min() < pressure.max() < 200
    assert recording.first_stamp is None
    assert recording.set_aside == ()


@pytest.mark.parametrize(
    ("folder", "name", "ticks_per_s"),
    [
        ("arterial_600s", "03700181.sqrs", 250),
        ("arterial_600s", "03700181.gqrsh", 500),
        ("arterial_600s", "03700181.gqrsl", 125),
        ("annotations_only", "12726.wabp", 250),
        ("annotations_only", "12726.wqrs", 250),
        ("annotations_only", "12726.anI", 250),
    ],
)
def test_real_annotations_read_as_the_library_reads_them(
    real_traces: Path, folder: str, name: str, ticks_per_s: int
) -> None:
    library = pytest.importorskip("wfdb")
    path = real_traces / folder / name
    assert wfdb.claims(path, path.read_bytes()[:4096]) is Claim.MINE
    recording = only(path)
    oracle = library.rdann(str(path.with_suffix("")), path.suffix[1:])
    assert oracle.fs == ticks_per_s
    # The library drops remarks at tick 0, which here are the calls of the programs that found the beats.
    notes = [note for note in recording.notes if note.start_s > 0]
    assert [round(note.start_s * ticks_per_s) for note in notes] == oracle.sample.tolist()
    for note, symbol, text in zip(notes, oracle.symbol, oracle.aux_note, strict=True):
        if not isinstance(symbol, str):  # a type that the file defines in a form that the library passes over
            assert note.text.split()[0] == "CAL"
            continue
        assert note.text == (text if symbol == '"' else f"{symbol} {text}".strip())
    if folder == "arterial_600s":  # about 123 beats a minute
        assert 60 / np.median(np.diff([note.start_s for note in notes])) == pytest.approx(123, abs=3)


def test_a_real_header_without_its_data_file_names_it(real_traces: Path) -> None:
    path = real_traces / "annotations_only" / "12726.hea"
    with pytest.raises(FileUnreadable) as caught:
        only(path)
    assert (caught.value.path, caught.value.place) == (path, "line 2")
    assert "'12726.dat'" in caught.value.what
    assert "annotation file" in caught.value.todo
    texts = [note.text for note in only(path.with_suffix(".anI")).notes]
    assert "Initiate slow tilt up" in texts
    assert "Lost ECG signal due to poor electrode-skin contac" in "".join(texts)

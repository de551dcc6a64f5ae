"""EDF, EDF+ and BDF: files written byte by byte here, by edfio and by pyedflib, against what the reader gives.

Byte layout: Kemp et al., Electroencephalogr Clin Neurophysiol 1992;82:391-393; annotations and time of records:
Kemp and Olivan, Clin Neurophysiol 2003;114:1755-1761 (EDF+), sections 2.1 and 2.2. BDF: the same with samples of
three bytes, lowest first, and byte 255 with a name in the first field; pyedflib writes it by its own code.
"""

from __future__ import annotations

import tracemalloc
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io.errors import FileUnreadable
from afterclamp.io.readers import Claim, edf
from afterclamp.io.recording import RecordedChannel, Recording
from hypothesis import given, settings
from hypothesis import strategies as st


@dataclass
class Written:
    """An EDF or BDF file put together byte by byte; fields can be spoilt before it is written."""

    codes: list[np.ndarray]  # per signal: (records, samples in a record)
    labels: list[str] = field(default_factory=list)
    lists: list[bytes] = field(default_factory=list)  # per record, for the annotations signal
    reserved: str = ""
    record_s: str = "1"
    date: str = "14.03.31"
    time: str = "08.15.30"
    recording: str = "Startdate 14-MAR-2031 X X Device_7"
    physical: tuple[str, str] = ("-300", "355.35")
    digital: tuple[str, str] = ("-32768", "32767")
    unit: str = "mmHg"
    records: int | None = None
    sample_bytes: int = 2  # 3: BDF

    def bytes(self) -> bytes:
        labels = self.labels or [f"ABP {number}" for number in range(len(self.codes))]
        samples = [array.shape[1] for array in self.codes]
        each_bytes = self.sample_bytes
        family, version = ("EDF", b"0       ") if each_bytes == 2 else ("BDF", b"\xffBIOSEMI")
        lowest = {2: "-32768", 3: "-8388608"}[each_bytes]
        signals = [
            array.astype("<i4").view(np.uint8).reshape(len(array), -1, 4)[:, :, :each_bytes]
            for array in self.codes
        ]
        ordinary = len(signals)
        width = 0
        if self.lists:
            width = -(-(max(map(len, self.lists)) + 1) // each_bytes) * each_bytes
            labels, samples = [*labels, f"{family} Annotations"], [*samples, width // each_bytes]
        count = len(labels)
        many = len(self.lists) if self.lists else len(signals[0])

        def each(size: int, ordinary_text: str, annotations_text: str = "") -> str:
            texts = [ordinary_text] * ordinary + [annotations_text] * (count - ordinary)
            return "".join(text.ljust(size) for text in texts)

        header = (
            "MCH-0234567 F 02-MAY-1951 Invented_Name".ljust(80)
            + self.recording.ljust(80)
            + self.date.ljust(8)
            + self.time.ljust(8)
            + str(256 * (count + 1)).ljust(8)
            + self.reserved.ljust(44)
            + str(many if self.records is None else self.records).ljust(8)
            + self.record_s.ljust(8)
            + str(count).ljust(4)
            + "".join(label.ljust(16) for label in labels)
            + each(80, "catheter")
            + each(8, self.unit)
            + each(8, self.physical[0], "-1")
            + each(8, self.physical[1], "1")
            + each(8, self.digital[0], lowest)
            + each(8, self.digital[1], lowest[1:-1] + "7")
            + each(80, "HP:0.05Hz")
            + "".join(str(number).ljust(8) for number in samples)
            + each(32, "")
        )
        rows = []
        for record in range(many):
            rows += [signal[record].tobytes() for signal in signals]
            if self.lists:
                rows.append(self.lists[record].ljust(width, b"\0"))
        return version + header.encode("latin-1") + b"".join(rows)

    def at(self, folder: Path, name: str = "case.edf") -> Path:
        path = folder / name
        path.write_bytes(self.bytes())
        return path


def only(path: Path) -> Recording:
    (recording,) = edf.read(path, {})
    return recording


def codes_of(channel: RecordedChannel, dtype: type[np.signedinteger] = np.int16) -> np.ndarray:
    blocks = list(channel.blocks())
    assert all(block.valid is None for block in blocks)
    codes = np.concatenate([block.codes for block in blocks])
    assert codes.dtype == channel.dtype == dtype
    assert len(codes) == channel.count == sum(segment.count for segment in channel.segments)
    return codes


def ramp(records: int, samples: int, start: int = 0) -> np.ndarray:
    return (np.arange(records * samples, dtype=np.int64).reshape(records, samples) + start).astype(np.int16)


def starts(*onsets: str) -> list[bytes]:
    return [f"{onset}\x14\x14\0".encode() for onset in onsets]


# Samples and scale


def test_codes_come_back_exactly_and_each_channel_has_its_own_rate(tmp_path: Path) -> None:
    fast, slow = ramp(4, 500, -1000), ramp(4, 2, 7)
    recording = only(Written([fast, slow], labels=["ABP fem", "T naso"]).at(tmp_path))
    assert [channel.segments[0].rate_hz for channel in recording.channels] == [500.0, 2.0]
    assert [channel.label for channel in recording.channels] == ["ABP fem", "T naso"]
    np.testing.assert_array_equal(codes_of(recording.channels[0]), fast.ravel())
    np.testing.assert_array_equal(codes_of(recording.channels[1]), slow.ravel())


@settings(max_examples=25, deadline=None)
@given(
    shape=st.tuples(st.integers(1, 7), st.integers(1, 40), st.integers(1, 9)),
    block=st.integers(1, 50),
    slab=st.integers(1, 400),
    worth=st.integers(1, 200),
    seed=st.integers(0, 2**32 - 1),
)
def test_codes_come_back_exactly_however_the_file_is_cut_into_pieces(
    tmp_path_factory: pytest.TempPathFactory,
    shape: tuple[int, int, int],
    block: int,
    slab: int,
    worth: int,
    seed: int,
) -> None:
    records, first, second = shape
    rng = np.random.default_rng(seed)
    codes = [rng.integers(-32768, 32768, (records, many)).astype(np.int16) for many in (first, second)]
    path = Written(codes, lists=starts(*(f"+{n}" for n in range(records))), reserved="EDF+C").at(
        tmp_path_factory.mktemp("edf")
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(edf, "_BLOCK", block)
        patch.setattr(edf, "_SLAB", slab)
        patch.setattr(edf, "_WORTH_SEEKING", worth)
        for channel, written in zip(only(path).channels, codes, strict=True):
            np.testing.assert_array_equal(codes_of(channel), written.ravel())


def test_one_record_that_holds_the_whole_recording_is_handed_over_in_pieces(tmp_path: Path) -> None:
    codes = [ramp(1, 3_000_000), ramp(1, 6000)]
    recording = only(Written(codes, record_s="6000").at(tmp_path))
    sizes = [len(block.codes) for block in recording.channels[0].blocks()]
    assert max(sizes) <= 1 << 20
    np.testing.assert_array_equal(codes_of(recording.channels[0]), codes[0].ravel())
    np.testing.assert_array_equal(codes_of(recording.channels[1]), codes[1].ravel())
    assert recording.channels[0].segments[0].rate_hz == 500.0


def test_physical_limits_give_the_values_at_digital_limits(tmp_path: Path) -> None:
    # 1992, "digital minimum and maximum ... correspond to physical minimum and maximum"; negative gain is legal.
    path = Written([ramp(1, 4)], physical=("100", "-50"), digital=("-100", "200")).at(tmp_path)
    segment = only(path).channels[0].segments[0]
    assert -100 * segment.scale + segment.offset == pytest.approx(100, abs=1e-12)
    assert 200 * segment.scale + segment.offset == pytest.approx(-50, abs=1e-12)


def test_memory_stays_bounded_whatever_the_length(tmp_path: Path) -> None:
    path = Written([ramp(1, 500)] * 8, records=25_000).at(tmp_path)
    with path.open("r+b") as file:  # 200 MB of which the disk holds only the header
        file.truncate(256 * 9 + 25_000 * 8000)
    tracemalloc.start()
    try:
        count = sum(len(block.codes) for block in only(path).channels[0].blocks())
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert count == 25_000 * 500
    assert peak < 30e6


# Against other libraries


def test_a_file_of_edfio_reads_as_edfio_wrote_it(tmp_path: Path) -> None:
    edfio = pytest.importorskip("edfio")
    rng = np.random.default_rng(4)
    wave = np.clip(80 + 20 * rng.standard_normal(5000), -299, 355)
    trend = 30 + rng.random(10)
    written = edfio.Edf(
        [
            edfio.EdfSignal(
                wave,
                500,
                label="ABP",
                physical_dimension="mmHg",
                physical_range=(-300, 355.35),
                prefiltering="none",
            ),
            edfio.EdfSignal(trend, 1, label="T naso", physical_dimension="degC", physical_range=(0, 50)),
        ],
        recording=edfio.Recording(startdate=date(2031, 3, 14)),
        starttime=time(8, 15, 30, 123456),
        annotations=[
            edfio.EdfAnnotation(2.5, 1.25, "Kühlung beginnt"),
            edfio.EdfAnnotation(4.0, None, "on bypass"),
        ],
    )
    path = tmp_path / "by_edfio.edf"
    written.write(path)
    recording = only(path)
    read_back = edfio.read_edf(path)
    for channel, signal in zip(recording.channels, read_back.signals, strict=True):
        codes = codes_of(channel)
        np.testing.assert_array_equal(codes, signal.digital)
        segment = channel.segments[0]
        np.testing.assert_allclose(codes * segment.scale + segment.offset, signal.data, rtol=0, atol=1e-9)
        assert (channel.label, channel.unit_as_written) == (signal.label, signal.physical_dimension)
        assert segment.rate_hz == signal.sampling_frequency
    assert recording.first_stamp == datetime(2031, 3, 14, 8, 15, 30, 123456)
    assert recording.dated
    assert [(n.text, n.start_s, n.end_s) for n in recording.notes] == [
        ("Kühlung beginnt", pytest.approx(2.5, abs=1e-9), pytest.approx(3.75, abs=1e-9)),
        ("on bypass", pytest.approx(4.0, abs=1e-9), pytest.approx(4.0, abs=1e-9)),
    ]
    assert recording.set_aside == ()


def test_a_file_of_pyedflib_reads_as_pyedflib_reads_it(tmp_path: Path) -> None:
    pyedflib = pytest.importorskip("pyedflib")
    path = tmp_path / "by_pyedflib.edf"
    rng = np.random.default_rng(5)
    with pyedflib.EdfWriter(str(path), 2, file_type=pyedflib.FILETYPE_EDFPLUS) as writer:
        for index, (label, rate) in enumerate((("ABP", 250), ("CVP", 125))):
            writer.setSignalHeader(
                index,
                {
                    "label": label,
                    "dimension": "mmHg",
                    "sample_frequency": rate,
                    "physical_min": -50.0,
                    "physical_max": 350.0,
                    "digital_min": -4000,
                    "digital_max": 4000,
                    "prefilter": "",
                    "transducer": "",
                },
            )
        writer.setStartdatetime(datetime(2031, 3, 14, 8, 15, 30))
        writer.writeSamples([rng.uniform(-40, 300, 250 * 6), rng.uniform(-5, 30, 125 * 6)])
        writer.writeAnnotation(1.5, -1, "clamp on")
    recording = only(path)
    with pyedflib.EdfReader(str(path)) as reader:
        for index, channel in enumerate(recording.channels):
            codes, segment = codes_of(channel), channel.segments[0]
            np.testing.assert_array_equal(codes, reader.readSignal(index, digital=True))
            np.testing.assert_allclose(
                codes * segment.scale + segment.offset, reader.readSignal(index), atol=1e-9
            )
            assert segment.rate_hz == reader.getSampleFrequency(index)
        onsets, _, texts = reader.readAnnotations()
    assert [(note.start_s, note.text) for note in recording.notes] == list(zip(onsets, texts, strict=True))
    assert recording.first_stamp == datetime(2031, 3, 14, 8, 15, 30)


# Samples of three bytes


@settings(max_examples=15, deadline=None)
@given(
    shape=st.tuples(st.integers(1, 5), st.integers(1, 20), st.integers(1, 9)),
    block=st.integers(1, 50),
    slab=st.integers(1, 400),
    worth=st.integers(1, 200),
    seed=st.integers(0, 2**32 - 1),
)
def test_24_bit_codes_come_back_exactly_however_the_file_is_cut_into_pieces(
    tmp_path_factory: pytest.TempPathFactory,
    shape: tuple[int, int, int],
    block: int,
    slab: int,
    worth: int,
    seed: int,
) -> None:
    records, first, second = shape
    rng = np.random.default_rng(seed)
    codes = [rng.integers(-(2**23), 2**23, (records, many)) for many in (first, second)]
    codes[0][0, 0], codes[1][0, 0] = -(2**23), 2**23 - 1
    path = Written(
        codes,
        lists=starts(*(f"+{n}" for n in range(records))),
        reserved="BDF+C",
        sample_bytes=3,
        digital=("-8388608", "8388607"),
    ).at(tmp_path_factory.mktemp("bdf"), "case.bdf")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(edf, "_BLOCK", block)
        patch.setattr(edf, "_SLAB", slab)
        patch.setattr(edf, "_WORTH_SEEKING", worth)
        for channel, written in zip(only(path).channels, codes, strict=True):
            np.testing.assert_array_equal(codes_of(channel, np.int32), written.ravel())


def test_bdf_written_by_pyedflib_reads_as_pyedflib_reads_it(tmp_path: Path) -> None:
    pyedflib = pytest.importorskip("pyedflib")
    path = tmp_path / "by_pyedflib.bdf"
    codes = np.random.default_rng(7).integers(-(2**23), 2**23, 250 * 6).astype(np.int32)
    with pyedflib.EdfWriter(str(path), 1, file_type=pyedflib.FILETYPE_BDFPLUS) as writer:
        writer.setSignalHeader(
            0,
            {
                "label": "ABP", "dimension": "mmHg", "sample_frequency": 250, "prefilter": "", "transducer": "",
                "physical_min": -300.0, "physical_max": 500.0, "digital_min": -(2**23), "digital_max": 2**23 - 1,
            },
        )  # fmt: skip
        writer.setStartdatetime(datetime(2031, 3, 14, 8, 15, 30))
        writer.writeSamples([codes], digital=True)
        writer.writeAnnotation(1.5, 2.0, "clamp on")
    recording = only(path)
    (channel,) = recording.channels
    np.testing.assert_array_equal(codes_of(channel, np.int32), codes)
    with pyedflib.EdfReader(str(path)) as reader:
        segment = channel.segments[0]
        np.testing.assert_allclose(codes * segment.scale + segment.offset, reader.readSignal(0), atol=1e-6)
    assert (recording.reader, recording.about["format"]) == ("BDF", "BDF+C")
    assert [(note.start_s, note.end_s, note.text) for note in recording.notes] == [(1.5, 3.5, "clamp on")]
    assert (recording.first_stamp, recording.dated) == (datetime(2031, 3, 14, 8, 15, 30), True)


def test_bdf_without_annotations_is_known_by_its_first_field(tmp_path: Path) -> None:
    codes = ramp(3, 10, -5)
    written = Written([codes], reserved="24BIT", sample_bytes=3, digital=("-8388608", "8388607"))
    recording = only(written.at(tmp_path, "odd.name"))
    np.testing.assert_array_equal(codes_of(recording.channels[0], np.int32), codes.ravel())
    assert recording.about["format"] == "BDF"
    # the same codes are out of range for two bytes: said so, not cut
    raw = b"0       " + written.bytes()[8:]
    (tmp_path / "lie.edf").write_bytes(raw)
    with pytest.raises(FileUnreadable, match="-8388608"):
        only(tmp_path / "lie.edf")


def test_records_of_bdf_plus_d_are_cut_where_their_times_jump(tmp_path: Path) -> None:
    written = Written([ramp(3, 10)], lists=starts("+0", "+1", "+7.5"), reserved="BDF+D", sample_bytes=3)
    recording = only(written.at(tmp_path, "x.bdf"))
    assert [(s.start_s, s.count) for s in recording.channels[0].segments] == [(0.0, 20), (7.5, 10)]


# Time (EDF+, 2.2.4)


def test_records_of_edf_plus_d_are_cut_where_their_times_jump(tmp_path: Path) -> None:
    codes = ramp(5, 10)
    path = Written([codes], lists=starts("+0", "+1", "+7.5", "+8.5", "+20"), reserved="EDF+D").at(tmp_path)
    recording = only(path)
    segments = recording.channels[0].segments
    assert [(s.start_s, s.first, s.count, s.run) for s in segments] == [
        (0.0, 0, 20, 0),
        (7.5, 20, 20, 0),
        (20.0, 40, 10, 0),
    ]
    np.testing.assert_array_equal(codes_of(recording.channels[0]), codes.ravel())


@pytest.mark.parametrize(("second", "pieces"), [("+1.04", 1), ("+1.06", 2), ("+0.96", 1), ("+0.94", 2)])
def test_a_jump_counts_from_half_a_sample_of_the_fastest_channel(
    tmp_path: Path, second: str, pieces: int
) -> None:
    codes = [ramp(2, 10), ramp(2, 1)]  # 10 Hz: half a sample is 0.05 s
    path = Written(codes, lists=starts("+0", second), reserved="EDF+D").at(tmp_path)
    for channel in only(path).channels:
        assert len(channel.segments) == pieces
        assert {segment.run for segment in channel.segments} == {0}


def test_a_drift_within_half_a_sample_of_each_record_still_cuts_once_it_adds_up(tmp_path: Path) -> None:
    told = [f"+{n * 1.02:.2f}" for n in range(6)]
    segments = (
        only(Written([ramp(6, 10)], lists=starts(*told), reserved="EDF+D").at(tmp_path)).channels[0].segments
    )
    assert [(s.start_s, s.count) for s in segments] == [(0.0, 30), (pytest.approx(3.06), 30)]


def test_a_clock_that_was_set_back_starts_a_new_run_and_notes_go_with_their_record(tmp_path: Path) -> None:
    lists = starts("+0", "+1", "+0.5", "+1.5")
    lists[1] = b"+1\x14\x14\0+1.25\x14before\x14\0"
    lists[2] = b"+0.5\x14\x14\0+0.75\x14after\x14\0"
    recording = only(Written([ramp(4, 10)], lists=lists, reserved="EDF+D").at(tmp_path))
    assert [(s.start_s, s.run) for s in recording.channels[0].segments] == [(0.0, 0), (0.5, 1)]
    assert [(note.text, note.start_s, note.run) for note in recording.notes] == [
        ("before", 1.25, 0),
        ("after", 0.75, 1),
    ]


def test_the_fraction_of_a_second_in_the_first_record_is_kept(tmp_path: Path) -> None:
    lists = starts("+0.123456", "+1.123456")
    lists[0] = b"+0.123456\x14\x14\0+0.623456\x14event\x14\0"
    recording = only(Written([ramp(2, 10)], lists=lists, reserved="EDF+C").at(tmp_path))
    assert recording.first_stamp == datetime(2031, 3, 14, 8, 15, 30, 123456)
    assert recording.channels[0].segments[0].start_s == 0.0
    assert recording.notes[0].start_s == pytest.approx(0.5, abs=1e-12)


def test_a_record_without_a_time_is_taken_as_following_and_told(tmp_path: Path) -> None:
    lists = [*starts("+0", "+5"), b"", *starts("+7")]
    recording = only(Written([ramp(4, 10)], lists=lists, reserved="EDF+D").at(tmp_path))
    assert [(s.start_s, s.count) for s in recording.channels[0].segments] == [(0.0, 10), (5.0, 30)]
    assert "record 3" in recording.set_aside[0]


def test_a_header_that_denies_the_gaps_of_its_records_is_told(tmp_path: Path) -> None:
    recording = only(Written([ramp(3, 10)], lists=starts("+0", "+1", "+9"), reserved="EDF+C").at(tmp_path))
    assert [s.start_s for s in recording.channels[0].segments] == [0.0, 9.0]
    assert "record 3" in recording.set_aside[0]
    # Times that do not run forward are no clock: then the header stands.
    recording = only(Written([ramp(3, 10)], lists=starts("+0", "+0", "+0"), reserved="EDF+C").at(tmp_path))
    assert [(s.start_s, s.count) for s in recording.channels[0].segments] == [(0.0, 30)]
    assert "record 2" in recording.set_aside[0]


@pytest.mark.parametrize(
    ("reserved", "day", "clock", "recording_field", "stamp", "dated"),
    [
        (
            "EDF+C",
            "14.03.31",
            "08.15.30",
            "Startdate 14-MAR-2031 X X X",
            datetime(2031, 3, 14, 8, 15, 30),
            True,
        ),
        # EDF+ 2.1.3: from 2085 on the four-digit year counts
        ("EDF+C", "14.03.yy", "08.15.30", "Startdate 14-MAR-2085 X X X", None, False),
        (
            "EDF+C",
            "14.03.85",
            "08.15.30",
            "Startdate 14-MAR-2085 X X X",
            datetime(2085, 3, 14, 8, 15, 30),
            True,
        ),
        ("", "14.03.85", "08.15.30", "", datetime(1985, 3, 14, 8, 15, 30), True),  # clipping year of EDF
        ("", "14.03.84", "08.15.30", "", datetime(2084, 3, 14, 8, 15, 30), True),
        ("EDF+C", "01.01.85", "08.15.30", "Startdate X X X X", datetime(1985, 1, 1, 8, 15, 30), False),
        ("", "01.01.85", "08.15.30", "", datetime(1985, 1, 1, 8, 15, 30), False),
        ("EDF+C", "01.01.85", "00.00.00", "Startdate X X X X", None, False),
        ("", "31.02.31", "08.15.30", "", None, False),
        ("", "", "", "", None, False),
    ],
)
def test_the_date_counts_only_where_it_was_written(
    tmp_path: Path,
    reserved: str,
    day: str,
    clock: str,
    recording_field: str,
    stamp: datetime | None,
    dated: bool,
) -> None:
    lists = starts("+0") if reserved else []
    path = Written(
        [ramp(1, 10)], lists=lists, reserved=reserved, date=day, time=clock, recording=recording_field
    ).at(tmp_path)
    recording = only(path)
    assert (recording.first_stamp, recording.dated) == (stamp, dated)


# Annotations (EDF+, 2.2)


def test_annotations_give_onset_duration_and_each_text(tmp_path: Path) -> None:
    lists = starts("+0", "+1")
    lists[0] = b"+0\x14\x14first\x14\0+0.25\x150.5\x14one\x14two\x14\0"
    lists[1] = b"+1\x14\x14\0-3\x14" + "Temperatur 34,5 °C".encode() + b"\x14\0"
    recording = only(Written([ramp(2, 10)], lists=lists, reserved="EDF+C").at(tmp_path))
    assert [(note.start_s, note.end_s, note.text) for note in recording.notes] == [
        (0.0, 0.0, "first"),
        (0.25, 0.75, "one"),
        (0.25, 0.75, "two"),
        (-3.0, -3.0, "Temperatur 34,5 °C"),
    ]


@pytest.mark.parametrize(
    "bad", [b"1.5\x14no sign\x14", b"+1.5 no end", b"+x\x14word\x14", b"+1\x15-2\x14word\x14"]
)
def test_an_annotation_out_of_form_is_set_aside_with_its_record(tmp_path: Path, bad: bytes) -> None:
    lists = [b"+0\x14\x14\0", b"+1\x14\x14\0" + bad + b"\0+1.75\x14good\x14\0"]
    recording = only(Written([ramp(2, 10)], lists=lists, reserved="EDF+C").at(tmp_path))
    assert [note.text for note in recording.notes] == ["good"]
    assert len(recording.set_aside) == 1
    assert "record 2" in recording.set_aside[0]


def test_a_text_that_is_not_utf8_is_kept_as_far_as_it_reads(tmp_path: Path) -> None:
    lists = [b"+0\x14\x14\0+0.5\x14K\xfchlung\x14\0"]
    recording = only(Written([ramp(1, 10)], lists=lists, reserved="EDF+C").at(tmp_path))
    assert recording.notes[0].text == "K\N{REPLACEMENT CHARACTER}hlung"
    assert "record 1" in recording.set_aside[0]


def test_a_file_of_annotations_alone_gives_notes_and_no_channel(tmp_path: Path) -> None:
    lists = [b"+0\x14\x14\0+60\x14clamp on\x14\0", b"+120\x14\x14\0+150\x14clamp off\x14\0"]
    recording = only(Written([], lists=lists, reserved="EDF+D", record_s="0").at(tmp_path))
    assert recording.channels == ()
    assert [(note.start_s, note.text) for note in recording.notes] == [
        (60.0, "clamp on"),
        (150.0, "clamp off"),
    ]


# What else the file says


def test_keys_are_plain_and_unique_and_who_was_recorded_stays_in_the_file(tmp_path: Path) -> None:
    path = Written(
        [ramp(1, 4)] * 4,
        labels=["ART-1 (fem.)", "ART-1 (fem.)", "Temp °C", ""],
        unit="°C",
        lists=starts("+0"),
        reserved="EDF+C",
    ).at(tmp_path, "Fall 7 - Monitor.edf")
    recording = only(path)
    assert [channel.key for channel in recording.channels] == [
        "ART_1_fem",
        "ART_1_fem_2",
        "Temp_C",
        "channel_4",
    ]
    assert recording.channels[2].label == "Temp °C"
    assert recording.channels[2].unit_as_written == "°C"
    assert recording.name == "Fall_7_Monitor"
    assert recording.about["equipment"] == "Device 7"
    assert recording.about["Temp_C transducer"] == "catheter"
    told = repr(recording.about) + repr(recording.set_aside)
    assert "Invented" not in told
    assert "1951" not in told


def test_a_recording_that_was_not_closed_gives_what_its_length_holds(tmp_path: Path) -> None:
    codes = ramp(3, 10)
    path = Written([codes], records=-1).at(tmp_path)
    path.write_bytes(path.read_bytes() + b"\1\2\3")
    recording = only(path)
    np.testing.assert_array_equal(codes_of(recording.channels[0]), codes.ravel())
    assert "3 records" in recording.set_aside[0]
    assert "3 bytes" in recording.set_aside[0]


# Damaged files

GOOD = Written([ramp(3, 10), ramp(3, 5)])
FIELDS = 256  # where the fields of the two signals begin


def spoilt(place: int, text: str, width: int = 8) -> bytes:
    raw = bytearray(GOOD.bytes())
    raw[place : place + width] = text.encode("latin-1").ljust(width)
    return bytes(raw)


@pytest.mark.parametrize(
    ("raw", "place", "words"),
    [
        (b"", "", "empty"),
        (GOOD.bytes()[:100], "byte 100", "256"),
        (GOOD.bytes()[:600], "byte 600", "768"),
        (GOOD.bytes()[:-1], "byte 236", "3 records of 30 bytes"),
        (GOOD.bytes()[:-30], "byte 236", "2 records"),
        (GOOD.bytes() + bytes(30), "byte 236", "4 records"),
        (GOOD.bytes() + b"\0", "byte 236", "1 bytes of an incomplete one"),
        (spoilt(236, "99999999"), "byte 236", "99999999 records"),
        (spoilt(236, "-2"), "byte 236", "-2"),
        (spoilt(236, "three"), "byte 236", "'three'"),
        (spoilt(236, "1e3"), "byte 236", "'1e3'"),
        (spoilt(184, "1024"), "byte 184", "768"),
        (spoilt(184, ""), "byte 184", "''"),
        (spoilt(244, "0"), "byte 244", "duration"),
        (spoilt(244, "-1"), "byte 244", "duration"),
        (spoilt(244, "nan"), "byte 244", "'nan'"),
        (spoilt(244, "1e-300"), "byte 244", "Hz"),
        (spoilt(244, "1e99"), "byte 244", "Hz"),
        (spoilt(244, "1,5"), "byte 244", "'1,5'"),
        (spoilt(252, "0", 4), "byte 252", "number of signals"),
        (spoilt(252, "-4", 4), "byte 252", "number of signals"),
        (spoilt(252, "9999", 4), "byte 184", "9999 signals"),
        (spoilt(FIELDS + 104 * 2, "355.35"), f"byte {FIELDS + 104 * 2}", "'ABP 0'"),  # physical min = max
        (spoilt(FIELDS + 104 * 2 + 8, "inf"), f"byte {FIELDS + 104 * 2 + 8}", "'ABP 1'"),
        (spoilt(FIELDS + 112 * 2, "1e999"), f"byte {FIELDS + 112 * 2}", "physical maximum"),
        (spoilt(FIELDS + 120 * 2, "32767"), f"byte {FIELDS + 120 * 2}", "digital minimum"),
        (spoilt(FIELDS + 120 * 2, "-32769"), f"byte {FIELDS + 120 * 2}", "-32769"),
        (spoilt(FIELDS + 128 * 2 + 8, "99999999"), f"byte {FIELDS + 128 * 2 + 8}", "99999999"),
        (spoilt(FIELDS + 216 * 2, "0"), f"byte {FIELDS + 216 * 2}", "samples"),
        (spoilt(FIELDS + 216 * 2 + 8, "-5"), f"byte {FIELDS + 216 * 2 + 8}", "samples"),
        (spoilt(FIELDS + 216 * 2 + 8, "99999999"), "byte 236", "holds 90"),
        (spoilt(FIELDS + 216 * 2, "ten"), f"byte {FIELDS + 216 * 2}", "'ten'"),
        (spoilt(0, "1"), "byte 0", "begins with"),
    ],
)
def test_a_damaged_file_is_told_with_its_name_the_byte_and_what_to_do(
    tmp_path: Path, raw: bytes, place: str, words: str
) -> None:
    path = tmp_path / "damaged.edf"
    path.write_bytes(raw)
    assert edf.claims(path, raw[:4096]) is Claim.MINE
    tracemalloc.start()
    try:
        with pytest.raises(FileUnreadable) as caught:
            edf.read(path, {})
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert caught.value.path == path
    assert caught.value.place == place
    assert words in caught.value.what
    assert caught.value.todo
    assert str(path) in str(caught.value)
    assert peak < 4e6  # nothing was set up for what a header merely claims


def test_no_records_at_all_is_told(tmp_path: Path) -> None:
    path = Written([ramp(1, 10)], records=0).at(tmp_path)
    path.write_bytes(path.read_bytes()[:512])
    with pytest.raises(FileUnreadable, match="byte 236: the file holds no data records"):
        edf.read(path, {})


def test_a_file_that_shrinks_while_it_is_read_is_told(tmp_path: Path) -> None:
    path = Written([ramp(50, 10)]).at(tmp_path)
    recording = only(path)
    with path.open("r+b") as file:
        file.truncate(700)
    with pytest.raises(FileUnreadable, match="became shorter"):
        codes_of(recording.channels[0])


def test_a_file_that_is_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(FileUnreadable, match="cannot be opened"):
        edf.read(tmp_path / "gone.edf", {})


@pytest.mark.parametrize(
    ("name", "head", "claim"),
    [
        ("x.edf", GOOD.bytes(), Claim.MINE),
        ("x.rec", GOOD.bytes(), Claim.MINE),
        ("x.EDF", b"", Claim.MINE),
        ("x.csv", b"0       ;12;13\n" * 100, Claim.NOT_MINE),
        ("x.bdf", b"", Claim.MINE),
        ("x.rec", b"\xffBIOSEMI" + GOOD.bytes()[8:], Claim.MINE),
        ("x.txt", b"WEBVTT\n\n00:00.000 --> 00:01.000\nhello\n", Claim.NOT_MINE),
    ],
)
def test_it_claims_by_the_first_bytes_or_the_name(
    tmp_path: Path, name: str, head: bytes, claim: Claim
) -> None:
    assert edf.claims(tmp_path / name, head[:4096]) is claim

"""DICOM waveforms: files put together byte by byte here, and one that another program wrote, against the reader.

The bytes are laid out from the standard: data elements PS3.5 chapter 7, file header PS3.10 chapter 7, waveform
module PS3.3 C.10.9, annotations C.10.10. The reader takes fields by pydicom and samples by itself, so samples are
held against the codes written here and against pydicom's own decoding.
"""

from __future__ import annotations

import struct
import tracemalloc
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io import bring_in
from afterclamp.io.errors import FileUnreadable
from afterclamp.io.readers import Claim, dicom
from afterclamp.io.recording import RecordedChannel, Recording
from hypothesis import given, settings
from hypothesis import strategies as st

HEMODYNAMIC = "1.2.840.10008.5.1.4.1.1.9.2.1"
EXPLICIT, IMPLICIT, BIG = "1.2.840.10008.1.2.1", "1.2.840.10008.1.2", "1.2.840.10008.1.2.2"
LONG = ("OB", "OW", "SQ", "UN", "UT")  # PS3.5, 7.1.2: these have four bytes of length in explicit VR


@dataclass(frozen=True)
class Encoder:
    """Data elements of one transfer syntax."""

    syntax: str = EXPLICIT
    undefined: bool = False  # sequences and items without a length, closed by a mark

    @property
    def order(self) -> str:
        return ">" if self.syntax == BIG else "<"

    def element(self, tag: int, vr: str, value: bytes | str | float) -> bytes:
        if isinstance(value, (int, float)):
            form = {"US": "H", "UL": "L", "SL": "l"}.get(vr)
            value = struct.pack(self.order + form, value) if form else f"{value:.15g}"
        if isinstance(value, str):
            value = value.encode()
        value += (b"\0" if vr in ("UI", "OB", "OW") else b" ") * (len(value) % 2)
        return self.head(tag, vr, len(value)) + value

    def head(self, tag: int, vr: str, length: int) -> bytes:
        start = struct.pack(self.order + "HH", tag >> 16, tag & 0xFFFF)
        if self.syntax == IMPLICIT:
            return start + struct.pack(self.order + "L", length)
        if vr in LONG:
            return start + vr.encode() + b"\0\0" + struct.pack(self.order + "L", length)
        return start + vr.encode() + struct.pack(self.order + "H", length)

    def sequence(self, tag: int, *items: bytes) -> bytes:
        mark = self.order + "HHL"
        if self.undefined:
            body = b"".join(
                struct.pack(mark, 0xFFFE, 0xE000, 0xFFFFFFFF) + item + struct.pack(mark, 0xFFFE, 0xE00D, 0)
                for item in items
            )
            return self.head(tag, "SQ", 0xFFFFFFFF) + body + struct.pack(mark, 0xFFFE, 0xE0DD, 0)
        body = b"".join(struct.pack(mark, 0xFFFE, 0xE000, len(item)) + item for item in items)
        return self.head(tag, "SQ", len(body)) + body

    def code(self, tag: int, value: str, meaning: str, scheme: str = "UCUM") -> bytes:
        item = self.element(0x00080100, "SH", value) + self.element(0x00080102, "SH", scheme)
        return self.sequence(tag, item + self.element(0x00080104, "LO", meaning))


@dataclass(frozen=True)
class Channel:
    label: str = "ABP"
    source: str = ""
    unit: str = "mm[Hg]"
    sensitivity: str = "0.05"
    correction: str = "1"
    baseline: str = "0"
    extra: bytes = b""  # elements after these

    def bytes(self, to: Encoder) -> bytes:
        raw = to.element(0x003A0203, "SH", self.label) if self.label else b""
        raw += to.code(0x003A0208, "1-2-3", self.source or "Unspecified", "99TEST")
        if self.sensitivity:
            raw += to.element(0x003A0210, "DS", self.sensitivity)
            raw += to.code(0x003A0211, self.unit, self.unit) if self.unit else b""
            raw += to.element(0x003A0212, "DS", self.correction) + to.element(0x003A0213, "DS", self.baseline)
        return raw + self.extra


@dataclass(frozen=True)
class Waves:
    """A multiplex group; fields can be spoilt."""

    codes: np.ndarray  # (samples, channels)
    channels: tuple[Channel, ...] = (Channel(),)
    rate: str = "250"
    kind: str = "SS"
    bits: int = 16
    padding: int | None = None
    offset_ms: str = ""
    originality: str = "ORIGINAL"
    announced: tuple[int, int] | None = None  # channels, samples

    def bytes(self, to: Encoder) -> bytes:
        dtype = {"SS": "i2", "US": "u2", "SB": "i1", "UB": "u1", "SL": "i4", "UL": "u4"}.get(self.kind, "u1")
        channels, count = self.announced or (len(self.channels), len(self.codes))
        raw = to.element(0x00181068, "DS", self.offset_ms) if self.offset_ms else b""
        raw += to.element(0x003A0004, "CS", self.originality)
        raw += to.element(0x003A0005, "US", channels) + to.element(0x003A0010, "UL", count)
        raw += to.element(0x003A001A, "DS", self.rate)
        raw += to.sequence(0x003A0200, *(channel.bytes(to) for channel in self.channels))
        raw += to.element(0x54001004, "US", self.bits) + to.element(0x54001006, "CS", self.kind)
        if self.padding is not None:
            raw += to.element(0x5400100A, "OW", np.array(self.padding, to.order + dtype).tobytes())
        return raw + to.element(0x54001010, "OW", self.codes.astype(to.order + dtype).tobytes())


@dataclass(frozen=True)
class Written:
    groups: tuple[Waves, ...]
    to: Encoder = Encoder()
    acquired: str = "20310314081530.25"
    annotations: tuple[bytes, ...] = ()
    storage: str = HEMODYNAMIC
    before: bytes = field(default=b"")  # elements that stand before the waveforms

    def bytes(self) -> bytes:
        plain = Encoder()
        meta = plain.element(0x00020002, "UI", self.storage) + plain.element(0x00020003, "UI", "1.2.3")
        meta += plain.element(0x00020010, "UI", self.to.syntax)
        to = self.to
        data = to.element(0x00080016, "UI", self.storage) + to.element(0x00080023, "DA", "20310315")
        data += to.element(0x0008002A, "DT", self.acquired) if self.acquired else b""
        data += to.element(0x00080033, "TM", "101112") + to.element(0x00080070, "LO", "Invented")
        data += to.element(0x00081090, "LO", "Recorder 7")
        data += to.element(0x00100010, "PN", "Invented^Name") + to.element(0x00100020, "LO", "MCH-0234567")
        data += to.element(0x00100030, "DA", "19510502")
        data += to.sequence(0x0040B020, *self.annotations) if self.annotations else b""
        data += self.before + to.sequence(0x54000100, *(group.bytes(to) for group in self.groups))
        length = plain.element(0x00020000, "UL", len(meta))
        return bytes(128) + b"DICM" + length + meta + data

    def at(self, folder: Path, name: str = "case.dcm") -> Path:
        path = folder / name
        path.write_bytes(self.bytes())
        return path


def only(path: Path) -> Recording:
    (recording,) = dicom.read(path, {})
    return recording


def codes_and_valid(channel: RecordedChannel) -> tuple[np.ndarray, np.ndarray]:
    blocks = list(channel.blocks())
    assert {block.codes.dtype for block in blocks} == {channel.dtype}
    codes = np.concatenate([block.codes for block in blocks])
    valid = np.concatenate(
        [np.ones(len(block.codes), bool) if block.valid is None else block.valid for block in blocks]
    )
    assert len(codes) == channel.count == sum(segment.count for segment in channel.segments)
    return codes, valid


def ramp(samples: int, channels: int = 1) -> np.ndarray:
    return np.arange(samples * channels).reshape(samples, channels) - samples


# Samples


@settings(max_examples=30, deadline=None)
@given(
    kind=st.sampled_from(["SB", "UB", "SS", "US", "SL", "UL"]),
    shape=st.tuples(st.integers(1, 40), st.integers(1, 4)),
    slab=st.integers(1, 100),
    syntax=st.sampled_from([EXPLICIT, IMPLICIT, BIG]),
    undefined=st.booleans(),
    seed=st.integers(0, 2**32 - 1),
)
def test_codes_come_back_exactly_in_every_kind_and_transfer_syntax(
    tmp_path_factory: pytest.TempPathFactory,
    kind: str,
    shape: tuple[int, int],
    slab: int,
    syntax: str,
    undefined: bool,
    seed: int,
) -> None:
    if syntax == BIG and kind in ("SB", "UB"):
        syntax = EXPLICIT  # bytes in words: their order is not the same everywhere
    info = np.iinfo({"SB": "i1", "UB": "u1", "SS": "i2", "US": "u2", "SL": "i4", "UL": "u4"}[kind])
    codes = np.random.default_rng(seed).integers(info.min, int(info.max) + 1, shape)
    channels = tuple(Channel(f"P{n}") for n in range(shape[1]))
    group = Waves(codes, channels, kind=kind, bits=info.bits)
    path = Written((group,), Encoder(syntax, undefined)).at(tmp_path_factory.mktemp("dicom"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(dicom, "_SLAB", slab)
        for n, channel in enumerate(only(path).channels):
            read, valid = codes_and_valid(channel)
            assert read.dtype == info.dtype
            np.testing.assert_array_equal(read, codes[:, n])
            assert valid.all()


def test_values_are_those_that_pydicom_computes(tmp_path: Path) -> None:
    pydicom = pytest.importorskip("pydicom")
    channels = (
        Channel("ABP", sensitivity="0.05", correction="1.02", baseline="-12.5"),
        Channel("CVP", sensitivity="-0.1", baseline="3"),
    )
    path = Written((Waves(ramp(50, 2), channels),)).at(tmp_path)
    oracle = pydicom.dcmread(path).waveform_array(0)
    for n, channel in enumerate(only(path).channels):
        codes, _ = codes_and_valid(channel)
        segment = channel.segments[0]
        np.testing.assert_allclose(codes * segment.scale + segment.offset, oracle[:, n], rtol=0, atol=1e-12)
        assert (channel.unit_as_written, segment.rate_hz) == ("mm[Hg]", 250.0)


def test_a_file_that_another_program_wrote_reads_as_pydicom_reads_it() -> None:
    # The sample that pydicom brings along: a 12-lead ECG of two groups, the second one of averaged beats.
    pydicom = pytest.importorskip("pydicom")
    from pydicom.data import get_testdata_file

    path = Path(str(get_testdata_file("waveform_ecg.dcm", download=False)))
    recording = only(path)
    oracle = pydicom.dcmread(path)
    values = np.concatenate([oracle.waveform_array(n).T.ravel() for n in range(2)])
    read = [
        codes_and_valid(channel)[0] * channel.segments[0].scale + channel.segments[0].offset
        for channel in recording.channels
    ]
    np.testing.assert_allclose(np.concatenate(read), values, rtol=0, atol=1e-9)
    assert recording.first_stamp == datetime(2013, 1, 25, 10, 59, 19)
    assert [channel.label for channel in recording.channels][:2] == ["Lead I (Einthoven)", "Lead II"]
    assert any("group 2" in line and "computed" in line for line in recording.set_aside)
    assert any(note.text == "RR Interval: 982 ms" for note in recording.notes)


@pytest.mark.parametrize(
    ("kind", "bits", "padding"), [("SS", 16, -32768), ("US", 16, 65535), ("SB", 8, -128)]
)
def test_values_that_stand_for_no_sample_are_masked_before_scaling(
    tmp_path: Path, kind: str, bits: int, padding: int
) -> None:
    codes = np.array([[1], [padding], [3], [padding]])
    recording = only(Written((Waves(codes, kind=kind, bits=bits, padding=padding),)).at(tmp_path))
    _, valid = codes_and_valid(recording.channels[0])
    assert valid.tolist() == [True, False, True, False]


def test_a_case_shows_what_was_masked_as_missing(tmp_path: Path) -> None:
    codes = np.tile(np.array([[1000], [2000], [-32768], [1500]]), (250, 1))
    path = Written((Waves(codes, padding=-32768),)).at(tmp_path)
    with bring_in([path], tmp_path / "case") as case:
        (channel,) = case.channels
        values = channel.read(0, 0.016).values
        np.testing.assert_allclose(values, [50, 100, np.nan, 75], rtol=1e-6)
        assert (channel.kind, channel.unit) == ("arterial_pressure", "mm[Hg]")


# Time


def test_each_group_has_its_own_rate_and_start_and_a_skewed_channel_starts_later(tmp_path: Path) -> None:
    to = Encoder()
    late = Channel("CVP", extra=to.element(0x003A0215, "DS", "1.5"))
    later = Channel("PA", extra=to.element(0x003A0214, "DS", "0.25"))
    path = Written(
        (
            Waves(ramp(20, 3), (Channel(), late, later), rate="400"),
            Waves(ramp(5), (Channel("T naso", unit="Cel"),), rate="1", offset_ms="-2500.5"),
        )
    ).at(tmp_path)
    recording = only(path)
    told = [(c.segments[0].start_s, c.segments[0].rate_hz, c.count) for c in recording.channels]
    assert told == [(0.0, 400, 20), (1.5 / 400, 400, 20), (0.25, 400, 20), (-2.5005, 1, 5)]


@pytest.mark.parametrize(
    ("acquired", "stamp"),
    [
        ("20310314081530.25", datetime(2031, 3, 14, 8, 15, 30, 250000)),
        ("20310314081530+0100", datetime(2031, 3, 14, 8, 15, 30)),  # by the wall clock, as written
        ("2031031408", datetime(2031, 3, 14, 8)),
        ("", datetime(2031, 3, 15, 10, 11, 12)),  # then when the content was made
        ("20310314", None),
        ("20311314081530", None),
    ],
)
def test_the_time_of_the_acquisition_is_second_zero(
    tmp_path: Path, acquired: str, stamp: datetime | None
) -> None:
    recording = only(Written((Waves(ramp(4)),), acquired=acquired).at(tmp_path))
    assert (recording.first_stamp, recording.dated) == (stamp, stamp is not None)


# Annotations (PS3.3, C.10.10)


def test_annotations_stand_where_they_point(tmp_path: Path) -> None:
    to = Encoder()

    def note(text: str, kind: str, *points: bytes) -> bytes:
        raw = to.element(0x0040A130, "CS", kind) if kind else b""
        return raw + b"".join(points) + to.element(0x00700006, "ST", text)

    second = to.element(0x0040A0B0, "US", struct.pack("<HH", 2, 0))
    positions = to.element(0x0040A132, "UL", struct.pack("<LL", 1, 11))
    offsets = to.element(0x0040A138, "DS", "500\\1500")
    named = (
        to.code(0x0040A043, "X", "Mean pressure")
        + to.element(0x0040A0B0, "US", struct.pack("<HH", 1, 1))
        + to.element(0x0040A130, "CS", "POINT")
        + to.element(0x0040A138, "DS", "250")
        + to.element(0x0040A30A, "DS", "71.5")
    )
    named = named[: named.index(struct.pack("<HH", 0x0040, 0xA30A))]
    value = to.code(0x004008EA, "mm[Hg]", "mmHg")
    annotations = (
        note("points", "MULTIPOINT", second, positions),
        note("span", "SEGMENT", offsets),
        note("from here", "BEGIN", to.element(0x0040A138, "DS", "500")),
        note("until here", "END", to.element(0x0040A138, "DS", "500")),
        note("all of it", ""),
        note("by the clock", "POINT", to.element(0x0040A13A, "DT", "20310314081533.25")),
        value + named + to.element(0x0040A30A, "DS", "71.5"),
        note("beyond", "POINT", second, to.element(0x0040A132, "UL", 21)),
        note("nowhere", "POINT"),
        to.element(0x0040A138, "DS", "1"),
    )
    groups = (Waves(ramp(500)), Waves(ramp(20), (Channel("PA"),), rate="10", offset_ms="1000"))
    recording = only(Written(groups, annotations=annotations).at(tmp_path))
    assert [(one.text, one.start_s, one.end_s) for one in recording.notes] == [
        ("points", 1.0, 1.0),  # the first position is 1
        ("points", 2.0, 2.0),
        ("span", 0.5, 1.5),
        ("from here", 0.5, 3.0),
        ("until here", 0.0, 0.5),
        ("all of it", 0.0, 3.0),
        ("by the clock", 3.0, 3.0),
        ("Mean pressure: 71.5 mm[Hg]", 0.25, 0.25),
    ]
    assert len(recording.set_aside) == 3
    assert [line for line in recording.set_aside if "annotation 10: it has no text" in line]


# What else the file says


def test_who_was_recorded_stays_in_the_file(tmp_path: Path) -> None:
    recording = only(Written((Waves(ramp(4)),)).at(tmp_path))
    assert recording.about == {"format": "Hemodynamic Waveform Storage", "equipment": "Invented Recorder 7"}
    told = repr(recording)
    assert "Invented^Name" not in told
    assert "MCH-0234567" not in told
    assert "1951" not in told


@pytest.mark.parametrize(
    ("label", "source", "shown", "kind"),
    [
        ("ABP", "Radial artery pressure", "ABP", "arterial_pressure"),
        ("P1", "Pulmonary artery pressure", "P1, Pulmonary artery pressure", "pulmonary_artery_pressure"),
        ("", "Central venous pressure", "Central venous pressure", "central_venous_pressure"),
        ("P1", "Something", "P1", "other"),
    ],
)
def test_the_code_of_the_source_speaks_where_the_label_does_not(
    tmp_path: Path, label: str, source: str, shown: str, kind: str
) -> None:
    path = Written((Waves(np.tile(ramp(40), (30, 1)), (Channel(label, source),)),)).at(tmp_path)
    assert only(path).channels[0].label == shown
    with bring_in([path], tmp_path / "case") as case:
        assert case.channels[0].kind == kind


def test_a_channel_that_is_not_calibrated_or_not_well_is_told(tmp_path: Path) -> None:
    to = Encoder()
    channels = (
        Channel("raw", sensitivity=""),
        Channel("off", extra=to.element(0x003A0205, "CS", "DISCONNECTED\\UNZEROED")),
        Channel("fine", extra=to.element(0x003A0205, "CS", "OK")),
    )
    recording = only(Written((Waves(ramp(6, 3), channels),)).at(tmp_path))
    assert [channel.unit_as_written for channel in recording.channels] == ["", "mm[Hg]", "mm[Hg]"]
    assert len(recording.set_aside) == 2
    assert "plain codes" in recording.set_aside[0]
    assert "DISCONNECTED, UNZEROED" in recording.set_aside[1]


def test_speech_is_left_out_and_what_is_left_over_is_told(tmp_path: Path) -> None:
    speech = Waves(np.zeros((8, 1)), kind="MB", bits=8)
    longer = Waves(ramp(8), announced=(1, 5))
    recording = only(Written((speech, longer)).at(tmp_path))
    assert [channel.count for channel in recording.channels] == [5]
    assert ["speech" in recording.set_aside[0], "6 bytes more" in recording.set_aside[1]] == [True, True]
    with pytest.raises(FileUnreadable, match="none of its 1 multiplex groups can be read"):
        only(Written((speech,)).at(tmp_path))


# Damaged files

GOOD = Written((Waves(ramp(50)),))
RAW = GOOD.bytes()


@pytest.mark.parametrize(
    ("raw", "place", "words"),
    [
        (b"", "byte 128", "DICM"),
        (RAW[:140], "", "transfer syntax ''"),
        (RAW[:-1], f"byte {len(RAW) - 1}", "the file is cut: it ends within the 100 bytes of samples"),
        (RAW[:-200], f"byte {len(RAW) - 200}", "it ends within multiplex group 1"),
        (RAW[:300], "byte 300", "or is cut before them"),
        (RAW.replace(EXPLICIT.encode(), b"1.2.840.10008.1.2.9"), "", "1.2.840.10008.1.2.9"),
        (RAW.replace(b"\x00\x54\x00\x01SQ", b"\x00\x54\x10\x01SQ"), "", "Hemodynamic Waveform Storage"),
        (replace(GOOD, groups=()).bytes(), "", "empty"),
        (RAW.replace(b"\x00\x54\x10\x10OW", b"\x00\x54\x11\x10OW"), "byte 430", "holds no samples"),
        (
            Written((Waves(ramp(5), announced=(1, 50)),)).bytes(),
            "multiplex group 1",
            "make 100 bytes; it holds 10",
        ),
        (
            Written((Waves(ramp(5), announced=(0, 5)),)).bytes(),
            "multiplex group 1",
            "number of channels is 0",
        ),
        (Written((Waves(ramp(5), announced=(1, 0)),)).bytes(), "multiplex group 1", "number of samples is 0"),
        (
            Written((Waves(ramp(6), announced=(2, 3)),)).bytes(),
            "multiplex group 1",
            "2 channels are announced, 1",
        ),
        (Written((Waves(ramp(5), rate="0"),)).bytes(), "multiplex group 1", "0 Hz"),
        (Written((Waves(ramp(5), rate="fast"),)).bytes(), "multiplex group 1", "SamplingFrequency"),
        (Written((Waves(ramp(5), rate="1e300"),)).bytes(), "multiplex group 1", "1e+300 Hz"),
        (Written((Waves(ramp(5), kind="SS", bits=12),)).bytes(), "multiplex group 1", "'SS' in 12 bits"),
        (Written((Waves(ramp(5), kind="XX"),)).bytes(), "multiplex group 1", "'XX' in 16 bits"),
        (
            Written((Waves(ramp(5), (Channel(sensitivity="0"),)),)).bytes(),
            "multiplex group 1",
            "sensitivity of channel ABP is 0",
        ),
        (
            Written((Waves(ramp(5), (Channel(baseline="low"),)),)).bytes(),
            "multiplex group 1",
            "ChannelBaseline",
        ),
    ],
)
def test_a_damaged_file_is_told_with_its_place_and_what_to_do(
    tmp_path: Path, raw: bytes, place: str, words: str
) -> None:
    path = tmp_path / "damaged.dcm"
    path.write_bytes(raw)
    assert dicom.claims(path, raw[:4096]) is Claim.MINE
    pytest.importorskip("pydicom")  # imported before memory is watched
    tracemalloc.start()
    try:
        with pytest.raises(FileUnreadable) as caught:
            dicom.read(path, {})
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert caught.value.path == path
    assert caught.value.place == place
    assert words in caught.value.what
    assert caught.value.todo
    assert peak < 8e6


def test_a_length_that_is_only_claimed_takes_no_memory(tmp_path: Path) -> None:
    path = replace(GOOD, before=Encoder().head(0x00411000, "OW", 0xFFFFFFF0)).at(tmp_path)
    tracemalloc.start()
    try:
        with pytest.raises(FileUnreadable):
            only(path)
        assert tracemalloc.get_traced_memory()[1] < 8e6
    finally:
        tracemalloc.stop()


def test_a_file_that_shrinks_while_it_is_read_is_told(tmp_path: Path) -> None:
    path = GOOD.at(tmp_path)
    recording = only(path)
    with path.open("r+b") as file:
        file.truncate(700)
    with pytest.raises(FileUnreadable, match="became shorter"):
        codes_and_valid(recording.channels[0])


def test_a_file_that_is_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(FileUnreadable, match="No such file"):
        dicom.read(tmp_path / "gone.dcm", {})


@pytest.mark.parametrize(
    ("name", "head", "claim"),
    [
        ("x", RAW, Claim.MINE),
        ("x.dcm", b"", Claim.MINE),
        ("x.dcm", b"x" * 300, Claim.MINE),
        ("IMG0001", replace(GOOD, storage="1.2.840.10008.5.1.4.1.1.2").bytes(), Claim.NOT_MINE),  # an image
        ("x.csv", b"time,ABP\n" * 50, Claim.NOT_MINE),
        ("x.edf", b"0       " + b" " * 248, Claim.NOT_MINE),
    ],
)
def test_it_claims_waveforms_by_the_first_bytes(tmp_path: Path, name: str, head: bytes, claim: Claim) -> None:
    assert dicom.claims(tmp_path / name, head[:4096]) is claim

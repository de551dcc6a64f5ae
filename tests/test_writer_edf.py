"""EDF+ files as written: against the format's own text, edfio and pyedflib, and read back by this project's reader.

Format: Kemp et al., Electroencephalogr Clin Neurophysiol 1992;82:391-393 (EDF); Kemp and Olivan, Clin Neurophysiol
2003;114:1755-1761 (EDF+), as published at edfplus.info.
"""

from __future__ import annotations

import os
import re
import tracemalloc
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io import Case, Channel, Span
from afterclamp.io.errors import Cancelled, CannotWrite
from afterclamp.io.readers import edf as reader
from afterclamp.io.readers.edf_annotations import Annotation, Annotations
from afterclamp.io.readers.edf_own import restored
from afterclamp.io.recording import Note, RecordedChannel, Recording, Segment
from afterclamp.io.writers import Remark
from afterclamp.io.writers import edf as writer
from afterclamp.io.writers.edf import EdfWritten, write_edf
from afterclamp.io.writers.edf_scale import Decimals, scale_of, shortest
from hypothesis import given, settings
from hypothesis import strategies as st
from recordings import START, case_of, even, recording


def wave(count: int, seed: int = 1, spread: float = 900.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    t = np.arange(count) / 500
    return np.round(8000 + 3000 * np.sin(2 * np.pi * 1.3 * t) + rng.normal(0, spread, count)).astype(np.int16)


def segment(count: int, rate_hz: float, start_s: float = 0.0, scale: float = 0.01, **more: float) -> Segment:
    return Segment(start_s, 0, count, rate_hz, scale=scale, **more)


def clocked(case: Case, source: str, offset_s: float, drift_ppm: float = 0.0) -> None:
    pieces = [{"offset_s": offset_s, "drift_ppm": drift_ppm}]
    case.edit("tester", "reference", {"source": "monitor"})
    case.edit("tester", "clock", {"source": source, "pieces": pieces, "method": "by hand"})


def read_back(path: Path) -> Recording:
    (one,) = reader.read(path, {})
    return one


def brought(path: Path, folder: Path) -> Case:
    return case_of(folder, replace(read_back(path), name="back"))


def codes_of(channel: RecordedChannel) -> tuple[np.ndarray, np.ndarray]:
    codes, valid = [np.empty(0, np.int16)], [np.empty(0, bool)]
    for block in channel.blocks():
        codes.append(block.codes)
        valid.append(np.ones(len(block.codes), bool) if block.valid is None else block.valid)
    joined = np.concatenate(codes)
    assert len(joined) == channel.count == sum(one.count for one in channel.segments)
    return joined, np.concatenate(valid)


def same_samples(was: Channel, now: Channel, written: EdfWritten, *, time_s: float = 1e-6) -> None:
    """Everything recorded is there, at its time and within half a step; nothing else is."""
    step = next(one.step for one in written.signals if one.channel == was.id)
    before, after = was.read(-1e9, 1e9), now.read(-1e9, 1e9)
    there, here = np.isfinite(before.values), np.isfinite(after.values)
    assert there.sum() == here.sum()
    np.testing.assert_allclose(after.t[here] + written.span.start, before.t[there], rtol=0, atol=time_s)
    half = step / 2 + np.abs(before.values[there]) * 2e-7  # what float32 leaves open
    assert (np.abs(after.values[here] - before.values[there]) <= half).all()


def two_rates(folder: Path, seconds: int = 60) -> Case:
    """500 Hz with 1 Hz beside it, one source."""
    pressure = even("ABP fem", wave(500 * seconds), [segment(500 * seconds, 500.0)])
    flow = (np.arange(seconds) % 50).astype(np.float32) / np.float32(10)
    trend = even("flow", flow, [Segment(0.0, 0, seconds, 1.0)], unit="L/min")
    notes = [Note(5.0, 5.0, "Klemme zu – 36,5 °C"), Note(20.0, 32.5, "rewarming")]
    return case_of(folder, recording("monitor", [pressure, trend], notes=notes))


# The layout, by the text of the format


def test_the_header_is_laid_out_as_the_format_says_and_names_nobody(tmp_path: Path) -> None:
    with two_rates(tmp_path / "case") as case:
        write_edf(case, tmp_path / "a.edf")
    raw = (tmp_path / "a.edf").read_bytes()
    count = int(raw[252:256])
    assert raw[:8] == b"0       "
    assert raw[8:88].split() == [b"X"] * 4  # 2003, 2.1.3.3: code, sex, birthdate, name, each X where unknown
    assert raw[88:168].split()[:4] == [b"Startdate", b"X", b"X", b"X"]
    assert raw[168:176] == b"01.01.85"  # the date of anonymous recordings (common practice)
    assert raw[176:184] == b"08.00.00"
    assert int(raw[184:192]) == 256 * (count + 1)
    assert raw[192:197] == b"EDF+C"
    assert count == 3
    labels = [raw[256 + 16 * k : 272 + 16 * k].decode() for k in range(count)]
    assert labels == ["ABP fem         ", "flow            ", "EDF Annotations "]
    each = [int(raw[256 + 216 * count + 8 * k :][:8]) for k in range(count)]
    records, duration = int(raw[236:244]), float(raw[244:252])
    assert records * duration == 60
    assert [each[0] / duration, each[1] / duration] == [500, 1]
    assert len(raw) == 256 * (count + 1) + records * 2 * sum(each)
    assert 2 * sum(each) <= 61_440  # 1992: size of a data record
    assert all(32 <= byte < 127 for byte in raw[: 256 * (count + 1)])


def test_every_record_begins_with_its_own_time(tmp_path: Path) -> None:
    # 2003, 2.2.4: the first list of each record has an empty annotation and the record's onset.
    with two_rates(tmp_path / "case") as case:
        written = write_edf(case, tmp_path / "a.edf")
    header = reader.read_header(tmp_path / "a.edf", reader.EDF)
    raw = (tmp_path / "a.edf").read_bytes()[header.header_bytes :]
    at = next(signal.first_byte for signal in header.signals if signal.annotations)
    for record in range(header.records):
        begins = raw[record * header.record_bytes + at :]
        assert re.match(rb"\+(\d+)\x14\x14\0", begins)[1] == str(record * written.record_s).encode()


# Read back


def test_500_hz_with_1_hz_beside_it_reads_back_code_for_code(tmp_path: Path) -> None:
    with two_rates(tmp_path / "case") as case:
        written = write_edf(case, tmp_path / "a.edf")
        assert [one.exact for one in written.signals] == [True, True]
        assert [one.step for one in written.signals] == pytest.approx([0.01, 0.1])
        assert written.remarks == ()
        recorded = read_back(tmp_path / "a.edf")
        codes, valid = codes_of(recorded.channels[0])
        assert valid.all()
        np.testing.assert_array_equal(codes, wave(30_000))
        (kept,) = recorded.channels[0].segments
        assert (kept.scale, kept.offset) == pytest.approx((0.01, 0.0), rel=1e-12, abs=1e-9)
        with brought(tmp_path / "a.edf", tmp_path / "back") as back:
            for label in ("ABP_fem", "flow"):
                now = back[f"back/{label}"]
                was = case[f"monitor/{label.lower()}"]
                same_samples(was, now, written)
                assert (now.unit, now.identity) == (was.unit, was.identity)
            assert back.span == case.span
            assert [(note.t, note.t_end, note.text) for note in back.notes] == [
                (5.0, 5.0, "Klemme zu – 36,5 °C"),
                (20.0, 32.5, "rewarming"),
            ]


def test_edfio_reads_the_same_values_times_and_texts(tmp_path: Path) -> None:
    edfio = pytest.importorskip("edfio")
    with two_rates(tmp_path / "case") as case:
        write_edf(
            case,
            tmp_path / "a.edf",
            remarks=[Remark(30.0, 40.25, "E07 flow stop"), Remark(12.5, 12.5, "mark\x00\x14 by tester")],
            note="Not for use in care.",
        )
        pressure, flow = (channel.read(0, 60).values for channel in case.channels)
    edf = edfio.read_edf(tmp_path / "a.edf")
    assert edf.is_continuous
    assert edf.duration == 60
    assert edf.starttime == START.time()
    assert [(one.sampling_frequency, one.physical_dimension) for one in edf.signals] == [
        (500.0, "mmHg"),
        (1.0, "L/min"),
    ]
    np.testing.assert_allclose(edf.signals[0].data, pressure, rtol=0, atol=1e-4)
    np.testing.assert_allclose(edf.signals[1].data, flow, rtol=0, atol=1e-6)
    assert [(one.onset, one.duration, one.text) for one in edf.annotations] == [
        (0.0, None, "Not for use in care."),
        (5.0, None, "Klemme zu – 36,5 °C"),
        (12.5, None, "mark  by tester"),
        (20.0, 12.5, "rewarming"),
        (30.0, 10.25, "E07 flow stop"),
    ]


def test_pyedflib_reads_the_same_values_and_texts(tmp_path: Path) -> None:
    pyedflib = pytest.importorskip("pyedflib")
    with two_rates(tmp_path / "case") as case:
        write_edf(case, tmp_path / "a.edf")
        pressure = case.channels[0].read(0, 60).values
    with pyedflib.EdfReader(str(tmp_path / "a.edf")) as edf:  # it checks every field of the header
        np.testing.assert_allclose(edf.readSignal(0), pressure, rtol=0, atol=1e-4)
        assert edf.getSampleFrequencies().tolist() == [500.0, 1.0]
        onsets, durations, texts = edf.readAnnotations()
        assert onsets.tolist() == [5.0, 20.0]
        assert durations[1] == pytest.approx(12.5)
        assert texts[1] == "rewarming"


ranges = st.lists(st.tuples(st.integers(0, 2999), st.integers(1, 400)), max_size=12)


@settings(max_examples=20, deadline=None)
@given(gaps=ranges, slow=ranges, start=st.sampled_from([0.0, 0.0009, 3.7]), seed=st.integers(0, 999))
def test_whatever_was_not_recorded_comes_back_as_not_recorded(
    tmp_path_factory: pytest.TempPathFactory,
    gaps: list[tuple[int, int]],
    slow: list[tuple[int, int]],
    start: float,
    seed: int,
) -> None:
    folder = tmp_path_factory.mktemp("gaps")
    valid, valid_slow = np.ones(3000, bool), np.ones(60, bool)
    for first, many in gaps:
        valid[first : first + many] = False
    for first, many in slow:
        valid_slow[first // 50 : first // 50 + many // 50] = False
    cut = [Segment(start, 0, 1000, 500.0, 0.01), Segment(start + 11, 1000, 2000, 500.0, 0.01)]
    pressure = even("ABP", wave(3000, seed), cut, valid=valid)
    trend = np.where(valid_slow, np.arange(60) / 10, np.nan).astype(np.float32)
    flow = even("flow", trend, [Segment(0.25, 0, 60, 4.0)], unit="L/min")
    with case_of(folder / "case", recording("monitor", [pressure, flow])) as case:
        if not valid.any() or not valid_slow.any():
            return
        written = write_edf(case, folder / "a.edf")
        with brought(folder / "a.edf", folder / "back") as back:
            for was, name in zip(case.channels, ("back/ABP", "back/flow"), strict=True):
                same_samples(was, back[name], written)
            assert back.notes == ()


def test_what_was_not_recorded_stands_below_all_that_was_and_is_told_to_every_program(tmp_path: Path) -> None:
    edfio = pytest.importorskip("edfio")
    valid = np.ones(3000, bool)
    valid[1000:1500] = False
    codes = wave(3000)
    with case_of(
        tmp_path / "case", recording("monitor", [even("ABP", codes, [segment(3000, 500.0)], valid=valid)])
    ) as case:
        write_edf(case, tmp_path / "a.edf")
    edf = edfio.read_edf(tmp_path / "a.edf")
    (signal,) = edf.signals
    assert (signal.digital[~valid] == signal.digital_min).all()
    assert signal.digital_min < codes[valid].min()
    assert signal.physical_min == pytest.approx(signal.digital_min / 100)
    assert [(one.onset, one.duration, one.text) for one in edf.annotations] == [
        (2.0, 1.0, "not recorded: ABP")
    ]


def test_only_our_own_files_are_read_by_such_annotations(tmp_path: Path) -> None:
    valid = np.arange(3000) >= 500
    with case_of(
        tmp_path / "case",
        recording("monitor", [even("ABP", wave(3000), [segment(3000, 500.0)], valid=valid)]),
    ) as case:
        write_edf(case, tmp_path / "a.edf")
    raw = (tmp_path / "a.edf").read_bytes()
    (tmp_path / "b.edf").write_bytes(
        raw.replace(b"X afterclamp", b"X other_thing", 1).replace(b"  ", b" ", 0)
    )
    head = raw[88:168].replace(b"afterclamp ", b"some_thing ")
    (tmp_path / "b.edf").write_bytes(raw[:88] + head + raw[168:])
    ours, others = read_back(tmp_path / "a.edf"), read_back(tmp_path / "b.edf")
    assert (ours.channels[0].count, ours.channels[0].segments[0].start_s, ours.notes) == (2500, 1.0, ())
    assert others.channels[0].count == 3000
    assert [note.text for note in others.notes] == ["not recorded: ABP"]


# Codes


@settings(max_examples=60, deadline=None)
@given(
    low=st.integers(-40_000, 40_000),
    spread=st.integers(0, 65_535),
    scale=st.sampled_from([0.01, 0.1, 1.0, 0.05, 1200 / 65535, 5 / 1023, 0.000305, -0.02]),
    offset=st.sampled_from([0.0, 100.0, 0.00915, -1 / 3]),
)
def test_integers_on_one_scale_are_kept_code_for_code_and_never_clipped(
    low: int, spread: int, scale: float, offset: float
) -> None:
    line = scale, offset
    codes = np.array([low, low + spread // 3, low + spread], np.int32)
    found = scale_of({line: (float(low), float(low + spread))}, whole=True, places=None, channel="x")
    digital = found.codes(codes, line).astype(np.int64)
    assert found.exact
    assert np.abs(np.diff(digital)).tolist() == np.diff(codes).tolist()
    physical = [float(text) for text in found.physical]
    assert all(len(text) <= 8 for text in found.physical)
    step = (physical[1] - physical[0]) / (found.digital[1] - found.digital[0])
    back = physical[0] + (digital - found.digital[0]) * step
    assert (np.abs(back - (codes * scale + offset)) <= abs(scale) / 2).all()
    if spread < 65_535:
        assert digital.min() > found.digital[0]


def test_more_codes_than_sixteen_bits_hold_are_rounded_and_said(tmp_path: Path) -> None:
    codes = np.linspace(-4_000_000, 4_000_000, 5000).astype(np.int32)
    one = even("ECG", codes, [segment(5000, 500.0, scale=1e-6)], unit="mV")
    with case_of(tmp_path / "case", recording("monitor", [one])) as case:
        written = write_edf(case, tmp_path / "a.edf")
        assert not written.signals[0].exact
        assert written.remarks == (
            f"ECG: values are rounded to steps of {written.signals[0].step:.6g} mV (the source's is 1e-06)",
        )
        assert written.signals[0].step < 8 / 55_000
        with brought(tmp_path / "a.edf", tmp_path / "back") as back:
            same_samples(case["monitor/ecg"], back["back/ECG"], written)


def test_scales_that_change_with_the_segment_stay_within_half_a_step(tmp_path: Path) -> None:
    codes = wave(3000)
    cut = [Segment(0.0, 0, 1000, 500.0, 0.01), Segment(2.0, 1000, 2000, 500.0, 0.0125, -3.0)]
    with case_of(tmp_path / "case", recording("monitor", [even("ABP", codes, cut)])) as case:
        written = write_edf(case, tmp_path / "a.edf")
        assert written.signals[0].step == pytest.approx(0.01)
        assert not written.signals[0].exact
        with brought(tmp_path / "a.edf", tmp_path / "back") as back:
            same_samples(case["monitor/abp"], back["back/ABP"], written)


def test_a_number_takes_eight_characters_at_most_and_loses_no_more_than_it_must() -> None:
    assert shortest(-600.0) == "-600"
    assert shortest(355.35) == "355.35"
    assert shortest(-327.68432) == "-327.684"
    assert shortest(99.999996) == "100"
    assert shortest(12345678.9, -1) == "12345678"
    assert shortest(-12345678.0) is None
    assert shortest(1.23456789, 1) == "1.234568"
    assert shortest(-1e-9) == "0"


def test_decimal_numbers_are_known_by_their_places() -> None:
    for written, places in (("4.4 0.1 5", 1), ("36.55 20", 2), ("1 2 3", 0), ("0.333 0.25", 3)):
        decimals = Decimals()
        decimals.look(np.array(written.split(), np.float32))
        assert decimals.places == places
    decimals = Decimals()
    decimals.look(np.array([np.nan], np.float32))
    decimals.look(np.array([1 / 3], np.float32))
    assert decimals.places is None


def test_values_that_eight_characters_cannot_hold_are_refused_by_name(tmp_path: Path) -> None:
    huge = even("odd one", np.array([0, 3e9], np.float32), [Segment(0.0, 0, 2, 1.0)])
    with (
        case_of(tmp_path / "case", recording("monitor", [huge])) as case,
        pytest.raises(CannotWrite, match=r"channel monitor/odd_one: values .* eight characters"),
    ):
        write_edf(case, tmp_path / "a.edf")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["case"]


# Rates and clocks


def test_62_4725_hz_has_a_record_in_which_it_is_whole(tmp_path: Path) -> None:
    # 62.4725 * 400 = 24989 exactly; 400 s is also whole for 1/10 Hz and 500 Hz.
    count = 24_989 * 2 + 700
    chans = [
        even("ABP", wave(count), [segment(count, 62.4725)]),
        even("T", np.arange(81, dtype=np.int16), [segment(81, 0.1, scale=0.1)], unit="degC"),
    ]
    with case_of(tmp_path / "case", recording("monitor", chans)) as case:
        written = write_edf(case, tmp_path / "a.edf")
        assert written.record_s == 400
        with brought(tmp_path / "a.edf", tmp_path / "back") as back:
            same_samples(case["monitor/abp"], back["back/ABP"], written)
            same_samples(case["monitor/t"], back["back/T"], written)
            # The rest of the last record was never recorded: the length is the true one.
            assert back["back/ABP"].span.end == pytest.approx(case["monitor/abp"].span.end, abs=1e-6)


def test_a_rate_without_a_whole_record_is_refused_by_name(tmp_path: Path) -> None:
    chans = [
        even("ABP", wave(5000), [segment(5000, 500.0)]),
        even("slow", np.arange(2, dtype=np.int16), [segment(2, 1 / 7000)]),
    ]
    with (
        case_of(tmp_path / "case", recording("monitor", chans)) as case,
        pytest.raises(CannotWrite, match=r"channel monitor/slow: .*no whole number.*as CSV"),
    ):
        write_edf(case, tmp_path / "a.edf")


@pytest.mark.parametrize("drift", [-400.0, -60.0, 0.0, 60.0, 400.0])
def test_samples_of_another_clock_keep_their_times(tmp_path: Path, drift: float) -> None:
    monitor = recording("monitor", [even("ABP", wave(50_000), [segment(50_000, 500.0)])])
    pump = recording(
        "pump",
        [even("LP", wave(20_000, 2), [segment(20_000, 200.0)])],
        first_stamp=datetime(2026, 1, 1, 8, 0, 3),
    )
    with case_of(tmp_path / "case", monitor, pump) as case:
        clocked(case, "pump", 2.7437, drift)
        written = write_edf(case, tmp_path / "a.edf")
        signal = written.signals[1]
        # 20,000 samples and 400 ppm are 8 samples, and as many places or samples too many.
        expected = round(20_000 * abs(drift) * 1e-6)
        copies, left_out = (expected, 0) if drift < 0 else (0, expected)
        assert abs(signal.copies - copies) <= 1
        assert abs(signal.left_out - left_out) <= 1
        with brought(tmp_path / "a.edf", tmp_path / "back") as back:
            same_samples(case["monitor/abp"], back["back/ABP"], written)
            was, now = case["pump/lp"].read(0, 1e9), back["back/LP"].read(-1e9, 1e9)
            assert len(was.t) - len(now.t) == signal.left_out
            nearest = np.searchsorted(was.t, now.t - 1e-5)
            np.testing.assert_allclose(now.t, was.t[nearest], rtol=0, atol=2e-6)
            np.testing.assert_allclose(now.values, was.values[nearest], rtol=0, atol=1e-4)


def test_for_other_programs_a_sample_is_never_further_off_than_half_an_interval(tmp_path: Path) -> None:
    edfio = pytest.importorskip("edfio")
    slow = even("T", np.arange(100, dtype=np.int16), [Segment(0.0, 0, 100, 1.0)], unit="degC")
    pump = recording("pump", [slow], first_stamp=datetime(2026, 1, 1, 8, 0, 3))
    with case_of(
        tmp_path / "case", recording("monitor", [even("ABP", wave(60_000), [segment(60_000, 500.0)])]), pump
    ) as case:
        clocked(case, "pump", 0.3)  # its samples stand at 2.7, 3.7 ...
        write_edf(case, tmp_path / "a.edf")
    edf = edfio.read_edf(tmp_path / "a.edf")
    assert edf.signals[1].data[3:103].tolist() == list(range(100))
    assert ("sample times: T -0.3000000 s, 1.000000000 Hz") in {one.text for one in edf.annotations}


def test_a_clock_that_went_back_and_was_not_set_makes_a_second_signal(tmp_path: Path) -> None:
    cut = [Segment(0.0, 0, 2000, 500.0, 0.01), Segment(1.0, 2000, 1000, 500.0, 0.01, run=1)]
    with case_of(tmp_path / "case", recording("monitor", [even("ABP", wave(3000), cut)])) as case:
        written = write_edf(case, tmp_path / "a.edf")
    assert [one.label for one in written.signals] == ["ABP", "ABP 2"]
    recorded = read_back(tmp_path / "a.edf")
    np.testing.assert_array_equal(
        np.concatenate([codes_of(channel)[0] for channel in recorded.channels]), wave(3000)
    )


def test_labels_fit_and_are_unique(tmp_path: Path) -> None:
    chans = [
        even("T rectal °C deep inside", wave(500), [segment(500, 500.0)]),
        even("T rectal C deep outside", wave(500), [segment(500, 500.0)]),
        even("ÄÖ", wave(500), [segment(500, 500.0)]),
        replace(even("EDF Annotations", wave(500), [segment(500, 500.0)]), key="odd"),
    ]
    with case_of(tmp_path / "case", recording("monitor", chans)) as case:
        found = [one.label for one in write_edf(case, tmp_path / "a.edf").signals]
    assert len(set(found)) == 4
    assert all(label.isascii() and 0 < len(label) <= 16 for label in found)
    assert "EDF Annotations" not in found
    assert len(read_back(tmp_path / "a.edf").channels) == 4


# Windows, texts, uneven rows


def test_a_window_holds_its_whole_seconds_and_nothing_else(tmp_path: Path) -> None:
    with two_rates(tmp_path / "case") as case:
        written = write_edf(case, tmp_path / "a.edf", span=Span(10.4, 25.2), channels=["monitor/abp_fem"])
        assert written.span == Span(10, 26)
        recorded = read_back(tmp_path / "a.edf")
        assert recorded.first_stamp.time() == datetime(2026, 1, 1, 8, 0, 10).time()
        assert not recorded.dated
        (channel,) = recorded.channels
        np.testing.assert_array_equal(codes_of(channel)[0], wave(30_000)[5000:13_000])
        assert [(note.start_s, note.end_s, note.text) for note in recorded.notes] == [
            (10.0, 16.0, "rewarming")
        ]


def test_a_view_writes_nothing_of_what_it_hides(tmp_path: Path) -> None:
    with two_rates(tmp_path / "case") as case:
        view = case.until(10.5)
        late = [Remark(30.0, 31.0, "later"), Remark(9.0, 50.0, "lasting")]
        write_edf(view, tmp_path / "a.edf", remarks=late)
    recorded = read_back(tmp_path / "a.edf")
    np.testing.assert_array_equal(codes_of(recorded.channels[0])[0], wave(30_000)[:5250])
    assert [(note.end_s, note.text) for note in recorded.notes] == [
        (5.0, "Klemme zu – 36,5 °C"),
        (10.5, "lasting"),
    ]


def test_a_start_within_a_second_is_kept_in_the_time_keeping_lists(tmp_path: Path) -> None:
    # 2003, 2.2.4: the start may be a fraction of a second later than the header's, told by the first list.
    one = even("ABP", wave(5000), [segment(5000, 500.0)])
    stamp = datetime(2026, 1, 1, 23, 59, 55, 123456)
    notes = [Note(7.5, 8.5, "past midnight")]
    with case_of(tmp_path / "case", recording("monitor", [one], first_stamp=stamp, notes=notes)) as case:
        write_edf(case, tmp_path / "a.edf")
        write_edf(case, tmp_path / "b.edf", span=Span(6, 9))
    whole, window = read_back(tmp_path / "a.edf"), read_back(tmp_path / "b.edf")
    assert whole.first_stamp.time() == stamp.time()
    assert window.first_stamp.time() == datetime(2026, 1, 2, 0, 0, 1, 123456).time()
    assert [(note.start_s, note.end_s) for note in whole.notes] == [(7.5, 8.5)]
    assert [(note.start_s, note.end_s) for note in window.notes] == [(1.5, 2.5)]


def test_a_case_whose_clocks_only_count_starts_at_midnight(tmp_path: Path) -> None:
    one = even("ABP", wave(5000), [segment(5000, 500.0)])
    with case_of(tmp_path / "case", recording("monitor", [one], first_stamp=None)) as case:
        write_edf(case, tmp_path / "a.edf")
    assert (tmp_path / "a.edf").read_bytes()[168:184] == b"01.01.8500.00.00"
    assert read_back(tmp_path / "a.edf").first_stamp is None


@pytest.mark.parametrize(
    "words",
    [
        "sample times: P +1.2.3 s, 10 Hz",
        "sample times: P +0.05 s, 999 Hz",
        "sample times: P +0.05 s, 0 Hz",
        "sample times: P +7 s, 10 Hz",
    ],
)
def test_times_that_no_clock_has_stay_a_text(words: str) -> None:
    channel = even("P", np.arange(120, dtype=np.int16), [segment(120, 10.0)])
    text = Annotation(0, 0.0, 12.0, words)
    (back,), rest = restored([channel], Annotations(np.zeros(1), (text,), ()), 0.0)
    assert rest.texts == (text,)
    assert back.segments == channel.segments


def test_uneven_rows_become_annotations_and_that_is_said(tmp_path: Path) -> None:
    pressure = even("ABP", wave(5000), [segment(5000, 500.0)])
    times = np.array([1.0, 2.5, 7.0])
    values = np.array([9.1, np.nan, 8.8], np.float32)
    rows = uneven("Hb", times, values)
    with case_of(tmp_path / "case", recording("monitor", [pressure, rows])) as case:
        written = write_edf(case, tmp_path / "a.edf")
    assert written.remarks == ("monitor/hb: its 2 unevenly spaced rows are written as annotations",)
    assert [(note.start_s, note.text) for note in read_back(tmp_path / "a.edf").notes] == [
        (1.0, "Hb: 9.1 g/dL"),
        (7.0, "Hb: 8.8 g/dL"),
    ]


def uneven(label: str, times: np.ndarray, values: np.ndarray) -> RecordedChannel:
    shaped = even(label, values, [segment(len(values), 1.0)], unit="g/dL")
    return replace(shaped, segments=(), times=times)


def test_many_texts_in_one_second_do_not_make_every_record_large(tmp_path: Path) -> None:
    with two_rates(tmp_path / "case") as case:
        many = [Remark(1.0 + k / 1000, 1.0 + k / 1000, f"beat {k}") for k in range(500)]
        write_edf(case, tmp_path / "a.edf", remarks=many)
    assert (tmp_path / "a.edf").stat().st_size < 60 * 1002 + 8 * 500 * 20
    texts = [note.text for note in read_back(tmp_path / "a.edf").notes]
    assert sorted(text for text in texts if text.startswith("beat")) == sorted(
        f"beat {k}" for k in range(500)
    )


# Whole or not at all


def test_a_file_that_is_there_stays_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "a.edf").write_text("mine")
    with two_rates(tmp_path / "case") as case, pytest.raises(CannotWrite, match="is there already"):
        write_edf(case, tmp_path / "a.edf")
    assert (tmp_path / "a.edf").read_text() == "mine"


@pytest.mark.parametrize("until", [0.0, 0.1, 0.3, 0.7])
def test_stopping_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, until: float) -> None:
    monkeypatch.setattr(writer, "_SLAB", 20_000)
    shares: list[float] = []
    with two_rates(tmp_path / "case") as case, pytest.raises(Cancelled):
        write_edf(
            case,
            tmp_path / "a.edf",
            progress=lambda share, _text: shares.append(share),
            cancelled=lambda: bool(shares) and shares[-1] >= until,
        )
    assert shares == sorted(shares)
    assert [path.name for path in tmp_path.iterdir()] == ["case"]


def test_a_full_disk_leaves_nothing_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_number: int) -> None:
        raise OSError(28, "No space left on device")

    with two_rates(tmp_path / "case") as case:
        monkeypatch.setattr(os, "fsync", full)
        with pytest.raises(CannotWrite, match=r"a\.edf: cannot be written \(No space left on device\)"):
            write_edf(case, tmp_path / "a.edf")
    assert [path.name for path in tmp_path.iterdir()] == ["case"]


def test_memory_stays_bounded_whatever_the_length(tmp_path: Path) -> None:
    count = 500 * 3600 * 2
    codes = np.zeros(count, np.int16)
    codes[::7] = 900
    with case_of(
        tmp_path / "case",
        recording("monitor", [even(f"P{k}", codes, [segment(count, 500.0)]) for k in range(3)]),
    ) as case:
        tracemalloc.start()
        try:
            write_edf(case, tmp_path / "a.edf")
            peak = tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()
    assert (tmp_path / "a.edf").stat().st_size > 6 * count
    assert peak < 20e6


def test_an_annotation_for_a_signal_that_is_not_there_stays_a_text(tmp_path: Path) -> None:
    with two_rates(tmp_path / "case") as case:
        odd = [Remark(1.0, 2.0, "not recorded: someone"), Remark(3.0, 4.0, "sample times: soon")]
        write_edf(case, tmp_path / "a.edf", remarks=odd, notes=False)
    assert [note.text for note in read_back(tmp_path / "a.edf").notes] == [
        "not recorded: someone",
        "sample times: soon",
    ]


@settings(max_examples=40, deadline=None)
@given(
    lines=st.lists(
        st.tuples(
            st.sampled_from(
                [
                    "not recorded: P",
                    "repeated: P",
                    "sample times: P +0.05 s, 9.99 Hz",
                    "sample times: P -0.02 s, 10.1 Hz",
                    "other",
                ]
            ),
            st.integers(-5, 130),
            st.integers(0, 60),
        ),
        max_size=10,
    )
)
def test_no_set_of_such_annotations_loses_count_of_the_samples(lines: list[tuple[str, int, int]]) -> None:
    told = [Annotation(0, onset / 10, length / 10, text) for text, onset, length in lines]
    channel = replace(even("P", np.arange(120, dtype=np.int16), [segment(120, 10.0)], block=7), key="P")
    (back,), rest = restored([channel], Annotations(np.zeros(1), tuple(told), ()), 0.0)
    codes, _ = codes_of(back)
    assert (np.diff(codes) > 0).all()
    assert all(one.count > 0 for one in back.segments)
    assert {one.text for one in rest.texts} <= {"other"}

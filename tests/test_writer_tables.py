"""CSV tables as written: by the standard library's csv, by pandas, and read back by this project's reader.

Format: RFC 4180 (lines end in CR LF; fields with commas, quotes or line ends stand in quotes).
"""

from __future__ import annotations

import csv
import math
import tracemalloc
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io import Case, Span
from afterclamp.io.errors import Cancelled, CannotWrite
from afterclamp.io.readers import delimited
from afterclamp.io.recording import RecordedChannel, Recording, Segment
from afterclamp.io.terms import Identity
from afterclamp.io.writers import tables
from afterclamp.io.writers.tables import write_tables
from hypothesis import given, settings
from hypothesis import strategies as st
from recordings import case_of, even, recording


def wave(count: int, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).integers(-3000, 15_000, count).astype(np.int16)


def rows_of(path: Path) -> list[list[str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.reader(file))


def number(text: str) -> float:
    return float(text) if text else math.nan


def uneven(label: str, times: Sequence[float], values: Sequence[float]) -> RecordedChannel:
    shaped = even(label, np.array(values, np.float32), [Segment(0.0, 0, len(times), 1.0)], unit="g/dL")
    return replace(shaped, segments=(), times=np.array(times, np.float64))


def two_rates(folder: Path) -> Case:
    flow = np.array([0.5, 4.4, np.nan, 4.37] * 2 + [0, 0], np.float32)
    chans = [
        even("ABP fem", wave(5000), [Segment(0.0, 0, 5000, 500.0, 0.01)]),
        even("CVP", wave(5000, 2), [Segment(0.0, 0, 5000, 500.0, 0.1, -20.0)]),
        even("flow", flow, [Segment(0.0, 0, 10, 1.0)], unit="L/min"),
    ]
    return case_of(folder, recording("monitor", chans))


def test_a_table_for_each_rate_with_units_in_the_header(tmp_path: Path) -> None:
    with two_rates(tmp_path / "case") as case:
        written = write_tables(case, tmp_path / "out")
    assert [path.name for path in written] == ["monitor-500hz.csv", "monitor-1hz.csv"]
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == sorted(p.name for p in written)
    header, *rows = rows_of(written[0])
    assert header == ["time_s", "ABP fem [mm[Hg]]", "CVP [mm[Hg]]"]
    assert [row[0] for row in rows[:3]] == ["0.000", "0.002", "0.004"]
    assert [row[1] for row in rows] == [f"{code / 100:.2f}" for code in wave(5000).tolist()]
    assert [row[2] for row in rows] == [f"{(code - 200) / 10:.1f}" for code in wave(5000, 2).tolist()]
    assert rows_of(written[1])[:5] == [
        ["time_s", "flow [L/min]"],
        ["0", "0.5"],
        ["1", "4.4"],
        ["2", ""],
        ["3", "4.37"],
    ]


def test_every_line_ends_as_rfc_4180_says(tmp_path: Path) -> None:
    odd = even('a "b", c', wave(4), [Segment(0.0, 0, 4, 2.0)], unit="")
    with case_of(tmp_path / "case", recording("monitor", [replace(odd, key="odd")])) as case:
        (path,) = write_tables(case, tmp_path)
    raw = path.read_bytes()
    assert raw.endswith(b"\r\n")
    assert raw.count(b"\r\n") == raw.count(b"\n") == raw.count(b"\r") == 5
    assert raw.startswith(b'time_s,"a ""b"", c"\r\n')
    assert rows_of(path)[0] == ["time_s", 'a "b", c']


def test_pandas_reads_what_was_recorded(tmp_path: Path) -> None:
    import pandas as pd

    with two_rates(tmp_path / "case") as case:
        fast, slow = write_tables(case, tmp_path)
        frame = pd.read_csv(fast)
        samples = case["monitor/abp_fem"].read(0, 10)
        np.testing.assert_allclose(frame["time_s"], samples.t, rtol=0, atol=1e-9)
        np.testing.assert_allclose(frame["ABP fem [mm[Hg]]"], samples.values, rtol=0, atol=1e-4)
        flow = case["monitor/flow"].read(0, 10).values
        np.testing.assert_array_equal(
            pd.read_csv(slow)["flow [L/min]"].to_numpy(np.float32), flow.astype("f4")
        )


@settings(max_examples=25, deadline=None)
@given(
    gaps=st.lists(st.tuples(st.integers(0, 999), st.integers(1, 200)), max_size=6),
    scale=st.sampled_from([0.01, 1200 / 65535, 0.305, 2.0, -0.004]),
    offset=st.sampled_from([0.0, -7.3, 1 / 3]),
    drift=st.sampled_from([0.0, 60.0, -20.0]),
    seed=st.integers(0, 99),
)
def test_our_reader_gives_codes_gaps_and_times_back(
    tmp_path_factory: pytest.TempPathFactory,
    gaps: list[tuple[int, int]],
    scale: float,
    offset: float,
    drift: float,
    seed: int,
) -> None:
    folder = tmp_path_factory.mktemp("csv")
    codes, valid = wave(1000, seed), np.ones(1000, bool)
    for first, many in gaps:
        valid[first : first + many] = False
    if valid.sum() < 10:
        return
    cut = [Segment(0.0, 0, 600, 100.0, scale, offset), Segment(8.5, 600, 400, 100.0, scale, offset)]
    one = even("ABP", codes, cut, valid=valid)
    with case_of(folder / "case", recording("pump", [one]), recording("monitor", [])) as case:
        case.edit("tester", "reference", {"source": "monitor"})
        case.edit("tester", "clock", {"source": "pump", "pieces": [{"offset_s": -3.25, "drift_ppm": drift}]})
        (path,) = write_tables(case, folder)
        was = case["pump/abp"].read(-1e9, 1e9)
    _, *rows = rows_of(path)
    times = np.array([float(row[0]) for row in rows])
    values = np.array([number(row[1]) for row in rows])
    np.testing.assert_allclose(times, was.t, rtol=0, atol=6e-8)
    np.testing.assert_array_equal(np.isfinite(values), valid)
    np.testing.assert_array_equal(np.rint((values[valid] - offset) / scale), codes[valid])
    assert (np.abs(values[valid] - (codes[valid] * scale + offset)) <= abs(scale) / 100).all()
    (back,) = delimited.read(path, {})
    read = samples_of(back, 0)
    assert np.isfinite(read[1]).sum() == valid.sum()
    np.testing.assert_allclose(read[1][np.isfinite(read[1])], values[valid], rtol=2e-7, atol=1e-6)
    np.testing.assert_allclose(read[0][np.isfinite(read[1])], (times - times[0])[valid], rtol=0, atol=1e-4)


def samples_of(recorded: Recording, number: int) -> tuple[np.ndarray, np.ndarray]:
    channel = recorded.channels[number]
    parts = [
        np.where(True if block.valid is None else block.valid, block.codes.astype(np.float64), np.nan)
        for block in channel.blocks()
    ]
    if channel.times is not None:
        return channel.times, np.concatenate(parts)
    times = [one.start_s + np.arange(one.count) / one.rate_hz for one in channel.segments]
    return np.concatenate(times), np.concatenate(parts)


def test_sources_and_times_that_differ_have_tables_of_their_own(tmp_path: Path) -> None:
    chans = [
        even("a", wave(100), [Segment(0.0, 0, 100, 10.0)]),
        even("b", wave(90), [Segment(1.0, 0, 90, 10.0)]),
        even("c", wave(2), [Segment(0.0, 0, 2, 0.1)]),
    ]
    other = even("a", wave(100), [Segment(0.0, 0, 100, 10.0)])
    rows = [
        uneven("Hb", [1.5, 2.25, 7.0], [9.1, 9.0, math.nan]),
        uneven("K", [1.5, 2.25, 7.0], [4, 4.1, 4.2]),
    ]
    sources = recording("monitor", chans), recording("pump", [other]), recording("gases", rows)
    with case_of(tmp_path / "case", *sources) as case:
        written = {path.name: rows_of(path) for path in write_tables(case, tmp_path / "out")}
    assert sorted(written) == [
        "gases-rows.csv",
        "monitor-10hz-2.csv",
        "monitor-10hz.csv",
        "monitor-every-10s.csv",
        "pump-10hz.csv",
    ]
    assert written["gases-rows.csv"] == [
        ["time_s", "Hb [g/dL]", "K [g/dL]"],
        ["1.5", "9.1", "4"],
        ["2.25", "9", "4.1"],
        ["7", "", "4.2"],
    ]
    assert written["monitor-10hz-2.csv"][1][0] == "1.0"


def test_a_window_and_chosen_channels(tmp_path: Path) -> None:
    with two_rates(tmp_path / "case") as case:
        (path,) = write_tables(case, tmp_path, span=Span(2.0, 2.01), channels=["monitor/cvp"])
        assert [row[0] for row in rows_of(path)] == ["time_s", "2.000", "2.002", "2.004", "2.006", "2.008"]
        with pytest.raises(CannotWrite, match="hold nothing in this window"):
            write_tables(case, tmp_path / "none", span=Span(50.0, 60.0))


def test_a_view_writes_nothing_of_what_it_hides(tmp_path: Path) -> None:
    with two_rates(tmp_path / "case") as case:
        for path in write_tables(case.until(2.5), tmp_path):
            assert max(float(row[0]) for row in rows_of(path)[1:]) < 2.5


def test_times_before_the_reference_and_far_behind_it_are_right(tmp_path: Path) -> None:
    early = even("a", wave(4), [Segment(0.0, 0, 4, 2.0)])
    with case_of(
        tmp_path / "case",
        recording("monitor", [even("b", wave(2), [Segment(123_456.0, 0, 2, 1.0)])]),
        recording("pump", [early], first_stamp=datetime(2026, 1, 1, 7, 59, 59)),
    ) as case:
        case.edit("tester", "reference", {"source": "monitor"})
        written = {path.name: [row[0] for row in rows_of(path)[1:]] for path in write_tables(case, tmp_path)}
    assert written["pump-2hz.csv"] == ["-1.0", "-0.5", "0.0", "0.5"]
    assert written["monitor-1hz.csv"] == ["123456", "123457"]


def test_units_are_those_the_channel_is_read_in(tmp_path: Path) -> None:
    # 10 kPa are 75.006 mmHg: UCUM, mm[Hg] = 133.322 Pa.
    codes = np.array([100, 101, 0], np.int16)
    one = even("ABP", codes, [Segment(0.0, 0, 3, 1.0, 0.1)], unit="kPa")
    identities = {"abp": Identity("arterial_pressure", "femoral")}
    with case_of(tmp_path / "case", recording("monitor", [one]), identities=identities) as case:
        (path,) = write_tables(case, tmp_path)
        assert case["monitor/abp"].unit == "mm[Hg]"
    header, *rows = rows_of(path)
    assert header[1] == "ABP [mm[Hg]]"
    assert [float(row[1]) for row in rows] == pytest.approx([75.0063, 75.7564, 0.0], abs=0.0075)


def test_single_precision_numbers_keep_every_bit(tmp_path: Path) -> None:
    values = np.array([1 / 3, 1e-7, 123456.79, -0.0, 16_777_216.0], np.float32)
    one = even("x", values, [Segment(0.0, 0, 5, 1.0)], unit="")
    with case_of(tmp_path / "case", recording("monitor", [one])) as case:
        (path,) = write_tables(case, tmp_path)
    texts = [row[1] for row in rows_of(path)[1:]]
    np.testing.assert_array_equal(np.array(texts, np.float32), values)
    assert texts[3] == "0"
    assert not any("e" in text for text in texts)


def test_codes_of_any_spread_are_written(tmp_path: Path) -> None:
    codes = np.array([-2_000_000_000, 0, 7, 2_000_000_000], np.int32)
    one = even("x", codes, [Segment(0.0, 0, 4, 1.0, 0.5)], unit="mV", valid=np.array([1, 1, 0, 1], bool))
    with case_of(tmp_path / "case", recording("monitor", [one])) as case:
        (path,) = write_tables(case, tmp_path)
    assert [row[1] for row in rows_of(path)[1:]] == ["-1000000000", "0", "", "1000000000"]


def test_tables_that_are_there_stay_and_none_is_added(tmp_path: Path) -> None:
    (tmp_path / "monitor-1hz.csv").write_text("mine")
    with two_rates(tmp_path / "case") as case, pytest.raises(CannotWrite, match="is there already"):
        write_tables(case, tmp_path)
    assert (tmp_path / "monitor-1hz.csv").read_text() == "mine"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["case", "monitor-1hz.csv"]


@pytest.mark.parametrize("until", [0.0, 0.5, 0.9])
def test_stopping_leaves_no_table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, until: float) -> None:
    monkeypatch.setattr(tables, "_ROWS", 500)
    shares: list[float] = []
    with two_rates(tmp_path / "case") as case, pytest.raises(Cancelled):
        write_tables(
            case,
            tmp_path,
            progress=lambda share, _text: shares.append(share),
            cancelled=lambda: bool(shares) and shares[-1] >= until,
        )
    assert shares == sorted(shares)
    assert [path.name for path in tmp_path.iterdir()] == ["case"]


def test_memory_stays_bounded_whatever_the_length(tmp_path: Path) -> None:
    count = 1_500_000
    codes = np.resize(np.array([100, 250, 300], np.int16), count)
    with case_of(
        tmp_path / "case",
        recording("monitor", [even(f"P{k}", codes, [Segment(0.0, 0, count, 500.0, 0.1)]) for k in range(3)]),
    ) as case:
        tracemalloc.start()
        try:
            (path,) = write_tables(case, tmp_path)
            peak = tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()
    assert path.stat().st_size > 15 * count
    assert peak < 20e6

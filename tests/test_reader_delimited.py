"""Delimited text: separators, decimal signs, headers, times, gaps, and what is refused with its line."""

from __future__ import annotations

import subprocess
import sys
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from afterclamp.io.errors import FileUnreadable
from afterclamp.io.readers import Claim, spool
from afterclamp.io.readers.column_map import ColumnMap, load_column_map
from afterclamp.io.readers.delimited import READER
from afterclamp.io.readers.even_rows import pieces_of
from afterclamp.io.readers.stamps import row_times
from afterclamp.io.recording import RecordedChannel, Recording
from awkward_files import ALL, Maker
from hypothesis import given, settings
from hypothesis import strategies as st


def _write(folder: Path, text: str, name: str = "pump.csv", encoding: str = "utf-8") -> Path:
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


def _read(path: Path, columns: Any = None) -> Recording:
    (recording,) = READER.read(path, {"columns": columns})
    return recording


def _map(folder: Path, text: str) -> Path:
    path = folder / "columns.toml"
    path.write_text(text, encoding="utf-8")
    return path


def _values(channel: RecordedChannel) -> np.ndarray:
    """All samples in order, NaN where none was recorded."""
    blocks = [
        block.codes if block.valid is None else np.where(block.valid, block.codes, np.nan)
        for block in channel.blocks()
    ]
    values = np.concatenate(blocks).astype(float)
    assert len(values) == channel.count
    return values


def _seconds(channel: RecordedChannel) -> np.ndarray:
    """Source seconds of all samples."""
    if channel.times is not None:
        return channel.times
    assert sum(segment.count for segment in channel.segments) == channel.count
    return np.concatenate([s.start_s + np.arange(s.count) / s.rate_hz for s in channel.segments])


def _clock(second: float) -> str:
    return (datetime(2000, 1, 1) + timedelta(seconds=second)).strftime("%H:%M:%S")


def _refusal(path: Path, columns: Any = None) -> FileUnreadable:
    assert READER.claims(path, path.read_bytes()[:4096]) is Claim.MINE
    with pytest.raises(FileUnreadable) as caught:
        _read(path, columns)
    assert str(path) in caught.value.sentence
    assert "\n" not in caught.value.sentence
    assert caught.value.todo
    return caught.value


# -- how it is written ------------------------------------------------------------------------------


ROWS = "07:42:00;4,40;120\n07:42:01;4,41;121\n07:42:02;4,42;122\n07:42:03;4,43;123\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_semicolons_decimal_comma_marks_and_line_ends(tmp_path: Path, encoding: str, newline: str) -> None:
    text = "Zeit;Fluß (L/min);line pressure (mmHg)\n" + ROWS
    path = _write(tmp_path, text.replace("\n", newline), encoding=encoding)
    assert READER.claims(path, path.read_bytes()[:4096]) is Claim.MINE
    pump = _read(path)
    flow, line = pump.channels
    assert (flow.label, flow.unit_as_written) == ("Fluß", "L/min")
    assert (line.key, line.unit_as_written) == ("line_pressure", "mmHg")
    np.testing.assert_allclose(_values(flow), [4.40, 4.41, 4.42, 4.43], rtol=1e-7)
    np.testing.assert_array_equal(_values(line), [120, 121, 122, 123])
    assert flow.segments[0].rate_hz == 1.0
    assert pump.first_stamp is not None
    assert pump.first_stamp.time().isoformat() == "07:42:00"
    assert not pump.dated


def test_mixed_line_ends_and_blank_lines(tmp_path: Path) -> None:
    path = _write(tmp_path, "time [s],HR [bpm]\r\n0,70\n\n1,71\r\n2,72\n")
    np.testing.assert_array_equal(_values(_read(path).channels[0]), [70, 71, 72])


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_separators(tmp_path: Path, separator: str) -> None:
    text = "time [s],FEM [mmHg],CVP [mmHg]\n0,70.5,8\n1,71.5,9\n".replace(",", separator)
    femoral, venous = _read(_write(tmp_path, text)).channels
    np.testing.assert_array_equal(_values(femoral), [70.5, 71.5])
    np.testing.assert_array_equal(_values(venous), [8, 9])


def test_columns_set_apart_by_spaces(tmp_path: Path) -> None:
    path = _write(tmp_path, "time_s  FEM   CVP\n 0  70.5  8\n 1  71.5  9\n", "monitor.txt")
    assert READER.claims(path, path.read_bytes()) is Claim.MINE
    assert [channel.label for channel in _read(path).channels] == ["FEM", "CVP"]


@pytest.mark.parametrize(
    ("header", "label", "unit"),
    [
        ("flow [L/min]", "flow", "L/min"),
        ("flow (L/min)", "flow", "L/min"),
        ("FEM mm[Hg]", "FEM", "mm[Hg]"),
        ("FEM (mm[Hg])", "FEM", "mm[Hg]"),
        ("SvO2 %", "SvO2", "%"),
        ("ABP min", "ABP min", ""),
        ("flow [L/min7m2]", "flow", "L/min7m2"),
        ("T out [°C]", "T out", "°C"),
        ("reservoir", "reservoir", ""),
    ],
)
def test_a_unit_in_the_header_is_kept_as_written(tmp_path: Path, header: str, label: str, unit: str) -> None:
    (channel,) = _read(_write(tmp_path, f"time [s],{header}\n0,1\n1,2\n")).channels
    assert (channel.label, channel.unit_as_written) == (label, unit)


def test_left_and_right_in_brackets_are_no_litres(tmp_path: Path) -> None:
    left, right = _read(_write(tmp_path, "time [s],NIRS (L),NIRS (R)\n0,62,61\n5,63,61\n")).channels
    assert (left.label, left.unit_as_written) == ("NIRS (L)", "")
    assert (right.label, right.unit_as_written) == ("NIRS (R)", "")


def test_a_second_header_row_holds_the_units(tmp_path: Path) -> None:
    text = "Recorder export\n\ntime;flow;line pressure;note\nhh:mm:ss;L/min;[mmHg];\n" + ROWS.replace(
        "\n", ";x\n"
    )
    pump = _read(_write(tmp_path, text))
    assert [(c.label, c.unit_as_written) for c in pump.channels] == [
        ("flow", "L/min"),
        ("line pressure", "mmHg"),
    ]
    assert any("text above the table" in line for line in pump.set_aside)


def test_headers_that_stand_twice_get_keys_of_their_own(tmp_path: Path) -> None:
    pump = _read(_write(tmp_path, "time [s],T [degC],T [degC]\n0,36,35\n1,36,35\n"))
    assert [channel.key for channel in pump.channels] == ["T", "T_2"]


def test_missing_values_are_not_recorded_values(tmp_path: Path) -> None:
    rows = ["12,0", ",0", "---,4", "NaN,4", "NA,4", *["11,4"] * 5]
    text = "\n".join(["time [s],Hb [g/dL],flow [L/min]", *(f"{n},{row}" for n, row in enumerate(rows))])
    pump = _read(_write(tmp_path, text))
    haemoglobin, flow = pump.channels
    np.testing.assert_array_equal(
        _values(haemoglobin), [12, np.nan, np.nan, np.nan, np.nan, 11, 11, 11, 11, 11]
    )
    assert next(flow.blocks()).valid is None


def test_a_column_of_text_and_an_empty_one_are_set_aside_and_listed(tmp_path: Path) -> None:
    late_text = "".join(f"{n},4.4,,\n" for n in range(9000)) + "9000,4.4,,stop\n"
    pump = _read(_write(tmp_path, "time [s],flow [L/min],spare,alarm\n" + late_text))
    assert [channel.label for channel in pump.channels] == ["flow"]
    assert any("column alarm: a column of text" in line for line in pump.set_aside)
    assert any("column spare: holds no value" in line for line in pump.set_aside)


def test_name_hash_and_how_it_was_read_are_said(tmp_path: Path) -> None:
    pump = _read(_write(tmp_path, "time;flow [L/min]\n07:42:00;4,4\n07:42:01;4,4\n", "Pump Ünit 2.csv"))
    assert pump.name == "Pump_Unit_2"
    # sha256sum (GNU coreutils) of the same bytes.
    sha = "82d4e7c116253be1c8e9ad74cc95bc3fd5a81076b2b4b9a54df06e3056e7e87d"
    assert pump.files == (("Pump Ünit 2.csv", sha),)
    assert pump.about["separator"] == "semicolon"
    assert pump.about["decimal sign"] == "comma"


# -- time -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stamps", "header", "step_s"),
    [
        (["0", "0.5", "1", "1.5"], "time [s]", 0.5),
        (["0", "500", "1000", "1500"], "time [ms]", 0.5),
        (["0", "1", "2", "3"], "time (min)", 60.0),
        (["0", "1", "2", "3"], "elapsed_s", 1.0),
        (["07:42:00", "07:42:05", "07:42:10", "07:42:15"], "time", 5.0),
        (["7:42:58", "7:42:59", "7:43:00", "7:43:01"], "clock", 1.0),
        (["9:59:59", "10:00:00", "10:00:01", "10:00:02"], "time", 1.0),
        (["07:42:00.125", "07:42:00.250", "07:42:00.375", "07:42:00.500"], "time", 0.125),
        (["07:42:00,125", "07:42:00,250", "07:42:00,375", "07:42:00,500"], "time", 0.125),
        (["11:59:59 AM", "12:00:00 PM", "12:00:01 PM", "12:00:02 PM"], "time", 1.0),
        (["07:42", "07:43", "07:44", "07:45"], "time", 60.0),
        (
            ["2031-05-04T23:59:59", "2031-05-05T00:00:00", "2031-05-05T00:00:01", "2031-05-05T00:00:02"],
            "when",
            1.0,
        ),
        (
            [
                "2028-02-28 23:59:59.5",
                "2028-02-29 00:00:00.0",
                "2028-02-29 00:00:00.5",
                "2028-02-29 00:00:01.0",
            ],
            "t",
            0.5,
        ),
        (
            ["2031-10-26T02:59:59+02:00", "2031-10-26T02:00:00+01:00", "2031-10-26T02:00:01+01:00"],
            "timestamp",
            1.0,
        ),
        (["1936000000", "1936000001", "1936000002", "1936000003"], "epoch", 1.0),
        (["1936000000250", "1936000000500", "1936000000750", "1936000001000"], "timestamp", 0.25),
    ],
)
def test_kinds_of_time(tmp_path: Path, stamps: list[str], header: str, step_s: float) -> None:
    rows = "".join(f"{stamp};{n}\n" for n, stamp in enumerate(stamps))
    (channel,) = _read(_write(tmp_path, f"{header};flow [L/min]\n{rows}")).channels
    (segment,) = channel.segments
    assert segment.start_s == 0.0
    assert 1.0 / segment.rate_hz == pytest.approx(step_s, rel=1e-12)


# GNU date: date -u -d @1936000000 gives Thu May  8 09:46:40 UTC 2031.
def test_the_first_stamp_is_what_the_clock_said(tmp_path: Path) -> None:
    iso = _read(_write(tmp_path, "when,flow [L/min]\n2031-05-04 07:42:00.5,1\n2031-05-04 07:42:01.5,1\n"))
    assert (iso.first_stamp, iso.dated) == (datetime(2031, 5, 4, 7, 42, 0, 500000), True)
    epoch = _read(_write(tmp_path, "epoch,flow [L/min]\n1936000000,1\n1936000001,1\n"))
    assert (epoch.first_stamp, epoch.dated) == (datetime(2031, 5, 8, 9, 46, 40), True)
    elapsed = _read(_write(tmp_path, "time [s],flow [L/min]\n12,1\n13,1\n"))
    assert (elapsed.first_stamp, elapsed.dated) == (None, False)


def test_whole_seconds_at_one_row_a_second_are_exact_over_hours(tmp_path: Path) -> None:
    rows = "".join(f"{_clock(27720 + n)},{n % 7}\n" for n in range(21000))
    (channel,) = _read(_write(tmp_path, "time,flow [L/min]\n" + rows)).channels
    (segment,) = channel.segments
    assert (segment.start_s, segment.count, segment.rate_hz, segment.run) == (0.0, 21000, 1.0, 0)


def test_a_gap_starts_a_new_segment_of_the_same_run(tmp_path: Path) -> None:
    seconds = [n for n in range(300) if not 100 <= n < 170 and n != 250]
    rows = "".join(f"{_clock(27720 + n)},{n}\n" for n in seconds)
    (channel,) = _read(_write(tmp_path, "time,flow [L/min]\n" + rows)).channels
    assert [(s.start_s, s.count, s.run) for s in channel.segments] == [
        (0, 100, 0),
        (170, 80, 0),
        (251, 49, 0),
    ]
    assert [s.first for s in channel.segments] == [0, 100, 180]


def test_a_clock_that_was_set_back_starts_a_new_run(tmp_path: Path) -> None:
    seconds = [*range(200), *range(170, 400)]
    rows = "".join(f"{_clock(27720 + n)},{n}\n" for n in seconds)
    pump = _read(_write(tmp_path, "time,flow [L/min]\n" + rows))
    assert [(s.start_s, s.count, s.run) for s in pump.channels[0].segments] == [(0, 200, 0), (170, 230, 1)]
    assert pump.about["clock set back"] == "before row 201 by 30 s"


def test_midnight_is_not_a_backward_step(tmp_path: Path) -> None:
    rows = "".join(f"{_clock(86300 + n)},{n}\n" for n in range(300))
    (channel,) = _read(_write(tmp_path, "time,flow [L/min]\n" + rows)).channels
    (segment,) = channel.segments
    assert (segment.count, segment.run) == (300, 0)


def test_a_clock_set_back_across_midnight_is_one(tmp_path: Path) -> None:
    seconds = [*range(86300, 86410), *range(86380, 86500)]
    rows = "".join(f"{_clock(n)},{n}\n" for n in seconds)
    (channel,) = _read(_write(tmp_path, "time,flow [L/min]\n" + rows)).channels
    assert [(s.start_s, s.count, s.run) for s in channel.segments] == [(0, 110, 0), (80, 120, 1)]


def test_one_row_per_change_keeps_its_stamps(tmp_path: Path) -> None:
    seconds = [0, 3, 4, 11, 30, 31, 50, 58, 59, 75]
    rows = "".join(f"{_clock(27720 + n)},{n}\n" for n in seconds)
    (channel,) = _read(_write(tmp_path, "time,flow [L/min]\n" + rows)).channels
    assert channel.segments == ()
    np.testing.assert_array_equal(_seconds(channel), seconds)
    np.testing.assert_array_equal(_values(channel), seconds)


def test_uneven_rows_keep_only_the_values_that_were_written(tmp_path: Path) -> None:
    rows = "0,4.4,\n7,,12.5\n9,4.5,\n31,4.6,12.0\n"
    flow, haemoglobin = _read(_write(tmp_path, "time [s],flow [L/min],Hb [g/dL]\n" + rows)).channels
    np.testing.assert_array_equal(_seconds(flow), [0, 9, 31])
    np.testing.assert_array_equal(_seconds(haemoglobin), [7, 31])
    np.testing.assert_array_equal(_values(haemoglobin), [12.5, 12.0])


def test_a_column_with_a_value_in_every_fifth_row_has_a_fifth_of_the_rate(tmp_path: Path) -> None:
    rows = "".join(f"{n},4.4,{62 if n % 5 == 2 else ''}\n" for n in range(500))
    flow, saturation = _read(_write(tmp_path, "time [s],flow [L/min],NIRS L [%]\n" + rows)).channels
    assert (flow.segments[0].rate_hz, flow.count) == (1.0, 500)
    (segment,) = saturation.segments
    assert (segment.start_s, segment.count, segment.rate_hz) == (2.0, 100, 0.2)


@pytest.mark.parametrize("rate", [2.0, 4.0, 10.0, 100.0, 62.5, 62.4725, 3.0])
@pytest.mark.parametrize("decimals", [0, 3])
def test_rounded_stamps_of_even_rows_give_their_rate(tmp_path: Path, rate: float, decimals: int) -> None:
    count = int(120 * rate)
    true = 0.25 + np.arange(count) / rate
    stamps = np.floor(true * 10**decimals) / 10**decimals
    rows = "".join(f"{stamp:.{decimals}f},{n % 50}\n" for n, stamp in enumerate(stamps.tolist()))
    (channel,) = _read(_write(tmp_path, "time [s],ABP [mmHg]\n" + rows)).channels
    (segment,) = channel.segments
    assert segment.count == count
    # The stamps leave the rate open by one rounding over two minutes, and the start by one rounding.
    assert segment.rate_hz == pytest.approx(rate, rel=1.0 / 10**decimals / 120)
    error = _seconds(channel) + stamps[0] - true
    assert np.abs(error).max() <= 1.01 * max(1.0 / 10**decimals, 1.0 / rate)


def test_rows_lost_between_rounded_stamps_are_a_gap(tmp_path: Path) -> None:
    true = np.arange(6000) / 100.0
    kept = (true < 20) | (true >= 27.4)
    rows = "".join(
        f"{_clock(27720 + int(second))},{n % 50}\n" for n, second in enumerate(true[kept].tolist())
    )
    (channel,) = _read(_write(tmp_path, "time,ABP [mmHg]\n" + rows)).channels
    first, second = channel.segments
    assert (first.count, second.count) == (2000, 3260)
    assert first.rate_hz == second.rate_hz == 100.0
    assert second.start_s == pytest.approx(27.4, abs=0.02)


def test_a_late_stamp_now_and_then_is_no_gap(tmp_path: Path) -> None:
    # A recorder that writes when it comes to it: now and then a second is skipped and the next stands twice.
    stamps = [n + 1 if n in (50, 301, 302, 477) else n for n in range(600)]
    rows = "".join(f"{_clock(27720 + stamp)},{n}\n" for n, stamp in enumerate(stamps))
    (channel,) = _read(_write(tmp_path, "time,flow [L/min]\n" + rows)).channels
    (segment,) = channel.segments
    assert (segment.start_s, segment.count, segment.rate_hz) == (0.0, 600, 1.0)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    gaps=st.lists(st.integers(2, 400), max_size=6),
    pieces=st.lists(st.integers(60, 300), min_size=7, max_size=7),
    interval=st.sampled_from([1, 2, 5, 10]),
)
def test_any_gaps_on_a_grid_are_found_exactly(gaps: list[int], pieces: list[int], interval: int) -> None:
    at, stamps, expected = 0, [], []
    for number, count in enumerate(pieces[: len(gaps) + 1]):
        expected.append((float(at * interval), count))
        stamps += [float((at + n) * interval) for n in range(count)]
        at += count - 1 + (gaps[number] if number < len(gaps) else 0)
    found = pieces_of(row_times(np.array(stamps), "seconds", 0))
    assert [(piece.start_s, piece.count) for piece in found] == expected
    assert {piece.rate_hz for piece in found} == {1.0 / interval}


# -- the column map ---------------------------------------------------------------------------------


def test_a_bench_circulation_without_a_header(real_traces: Path, tmp_path: Path) -> None:
    # The data set's own description: time s, aortic flow mL/s, central and radial pressure mmHg, 1 kHz (CC0).
    columns = _map(
        tmp_path,
        """
        [match]
        name = "*.csv"
        [file]
        header_rows = 0
        [time]
        column = 1
        kind = "seconds"
        rate_hz = 1000.0
        [[channel]]
        column = 2
        label = "aortic flow"
        unit = "mL/s"
        [[channel]]
        column = 3
        label = "central pressure"
        unit = "mmHg"
        kind = "arterial_pressure"
        site = "aortic"
        [[channel]]
        column = 4
        label = "radial pressure"
        unit = "mmHg"
        """,
    )
    path = real_traces / "mock_loop" / "NV_step6_COresolution.csv"
    loop = _read(path, columns)
    assert [(c.key, c.unit_as_written) for c in loop.channels] == [
        ("aortic_flow", "mL/s"),
        ("central_pressure", "mmHg"),
        ("radial_pressure", "mmHg"),
    ]
    assert loop.about["identity:central_pressure"] == "arterial_pressure|aortic||value"
    assert loop.first_stamp is None
    independent = np.loadtxt(path, delimiter=",")
    for channel, column in zip(loop.channels, independent.T[1:], strict=True):
        (segment,) = channel.segments
        assert (segment.start_s, segment.count, segment.rate_hz) == (0.0, len(independent), 1000.0)
        np.testing.assert_array_equal(_values(channel), column.astype(np.float32))


def test_a_map_names_columns_by_header_and_what_stands_for_missing(tmp_path: Path) -> None:
    columns = _map(
        tmp_path,
        """
        [file]
        separator = "comma"
        skip_rows = 1
        missing = ["off"]
        [time]
        column = "sample time"
        kind = "clock"
        [[channel]]
        column = "fl"
        unit = "L/min"
        kind = "pump_flow"
        """,
    )
    text = "exported\nsample time,fl,other\n07:42:00,4.4,1\n07:42:01,off,2\n07:42:02,4.6,3\n"
    pump = _read(_write(tmp_path, text), columns)
    (flow,) = pump.channels
    np.testing.assert_allclose(_values(flow), [4.4, np.nan, 4.6], rtol=1e-6)
    assert any("column other: the column map leaves it out" in line for line in pump.set_aside)


def test_a_map_may_give_the_rate_alone(tmp_path: Path) -> None:
    columns = _map(
        tmp_path,
        '[file]\nheader_rows = 0\n[time]\nrate_hz = 125.0\nstart = "08:00:00"\n[[channel]]\ncolumn = 1\n',
    )
    record = _read(_write(tmp_path, "80\n81\n82\n"), columns)
    (segment,) = record.channels[0].segments
    assert (segment.count, segment.rate_hz) == (3, 125.0)
    assert record.first_stamp is not None
    assert record.first_stamp.time().isoformat() == "08:00:00"


def test_a_map_for_other_files_is_left_alone(tmp_path: Path) -> None:
    told = ColumnMap.model_validate(
        {"match": {"name": "monitor*.csv"}, "time": {"column": 2, "kind": "clock"}}
    )
    path = _write(tmp_path, "time [s],flow [L/min]\n0,4\n1,4\n")
    assert _read(path, told).channels[0].segments[0].rate_hz == 1.0


def test_rounded_stamps_with_a_told_rate_keep_the_rate(tmp_path: Path) -> None:
    columns = _map(tmp_path, '[time]\ncolumn = 1\nkind = "seconds"\nrate_hz = 62.4725\n')
    true = np.arange(5000) / 62.4725
    rows = "".join(f"{second:.2f},{n % 50}\n" for n, second in enumerate(true.tolist()))
    (channel,) = _read(_write(tmp_path, "t,ABP [mmHg]\n" + rows), columns).channels
    (segment,) = channel.segments
    assert (segment.count, segment.rate_hz) == (5000, 62.4725)
    assert np.abs(_seconds(channel) - true).max() < 0.01


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("[time]\ncolum = 1\n", "key time.colum", "expected one of: column, kind"),
        ('[time]\ncolumn = 1\nkind = "ticks"\n', "key time.kind", "found 'ticks'; expected one of seconds"),
        ("[time]\nuneven = true\nrate_hz = 5.0\n", "key time", "'uneven' and 'rate_hz' contradict"),
        ('[time]\nkind = "seconds"\ndate_order = "day-first"\n', "key time", "'date_order' needs times"),
        ('[time]\nkind = "minutes"\nsummer_time = "ends"\n', "key time", "the time of a clock, not minutes"),
        ('[time]\ndate_order = "us"\n', "key time.date_order", "found 'us'; expected one of year-first"),
        ("[time]\ncolumn = 1\nrate_hz = 0\n", "key time.rate_hz", "rows a second"),
        ('[file]\nseparator = "ab"\n', "key file.separator", "found 'ab'; expected one sign"),
        ('[[channel]]\ncolumn = 1\nkind = "blood"\n', "key channel[1]", "kind 'blood' is none of"),
        ('[[channel]]\ncolumn = 1\nkind = "pump_flow"\nside = "left"\n', "key channel[1]", "side 'left'"),
        ('[[channel]]\nlabel = "x"\n', "key channel[1].column", "is missing; expected a column"),
    ],
)
def test_a_wrong_column_map_is_named_with_its_key(tmp_path: Path, text: str, place: str, words: str) -> None:
    path = _map(tmp_path, text)
    with pytest.raises(FileUnreadable) as caught:
        load_column_map(path)
    assert caught.value.path == path
    assert caught.value.place == place
    assert words in caught.value.sentence


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[time]\ncolumn = 4\nkind = "seconds"\n', "names column 4; this table has 2"),
        ('[time]\ncolumn = "when"\nkind = "seconds"\n', "'when', which is not there (headers: t, flow)"),
        ('[time]\ncolumn = 1\nkind = "seconds"\nrate_hz = 5.0\n', "says 5 rows a second; the stamps say 1"),
        ('[time]\ncolumn = 1\nkind = "clock"\n', "found '0' as a time; expected a time of day"),
    ],
)
def test_a_column_map_that_does_not_fit_is_said(tmp_path: Path, text: str, words: str) -> None:
    refusal = _refusal(_write(tmp_path, "t,flow\n0,4\n1,4\n2,4\n"), _map(tmp_path, text))
    assert words in refusal.sentence


# -- what is refused --------------------------------------------------------------------------------


def test_a_text_in_a_number_column_is_named_with_line_and_column(tmp_path: Path) -> None:
    rows = [f"{n},4.4,{n}" for n in range(40000)]
    rows[31234] = "31234,low,7"
    refusal = _refusal(_write(tmp_path, "time [s],flow [L/min],HR [bpm]\n" + "\n".join(rows) + "\n"))
    assert refusal.place == "line 31236, column flow"
    assert "found 'low'; expected a number" in refusal.sentence
    assert 'missing = ["low"]' in refusal.sentence


def test_a_quoted_line_break_does_not_shift_the_line_that_is_named(tmp_path: Path) -> None:
    text = 'time [s],flow [L/min],note\n0,4.4,"first\nand more"\n1,x,b\n2,4.4,c\n'
    assert _refusal(_write(tmp_path, text)).place == "line 4, column flow"


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("", "", "the file is empty"),
        ("\n \n", "", "the file is empty"),
        ("time,flow [L/min]\n", "line 1", "a header but no row"),
        ("a\x00b,c\n1,2\n", "", "not a text file"),
        ("0,4.4\n1,4.4\n2,4.4\n", "line 1", "no header"),
        ("flow [L/min],HR [bpm]\n4.4,70\n4.4,71\n", "", "no column holds times"),
        ("time,flow [L/min]\n0,4.4\n1,4.4\n", "column time", "nothing says whether they are seconds"),
        ("time [s],note\n0,a\n1,b\n", "", "no column of numbers"),
        ("time [s],flow,HR\n0,4.4,70\n1,4.4\n2,4.4,71\n", "line 3", "found 2 columns; expected 3"),
        (
            "time [s],flow,HR\n0,4.4,70\n1,4.4,70,9\n2,4.4,71\n3,4.4,71\n",
            "line 3",
            "found 4 columns; expected 3",
        ),
        (
            "time [s],flow,HR\n0,4.4,70\n1,4.4\n2,4.4,71,9\n3,4.4,71\n",
            "line 3",
            "found 2 columns; expected 3",
        ),
        ("time [s],flow,HR\n0,4.4,70\n1,4.4,71\n2,4", "line 4", "found 2 columns; expected 3"),
        ("time,flow\n07:42:00,4.4\n07:42:01,4.4\n,4.4\n", "line 4, column time", "has no time"),
        ("time,flow\n07:42:00,4.4\n25:42:01,4.4\n", "line 3, column time", "found '25:42:01' as a time"),
        ("time,flow\n07:42:00,4.4\nlater,4.4\n", "line 3, column time", "found 'later' as a time"),
        ("time [s],flow\n0,4.4\nlater,4.4\n", "line 3, column time [s]", "found 'later'"),
        ("time [s],flow\n0,4.4\n,4.4\n", "line 3, column time [s]", "has no time"),
        (
            "when,flow\n2031-02-28 07:42:00,4.4\n2031-02-29 07:42:01,4.4\n",
            "line 3, column when",
            "found '2031-02-29",
        ),
        ('time [s],flow\n0,4.4\n1,"4.4\n2,4.4\n', "line 3", "never closed"),
    ],
)
def test_what_cannot_be_read_is_named(tmp_path: Path, text: str, place: str, words: str) -> None:
    refusal = _refusal(_write(tmp_path, text))
    assert refusal.place == place
    assert words in refusal.sentence


def test_times_in_disorder_are_refused_with_the_first_line(tmp_path: Path) -> None:
    order = np.random.default_rng(5).permutation(200)
    first = int(np.argmax(np.diff(order) < 0)) + 1
    rows = "".join(f"{_clock(27720 + n)},{n}\n" for n in order.tolist())
    refusal = _refusal(_write(tmp_path, "time,flow [L/min]\n" + rows))
    assert refusal.place == f"line {first + 2}, column time"
    assert "in disorder" in refusal.sentence
    assert "Sort the rows" in refusal.sentence


def test_numbers_that_are_not_finite_are_set_aside(tmp_path: Path) -> None:
    pump = _read(_write(tmp_path, "time [s],flow [L/min]\n0,4\n1,inf\n2,-inf\n3,4\n4,4\n5,4\n"))
    np.testing.assert_array_equal(_values(pump.channels[0]), [4, np.nan, np.nan, 4, 4, 4])
    assert any("column flow: 2 values that are no finite number" in line for line in pump.set_aside)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("readme.txt", "Exports of one day, 3 devices.\nNothing else, 4 files.\n"),
        ("notes.md", "1,2\n3,4\n"),
        ("record.hea", "a 1 100\n"),
        ("trace.dat", "\x00\x01\x02"),
    ],
)
def test_other_files_are_left_to_others(tmp_path: Path, name: str, text: str) -> None:
    path = _write(tmp_path, text, name)
    assert READER.claims(path, path.read_bytes()) is Claim.NOT_MINE


def test_a_long_table_is_handed_over_in_blocks_and_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(spool, "_BLOCK_ROWS", 1 << 16)
    count = 300_000
    rows = "\n".join(f"{n / 500:.3f},{n % 300},{n % 7}" for n in range(count))
    first, second = _read(_write(tmp_path, "time [s],ABP [mmHg],CVP [mmHg]\n" + rows + "\n")).channels
    assert first.segments[0].rate_hz == 500.0
    assert len(list(first.blocks())) > 1
    np.testing.assert_array_equal(_values(second), np.arange(count) % 7)
    np.testing.assert_array_equal(_values(first), np.arange(count) % 300)
    np.testing.assert_array_equal(_values(first), np.arange(count) % 300)


@pytest.mark.parametrize("make", ALL, ids=lambda make: make.__name__)
def test_times_that_are_kept_in_a_file_are_the_same(tmp_path: Path, make: Maker) -> None:
    file = make(0)
    (tmp_path / file.name).write_bytes(file.data)
    columns = _map(tmp_path, file.choices) if file.choices else None
    in_memory = _read(tmp_path / file.name, columns)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(spool, "MOST_IN_MEMORY", 3)
        patch.setattr(spool, "_PIECE", 5)
        in_a_file = _read(tmp_path / file.name, columns)
    assert in_a_file.first_stamp == in_memory.first_stamp
    assert in_a_file.about == in_memory.about
    for one, other in zip(in_memory.channels, in_a_file.channels, strict=True):
        np.testing.assert_array_equal(_seconds(one), _seconds(other))
        np.testing.assert_array_equal(_values(one), _values(other))


@pytest.mark.skipif(sys.platform != "linux", reason="says what is in memory as Linux counts it")
def test_many_even_times_take_hardly_any_memory() -> None:
    # 12 hours of 500 a second: 173 MB as stamps. Everything else that Python holds here is about 60 MB.
    code = """
import numpy as np, resource
from afterclamp.io.readers import even_rows, spool, stamps
kept, count, step = spool.Stamps(), 12 * 3600 * 500, 1 << 18
for first in range(0, count, step):
    last = min(first + step, count)
    kept.add(np.round(np.arange(first, last) / 500, 3), last / count)
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
(piece,) = even_rows.pieces_of(stamps.row_times(kept.array(), "seconds", None))
print(piece.count, piece.rate_hz, (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) // 1024)
"""
    told = subprocess.run(
        [sys.executable, "-P", "-c", code], capture_output=True, text=True, check=True
    ).stdout
    count, rate_hz, more_mb = told.split()
    assert (int(count), float(rate_hz)) == (12 * 3600 * 500, 500.0)
    assert int(more_mb) < 60


def _with_quotes(opened: int, closed: int | None, *, column: int = 1, rows: int = 100) -> str:
    """A table of numbers and remarks with a quotation mark before a cell of one row and after the last of another."""
    lines = []
    for n in range(rows):
        cells = [f"{_clock(27720 + n)}", f"4.{n % 10}", "", f"{n}"]
        if n == opened:
            cells[column] = f'"{cells[column]}'
        lines.append(",".join(cells) + ('"' if n == closed else ""))
    return "time,flow [L/min],remark,HR [bpm]\n" + "\n".join(lines) + "\n"


@pytest.mark.parametrize("column", [0, 1, 2, 3])
@pytest.mark.parametrize(
    ("opened", "closed", "rows"),
    [(30, 60, 100), (0, 60, 100), (0, None, 100), (30, None, 100), (3000, 3040, 40_000)],
)
def test_a_quotation_mark_swallows_no_row(
    tmp_path: Path, opened: int, closed: int | None, rows: int, column: int
) -> None:
    refusal = _refusal(_write(tmp_path, _with_quotes(opened, closed, column=column, rows=rows)))
    assert refusal.place == f"line {opened + 2}"
    assert "quotation mark" in refusal.what
    assert refusal.todo.startswith("Close the quotation mark")


def test_rows_swallowed_far_from_the_start_are_told_too(tmp_path: Path) -> None:
    # Past the first part of the file, in a column of text that is not read.
    text = "time,flow [L/min],remark\n" + "".join(
        f"{_clock(27720 + n)},4.{n % 10},"
        + ('"' if n == 20_000 else "")
        + "x"
        + ('"' if n == 20_030 else "")
        + "\n"
        for n in range(30_000)
    )
    refusal = _refusal(_write(tmp_path, text))
    assert refusal.place == "line 20002"
    assert "line 20003" in refusal.what


def test_a_remark_over_two_lines_is_no_row(tmp_path: Path) -> None:
    rows = "".join(
        f'{_clock(27720 + n)},4.{n % 10},"first, as said\nthen, 3 or 4, more"\n' for n in range(50)
    )
    pump = _read(_write(tmp_path, "time,flow [L/min],remark\n" + rows))
    assert pump.channels[0].count == 50


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        ([0] * 20, "all 20 rows carry the same time"),
        ([0] * 12 + [300] * 2 + [301] * 6, "17 of 20 rows carry the time of the row before"),
    ],
)
def test_rows_that_carry_one_time_are_told(tmp_path: Path, seconds: list[int], words: str) -> None:
    rows = "".join(f"{_clock(27720 + second)},{4 + n / 100:.2f}\n" for n, second in enumerate(seconds))
    pump = _read(_write(tmp_path, "time,flow [L/min]\n" + rows))
    assert pump.channels[0].count == 20
    assert any(words in line for line in pump.set_aside), (pump.set_aside, pump.about)


def test_a_table_of_changes_may_have_two_rows_at_one_time(tmp_path: Path) -> None:
    rows = "".join(
        f"{_clock(27720 + second)},4.{second % 10}\n" for second in (0, 40, 40, 95, 300, 1000, 1007)
    )
    assert not any(
        "carry" in line for line in _read(_write(tmp_path, "time,flow [L/min]\n" + rows)).set_aside
    )

"""Parquet tables that pyarrow writes here, against the numbers that were written, and against the same table as text.

Types and their meaning: Apache Parquet format, logical types (instants count from 1970 in universal time).
"""

from __future__ import annotations

import sys
from datetime import date, datetime, timedelta, timezone
from datetime import time as clock
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from afterclamp.io import bring_in
from afterclamp.io.errors import Cancelled, FileUnreadable
from afterclamp.io.readers import Claim, delimited, parquet
from afterclamp.io.recording import RecordedChannel, Recording

pa = pytest.importorskip("pyarrow")
pq = pytest.importorskip("pyarrow.parquet")


def written(path: Path, columns: dict[str, Any], **keys: Any) -> Path:
    pq.write_table(pa.table(columns), path, **keys)
    return path


def only(path: Path, columns: str | None = None) -> Recording:
    told = None
    if columns is not None:
        told = path.with_name("columns.toml")
        told.write_text(columns)
    (recording,) = parquet.read(path, {"columns": told})
    return recording


def values_of(channel: RecordedChannel) -> np.ndarray:
    blocks = list(channel.blocks())
    codes = np.concatenate([block.codes for block in blocks])
    valid = np.concatenate(
        [np.ones(len(block.codes), bool) if block.valid is None else block.valid for block in blocks]
    )
    assert len(codes) == channel.count
    return np.where(valid, codes, np.nan)


# Numbers and names


def test_numbers_of_every_type_come_back_and_units_are_taken_from_the_header(tmp_path: Path) -> None:
    count = 300
    whole = np.arange(count) % 100
    path = written(
        tmp_path / "pump.parquet",
        {
            "time [s]": np.arange(count) * 0.5,
            "Flow [L/min]": (whole / 8).astype(np.float32),
            "Line (mmHg)": whole.astype(np.int16),
            "SvO2 %": pa.array(whole.tolist(), pa.decimal128(8, 2)),
            "on": whole % 2 == 0,
            "dict": pa.array((whole % 3).tolist()).dictionary_encode(),
        },
        row_group_size=70,
    )
    recording = only(path)
    told = {channel.label: (channel.unit_as_written, values_of(channel)) for channel in recording.channels}
    assert {label: unit for label, (unit, _) in told.items()} == {
        "Flow": "L/min", "Line": "mmHg", "SvO2": "%", "on": "", "dict": "",
    }  # fmt: skip
    for label, values in (
        ("Flow", whole / 8),
        ("Line", whole),
        ("SvO2", whole),
        ("on", whole % 2 == 0),
        ("dict", whole % 3),
    ):
        np.testing.assert_array_equal(told[label][1], values)
    assert {(s.start_s, s.rate_hz) for c in recording.channels for s in c.segments} == {(0.0, 2.0)}
    assert recording.name == "pump"


def test_a_unit_beside_the_column_is_taken_where_the_name_has_none(tmp_path: Path) -> None:
    fields = [
        pa.field("t", pa.float64(), metadata={"units": "ms"}),
        pa.field("ABP", pa.float64(), metadata={"unit": "mmHg"}),
    ]
    table = pa.table([np.arange(100) * 8.0, np.full(100, 80.0)], schema=pa.schema(fields))
    pq.write_table(table, tmp_path / "x.parquet")
    (channel,) = only(tmp_path / "x.parquet").channels
    assert (channel.label, channel.unit_as_written) == ("ABP", "mmHg")
    assert channel.segments[0].rate_hz == 125.0


def test_what_is_missing_stays_missing(tmp_path: Path) -> None:
    values = [80.0, None, float("nan"), -1.0, float("inf"), 0.0] * 10
    path = written(
        tmp_path / "x.parquet",
        {"time [s]": np.arange(60.0), "ABP [mmHg]": values, "none": pa.nulls(60, pa.float64())},
    )
    recording = only(path, '[file]\nmissing = ["-1"]\nzero_is_missing = true\n')
    channel = recording.channels[0]
    kept = values_of(channel)
    np.testing.assert_array_equal(kept[~np.isnan(kept)], np.full(10, 80.0))
    assert any("10 values that are no finite number" in line for line in recording.set_aside)
    assert any("none" in line for line in recording.set_aside)


def test_columns_that_hold_no_numbers_are_told(tmp_path: Path) -> None:
    path = written(
        tmp_path / "x.parquet",
        {
            "time [s]": np.arange(30.0),
            "ABP [mmHg]": np.ones(30),
            "who": ["Invented"] * 30,
            "list": [[1.0]] * 30,
        },
    )
    recording = only(path)
    assert [channel.label for channel in recording.channels] == ["ABP"]
    assert sum("column who" in line or "column list" in line for line in recording.set_aside) == 2
    assert "Invented" not in repr(recording)


# Time

START = datetime(2031, 5, 4, 23, 59, 50)


def instants(unit: str, zone: timezone | None = None) -> Any:
    steps = [START + timedelta(milliseconds=8 * n) for n in range(2000)]
    return pa.array(
        [step.replace(tzinfo=zone) for step in steps], pa.timestamp(unit, "UTC" if zone else None)
    )


@pytest.mark.parametrize(
    ("stamps", "stamp", "dated", "kind"),
    [
        (instants("ms"), START, True, "datetime"),
        (instants("us"), START, True, "datetime"),
        (instants("ns"), START, True, "datetime"),
        # With a zone they are instants: 23:59:50 at -02:00 is 01:59:50 of the next day in universal time.
        (instants("us", timezone(timedelta(hours=-2))), START + timedelta(hours=2), True, "epoch_s"),
        # A time of day passes midnight.
        (
            pa.array([(START + timedelta(milliseconds=8 * n)).time() for n in range(2000)], pa.time64("us")),
            datetime(2000, 1, 1, 23, 59, 50), False, "clock",
        ),
        ([str((START + timedelta(milliseconds=8 * n)).time().isoformat("milliseconds")) for n in range(2000)],
            datetime(2000, 1, 1, 23, 59, 50), False, "clock"),
        (pa.array([timedelta(milliseconds=8 * n) for n in range(2000)], pa.duration("ms")), None, False, "seconds"),
    ],
)  # fmt: skip
def test_times_of_every_type_give_the_exact_rate(
    tmp_path: Path, stamps: Any, stamp: datetime | None, dated: bool, kind: str
) -> None:
    path = written(tmp_path / "x.parquet", {"time": stamps, "ABP [mmHg]": np.arange(2000.0)})
    recording = only(path)
    (channel,) = recording.channels
    assert [(s.start_s, s.count, s.rate_hz, s.run) for s in channel.segments] == [(0.0, 2000, 125.0, 0)]
    assert (recording.first_stamp, recording.dated) == (stamp, dated)
    assert recording.about["time"].startswith(kind)
    assert ("clock" in recording.about) == (kind == "epoch_s")


def test_an_index_of_instants_needs_no_name_and_uneven_rows_keep_their_stamps(tmp_path: Path) -> None:
    import pandas as pd

    stamps = [START + timedelta(seconds=s) for s in (0, 1.5, 9, 9.25, 31)]
    frame = pd.DataFrame({"HR [1/min]": [60.0, 61, 62, 63, 64]}, index=pd.DatetimeIndex(stamps))
    frame.to_parquet(tmp_path / "x.parquet")
    (channel,) = only(tmp_path / "x.parquet").channels
    assert channel.times is not None
    np.testing.assert_allclose(channel.times, [0, 1.5, 9, 9.25, 31])


def test_a_date_beside_a_clock_makes_a_date_and_time(tmp_path: Path) -> None:
    path = written(
        tmp_path / "x.parquet",
        {
            "date": [date(2031, 5, 4)] * 60,
            "time": [clock(7, 42, second) for second in range(60)],
            "ABP [mmHg]": np.ones(60),
        },
    )
    recording = only(path, '[time]\ncolumn = "time"\ndate_column = "date"\n')
    assert recording.first_stamp == datetime(2031, 5, 4, 7, 42)
    assert recording.channels[0].segments[0].rate_hz == 1.0


def test_it_reads_as_the_same_table_as_text_does(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    rows = np.sort(rng.choice(4000, 3500, replace=False))
    pressure = np.round(rng.normal(80, 5, len(rows)), 2)
    path = written(tmp_path / "x.parquet", {"time [ms]": rows * 8, "ABP [mmHg]": pressure})
    text = tmp_path / "x.csv"
    text.write_text(
        "time [ms],ABP [mmHg]\n" + "".join(f"{r * 8},{p}\n" for r, p in zip(rows, pressure, strict=True))
    )
    (one,), (other,) = only(path).channels, delimited.read(text, {})[0].channels
    assert one.segments == other.segments
    np.testing.assert_array_equal(values_of(one), values_of(other))


def test_a_map_names_columns_as_for_text(tmp_path: Path) -> None:
    path = written(tmp_path / "x.parquet", {"a": np.arange(50), "b": np.arange(50.0), "c": np.ones(50)})
    columns = tmp_path / "map.toml"
    columns.write_text(
        '[file]\nseparator = ";"\n[time]\ncolumn = 1\nkind = "minutes"\nstart = "07:42:00"\n'
        '[[channel]]\ncolumn = "b"\nlabel = "T"\nunit = "degC"\nkind = "temperature"\nsite = "bladder"\n'
    )
    with bring_in([path], tmp_path / "case", columns=columns) as case:
        assert case["bladder_temperature"].read(0, 181).values.tolist() == [0, 1, 2, 3]
        assert any("column c" in line for line in case.sources[0].set_aside)


@pytest.mark.parametrize(
    ("columns", "place", "words"),
    [
        ({"a": [1.0], "b": [2.0]}, "", "no column holds times"),
        ({"time": [1.0, 2.0], "b": [2.0, 3.0]}, "column time", "nothing says whether they are seconds"),
        ({"time [s]": [1.0, 2.0], "b": ["x", "y"]}, "", "no column of numbers"),
        ({"time [s]": [1.0, None, 3.0], "b": [1.0, 2, 3]}, "row 2, column time [s]", "no time"),
        ({"time [s]": [1.0, 2.0, float("nan")], "b": [1.0, 2, 3]}, "row 3, column time [s]", "no time"),
        ({"time [s]": [1.0, 5, 2, 4, 3], "b": [1.0] * 5}, "row 3, column time [s]", "go back 2 times"),
        ({"time": ["07:00:00", "soon"], "b": [1.0, 2]}, "row 2, column time", "found 'soon' as a time"),
        ({"time [s]": pa.array([], pa.float64()), "b": pa.array([], pa.float64())}, "", "no rows"),
    ],
)
def test_a_table_that_cannot_be_read_is_told_with_its_row_and_column(
    tmp_path: Path, columns: dict[str, Any], place: str, words: str
) -> None:
    path = written(tmp_path / "x.parquet", columns)
    with pytest.raises(FileUnreadable) as caught:
        only(path)
    assert (caught.value.path, caught.value.place) == (path, place)
    assert words in caught.value.what
    assert caught.value.todo


# Damaged files, and a machine without pyarrow


def test_a_damaged_file_is_told(tmp_path: Path) -> None:
    path = written(
        tmp_path / "x.parquet",
        {"time [s]": np.arange(5000.0), "ABP [mmHg]": np.random.default_rng(1).random(5000)},
    )
    raw = path.read_bytes()
    for damaged in (
        b"",
        raw[:50],
        raw[: len(raw) // 2],
        raw[:-10],
        b"PAR1" + b"x" * 500,
        raw[:4] + bytes(9000) + raw[9004:],
    ):
        path.write_bytes(damaged)
        assert parquet.claims(path, damaged[:4096]) is Claim.MINE
        with pytest.raises(FileUnreadable, match="cannot be read as Parquet") as caught:
            only(path)
        assert caught.value.path == path
    with pytest.raises(FileUnreadable, match="No such file"):
        only(tmp_path / "gone.parquet")


def test_more_rows_than_can_be_held_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = written(tmp_path / "x.parquet", {"time [s]": np.arange(500.0), "ABP [mmHg]": np.ones(500)})
    monkeypatch.setattr(parquet, "MOST_STAMPS", 400)
    with pytest.raises(FileUnreadable, match="500 rows; up to 400"):
        only(path)


def test_it_tells_how_far_it_is_and_stops_when_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parquet, "_CHUNK_ROWS", 100)
    path = written(tmp_path / "x.parquet", {"time [s]": np.arange(500.0), "ABP [mmHg]": np.ones(500)})
    heard: list[float] = []
    parquet.read(path, {"progress": heard.append})
    assert heard == [0.2, 0.4, 0.6, 0.8, 1.0]
    with pytest.raises(Cancelled):
        parquet.read(path, {"cancelled": lambda: True})


def test_without_pyarrow_it_is_said_how_to_get_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = written(tmp_path / "x.parquet", {"time [s]": np.arange(5.0), "ABP [mmHg]": np.ones(5)})
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(FileUnreadable, match=r"pyarrow, which is not installed.*afterclamp\[parquet\]"):
        only(path)


@pytest.mark.parametrize(
    ("name", "head", "claim"),
    [
        ("x", b"PAR1" + bytes(50), Claim.MINE),
        ("x.parquet", b"", Claim.MINE),
        ("x.csv", b"PART,1\n", Claim.NOT_MINE),
    ],
)
def test_it_claims_by_the_mark_or_the_name(tmp_path: Path, name: str, head: bytes, claim: Claim) -> None:
    assert parquet.claims(tmp_path / name, head) is claim

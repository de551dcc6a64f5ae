"""Awkward tables, brought in with a mapping that is made by looking, saved, and used for the next export."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io import bring_in
from afterclamp.io.case import Case
from afterclamp.io.errors import QuestionsOpen
from afterclamp.io.readers.column_map import load_column_map
from afterclamp.io.readers.delimited import READER
from afterclamp.io.readers.preview import preview, to_toml
from awkward_files import ALL, CLOCKS, TABLES, Awkward, Maker


def _write(folder: Path, file: Awkward) -> Path:
    folder.mkdir(exist_ok=True)
    path = folder / file.name
    path.write_bytes(file.data)
    return path


def _mapping(folder: Path, path: Path, file: Awkward) -> Path:
    """What a person does: look, answer what is asked, save."""
    mapping = folder / "columns.toml"
    told = None
    if file.choices:
        mapping.write_text(file.choices, "utf-8")
        told = load_column_map(mapping)
    seen = preview(path, told)
    assert seen.errors == ()
    mapping.write_text(to_toml(seen.proposal), "utf-8")
    assert load_column_map(mapping) == seen.proposal
    return mapping


def _bring_in(path: Path, into: Path, mapping: Path, file: Awkward) -> Case:
    """Without a word where every unit is written and known; else each of the others is asked for."""
    unwritten = [column.label for column in file.columns if not column.unit]
    if not unwritten:
        return bring_in([path], into, columns=mapping)
    with pytest.raises(QuestionsOpen) as caught:
        bring_in([path], into, columns=mapping)
    asked = [question.id.removeprefix("unit:") for question in caught.value.questions]
    assert len(asked) == len(unwritten)
    return bring_in([path], into, columns=mapping, answers={"units": dict.fromkeys(asked, "unknown")})


def _check(case: Case, file: Awkward) -> None:
    # Of two channels alike the key of the second ends in _2.
    channels = sorted(case.channels, key=lambda channel: (channel.label, channel.key))
    columns = sorted(file.columns, key=lambda column: column.label)
    assert [c.label for c in channels] == [c.label for c in columns]
    for channel, column in zip(channels, columns, strict=True):
        assert channel.unit_as_written == column.unit_as_written
        assert channel.unit == column.unit
        samples = channel.read(-10.0, file.seconds[-1] + 10.0)
        expected = np.array([np.nan if value is None else value for value in column.values], np.float32)
        there = ~np.isnan(expected)
        kept = ~np.isnan(samples.values)
        np.testing.assert_array_equal(samples.values[kept].astype(np.float32), expected[there])
        # The job asks for 1 s.
        np.testing.assert_allclose(samples.t[kept], np.array(file.seconds)[there], atol=1e-9)


def _check_stamp(path: Path, mapping: Path, file: Awkward) -> None:
    (recording,) = READER.read(path, {"columns": mapping})
    assert (recording.first_stamp, recording.dated) == (file.start, file.dated)
    assert all(channel.runs is None or not channel.runs.any() for channel in recording.channels)
    assert all(segment.run == 0 for channel in recording.channels for segment in channel.segments)


@pytest.mark.parametrize("make", ALL, ids=lambda make: make.__name__)
def test_values_and_times_are_right_with_a_mapping_that_serves_again(make: Maker, tmp_path: Path) -> None:
    file, following = make(0), make(1)
    path = _write(tmp_path / "first", file)
    mapping = _mapping(tmp_path, path, file)
    with _bring_in(path, tmp_path / "case", mapping, file) as case:
        _check(case, file)
    _check_stamp(path, mapping, file)
    later = _write(tmp_path / "second", following)
    with _bring_in(later, tmp_path / "next", mapping, following) as case:
        _check(case, following)
    _check_stamp(later, mapping, following)


def test_there_are_twelve_ways_of_writing_and_six_things_that_clocks_do() -> None:
    assert (len(TABLES), len(CLOCKS)) == (12, 6)
    assert len({make(0).name for make in ALL}) == len(ALL)


@pytest.mark.parametrize("make", ALL, ids=lambda make: make.__name__)
def test_what_leaves_doubt_is_asked_and_nothing_else(make: Maker, tmp_path: Path) -> None:
    file = make(0)
    seen = preview(_write(tmp_path, file))
    said = [line for line in (*seen.errors, *seen.warnings) if "text above the table" not in line]
    if file.asked:
        assert any(file.asked in line for line in said), said
    else:
        assert said == []


@pytest.mark.parametrize("make", ALL, ids=lambda make: make.__name__)
def test_the_preview_says_what_the_reader_does(make: Maker, tmp_path: Path) -> None:
    file = make(0)
    path = _write(tmp_path, file)
    mapping = _mapping(tmp_path, path, file)
    seen = preview(path, load_column_map(mapping), rows=1000)
    channels = [column for column in seen.columns if column.role == "channel"]
    assert [column.unit or "" for column in channels] == [column.unit for column in file.columns]
    for column, true in zip(channels, file.columns, strict=True):
        assert [cell.value for cell in column.cells] == true.values
    assert seen.times is not None
    assert seen.rows == len(file.seconds)
    assert seen.times.first == file.start
    np.testing.assert_allclose(
        seen.times.seconds, file.seconds, atol=60.0 if file.name == "no seconds.csv" else 1e-9
    )
    if seen.times.interval_s is not None and file.name != "changes.csv":
        assert seen.times.interval_s == pytest.approx(file.seconds[1])
    assert seen.times.even == (file.name != "changes.csv")
    if file.start is not None and "hour" not in file.name and file.name != "dial of twelve.csv":
        assert seen.times.last is not None
        error = seen.times.last - (file.start + timedelta(seconds=file.seconds[-1]))
        assert abs(error) < timedelta(seconds=60 if file.name == "no seconds.csv" else 0.001)

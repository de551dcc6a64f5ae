"""Trace files: codes come back as they were, and nothing half-written stays."""

from __future__ import annotations

import errno
import json
import re
from pathlib import Path

import h5py
import numpy as np
import pytest
from afterclamp.io import casefile
from afterclamp.io.errors import Cancelled, CannotWrite, CaseFolderUnreadable
from afterclamp.io.levels import FACTORS
from afterclamp.io.recording import Note, RecordedChannel, Segment, one_block
from afterclamp.io.trace_file import TraceFile
from hypothesis import given, settings
from hypothesis import strategies as st
from recordings import even, recording


@settings(max_examples=12, deadline=None)
@given(
    dtype=st.sampled_from(["i1", "i2", "i4", "f4"]),
    lengths=st.lists(st.integers(1, 20_000), min_size=1, max_size=3),
    block=st.integers(1000, 40_000),
    seed=st.integers(0, 9999),
)
def test_codes_segments_and_gaps_come_back_exactly(
    tmp_path_factory: pytest.TempPathFactory, dtype: str, lengths: list[int], block: int, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    count = sum(lengths)
    whole = np.iinfo(dtype) if dtype[0] == "i" else None
    codes = (
        rng.integers(whole.min, whole.max, count, endpoint=True).astype(dtype)
        if whole
        else rng.normal(80, 900, count).astype(dtype)
    )
    valid = rng.random(count) > 0.3
    starts = np.cumsum([0, *lengths])
    segments = [
        Segment(float(start) * 2, int(start), length, 1.0, 0.5, 3.0, 0)
        for start, length in zip(starts, lengths, strict=False)
    ]
    path = tmp_path_factory.mktemp("trace") / "a.h5"
    casefile.write(recording("a", [even("FEM", codes, segments, valid=valid, block=block)]), path)
    # Read back by h5py's own filters, not by our chunk reader.
    with h5py.File(path) as file:
        group = file["channels/fem"]
        assert group["samples"].dtype == codes.dtype
        assert np.array_equal(group["samples"][:], codes)
        there = np.zeros(count, bool)
        for first, last in group["valid"][:]:
            there[first:last] = True
        assert np.array_equal(there, valid)
        assert [tuple(row)[:3] for row in group["segments"][:]] == [
            (s.start_s, s.first, s.count) for s in segments
        ]
        for factor in FACTORS:
            level = group[f"levels/{factor}"]
            low, high, count_of = (level[name][:] for name in ("min", "max", "count"))
            at = 0
            for segment in segments:
                for k in range(0, segment.count, factor):
                    piece = slice(segment.first + k, segment.first + min(k + factor, segment.count))
                    there_now = codes[piece][valid[piece]]
                    assert count_of[at] == len(there_now)
                    if len(there_now):
                        assert (low[at], high[at]) == (there_now.min(), there_now.max())
                    at += 1
            assert len(low) == len(high) == len(count_of) == at


def test_the_layout_reads_in_three_lines(tmp_path: Path) -> None:
    codes = np.arange(100, dtype=np.int16)
    casefile.write(
        recording("m", [even("ABP", codes, [Segment(0, 0, 100, 125.0, 0.1, -20)])]), tmp_path / "m.h5"
    )
    file = h5py.File(tmp_path / "m.h5")
    _, first, count, _, scale, offset, _ = file["channels/abp/segments"][0]
    pressure = file["channels/abp/samples"][first : first + count] * scale + offset
    assert pressure[50] == pytest.approx(-15.0)
    file.close()


def test_notes_and_what_the_source_says_of_itself_come_back(tmp_path: Path) -> None:
    notes = [Note(1.5, 2.5, "Nähen, 37 °C", 17.3, "log", 1)]
    written = recording("log", [], notes=notes)
    casefile.write(written, tmp_path / "log.h5")
    trace = TraceFile(tmp_path / "log.h5")
    assert trace.notes == tuple(notes)
    assert trace.files == written.files
    assert trace.reader == "memory"
    trace.close()


def test_uneven_rows_keep_their_times_and_count_backward_steps(tmp_path: Path) -> None:
    times = np.array([0.0, 60.0, 30.0, 90.0])
    rows = RecordedChannel(
        "hb", "Hb", "g/dL", np.dtype("f4"), 4, one_block(np.array([9, 9.1, 9.2, 9.3], "f4")), times=times
    )
    casefile.write(recording("lab", [rows]), tmp_path / "lab.h5")
    trace = TraceFile(tmp_path / "lab.h5")
    assert trace.channels[0].times is not None
    assert trace.channels[0].times.tolist() == times.tolist()
    assert trace.channels[0].runs is not None
    assert trace.channels[0].runs.tolist() == [0, 0, 1, 1]
    trace.close()


def test_a_bring_in_stopped_between_blocks_leaves_nothing(tmp_path: Path) -> None:
    codes = np.zeros(200_000, np.int16)
    source = recording("m", [even("ABP", codes, [Segment(0, 0, len(codes), 500.0)])])
    asked = iter([False, True])
    with pytest.raises(Cancelled):
        casefile.write(source, tmp_path / "m.h5", cancelled=lambda: next(asked))
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_is_said_and_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("afterclamp.io.whole.os.fsync", full)
    codes = np.zeros(10, np.int16)
    with pytest.raises(CannotWrite, match="No space left on device"):
        casefile.write(recording("m", [even("ABP", codes, [Segment(0, 0, 10, 1.0)])]), tmp_path / "m.h5")
    assert list(tmp_path.iterdir()) == []


def test_a_source_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "m.h5").write_bytes(b"theirs")
    with pytest.raises(CannotWrite, match="already in the case"):
        casefile.write(recording("m", []), tmp_path / "m.h5")
    assert (tmp_path / "m.h5").read_bytes() == b"theirs"


def _written(folder: Path) -> Path:
    path = folder / "m.h5"
    casefile.write(recording("m", [even("ABP", np.zeros(10, np.int16), [Segment(0, 0, 10, 1.0)])]), path)
    return path


def test_a_newer_format_version_is_refused_in_words(tmp_path: Path) -> None:
    path = _written(tmp_path)
    with h5py.File(path, "r+") as file:
        file.attrs["format_version"] = casefile.FORMAT_VERSION + 1
    with pytest.raises(CaseFolderUnreadable, match="newer afterclamp"):
        TraceFile(path)


def test_a_link_out_of_the_file_is_refused(tmp_path: Path) -> None:
    path = _written(tmp_path)
    with h5py.File(tmp_path / "other.h5", "w") as other:
        other["samples"] = np.zeros(10, np.int16)
    with h5py.File(path, "r+") as file:
        del file["channels/abp/samples"]
        file["channels/abp/samples"] = h5py.ExternalLink("other.h5", "samples")
    with pytest.raises(CaseFolderUnreadable, match="link to another place"):
        TraceFile(path)


def test_a_virtual_data_set_is_refused(tmp_path: Path) -> None:
    path = _written(tmp_path)
    layout = h5py.VirtualLayout(shape=(10,), dtype="i2")
    layout[:] = h5py.VirtualSource("other.h5", "samples", shape=(10,))
    with h5py.File(path, "r+") as file:
        del file["channels/abp/samples"]
        file["channels/abp"].create_virtual_dataset("samples", layout)
    with pytest.raises(CaseFolderUnreadable, match="in another file"):
        TraceFile(path)


@pytest.mark.parametrize("keep", [0, 10, 600, 3000])
def test_a_cut_trace_file_is_said_in_words(tmp_path: Path, keep: int) -> None:
    path = _written(tmp_path)
    path.write_bytes(path.read_bytes()[:keep])
    with pytest.raises(CaseFolderUnreadable, match=r"m\.h5"):
        TraceFile(path)


def test_attributes_a_stranger_can_read(tmp_path: Path) -> None:
    path = _written(tmp_path)
    with h5py.File(path) as file:
        assert [name for name, _sha in json.loads(file.attrs["files"])] == ["m.mem"]
        assert file["channels/abp"].attrs["unit"] == "mm[Hg]"
        assert file["channels/abp"].attrs["kind"] == "arterial_pressure"


NO_WORDS = re.compile(r"Unable|buf =|errno|literal|object|0x|KeyError|\\(.*'.*'.*\\)", re.IGNORECASE)
"""What only the libraries that are used would say."""


def _sentence(path: Path) -> CaseFolderUnreadable:
    with pytest.raises(CaseFolderUnreadable) as caught:
        TraceFile(path)
    assert not NO_WORDS.search(caught.value.what), caught.value.what
    return caught.value


def test_a_folder_called_like_a_trace_file_is_said_to_be_one(tmp_path: Path) -> None:
    (tmp_path / "x.h5").mkdir()
    assert "is a folder" in _sentence(tmp_path / "x.h5").what


def test_a_link_that_leads_nowhere_is_said_to_be_one(tmp_path: Path) -> None:
    (tmp_path / "x.h5").symlink_to(tmp_path / "gone.h5")
    assert "is a link to a file that is not there" in _sentence(tmp_path / "x.h5").what


def test_a_missing_permission_is_what_is_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = _written(tmp_path)

    def closed(*_arguments: object, **_more: object) -> None:
        raise PermissionError(errno.EACCES, "Unable to synchronously open file (errno = 13, buf = 0x7ffd)")

    monkeypatch.setattr(h5py, "File", closed)
    monkeypatch.setattr(Path, "open", closed)
    refused = _sentence(path)
    assert "may not be read" in refused.what
    assert "permission" in refused.todo


@pytest.mark.parametrize("keep", [0, 5, 10, 600, 3000])
def test_a_cut_file_and_one_that_is_no_trace_file_are_told_in_words(tmp_path: Path, keep: int) -> None:
    path = _written(tmp_path)
    path.write_bytes(path.read_bytes()[:keep])
    refused = _sentence(path)
    assert any(word in refused.what for word in ("empty", "no trace file", "cut or damaged", "laid out"))
    path.write_bytes(b"time,text\n" * 50)
    assert "no trace file" in _sentence(path).what


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("format_version", "two"),
        ("format_version", None),
        ("files", "{"),
        ("files", "[[1]]"),
        ("first_stamp", "yesterday"),
        ("about", "[]"),
        ("set_aside", "7"),
    ],
)
def test_an_attribute_that_holds_something_else_is_named(
    tmp_path: Path, name: str, value: str | None
) -> None:
    path = _written(tmp_path)
    with h5py.File(path, "r+") as file:
        del file.attrs[name]
        if value is not None:
            file.attrs[name] = value
    assert _sentence(path).place == f"attribute {name}"


def test_a_channel_or_notes_that_lack_something_are_named(tmp_path: Path) -> None:
    path = _written(tmp_path)
    with h5py.File(path, "r+") as file:
        del file["channels/abp"].attrs["kind"]
    assert _sentence(path).place == "channel abp"
    path.unlink()
    with h5py.File(_written(tmp_path), "r+") as file:
        del file["notes/text"]
    assert _sentence(path).place == "group notes"

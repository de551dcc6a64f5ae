"""HDF5 written by others: files that h5py writes here, and a path map that says what is in them.

Expected values are the arrays as they were written. What must not be opened (external links, virtual data sets,
samples in other files, filters loaded from elsewhere) is written by h5py as the HDF5 library defines it.
"""

from __future__ import annotations

import signal as signals
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Iterator
from datetime import datetime
from functools import partial
from pathlib import Path

import h5py
import numpy as np
import psutil
import pytest
from afterclamp.io import bring_in
from afterclamp.io.errors import Cancelled, FileUnreadable
from afterclamp.io.readers import Claim, hdf5, hdf5_apart, hdf5_store, path_map
from afterclamp.io.readers.path_channels import Numbers
from afterclamp.io.readers.path_map import Place
from afterclamp.io.recording import RecordedChannel, Recording, Segment
from hypothesis import given, settings
from hypothesis import strategies as st
from recordings import case_of, even, recording

SIGNATURE = b"\x89HDF\r\n\x1a\n"  # HDF5 file format specification, superblock


def signal(path: str = "/art", label: str = "ABP", **keys: object) -> str:
    """A [[signal]] table; with a rate unless something else is said of its times."""
    said: dict[str, object] = {"path": path, "label": label, "unit": "mmHg"}
    if not {"times", "rate_hz", "rate_from"} & set(keys):
        said["rate_hz"] = 100.0
    return "[[signal]]\n" + "".join(
        f"{key} = {value!r}\n".replace("'", '"') for key, value in (said | keys).items()
    )


def mapped(folder: Path, *parts: str) -> Path:
    path = folder / "arrays.toml"
    path.write_text("\n".join(parts))
    return path


def only(path: Path, *parts: str) -> Recording:
    (recording,) = hdf5.read(path, {"columns": mapped(path.parent, *(parts or (signal(),)))})
    return recording


class Here(hdf5_store.Hdf5Store):
    """What the process apart does, done in this one, where it can be watched."""

    def __init__(self, path: Path, turned: bool = False, stop: object = None) -> None:  # noqa: ARG002
        super().__init__(path, turned)

    def numbers(self, place: Place, column: int | None = None, row: int | None = None) -> Numbers:  # type: ignore[override]
        line = super().numbers(place, column, row)
        return Numbers(line.count, line.dtype, partial(self.pieces, place, line, 1 << 20))


def values_of(channel: RecordedChannel) -> np.ndarray:
    """Scaled values, NaN where nothing was recorded."""
    found = []
    for block in channel.blocks():
        assert block.codes.dtype == channel.dtype
        values = block.codes.astype(np.float64)
        if block.valid is not None:
            values[~block.valid] = np.nan
        found.append(values)
    values = np.concatenate(found)
    assert len(values) == channel.count
    if channel.times is not None:
        return values
    assert sum(segment.count for segment in channel.segments) == channel.count
    return np.concatenate(
        [values[s.first : s.first + s.count] * s.scale + s.offset for s in channel.segments]
    )


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "waves.h5"


@pytest.fixture
def file(path: Path) -> Iterator[h5py.File]:
    with h5py.File(path, "w") as file:
        yield file


# Numbers


@settings(max_examples=25, deadline=None)
@given(
    dtype=st.sampled_from(["i1", "u1", "<i2", ">i2", "u2", "i4", "i8", "f2", "<f4", ">f8"]),
    count=st.integers(1, 300),
    chunk=st.one_of(st.none(), st.integers(1, 300)),
    packed=st.sampled_from(
        [{}, {"compression": "gzip", "shuffle": True}, {"compression": "lzf"}, {"fletcher32": True}]
    ),
    piece=st.integers(1, 400),
    seed=st.integers(0, 2**32 - 1),
)
def test_numbers_come_back_exactly_however_they_are_stored(
    tmp_path_factory: pytest.TempPathFactory,
    dtype: str,
    count: int,
    chunk: int | None,
    packed: dict[str, object],
    piece: int,
    seed: int,
) -> None:
    path = tmp_path_factory.mktemp("h5") / "waves.h5"
    written = np.random.default_rng(seed).integers(-100 if dtype[-2] != "u" else 0, 100, count).astype(dtype)
    with h5py.File(path, "w") as file:
        chunks = None if chunk is None and not packed else (min(chunk or 50, count),)
        file.create_dataset("art", data=written, chunks=chunks, **packed)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(hdf5_apart, "_PIECE", piece)
        (channel,) = only(path).channels
        np.testing.assert_array_equal(values_of(channel), written)
    whole = np.dtype(dtype).kind in "iu"
    assert channel.dtype == (np.dtype(dtype).newbyteorder("=") if whole else np.float32)


def test_codes_keep_their_width_and_are_scaled_by_the_map(path: Path, file: h5py.File) -> None:
    file["art"] = np.array([-100, 0, 250], np.int16)
    file.close()
    (channel,) = only(path, signal(scale=0.1, offset=-5.0)).channels
    np.testing.assert_allclose(values_of(channel), [-15, -5, 20])
    assert (channel.dtype, channel.label, channel.unit_as_written) == (np.int16, "ABP", "mmHg")


def test_only_the_numbers_that_the_map_names_stand_for_missing(path: Path, file: h5py.File) -> None:
    file["art"] = np.array([0, 80, -9999.9, np.nan, np.inf, 1e300], np.float64)
    file["low"] = np.array([0, 80, -9999.9], np.float32)
    file["codes"] = np.array([0, -1, 7], np.int16)
    file.close()
    channels = only(
        path,
        signal(missing=[-9999.9]),
        signal("low", "CVP", missing=[0, -9999.9]),
        signal("codes", "PA", missing=[-1], scale=2.0),
    ).channels
    nan = np.nan  # infinite values and what no 32-bit number holds were never measured either
    np.testing.assert_array_equal(values_of(channels[0]), [0, 80, nan, nan, nan, nan])
    np.testing.assert_array_equal(values_of(channels[1]), [nan, 80, nan])
    np.testing.assert_array_equal(values_of(channels[2]), [0, nan, 14])


def test_columns_rows_fields_groups_and_soft_links_are_reached(path: Path, file: h5py.File) -> None:
    table = np.arange(12.0).reshape(6, 2)
    file["a/b c/table"] = table
    file["wide"] = table.T
    file["upright"] = table[:, :1]
    fields = np.zeros(4, [("ART", "f4"), ("TIME", "f8")])
    fields["ART"] = [1, 2, 3, 4]
    file["rows"] = fields
    file["short"] = h5py.SoftLink("/a/b c/table")
    file["a/near"] = h5py.SoftLink("b c")
    file.close()
    channels = only(
        path,
        signal("/a/b c/table", column=2),
        signal("wide", row=1),
        signal("upright"),
        signal("/rows/ART"),
        signal("short", column=1),
        signal("a/near/table", column=1),
    ).channels
    expected = [table[:, 1], table[:, 0], table[:, 0], [1, 2, 3, 4], table[:, 0], table[:, 0]]
    for channel, written in zip(channels, expected, strict=True):
        np.testing.assert_array_equal(values_of(channel), written)
    assert len({channel.key for channel in channels}) == len(channels)


# Time


def test_even_stamps_become_exact_segments_with_gaps(path: Path, file: h5py.File) -> None:
    file["t"] = np.concatenate([np.arange(500), np.arange(600, 900)]) * 0.008 + 3.0
    file["art"] = np.arange(800, dtype=np.float32)
    file.close()
    recording = only(path, signal(times="/t", time_kind="seconds"))
    (channel,) = recording.channels
    told = [(s.start_s, s.first, s.count, s.rate_hz) for s in channel.segments]
    assert told == [(0.0, 0, 500, 125.0), (pytest.approx(4.8), 500, 300, 125.0)]
    np.testing.assert_array_equal(values_of(channel), np.arange(800))
    assert recording.first_stamp is None


def test_all_axes_are_on_one_clock(path: Path, file: h5py.File) -> None:
    file["fast"] = np.arange(1000) * 0.01 + 7.0
    file["slow"] = np.arange(20) * 60_000.0 + 5_000.0
    file["art"], file["mean"], file["flow"] = np.ones(1000), np.ones(20), np.ones(50)
    file["fs"] = 2.0
    file["flow"].attrs["fs"] = np.array([4.0])
    file.close()
    recording = only(
        path,
        '[time]\nstart = "07:42:00"',
        signal(times="fast", time_kind="seconds"),
        signal("mean", "ABP mean", times="/slow", time_kind="milliseconds"),
        signal("flow", "Flow", rate_from="/fs", start_s=6.5),
        signal("flow", "Flow 2", rate_from="flow@fs", start_s=6.5),
    )
    told = [(c.segments[0].start_s, c.segments[0].rate_hz) for c in recording.channels]
    assert told == [(2.0, 100.0), (0.0, 1 / 60), (1.5, 2.0), (1.5, 4.0)]
    # The earliest stamp, 5 s after second 0 of the file's clock.
    assert (recording.first_stamp, recording.dated) == (datetime(2000, 1, 1, 7, 42, 5), False)


@pytest.mark.parametrize(
    ("kind", "stamp"),
    [
        # 2031-05-04 07:42:00 UTC: `date -ud 2031-05-04T07:42 +%s`; serial date: 719529 is 1970-01-01 (MATLAB datenum)
        ("epoch_s", 1935646920.0),
        ("epoch_ms", 1935646920000.0),
        ("datenum", 719529 + 1935646920 / 86400),
    ],
)
def test_dates_give_the_clock(path: Path, file: h5py.File, kind: str, stamp: float) -> None:
    unit = {"epoch_s": 1.0, "epoch_ms": 1000.0, "datenum": 1 / 86400}[kind]
    file["t"] = stamp + np.arange(1000) * 0.008 * unit
    file["art"] = np.ones(1000)
    file["flow"] = np.ones(10)
    file.close()
    recording = only(
        path, signal(times="t", time_kind=kind), signal("flow", "Flow", rate_hz=1.0, start_s=2.0)
    )
    assert abs((recording.first_stamp - datetime(2031, 5, 4, 7, 42)).total_seconds()) < 1e-4
    assert recording.dated
    art, flow = recording.channels
    assert (art.segments[0].start_s, art.segments[0].rate_hz, len(art.segments)) == (0.0, 125.0, 1)
    assert flow.segments[0].start_s == 2.0


def test_uneven_stamps_are_kept(path: Path, file: h5py.File) -> None:
    stamps = np.array([0.0, 1.37, 9.2, 9.9, 31.4])
    file["t"], file["v"] = stamps + 2.0, np.array([300, 310, 0, 305, 290], np.int16)
    file.close()
    (channel,) = only(path, signal("v", times="t", time_kind="seconds", missing=[0], scale=0.1)).channels
    assert channel.times is not None
    np.testing.assert_allclose(channel.times, stamps, atol=1e-12)
    np.testing.assert_allclose(values_of(channel), [30, 31, np.nan, 30.5, 29], rtol=1e-6)


def test_a_clock_that_was_set_back_starts_a_new_run(path: Path, file: h5py.File) -> None:
    file["t"] = np.concatenate([np.arange(100.0), np.arange(70.0, 170.0)])
    file["art"] = np.ones(200)
    file.close()
    (channel,) = only(path, signal(times="t", time_kind="seconds")).channels
    assert [(s.start_s, s.count, s.run) for s in channel.segments] == [(0.0, 100, 0), (70.0, 100, 1)]


def test_a_case_is_made_of_it(path: Path, file: h5py.File, tmp_path: Path) -> None:
    file["p"] = np.linspace(60, 90, 1000)
    file.close()
    columns = mapped(tmp_path, signal("p", "P1", kind="arterial_pressure", site="femoral", statistic="wave"))
    with bring_in([path], tmp_path / "case", columns=columns) as case:
        assert case["femoral"].read(0, 0.01).values.tolist() == pytest.approx([60.0])
        assert case["femoral"].unit == "mm[Hg]"


# Without a map, or with one that does not fit


@pytest.mark.parametrize("columns", [None, "columns", "another"])
def test_without_a_path_map_the_arrays_are_listed(
    path: Path, file: h5py.File, tmp_path: Path, columns: str | None
) -> None:
    file["icu/art"] = np.zeros((5, 2), np.int16)
    file["icu/art"].attrs["units"] = "mmHg"
    file["icu/art"].attrs["sampling_rate"] = 125
    file["who"] = "Invented Name"
    file.close()
    texts = {"columns": '[match]\nname = "*"', "another": '[match]\nname = "*.mat"\n' + signal()}
    given = None if columns is None else mapped(tmp_path, texts[columns])
    with pytest.raises(FileUnreadable, match="nothing says which of its arrays are channels") as caught:
        hdf5.read(path, {"columns": given})
    assert "/icu/art (5 x 2, int16, sampling_rate 125, units mmHg)" in caught.value.what
    assert "/who (one, text)" in caught.value.what
    assert "Invented" not in caught.value.what
    assert "path map" in caught.value.todo


def test_a_long_list_of_arrays_is_cut(path: Path, file: h5py.File) -> None:
    for number in range(50):
        file[f"s{number:02}"] = [1.0]
    file.close()
    with pytest.raises(FileUnreadable, match=r"/s29 \(1, float64\) and 20 more"):
        hdf5.read(path, {})


@pytest.mark.parametrize(
    ("keys", "place", "words"),
    [
        ({"path": "/gone"}, "/gone", "it holds /art"),
        ({"path": "/art/deeper"}, "/art/deeper", "nothing by this name"),
        ({"path": "/group"}, "/group", "a group"),
        ({"path": "/text"}, "/text", "no numbers"),
        ({"path": "/rows"}, "/rows", "no numbers"),
        ({"path": "/table"}, "/table", "a table of 6 x 2"),
        ({"path": "/cube"}, "/cube", "2 x 2 x 2"),
        ({"path": "/table", "column": 3}, "/table", "column 3 was asked for; it has 2"),
        ({"path": "/table", "row": 7}, "/table", "row 7"),
        ({"path": "/art", "column": 1}, "/art", "it is no table"),
        ({"path": "/art{1}"}, "/art{1}", "no cell array"),
        ({"path": "/empty"}, "/empty", "no numbers"),
        ({"path": "/none"}, "/none", "empty"),
        ({"times": "/t", "time_kind": "seconds"}, "/art", "its times /t are 5"),
        ({"times": "/bad", "time_kind": "seconds"}, "/bad, element 3", "no finite number"),
        ({"times": "/mess", "time_kind": "seconds"}, "/mess, element 3", "go back 2 times"),
        ({"times": "/far", "time_kind": "seconds"}, "/far", "30 years"),
        ({"times": "/late", "time_kind": "datenum"}, "/late", "as a year"),
        (
            {"times": "/t6", "time_kind": "seconds", "rate_hz": 3.0},
            "/art",
            "3 samples a second; its times say 1",
        ),
        ({"rate_from": "/table"}, "/table", "one number was expected, it holds 12"),
        ({"rate_from": "/art@fs"}, "/art@fs", "no such attribute; there are: units"),
        ({"rate_from": "/art@units"}, "/art@units", "'mmHg'"),
        ({"rate_from": "/zero"}, "/zero", "the rate is 0"),
    ],
)
def test_a_map_that_does_not_fit_is_told_with_the_array(
    path: Path, file: h5py.File, keys: dict[str, object], place: str, words: str
) -> None:
    file["art"] = np.arange(6.0)
    file["art"].attrs["units"] = "mmHg"
    file["table"], file["cube"] = np.ones((6, 2)), np.ones((2, 2, 2))
    file["t"], file["t6"], file["bad"] = np.arange(5.0), np.arange(6.0), [0, 1, np.nan, 3, 4, 5]
    file["mess"], file["far"], file["late"] = [0, 5, 1, 4, 2, 3.0], np.arange(6) * 1e12, np.arange(6.0) + 1e9
    file["zero"], file["empty"], file["text"] = 0.0, np.zeros(0), "x"
    file["rows"] = np.zeros(6, [("a", "f4")])
    file["none"] = h5py.Empty("f8")
    file.create_group("group")
    file.close()
    with pytest.raises(FileUnreadable) as caught:
        only(path, signal(**keys))
    assert (caught.value.path, caught.value.place) == (path, place)
    assert words in caught.value.what
    assert caught.value.todo


def test_dates_and_plain_seconds_do_not_mix(path: Path, file: h5py.File) -> None:
    file["t"], file["d"], file["a"] = np.arange(5.0), np.arange(5.0) + 1.9e9, np.ones(5)
    file.close()
    dated = signal("a", times="d", time_kind="epoch_s")
    with pytest.raises(FileUnreadable, match="some of the times are dates"):
        only(path, dated, signal("a", times="t", time_kind="seconds"))
    with pytest.raises(FileUnreadable, match="Say with start_s"):
        only(path, dated, signal("a"))


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        ("[[signal]]\npath = 'a'\nlabel = 'x'\n", "signal[1]", "nothing says when"),
        ("[[signal]]\npath = 'a'\nrate_hz = 1.0\n", "signal[1].label", "missing"),
        (signal("a//b"), "signal[1].path", "'a//b'"),
        (signal("../a"), "signal[1].path", "'../a'"),
        (signal("a{0}"), "signal[1].path", "'a{0}'"),
        (signal("a@b"), "signal[1]", "attribute"),
        (signal(times="t"), "signal[1]", "need each other"),
        (signal(rate_hz=0.0), "signal[1].rate_hz", "0"),
        (signal(scale=0.0), "signal[1].scale", "0"),
        (signal(column=1, row=1), "signal[1]", "both"),
        (signal(rate_hz=1.0, rate_from="b"), "signal[1]", "both"),
        (signal(times="t", time_kind="seconds", start_s=1.0), "signal[1]", "start_s"),
        (signal(kind="arterial_pressure", site="ear"), "signal[1]", "ear"),
        (signal(site="radial"), "signal[1]", "need a 'kind'"),
        (signal(colour="red"), "signal[1].colour", "colour"),
        ("signal = []\n", "signal", ""),
        ("[time]\nstart = 'noon'\n" + signal(), "time.start", "noon"),
    ],
)
def test_a_path_map_that_does_not_hold_is_told_with_its_key(
    tmp_path: Path, text: str, key: str, words: str
) -> None:
    columns = mapped(tmp_path, text)
    assert path_map.is_path_map(columns)
    with pytest.raises(FileUnreadable) as caught:
        path_map.load_path_map(columns)
    assert caught.value.place == f"key {key}"
    assert words in caught.value.what


def test_the_example_in_the_module_is_a_map(tmp_path: Path) -> None:
    text = (path_map.__doc__ or "").split("::")[1].split("It is told")[0]
    columns = mapped(tmp_path, "\n".join(line[4:] for line in text.splitlines()))
    found = path_map.load_path_map(columns)
    assert [one.path for one in found.signal] == ["/signals{1}", "/bypass/pump"]
    assert found.serves(Path("A.MAT"))
    assert not found.serves(Path("a.h5"))


# What leads out of the file


def secret(tmp_path: Path) -> Path:
    with h5py.File(tmp_path / "secret.h5", "w") as other:
        other["art"] = np.arange(5.0)
    return tmp_path / "secret.h5"


def refused(path: Path, monkeypatch: pytest.MonkeyPatch, *parts: str) -> FileUnreadable:
    """Read a file that must be refused, watching that nothing else is opened."""
    opened: list[str] = []
    original = h5py.File.__init__

    def watched(self: h5py.File, name: object, *arguments: object, **keys: object) -> None:
        if not isinstance(name, h5py.h5f.FileID):  # an object that is asked for its file
            opened.append(str(name))
        original(self, name, *arguments, **keys)

    monkeypatch.setattr(h5py.File, "__init__", watched)
    monkeypatch.setattr(hdf5, "ApartStore", Here)
    with pytest.raises(FileUnreadable) as caught:
        only(path, *parts)
    assert set(opened) == {str(path)}
    return caught.value


@pytest.mark.parametrize("target", ["secret.h5", "/etc/hostname", "../gone.h5"])
def test_an_external_link_is_refused_by_its_path(
    path: Path, file: h5py.File, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, target: str
) -> None:
    secret(tmp_path)
    file["art"] = np.arange(5.0)
    file["deep/link"] = h5py.ExternalLink(target, "/art")
    file.close()
    found = refused(path, monkeypatch)
    assert (found.place, found.what) == ("/deep/link", "this entry leads to another file")


def test_a_soft_link_is_followed_within_the_file_only(path: Path, file: h5py.File) -> None:
    file["art"] = np.arange(5.0)
    file["loop"] = h5py.SoftLink("/loop")
    file["dead"] = h5py.SoftLink("/gone")
    file["one"] = h5py.SoftLink("/two")
    file["two"] = h5py.SoftLink("/art")
    file.close()
    np.testing.assert_array_equal(values_of(only(path, signal("one")).channels[0]), np.arange(5))
    for name in ("loop", "dead"):
        with pytest.raises(FileUnreadable, match="nothing by this name"):
            only(path, signal(name))


def test_groups_that_hold_each_other_are_walked_once(path: Path, file: h5py.File) -> None:
    file["a/art"] = np.arange(5.0)
    file["a/up"] = file["/"]
    file.close()
    np.testing.assert_array_equal(values_of(only(path, signal("/a/up/a/art")).channels[0]), np.arange(5))


def test_a_virtual_data_set_is_refused_by_its_path(
    path: Path, file: h5py.File, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    layout = h5py.VirtualLayout((5,), "f8")
    layout[:] = h5py.VirtualSource(secret(tmp_path), "art", (5,))
    file.create_virtual_dataset("art", layout)
    file.close()
    assert refused(path, monkeypatch).place == "/art"


def test_samples_in_another_file_are_refused_by_their_path(
    path: Path, file: h5py.File, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "raw.bin").write_bytes(bytes(40))
    file.create_dataset("art", (5,), "f8", external=[(str(tmp_path / "raw.bin"), 0, 40)])
    file.close()
    assert refused(path, monkeypatch).place == "/art"


def test_a_filter_from_elsewhere_is_refused_by_the_path_of_its_array(
    path: Path, file: h5py.File, monkeypatch: pytest.MonkeyPatch
) -> None:
    # 32001 is registered for a filter plug-in (HDF5 registered filters); nothing is packed here, only claimed.
    properties = h5py.h5p.create(h5py.h5p.DATASET_CREATE)
    properties.set_chunk((5,))
    properties.set_filter(32001, h5py.h5z.FLAG_OPTIONAL, (1,))
    space = h5py.h5s.create_simple((5,))
    dataset = h5py.h5d.create(file.id, b"art", h5py.h5t.IEEE_F64LE, space, properties)
    dataset.write_direct_chunk((0,), np.arange(5.0).tobytes(), 1)
    dataset.close()
    file.close()
    found = refused(path, monkeypatch)
    assert found.place == "/art"
    assert "filter 32001" in found.what
    assert "gzip" in found.todo


def test_a_trace_file_of_a_case_is_sent_back_to_its_case(tmp_path: Path) -> None:
    pump = recording("pump", [even("flow", np.zeros(30, np.int16), [Segment(0.0, 0, 30, 1.0)])])
    case_of(tmp_path / "case", pump).close()
    trace = tmp_path / "case" / "traces" / "pump.h5"
    assert hdf5.claims(trace, trace.read_bytes()[:4096]) is Claim.MINE
    with pytest.raises(FileUnreadable, match=r"trace file of a case.*Open the case folder"):
        hdf5.read(trace, {})


# Damaged files and sizes that are only claimed


def test_sizes_that_are_only_claimed_are_refused_before_anything_is_set_up(
    path: Path, file: h5py.File, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hdf5, "ApartStore", Here)
    file.create_dataset("art", (10**12,), "f8", chunks=(1000,))  # no chunk of it was ever written
    file.create_dataset("flat", (10**9,), "f8")
    packed = file.create_dataset("some", (10**9,), "f8", chunks=(10**6,), compression="gzip")
    packed[:1000] = 1.0
    file.create_dataset("chunk", (10**9,), "f8", chunks=(10**8,), compression="gzip")
    file.close()
    for name, words in (
        ("art", "claims 1000000000000 numbers"),
        ("flat", "claims 1000000000 numbers"),
        ("some", "claims 1000000000 numbers"),
        ("chunk", "chunks are 800000000 bytes"),
    ):
        tracemalloc.start()
        try:
            with pytest.raises(FileUnreadable, match=words) as caught:
                only(path, signal(name))
            assert tracemalloc.get_traced_memory()[1] < 4e6
        finally:
            tracemalloc.stop()
        assert caught.value.place == name


@pytest.mark.parametrize(
    ("kept", "then"),
    [(0, b""), (50, b""), (200_000, b""), (0, SIGNATURE + b"\xff" * 200), (0, b"no signature at all" * 30)],
)
def test_a_damaged_file_is_told(path: Path, file: h5py.File, kept: int, then: bytes) -> None:
    file["art"] = np.arange(50_000.0)
    file.close()
    path.write_bytes(path.read_bytes()[:kept] + then)
    assert hdf5.claims(path, path.read_bytes()[:4096]) is Claim.MINE
    with pytest.raises(FileUnreadable, match="cannot be read as HDF5") as caught:
        only(path)
    assert caught.value.path == path


# The process that it is read in


def _child(monkeypatch: pytest.MonkeyPatch, does: str) -> None:
    """In place of the process that reads, one that says that it is there and then does something else."""
    monkeypatch.setattr(hdf5_apart, "_idle", [])
    monkeypatch.setattr(
        hdf5_apart, "CHILD", ["-c", "print('{\"ready\": true}', flush=True); import os, time; " + does]
    )


def test_a_file_that_ends_the_process_is_told_and_the_next_is_read(
    path: Path, file: h5py.File, monkeypatch: pytest.MonkeyPatch
) -> None:
    file["art"] = np.arange(5.0)
    file.close()
    with monkeypatch.context() as patch:
        _child(patch, "os.abort()")
        with pytest.raises(FileUnreadable, match=r"its structure is damaged.*Copy the file again"):
            only(path)
    np.testing.assert_array_equal(values_of(only(path).channels[0]), np.arange(5))


def test_a_process_that_is_killed_between_samples_is_told_with_the_array(path: Path, file: h5py.File) -> None:
    file["art"] = np.arange(500_000.0)
    file.close()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(hdf5_apart, "_PIECE", 1000)
        blocks = only(path).channels[0].blocks()
        next(blocks)
        (at_work,) = [one for one in psutil.Process().children() if "hdf5_child" in " ".join(one.cmdline())]
        at_work.kill()
        with pytest.raises(FileUnreadable, match="its structure is damaged") as caught:
            list(blocks)
    assert caught.value.place == "/art"


def test_a_process_that_says_nothing_is_ended(
    path: Path, file: h5py.File, monkeypatch: pytest.MonkeyPatch
) -> None:
    file.close()
    _child(monkeypatch, "time.sleep(60)")
    monkeypatch.setattr(hdf5_apart, "LONGEST_S", 0.1)
    with pytest.raises(FileUnreadable, match="takes too long to take apart"):
        only(path)


def test_a_process_at_work_is_stopped_at_once(
    path: Path, file: h5py.File, monkeypatch: pytest.MonkeyPatch
) -> None:
    file.close()
    _child(monkeypatch, "time.sleep(60)")
    begun = time.monotonic()
    with pytest.raises(Cancelled):
        hdf5.read(path, {"columns": mapped(path.parent, signal()), "cancelled": lambda: True})
    assert time.monotonic() - begun < 1  # half a second, and the start of a process


def test_a_process_that_cannot_begin_is_not_taken_for_a_damaged_file(
    path: Path, file: h5py.File, monkeypatch: pytest.MonkeyPatch
) -> None:
    file.close()
    monkeypatch.setattr(hdf5_apart, "_idle", [])
    monkeypatch.setattr(hdf5_apart, "CHILD", ["-c", "raise SystemExit(3)"])
    with pytest.raises(FileUnreadable, match=r"ended before it began \(3\)"):
        only(path)


@pytest.mark.skipif(sys.platform != "linux", reason="other systems hold no process to its memory")
def test_the_process_may_not_take_all_memory_nor_compute_for_ever() -> None:
    code = (
        "from afterclamp.io.readers import hdf5_child as c; c.BUSY_S = 0; c.limit_memory()\n"
        "try: bytearray(2 * c.MEMORY); print('had it')\n"
        "except MemoryError: print('refused', flush=True)\n"
        "c.busy_allowance()()\nwhile True: pass"
    )
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (ended.stdout, ended.returncode) == ("refused\n", -signals.SIGXCPU)


def test_files_share_a_process_until_one_is_damaged(
    path: Path, file: h5py.File, monkeypatch: pytest.MonkeyPatch
) -> None:
    file["art"] = np.arange(5.0)
    file.close()
    damaged = path.with_name("damaged.h5")
    damaged.write_bytes(path.read_bytes()[:200])
    started: list[hdf5_apart._Helper] = []

    class Counted(hdf5_apart._Helper):
        def __init__(self) -> None:
            super().__init__()
            started.append(self)

    monkeypatch.setattr(hdf5_apart, "_idle", [])
    monkeypatch.setattr(hdf5_apart, "_Helper", Counted)
    for expected in (1, 1):
        values_of(only(path).channels[0])
        assert len(started) == expected
    with pytest.raises(FileUnreadable):
        only(damaged)
    only(path)
    assert len(started) == 2
    hdf5_apart._end_all()


def test_a_damaged_chunk_is_told_when_it_is_reached(path: Path, file: h5py.File) -> None:
    dataset = file.create_dataset("art", data=np.arange(5000.0), chunks=(1000,), fletcher32=True)
    place = dataset.id.get_chunk_info(3).byte_offset
    file.close()
    raw = bytearray(path.read_bytes())
    raw[place] ^= 1
    path.write_bytes(raw)
    (channel,) = only(path).channels
    with pytest.raises(FileUnreadable, match="art"):
        values_of(channel)


@pytest.mark.parametrize(
    ("name", "head", "claim"),
    [
        ("x", SIGNATURE, Claim.MINE),
        ("x.dat", bytes(512) + SIGNATURE, Claim.MINE),
        ("x.h5", b"", Claim.MINE),
        ("x.hdf5", b"text", Claim.MINE),
        ("x.csv", b"a,b\n1,2\n", Claim.NOT_MINE),
        ("x.edf", b"0       ", Claim.NOT_MINE),
    ],
)
def test_it_claims_by_the_signature_or_the_name(tmp_path: Path, name: str, head: bytes, claim: Claim) -> None:
    assert hdf5.claims(tmp_path / name, head) is claim

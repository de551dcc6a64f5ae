"""MATLAB files: level 5 put together byte by byte and by scipy, level 7.3 by h5py, and two real ones.

The reader decodes level 5 by itself; what it gives is held against scipy's reading.

Bytes are laid out from "MAT-File Format" (The MathWorks, level 5: header, elements of kind and length, packed
elements). Level 7.3 is HDF5 after 512 bytes of header, with axes in reverse order and cells as references.
"""

from __future__ import annotations

import struct
import tracemalloc
import zlib
from pathlib import Path

import h5py
import numpy as np
import pytest
import scipy.io
from afterclamp.io import bring_in
from afterclamp.io.errors import FileUnreadable
from afterclamp.io.readers import Claim, hdf5, matlab, matlab_level5
from afterclamp.io.recording import RecordedChannel, Recording
from hypothesis import given, settings
from hypothesis import strategies as st


def signal(path: str, label: str = "ABP", **keys: object) -> str:
    said: dict[str, object] = {"path": path, "label": label, "unit": "mmHg"}
    if not {"times", "rate_hz", "rate_from"} & set(keys):
        said["rate_hz"] = 100.0
    return "[[signal]]\n" + "".join(
        f"{key} = {value!r}\n".replace("'", '"') for key, value in (said | keys).items()
    )


def only(path: Path, *parts: str) -> Recording:
    columns = path.with_name("arrays.toml")
    columns.write_text("\n".join(parts))
    (recording,) = matlab.read(path, {"columns": columns})
    return recording


def values_of(channel: RecordedChannel) -> np.ndarray:
    values = np.concatenate(
        [
            np.where(block.codes == block.codes if block.valid is None else block.valid, block.codes, np.nan)
            for block in channel.blocks()
        ]
    )
    assert len(values) == channel.count
    return values


def header(order: str = "<") -> bytes:
    text = b"MATLAB 5.0 MAT-file, invented".ljust(116) + bytes(8)
    return text + (b"\x00\x01IM" if order == "<" else b"\x01\x00MI")


def element(kind: int, data: bytes, order: str = "<") -> bytes:
    return struct.pack(order + "LL", kind, len(data)) + data + bytes(-len(data) % 8)


def matrix(name: str, values: np.ndarray, order: str = "<") -> bytes:
    """A matrix of 16-bit numbers (class 10) or doubles (class 6), column by column."""
    dtype, number, of_class = ("i2", 3, 10) if values.dtype.kind == "i" else ("f8", 9, 6)
    flags = element(6, struct.pack(order + "LL", of_class, 0), order)
    shape = element(5, struct.pack(order + "ll", *values.shape), order)
    data = element(number, values.astype(order + dtype).tobytes(order="F"), order)
    return element(14, flags + shape + element(1, name.encode(), order) + data, order)


def packed(raw: bytes, order: str = "<") -> bytes:
    data = zlib.compress(raw)
    return struct.pack(order + "LL", 15, len(data)) + data


# Level 5


@settings(max_examples=20, deadline=None)
@given(
    shape=st.tuples(st.integers(1, 40), st.integers(1, 3)),
    order=st.sampled_from("<>"),
    pack=st.booleans(),
    whole=st.booleans(),
    piece=st.integers(1, 50),
    seed=st.integers(0, 2**32 - 1),
)
def test_columns_come_back_exactly_as_their_bytes_were_laid_out(
    tmp_path_factory: pytest.TempPathFactory,
    shape: tuple[int, int],
    order: str,
    pack: bool,
    whole: bool,
    piece: int,
    seed: int,
) -> None:
    path = tmp_path_factory.mktemp("mat") / "waves.mat"
    values = np.random.default_rng(seed).integers(-3000, 3000, shape)
    values = values.astype(np.int16) if whole else values / 8
    raw = matrix("art", values, order)
    path.write_bytes(header(order) + (packed(raw, order) if pack else raw))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(matlab, "_PIECE", piece)
        for column in range(shape[1]):
            told = (
                {"column": column + 1} if 1 not in shape else {"column": column + 1} if shape[1] > 1 else {}
            )
            (channel,) = only(path, signal("art", **told)).channels
            np.testing.assert_array_equal(values_of(channel), values[:, column])
            assert channel.dtype == (np.int16 if whole else np.float32)


def test_cells_fields_and_rows_are_reached(tmp_path: Path) -> None:
    path = tmp_path / "waves.mat"
    cells = np.empty((2, 2), object)
    for number, values in enumerate(([1.0, 2.0], [3.0, 4.0], [5.0, 6.0], [7.0, 8.0])):
        cells[number % 2, number // 2] = np.array(values)  # MATLAB counts down the columns first
    case = {"art": np.array([9.0, 10.0]), "deep": {"pa": np.array([11.0, 12.0])}, "fs": 125.0, "all": cells}
    scipy.io.savemat(
        path, {"cells": cells, "case": case, "wide": np.arange(6).reshape(3, 2).T}, do_compression=True
    )
    recording = only(
        path,
        signal("cells{3}"),
        signal("/case/art", rate_from="case/fs"),
        signal("case/deep/pa"),
        signal("case/all{2}"),
        signal("wide", row=2),
    )
    found = [values_of(channel).tolist() for channel in recording.channels]
    assert found == [[5, 6], [9, 10], [11, 12], [3, 4], [1, 3, 5]]
    assert recording.channels[1].segments[0].rate_hz == 125
    assert recording.about["format"] == "MATLAB 5"


def test_without_a_map_the_arrays_are_listed_with_shape_and_type(tmp_path: Path) -> None:
    path = tmp_path / "waves.mat"
    cells = np.empty((1, 2), object)
    cells[0, 0], cells[0, 1] = np.zeros((5, 1)), "Invented Name"
    scipy.io.savemat(path, {"art": np.zeros((3, 2), np.int16), "cells": cells, "case": {"fs": np.uint8(125)}})
    with pytest.raises(FileUnreadable, match="nothing says which of its arrays are channels") as caught:
        matlab.read(path, {})
    for words in (
        "art (3 x 2, int16)",
        "cells{1} (5 x 1, float64)",
        "cells{2} (1 x 13, text)",
        "case/fs (1 x 1, uint8)",
    ):
        assert words in caught.value.what
    assert "Invented" not in caught.value.what
    assert "[[signal]]" in caught.value.todo


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ("gone", "no array by this name; the file holds art (4 x 2, int64)"),
        ("cells{9}", "cell 9 was asked for; it has 1"),
        ("art{1}", "no cell array"),
        ("art/field", "no array by this name"),
        ("case", "no array of numbers but structure of a"),
        ("cells", "no array of numbers but cell array"),
        ("art", "a table of 4 x 2"),
        ("text", "no array of numbers but text"),
        ("many/a", "2 structures have such a field"),
    ],
)
def test_a_map_that_does_not_fit_is_told_with_the_array(tmp_path: Path, told: str, words: str) -> None:
    path = tmp_path / "waves.mat"
    cells = np.empty((1, 1), object)
    cells[0, 0] = np.zeros(3)
    many = np.zeros((1, 2), [("a", object)])
    scipy.io.savemat(
        path, {"art": np.zeros((4, 2), np.int64), "cells": cells, "case": {"a": 1}, "text": "x", "many": many}
    )
    with pytest.raises(FileUnreadable) as caught:
        only(path, signal(told))
    assert (caught.value.path, caught.value.place) == (path, told)
    assert words in caught.value.what
    with pytest.raises(FileUnreadable, match="no attributes"):
        only(path, signal("cells{1}", rate_from="cells{1}@fs"))


# Level 7.3


def write_73(path: Path) -> None:
    with h5py.File(path, "w", userblock_size=512) as file:
        file["art"] = np.arange(8.0).reshape(2, 4)  # MATLAB sees 4 x 2
        file["case/pa"] = np.arange(4.0).reshape(1, 4)
        inner = file.create_dataset("#refs#/a", data=np.array([[5.0, 6.0]]))
        second = file.create_dataset("#refs#/b", data=np.array([[7.0, 8.0]]))
        cells = file.create_dataset("cells", (2, 1), h5py.ref_dtype)
        cells[0, 0], cells[1, 0] = inner.ref, second.ref
        empty = file.create_dataset("empty", data=np.zeros(2, np.uint64))
        empty.attrs["MATLAB_empty"] = np.uint8(1)
    with path.open("r+b") as raw:
        raw.write(b"MATLAB 7.3 MAT-file, Platform: invented".ljust(124) + b"\x00\x02IM")


def test_level_7_3_is_read_as_matlab_shows_it(tmp_path: Path) -> None:
    path = tmp_path / "waves.mat"
    write_73(path)
    head = path.read_bytes()[:4096]
    assert matlab.claims(path, head) is Claim.MINE
    assert hdf5.claims(tmp_path / "x.csv", head) is Claim.MINE  # so matlab is asked first
    recording = only(
        path, signal("art", column=2), signal("art", row=3), signal("case/pa"), signal("cells{2}", label="PA")
    )
    assert [values_of(channel).tolist() for channel in recording.channels] == [
        [4, 5, 6, 7], [2, 6], [0, 1, 2, 3], [7, 8],
    ]  # fmt: skip
    assert (recording.about["format"], recording.reader) == ("MATLAB 7.3", "MATLAB")
    with pytest.raises(FileUnreadable, match="nothing says") as caught:
        matlab.read(path, {})
    assert "/art (4 x 2, float64)" in caught.value.what
    assert "/cells (1 x 2, cell array)" in caught.value.what
    assert "#refs#" not in caught.value.what
    for told, words in (("cells{3}", "it has 2"), ("empty", "it is empty"), ("art{1}", "no cell array")):
        with pytest.raises(FileUnreadable, match=words):
            only(path, signal(told))


def test_level_7_3_that_leads_out_of_itself_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "waves.mat"
    write_73(path)
    with h5py.File(path, "r+") as file:
        file["other"] = h5py.ExternalLink("/etc/hostname", "/x")
    with pytest.raises(FileUnreadable, match=r"/other: this entry leads to another file"):
        only(path, signal("case/pa"))


# Real files


@pytest.mark.parametrize("name", ["p000138-2131-10-31-13-39.mat", "p004685-2121-02-20-16-06.mat"])
def test_real_pulmonary_pressures_come_in_by_a_map(real_traces: Path, tmp_path: Path, name: str) -> None:
    path = real_traces / "pulmonary" / name
    with pytest.raises(FileUnreadable, match=r"signals\{1\} \(750001 x 1, float64\)"):
        matlab.read(path, {})
    columns = tmp_path / "pulmonary.toml"
    slow = {"times": "signals{7}", "time_kind": "seconds", "missing": [0]}
    columns.write_text(
        signal("signals{1}", "PA", times="signals{6}", time_kind="seconds")
        + signal("signals{2}", "PA sys", **slow)
        + signal("signals{3}", "PA dia", **slow)
        + signal("signals{4}", "PA mean", **slow)
        + signal("signals{5}", "HR", **(slow | {"unit": "1/min"}))
    )
    # What scipy gives is what was written; in the one-a-minute rows 0 means missing (README of the files).
    cells = scipy.io.loadmat(path)["signals"].ravel(order="F")
    with bring_in([path], tmp_path / "case", columns=columns) as case:
        wave = case.channels[[c.label for c in case.channels].index("PA")]
        assert wave.interval_s == pytest.approx(1 / 125)
        span = wave.read(4000, 4060)
        np.testing.assert_allclose(span.values, cells[0][500_000:507_500, 0], rtol=1e-6)
        np.testing.assert_allclose(span.t, cells[5][0, 500_000:507_500], atol=1e-6)
        assert len(wave.segments_reference()) == 1
        for label, cell in (("PA sys", 1), ("PA dia", 2), ("PA mean", 3), ("HR", 4)):
            row = case.channels[[c.label for c in case.channels].index(label)]
            written = np.where(cells[cell] == 0, np.nan, cells[cell])[:, 0]
            np.testing.assert_allclose(row.read(-1, 7000).values, written, rtol=1e-6)
            assert row.interval_s == pytest.approx(60)
        assert case["pa"].unit == "mm[Hg]"
        assert case["heart_rate"].unit == "/min"


# Damaged files and sizes that are only claimed

GOOD = header() + matrix("art", np.arange(50, dtype=np.int16).reshape(-1, 1))
PACKED = header() + packed(matrix("art", np.arange(50, dtype=np.int16).reshape(-1, 1)))


@pytest.mark.parametrize(
    ("raw", "place", "words"),
    [
        (b"", "byte 0", "found ''"),
        (GOOD[:100], "byte 100", "MATLAB file were expected"),
        (GOOD[:124] + b"\x00\x02IM" + GOOD[128:], "byte 124", "level"),
        (bytes(20) + b"\x00" * 200, "byte 124", "level"),
        (GOOD[:128], "byte 128", "no arrays"),
        (GOOD[:132], "byte 128", "kind 0"),
        (GOOD[:-20], f"byte {len(GOOD) - 20}", "the file is cut"),
        (GOOD[:128] + struct.pack("<L", 13) + GOOD[132:], "byte 128", "kind 13"),
        (
            GOOD[:132] + struct.pack("<L", 0xFFFFFFF0) + GOOD[136:],
            f"byte {len(GOOD)}",
            "claims 4294967280 bytes",
        ),
        (PACKED[:-4] + bytes(4), "byte 128", "incorrect data check"),
        (PACKED[:132] + struct.pack("<L", 10) + PACKED[136:146], "byte 128", "packed in ends before it does"),
        (header() + packed(GOOD[128:200]), "art", "an element claims"),
        (header() + packed(b"abc"), "byte 128", "ends within an element"),
        (GOOD[:136] + b"\xff" * 40 + GOOD[176:], "byte 128", "cannot be read"),
        (
            GOOD[:160] + struct.pack("<ll", 25, 1) + GOOD[168:],
            "art",
            "25 x 1 numbers are announced, 50 are there",
        ),
        (GOOD[:160] + struct.pack("<ll", -50, -1) + GOOD[168:], "byte 128", "dimensions"),
        (GOOD[:144] + struct.pack("<L", 99) + GOOD[148:], "art", "class 99"),
        (GOOD[:144] + struct.pack("<L", 1) + GOOD[148:], "art", "an element of kind"),
    ],
)
def test_a_damaged_file_is_told_with_its_place(tmp_path: Path, raw: bytes, place: str, words: str) -> None:
    path = tmp_path / "damaged.mat"
    path.write_bytes(raw)
    assert matlab.claims(path, raw[:4096]) is Claim.MINE
    with pytest.raises(FileUnreadable) as caught:
        only(path, signal("art"))
    assert (caught.value.path, caught.value.place) == (path, place)
    assert words in caught.value.what
    assert caught.value.todo


def test_what_unpacks_beyond_all_bounds_is_refused_before_it_is_held(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(matlab_level5, "MOST_BYTES", 8 << 20)
    path = tmp_path / "bomb.mat"
    path.write_bytes(header() + packed(matrix("art", np.zeros((8 << 20, 1)))))  # 64 MB of zeros in 65 kB
    tracemalloc.start()
    try:
        with pytest.raises(FileUnreadable, match=r"more than 8 MB unpacked.*-v7\.3"):
            only(path, signal("art"))
        assert tracemalloc.get_traced_memory()[1] < 12e6  # the part that was unpacked
    finally:
        tracemalloc.stop()


def test_a_file_that_is_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(FileUnreadable, match="cannot be opened"):
        matlab.read(tmp_path / "gone.mat", {})


@pytest.mark.parametrize(
    ("name", "head", "claim"),
    [
        ("x", GOOD, Claim.MINE),
        ("x.mat", b"", Claim.MINE),
        ("x", b"MATLAB 7.3 MAT-file", Claim.MINE),
        ("x.csv", b"time,ABP\n" * 50, Claim.NOT_MINE),
        ("x.h5", b"\x89HDF\r\n\x1a\n" + bytes(200), Claim.NOT_MINE),
    ],
)
def test_it_claims_by_the_header_or_the_name(tmp_path: Path, name: str, head: bytes, claim: Claim) -> None:
    assert matlab.claims(tmp_path / name, head[:4096]) is claim

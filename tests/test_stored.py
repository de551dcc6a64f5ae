"""Stored arrays read at their place: the same as through HDF5, one open file for all, closed when nobody reads."""

from __future__ import annotations

import gc
import os
from pathlib import Path

import h5py
import numpy as np
import pytest
from afterclamp.io.errors import CaseFolderUnreadable
from afterclamp.io.stored import StoredArray

MANY = 200_000


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "a.h5"
    with h5py.File(path, "w") as made:
        made["codes"] = np.arange(MANY, dtype=np.int16)
        made["values"] = np.linspace(-1, 1, MANY, dtype=np.float32)
    return path


def arrays(path: Path) -> tuple[StoredArray, StoredArray]:
    with h5py.File(path) as made:
        return StoredArray(made["codes"], path), StoredArray(made["values"], path)


@pytest.mark.parametrize(("start", "stop"), [(0, 1), (5, 70_000), (MANY - 3, MANY + 10), (-4, 2), (7, 7)])
def test_a_slice_is_what_hdf5_gives(file: Path, start: int, stop: int) -> None:
    with h5py.File(file) as made:
        for ours, theirs in zip(arrays(file), (made["codes"], made["values"]), strict=True):
            np.testing.assert_array_equal(ours.read(start, stop), theirs[max(start, 0) : stop])


def test_what_is_read_is_the_readers_own(file: Path) -> None:
    codes, _ = arrays(file)
    codes.read(0, 10)[:] = 7
    assert list(codes.read(0, 3)) == [0, 1, 2]


@pytest.mark.skipif(
    not Path("/proc/self/fd").is_dir(), reason="counts open files where the system lists them"
)
def test_arrays_share_one_open_file_and_leave_none_behind(file: Path) -> None:
    def opened() -> int:
        links = list(Path("/proc/self/fd").iterdir())
        return sum(os.path.realpath(link) == str(file.resolve()) for link in links)

    before = opened()
    both = arrays(file)
    for one in both:
        one.read(0, 10)
    assert opened() == before + 1
    del both, one
    gc.collect()
    assert opened() == before


def test_a_file_put_in_the_place_of_another_is_read_anew(file: Path, tmp_path: Path) -> None:
    before, _ = arrays(file)
    assert before.read(1, 2)[0] == 1
    other = tmp_path / "b.h5"
    with h5py.File(other, "w") as made:
        made["codes"] = np.arange(MANY, dtype=np.int16)[::-1]
        made["values"] = np.zeros(MANY, dtype=np.float32)
    other.replace(file)
    after, _ = arrays(file)
    assert after.read(0, 1)[0] == np.int16(MANY - 1 - (1 << 16) * ((MANY - 1) // (1 << 16)))


def test_a_file_that_became_shorter_is_said(file: Path) -> None:
    codes, values = arrays(file)
    codes.read(0, 1)
    os.truncate(file, 1000)
    with pytest.raises(CaseFolderUnreadable, match="shorter than it says"):
        values.read(100_000, MANY)

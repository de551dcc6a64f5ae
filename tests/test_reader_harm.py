"""No reader opens a path that nobody gave it, and nothing of a bring-in speaks with the network."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
from mutation_seeds import Seed, seeds

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="inotify is Linux's")

SCRIPT = Path(__file__).with_name("watched_reading.py")
SOUND = {seed.name: seed for seed in seeds()}
# One of each format, and the ones that consist of several files.
NAMES = (
    "table semicolon",
    "log",
    "captions",
    "EDF+D",
    "BDF",
    "WFDB 16",
    "WFDB in segments",
    "DICOM explicit",
    "MATLAB 5",
    "HDF5 a.h5 []",
    "HDF5 a.mat []",
    "Parquet none",
    "WAV",
)


HEADER = b"rec 1 100 600\n%b 16 100(0)/mmHg 16 0 0 0 0 ABP\n"


@dataclass(frozen=True)
class Job:
    """Files to bring in by the first of them, in a folder beside one that must not be opened."""

    folder: Path
    files: dict[str, bytes]
    columns: str = ""
    warm: Seed | None = None

    def lay_out(self) -> dict[str, Any]:
        """Everything on disk, and the question about it."""
        trap, given, warm = self.folder / "trap", self.folder / "given", self.folder / "warm"
        for place in (trap, given, warm):
            place.mkdir(parents=True)
        for name in ("secret.dat", "secret.h5", "rec.dat"):
            (trap / name).write_bytes(b"not for the reader " * 400)
        for place in (given, warm):
            (place / "neighbour.csv").write_text("time [s],flow [L/min]\n0,4\n1,5\n")
            (place / "neighbour.dat").write_bytes(b"not for the reader")
            (place / "neighbour.hea").write_bytes(HEADER.replace(b"rec", b"neighbour") % b"neighbour.dat")
        for name, data in self.files.items():
            (given / name).write_bytes(data)
        for name, data in (self.warm.files if self.warm else {}).items():
            (warm / name).write_bytes(data)
        told = self.folder / "columns.toml"
        told.write_text(self.columns, "utf-8")
        return {
            "path": str(given / next(iter(self.files))),
            "warm": str(warm / self.warm.main) if self.warm else "",
            "columns": str(told) if self.columns else "",
            "into": str(self.folder / "case"),
            "folders": [str(trap), str(given), str(self.folder)],
        }


def _watch(jobs: list[Job]) -> list[dict[str, Any]]:
    """Bring in all of them in one process of their own."""
    question = json.dumps([job.lay_out() for job in jobs])
    answer = subprocess.run(
        [sys.executable, str(SCRIPT), question], capture_output=True, text=True, check=False
    )
    assert answer.returncode == 0, answer.stderr
    found: list[dict[str, Any]] = json.loads(answer.stdout)
    return found


def _allowed(path: str, folder: Path, files: dict[str, bytes]) -> bool:
    """Given files, the map, the case that is written, and numbers that wait in the system's temporary folder."""
    at = Path(path).resolve()
    if at == folder / "given":
        return True
    if at.parent == folder / "given":
        return at.name in files
    temporary = Path(tempfile.gettempdir()).resolve()
    return (
        at == Path(os.devnull)
        or at == folder / "columns.toml"
        or folder / "case" in (at, *at.parents)
        or any(part.name.startswith(".case.partial") for part in (at, *at.parents))
        or at == temporary
        or (temporary == at.parent and at.name.startswith("tmp"))
    )


def test_only_what_was_given_is_opened_and_no_socket(tmp_path: Path) -> None:
    taken = [SOUND[name] for name in NAMES if name in SOUND]
    jobs = [Job(tmp_path / str(n), seed.files, seed.columns, seed) for n, seed in enumerate(taken)]
    for job, found in zip(jobs, _watch(jobs), strict=True):
        name = job.warm.name if job.warm else ""
        assert (name, found["refused"], found["spoken"]) == (name, "", [])
        strange = [
            path
            for path in found["reading"] + found["bringing_in"] + found["seen"]
            if not _allowed(path, job.folder, job.files)
        ]
        assert (name, strange) == (name, [])
        assert str(job.folder / "given" / next(iter(job.files))) in found["seen"]


def _hdf5(**links: Any) -> bytes:
    """An HDF5 file that points out of itself."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.h5"
        with h5py.File(path, "w") as file:
            if "external" in links:
                file["abp"] = h5py.ExternalLink("../trap/secret.h5", "/abp")
            if "virtual" in links:
                layout = h5py.VirtualLayout(shape=(900,), dtype="f8")
                layout[:] = h5py.VirtualSource("../trap/secret.h5", "abp", shape=(900,))
                file.create_virtual_dataset("abp", layout)
            if "stored" in links:
                file.create_dataset("abp", (900,), "f8", external=[("../trap/secret.dat", 0, 7200)])
            file["flow"], file["flow_t"] = np.arange(60.0), np.arange(60.0)
        return path.read_bytes()


def _lures(folder: Path) -> dict[str, dict[str, bytes]]:
    """Files that would have the reader open something else."""
    sound = SOUND["WFDB in segments"].files
    return {
        "a header that names a file above": {"rec.hea": HEADER % b"../trap/rec.dat"},
        "a header that names a file by its whole path": {
            "rec.hea": HEADER % str(folder / "trap/rec.dat").encode()
        },
        "a header that names a neighbour by a way around": {"rec.hea": HEADER % b"../given/neighbour.dat"},
        "a record that names a segment above": sound | {"all.hea": b"all/1 2 100 600\n../trap/rec 600\n"},
        "an external link": {"a.h5": _hdf5(external=True)},
        "a virtual data set": {"a.h5": _hdf5(virtual=True)},
        "samples in another file": {"a.h5": _hdf5(stored=True)},
    }


def test_a_file_that_points_out_of_its_folder_is_refused_and_not_followed(tmp_path: Path) -> None:
    names = list(_lures(tmp_path))
    jobs = []
    for n, name in enumerate(names):
        files = _lures(tmp_path / str(n))[name]
        columns = SOUND["HDF5 a.h5 []"].columns if "a.h5" in files else ""
        jobs.append(Job(tmp_path / str(n), files, columns))
    for name, found in zip(names, _watch(jobs), strict=True):
        assert found["refused"], name
        assert found["spoken"] == []
        opened = found["reading"] + found["bringing_in"] + found["seen"]
        assert [path for path in opened if "trap" in Path(path).parts] == [], name
        assert [
            path for path in opened if path.endswith(("neighbour.dat", "neighbour.csv", "neighbour.hea"))
        ] == [], name


def test_both_witnesses_see_a_path_that_is_opened(tmp_path: Path) -> None:
    # A header that names a file of its own folder: that is what a header is for.
    (found,) = _watch([Job(tmp_path / "a", {"rec.hea": HEADER % b"neighbour.dat"})])
    assert str(tmp_path / "a" / "given" / "neighbour.dat") in found["seen"]
    assert any(path.endswith("neighbour.dat") for path in found["reading"])

"""Whatever the format, a bring-in says how far it is every 0.2 s and ends half a second after it is asked to stop."""

from __future__ import annotations

import shutil
import time
import wave
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pytest
from afterclamp.io import bring_in
from afterclamp.io.errors import Cancelled
from afterclamp.io.readers.registry import READERS, reader_of
from mutation_seeds import seeds

LONGEST_SILENCE_S = 0.2
LONGEST_WAIT_S = 0.5
TRIES = 3  # another program may keep the machine busy for a moment

SOUND = {seed.name: seed for seed in seeds()}
COUNT = 1_000_000
PRESSURE = 75 + np.round(20 * np.sin(np.arange(COUNT) / 15), 2)
PATHS = '[[signal]]\npath = "/abp"\nrate_hz = 500.0\nlabel = "ABP"\nunit = "mmHg"\n'


def _edf(folder: Path) -> Path:
    """Records of the sound file many times over; their number stands at byte 236, their length follows the header."""
    raw = SOUND["EDF"].files["a.edf"]
    header, records = raw[: int(raw[184:192])], raw[int(raw[184:192]) :]
    many = 1000
    count = str(int(raw[236:244]) * many).ljust(8).encode()
    (folder / "a.edf").write_bytes(header[:236] + count + header[244:] + records * many)
    return folder / "a.edf"


def _wfdb(folder: Path) -> Path:
    header = f"rec 1 500 {COUNT} 08:15:30\nrec.dat 16 100(0)/mmHg 16 0 0 0 0 ABP\n"
    (folder / "rec.dat").write_bytes((PRESSURE * 100).astype("<i2").tobytes())
    (folder / "rec.hea").write_text(header)
    return folder / "rec.hea"


def _dicom(folder: Path) -> Path:
    import pydicom

    (folder / "a.dcm").write_bytes(SOUND["DICOM explicit"].files["a.dcm"])
    data = pydicom.dcmread(folder / "a.dcm")
    group = data.WaveformSequence[0]
    group.NumberOfWaveformSamples = COUNT
    group.WaveformData = (PRESSURE * 20).astype("<i2").tobytes()
    data.save_as(folder / "a.dcm")
    return folder / "a.dcm"


def _matlab(folder: Path) -> Path:
    from scipy.io import savemat

    savemat(folder / "a.mat", {"abp": PRESSURE}, do_compression=True)
    return folder / "a.mat"


def _hdf5(folder: Path) -> Path:
    with h5py.File(folder / "a.h5", "w") as file:
        file.create_dataset("abp", data=PRESSURE, compression="gzip", compression_opts=1, chunks=(1 << 18,))
    return folder / "a.h5"


def _parquet(folder: Path) -> Path:
    pa = pytest.importorskip("pyarrow")
    from pyarrow import parquet

    table = pa.table({"time [s]": np.arange(COUNT) / 500, "ABP [mmHg]": PRESSURE})
    parquet.write_table(table, folder / "a.parquet")
    return folder / "a.parquet"


def _sound(folder: Path) -> Path:
    with wave.open(str(folder / "voice.wav"), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(8000)
        sound.writeframes(bytes(30 << 20))
    return folder / "voice.wav"


def _captions(folder: Path) -> Path:
    cues = "".join(
        f"{n // 3600:02}:{n // 60 % 60:02}:{n % 60:02}.000 --> {n // 3600:02}:{n // 60 % 60:02}:{n % 60:02}.900\n"
        f"flow down {n}\n\n"
        for n in range(1500)
    )
    (folder / "captions.vtt").write_text("WEBVTT\n\n" + cues)
    return folder / "captions.vtt"


def _log(folder: Path) -> Path:
    lines = "".join(f"{8 + n // 900:02}:{n // 15 % 60:02},flow down {n}\n" for n in range(1500))
    (folder / "log.csv").write_text("time,text\n" + lines)
    return folder / "log.csv"


def _table(folder: Path) -> Path:
    rows = "".join(f"{n / 500:.3f},{PRESSURE[n]:.2f}\n" for n in range(200_000))
    (folder / "a.csv").write_text("time [s],ABP [mmHg]\n" + rows)
    return folder / "a.csv"


MAKERS: dict[str, Callable[[Path], Path]] = {
    "EDF and BDF": _edf, "WFDB": _wfdb, "DICOM": _dicom, "MATLAB": _matlab, "HDF5": _hdf5, "Parquet": _parquet,
    "WAV": _sound, "WebVTT": _captions, "handwritten log": _log, "delimited text": _table,
}  # fmt: skip


def _columns(folder: Path, name: str) -> Path | None:
    if name not in ("MATLAB", "HDF5"):
        return None
    (folder / "paths.toml").write_text(PATHS)
    return folder / "paths.toml"


def test_every_reader_is_watched() -> None:
    assert set(MAKERS) == {reader.name for reader in READERS}


@pytest.mark.parametrize("name", MAKERS)
def test_it_says_how_far_it_is_and_stops_when_asked(tmp_path: Path, name: str) -> None:
    given = tmp_path / "given"
    given.mkdir()
    path = MAKERS[name](given)
    reader, _ = reader_of(path, [path])
    assert reader is not None
    assert reader.name == name
    columns = _columns(tmp_path, name)
    silences, waits = [], []
    for number in range(TRIES):
        heard = [time.monotonic()]
        into = tmp_path / f"case-{number}"
        bring_in(
            [path],
            into,
            columns=columns,
            accept_proposals=True,
            progress=lambda _share, _text, heard=heard: heard.append(time.monotonic()),  # type: ignore[misc]
        ).close()
        silences.append(float(np.diff(heard).max()))
        # While it reads at first, then later and later, up to where it writes.
        waits.append(
            _waited(path, tmp_path / "stopped", columns, (heard[-1] - heard[0]) * (0.2 + 0.3 * number))
        )
        assert not (tmp_path / "stopped").exists()
        if silences[-1] <= LONGEST_SILENCE_S and waits[-1] <= LONGEST_WAIT_S:
            return
    assert min(silences) <= LONGEST_SILENCE_S, silences
    assert min(waits) <= LONGEST_WAIT_S, waits


def _waited(path: Path, into: Path, columns: Path | None, asked_s: float) -> float:
    """How long after it was asked to stop it did; nothing where it was done before."""
    asked = time.monotonic() + asked_s
    try:
        with bring_in(
            [path], into, columns=columns, accept_proposals=True, cancelled=lambda: time.monotonic() > asked
        ):
            pass
    except Cancelled:
        return time.monotonic() - asked
    shutil.rmtree(into)
    return 0.0

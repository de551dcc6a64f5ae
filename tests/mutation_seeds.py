"""Small sound files of every format, for the harness that damages them (`mutations`).

Written by the formats' own libraries where there is one; the same bytes at every run.
"""

from __future__ import annotations

import io
import struct
import tempfile
import warnings
import wave
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, time
from pathlib import Path
from typing import Any

import numpy as np
from awkward_files import ALL

EXCERPT = Path(__file__).parents[1] / "sample_traces" / "excerpt"


@dataclass(frozen=True)
class Seed:
    """A file that can be read, with the files beside it and the map that it needs.

    Attributes
    ----------
    files : dict of str to bytes
        By name; the first is the one that is given to the reader.
    columns : str
        Column map or path map, as TOML; "" for none.
    """

    name: str
    files: dict[str, bytes]
    columns: str = ""
    units: tuple[str, ...] = field(default=())  # those that stand in no file, because the format implies them

    @property
    def main(self) -> str:
        """The file that is given."""
        return next(iter(self.files))


def _pressure(count: int, rate_hz: float = 100.0) -> np.ndarray[Any, Any]:
    t = np.arange(count) / rate_hz
    return np.round(75 + 20 * np.sin(2 * np.pi * 1.2 * t) + 5 * np.sin(2 * np.pi * 2.4 * t), 2)


def _tables() -> list[Seed]:
    found = [
        Seed(f"table {make.__name__}", {file.name: file.data}, file.choices)
        for file, make in ((make(0), make) for make in ALL)
    ]
    for name in ("pump.csv", "oximeter.txt"):
        lines = (EXCERPT / name).read_bytes().splitlines(keepends=True)
        found.append(Seed(f"table {name}", {name: b"".join(lines[:1] + lines[600:900])}))
    return found


def _notes() -> list[Seed]:
    log = (EXCERPT / "log.csv").read_bytes()
    captions = (EXCERPT / "captions.vtt").read_bytes()
    subtitles = b"".join(
        b"%d\n00:0%d:00,000 --> 00:0%d:04,500\nclamp %s\n\n" % (n, n, n, b"on" if n % 2 else b"off")
        for n in range(1, 9)
    )
    return [
        Seed("log", {"log.csv": log}),
        Seed("log in plain lines", {"log.txt": b"07:48 left radial in\n0944 clamp on\n10.02 clamp off\n"}),
        Seed("captions", {"captions.vtt": captions}),
        Seed("subtitles", {"captions.srt": subtitles}),
    ]


def _edf() -> list[Seed]:
    import edfio

    signals = [
        edfio.EdfSignal(
            _pressure(500 * 4, 500),
            500,
            label=label,
            physical_dimension="mmHg",
            physical_range=(-300, 355.35),
        )
        for label in ("ABP", "CVP")
    ]
    slow = edfio.EdfSignal(
        np.array([36.5, 36.4, 36.4, 36.3]),
        1,
        label="T blad",
        physical_dimension="degC",
        physical_range=(0, 50),
    )
    plus = edfio.Edf(
        [*signals, slow],
        recording=edfio.Recording(startdate=date(2031, 3, 14)),
        starttime=time(8, 15, 30),
        annotations=[edfio.EdfAnnotation(1.5, None, "clamp on"), edfio.EdfAnnotation(2.0, 0.5, "flush")],
    ).to_bytes()
    # Two seconds are missing after the second record: the standard's time-keeping lists say so.
    gaps = (
        plus.replace(b"EDF+C", b"EDF+D", 1)
        .replace(b"+2\x14\x14", b"+4\x14\x14")
        .replace(b"+3\x14\x14", b"+5\x14\x14")
    )
    plain = edfio.Edf(signals[:1]).to_bytes()
    return [Seed("EDF+C", {"a.edf": plus}), Seed("EDF+D", {"a.edf": gaps}), Seed("EDF", {"a.edf": plain})]


def _bdf() -> list[Seed]:
    """Put together here: a header of 256 bytes and as many for a signal, then samples of three bytes."""
    codes = np.arange(256) * 100 - 12_000
    samples = b"".join(int(code).to_bytes(3, "little", signed=True) for code in codes)
    header = (
        b"\xffBIOSEMI" + b"X X X X".ljust(80) + b"Startdate 14-MAR-2031 X X X".ljust(80) + b"14.03.3108.15.30"
        + b"512".ljust(8) + b"24BIT".ljust(44) + b"2".ljust(8) + b"1".ljust(8) + b"1".ljust(4)
        + b"ABP".ljust(16) + b"catheter".ljust(80) + b"mmHg".ljust(8) + b"-300".ljust(8) + b"400".ljust(8)
        + b"-8388608".ljust(8) + b"8388607".ljust(8) + b" " * 80 + b"128".ljust(8) + b" " * 32
    )  # fmt: skip
    return [Seed("BDF", {"a.bdf": header + samples})]


def _wfdb() -> list[Seed]:
    import wfdb

    found = []
    signal = np.stack([_pressure(600), _pressure(600) / 10], axis=1)
    for form, gain in (("16", 100.0), ("212", 10.0), ("80", 1.0), ("24", 100.0), ("516", 100.0)):
        with tempfile.TemporaryDirectory() as folder:
            wfdb.wrsamp(
                "rec", fs=100, units=["mmHg", "mmHg"], sig_name=["ABP", "CVP"], p_signal=signal, write_dir=folder,
                fmt=[form] * 2, adc_gain=[gain] * 2, baseline=[0] * 2, base_time=time(8, 15, 30),
            )  # fmt: skip
            wfdb.wrann(
                "rec", "atr", np.array([50, 130, 215]), symbol=["N", "N", "V"], aux_note=["", "clamp on", ""],
                fs=100, write_dir=folder,
            )  # fmt: skip
            files = {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir(), reverse=True)}
            files = {name: files[name] for name in sorted(files, key=lambda name: not name.endswith(".hea"))}
            found.append(Seed(f"WFDB {form}", files))
    one = found[0].files
    several = {
        "all.hea": b"all/3 2 100 1300 08:15:30\nrec 600\n~ 100\nsecond 600\n",
        "rec.hea": one["rec.hea"],
        "rec.dat": one["rec.dat"],
        "second.hea": one["rec.hea"].replace(b"rec", b"second"),
        "second.dat": one["rec.dat"],
    }
    return [*found, Seed("WFDB in segments", several)]


def _dicom() -> list[Seed]:
    import pydicom
    from pydicom.dataset import Dataset, FileMetaDataset
    from pydicom.sequence import Sequence

    storage = "1.2.840.10008.5.1.4.1.1.9.2.1"  # Hemodynamic Waveform Storage
    channel = Dataset()
    channel.ChannelLabel = "ABP"
    channel.WaveformBitsStored = 16
    channel.ChannelSensitivity, channel.ChannelSensitivityCorrectionFactor, channel.ChannelBaseline = (
        "0.05",
        "1",
        "0",
    )
    unit = Dataset()
    unit.CodeValue, unit.CodingSchemeDesignator, unit.CodeMeaning = "mm[Hg]", "UCUM", "millimetre of mercury"
    channel.ChannelSensitivityUnitsSequence = Sequence([unit])
    group = Dataset()
    group.WaveformOriginality = "ORIGINAL"
    group.NumberOfWaveformChannels, group.NumberOfWaveformSamples, group.SamplingFrequency = 1, 500, "250"
    group.WaveformBitsAllocated, group.WaveformSampleInterpretation = 16, "SS"
    group.ChannelDefinitionSequence = Sequence([channel])
    group.add_new(0x5400100A, "OW", struct.pack("<h", -32768))
    group.WaveformData = np.round(_pressure(500, 250) / 0.05).astype("<i2").tobytes()
    found = []
    for name, syntax in (
        ("explicit", pydicom.uid.ExplicitVRLittleEndian),
        ("implicit", pydicom.uid.ImplicitVRLittleEndian),
    ):
        data = Dataset()
        data.file_meta = FileMetaDataset()
        data.file_meta.MediaStorageSOPClassUID, data.file_meta.MediaStorageSOPInstanceUID = storage, "1.2.3"
        data.file_meta.TransferSyntaxUID = syntax
        data.SOPClassUID, data.SOPInstanceUID, data.Modality = storage, "1.2.3", "HD"
        data.AcquisitionDateTime = "20310314081530.25"
        data.WaveformSequence = Sequence([group])
        stream = io.BytesIO()
        data.save_as(stream, enforce_file_format=True)
        found.append(Seed(f"DICOM {name}", {"a.dcm": stream.getvalue()}))
    return found


_ARRAYS = """
[time]
start = "08:15:30"
[[signal]]
path = "/abp"
rate_hz = 100.0
label = "ABP"
unit = "mmHg"
[[signal]]
path = "/flow"
times = "/flow_t"
time_kind = "seconds"
label = "Flow"
unit = "L/min"
"""


def _arrays() -> dict[str, np.ndarray[Any, Any]]:
    flow = np.round(4 + np.arange(60) % 7 / 10, 1)
    return {"abp": _pressure(900), "flow": flow, "flow_t": np.arange(60.0)}


def _matlab() -> list[Seed]:
    from scipy.io import savemat

    found = []
    for packed in (False, True):
        stream = io.BytesIO()
        savemat(stream, _arrays(), do_compression=packed)
        data = b"MATLAB 5.0 MAT-file, invented".ljust(116) + stream.getvalue()[116:]
        found.append(
            Seed(f"MATLAB 5{' packed' if packed else ''}", {"a.mat": data}, _ARRAYS, ("mmHg", "L/min"))
        )
    return found


def _hdf5(user_block: bytes = b"", name: str = "a.h5", **keys: Any) -> Seed:
    import h5py

    stream = io.BytesIO()
    with h5py.File(stream, "w", userblock_size=len(user_block)) as file:
        for path, values in _arrays().items():
            file.create_dataset(path, data=values, **keys)
    return Seed(
        f"HDF5 {name} {sorted(keys)}", {name: user_block + stream.getvalue()[len(user_block) :]}, _ARRAYS
    )


def _hdf5s() -> list[Seed]:
    level = b"MATLAB 7.3 MAT-file, invented".ljust(116) + b"\0" * 8 + b"\x00\x02IM" + b"\0" * 384
    return [
        _hdf5(),
        _hdf5(compression="gzip", shuffle=True, fletcher32=True, chunks=(60,)),
        _hdf5(user_block=level, name="a.mat"),
    ]


def _parquet() -> list[Seed]:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        return []
    found = []
    for packing in ("none", "snappy"):
        stream = io.BytesIO()
        table = pa.table(
            {
                "time [s]": np.arange(300) * 0.5,
                "ABP [mmHg]": _pressure(300),
                "HR [bpm]": np.arange(300) % 9 + 60,
            }
        )
        pq.write_table(table, stream, compression=packing, row_group_size=120)
        found.append(Seed(f"Parquet {packing}", {"a.parquet": stream.getvalue()}))
    return found


def _sound() -> list[Seed]:
    stream = io.BytesIO()
    with wave.open(stream, "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(8000)
        sound.writeframes(np.round(3000 * np.sin(np.arange(8000) / 5)).astype("<i2").tobytes())
    return [Seed("WAV", {"voice.wav": stream.getvalue()})]


MAKERS: tuple[Callable[[], list[Seed]], ...] = (
    _tables, _notes, _edf, _bdf, _wfdb, _dicom, _matlab, _hdf5s, _parquet, _sound,
)  # fmt: skip


def seeds() -> list[Seed]:
    """All of them, always in the same order."""
    return [seed for make in MAKERS for seed in made(make)]


def made(make: Callable[[], list[Seed]]) -> list[Seed]:
    """What a maker makes, without the warnings of the libraries that write the files."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return make()

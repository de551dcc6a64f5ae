"""How long bringing a DICOM waveform in takes, beside reading it with pydicom and writing it plain with h5py.

    python tests/bench/bring_in_dicom.py [--hours 4] [--channels 6] [--repeats 5] [--folder DIR] [--skip-plain]

Writes a synthetic haemodynamic waveform of one group (pressures in steps of 0.05 mmHg with noise of SD 0.2 mmHg,
400 Hz, the most that the standard allows), then times in turn, each in a fresh process after its imports:

- plain: `pydicom.dcmread` and `waveform_array`, each channel written as one contiguous float64 data set;
- bring-in: `afterclamp.io.bring_in` of the same file into a new case.

Prints both times, their ratio, and the peak memory of each process, then the medians. The aim is a ratio of at
most 1.2 at 4 hours and 6 channels.
"""

from __future__ import annotations

import time
from pathlib import Path

from side_by_side import compare

RATE_HZ = 400
LABELS = ("L rad", "R rad", "fem", "CVP", "PA", "line", "ax", "Ao")


def write_waveform(path: Path, hours: float, channels: int) -> None:
    """Write the file; it stays in memory while it is written, as pydicom wants it."""
    import numpy as np
    from pydicom.dataset import Dataset, FileMetaDataset
    from pydicom.uid import ExplicitVRLittleEndian, HemodynamicWaveformStorage, generate_uid

    count = round(hours * 3600) * RATE_HZ
    codes = np.empty((count, channels), "<i2")
    rng = np.random.default_rng(20310314)
    for first in range(0, count, 60 * RATE_HZ):
        t = np.arange(first, min(first + 60 * RATE_HZ, count)) / RATE_HZ
        for channel in range(channels):
            beat = np.sin(2 * np.pi * (1.2 + 0.01 * channel) * t)
            value = 75 - 8 * channel + 22 * beat + 6 * beat**2 + 5 * np.sin(2 * np.pi * t / 700)
            codes[first : first + len(t), channel] = np.round((value + rng.normal(0, 0.2, len(t))) / 0.05)
    group = Dataset()
    group.WaveformOriginality = "ORIGINAL"
    group.NumberOfWaveformChannels, group.NumberOfWaveformSamples = channels, count
    group.SamplingFrequency = RATE_HZ
    group.ChannelDefinitionSequence = [_channel(Dataset(), LABELS[channel]) for channel in range(channels)]
    group.WaveformBitsAllocated, group.WaveformSampleInterpretation = 16, "SS"
    group.add_new(0x54001010, "OW", codes.tobytes())
    file = Dataset()
    file.SOPClassUID, file.SOPInstanceUID = HemodynamicWaveformStorage, generate_uid()
    file.Modality, file.AcquisitionDateTime = "HD", "20310314081530"
    file.WaveformSequence = [group]
    file.file_meta = FileMetaDataset()
    file.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    file.save_as(path, enforce_file_format=True)


def _channel(channel, label: str):  # type: ignore[no-untyped-def]  # a Dataset, imported when it is needed
    channel.ChannelLabel = label
    channel.ChannelSensitivity, channel.ChannelSensitivityCorrectionFactor = "0.05", "1"
    channel.ChannelBaseline, channel.WaveformBitsStored = "0", 16
    unit = type(channel)()
    unit.CodeValue, unit.CodingSchemeDesignator, unit.CodeMeaning = "mm[Hg]", "UCUM", "mmHg"
    channel.ChannelSensitivityUnitsSequence = [unit]
    return channel


def plain(source: Path, target: Path) -> float:
    import h5py
    import pydicom

    begun = time.perf_counter()
    file = pydicom.dcmread(source)
    values = file.waveform_array(0)
    with h5py.File(target / "plain.h5", "w") as store:
        for index, channel in enumerate(file.WaveformSequence[0].ChannelDefinitionSequence):
            store.create_dataset(str(channel.ChannelLabel), data=values[:, index])
    return time.perf_counter() - begun


if __name__ == "__main__":
    compare(__doc__ or "", "waveform.dcm", RATE_HZ, write_waveform, plain, imports=("pydicom",))

"""DICOM waveforms (haemodynamic, arterial pulse, ECG and others): codes as stored, group by group.

Each multiplex group has its own rate and its own start (DICOM PS3.3, C.10.9). The data set is read by pydicom
(`dicom_groups`), samples are taken from the file block by block. Values that stand for no sample are masked
before anything is scaled.

Who was recorded stays in the file: only the equipment and the time of the acquisition are taken over.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import FileUnreadable
from ..recording import Block, RecordedChannel, Recording, Segment
from ..terms import identify
from . import Claim, Reader, sha256
from .dicom_fields import Fields, stamp_of
from .dicom_groups import WAVEFORM_STORAGE, DicomFile, Group, class_of, read_groups
from .dicom_notes import GroupTimes, read_notes
from .names import slug, unique_keys
from .quoting import quoted

_SLAB = 16 << 20  # bytes of a group read at a time
_BLOCK = 1 << 20  # samples handed over at a time, at most
# PS3.3, C.10.9.1.5: interpretation and the bits that go with it; compressed speech (MB, AB) is no measurement.
_CODES: Final = {"SB": "i1", "UB": "u1", "SS": "i2", "US": "u2", "SL": "i4", "UL": "u4"}
_HIGHEST_RATE_HZ = 1e7  # above, it is a damaged field (this project's choice)
_MOST_CHANNELS = 512


@dataclass(frozen=True, slots=True)
class _Channel:
    """A channel of a group: ``value = code * scale + offset``, first sample ``late_s`` after the group's."""

    label: str
    unit: str
    scale: float
    offset: float
    late_s: float
    about: str


@dataclass(frozen=True, slots=True)
class _Samples:
    """How the samples of a group are stored, channel after channel for each instant."""

    dtype: np.dtype[Any]
    channels: int
    count: int  # a channel
    padding: int | None


def claims(path: Path, head: bytes) -> Claim:
    """DICOM has its name at byte 128; an image or a report is somebody else's."""
    if head[128:132] == b"DICM":
        kind = class_of(head)
        return Claim.MINE if not kind or kind.startswith(WAVEFORM_STORAGE) else Claim.NOT_MINE
    # Named so but empty, cut or something else: `read` says what is wrong.
    return Claim.MINE if path.suffix.lower() in READER.suffixes else Claim.NOT_MINE


def read(path: Path, _options: Mapping[str, Any]) -> Sequence[Recording]:
    """Read one file: one recording, its second 0 at the time of the acquisition.

    Raises
    ------
    FileUnreadable
        When it is cut, holds no waveforms that can be read, or a field is not as the standard says.
    """
    file = read_groups(path)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pydicom's, on values in odd form; what is needed is checked below
        return [_recording(path, file)]


def _recording(path: Path, file: DicomFile) -> Recording:
    set_aside: list[str] = []
    parts: list[tuple[Group, _Samples, int, _Channel]] = []
    times: dict[int, GroupTimes] = {}
    for group in file.groups:
        fields = Fields(path, group.number, group.item)
        samples = _samples(fields, group.bytes, file.little_endian, set_aside)
        if samples is None:
            continue
        rate_hz = fields.number("SamplingFrequency")
        if not 0 < rate_hz <= _HIGHEST_RATE_HZ:
            raise fields.wrong(f"the sampling frequency is {rate_hz:g} Hz; more than 0 was expected")
        start_s = fields.number("MultiplexGroupTimeOffset", 0.0) / 1000.0
        times[group.number] = GroupTimes(start_s, rate_hz, samples.count)
        if fields.text(group.item, "WaveformOriginality") == "DERIVED":
            called = fields.text(group.item, "MultiplexGroupLabel")
            set_aside.append(
                f"multiplex group {group.number}{f' ({called})' if called else ''}: kept, but the file says that it "
                "was computed from other samples, not recorded"
            )
        channels = fields.items(group.item, "ChannelDefinitionSequence")
        if len(channels) != samples.channels:
            raise fields.wrong(f"{samples.channels} channels are announced, {len(channels)} are described")
        for index, item in enumerate(channels):
            channel = _channel(fields, item, index, rate_hz, set_aside)
            parts.append((group, samples, index, channel))
    if not parts:
        raise FileUnreadable(
            f"none of its {len(file.groups)} multiplex groups can be read: {'; '.join(set_aside)}",
            path=path,
            todo="Give the file of the pressures",
        )
    keys = unique_keys(channel.label for _, _, _, channel in parts)
    fields = Fields(path, 0, file.dataset)
    stamp = _acquired(fields)
    recorded = tuple(
        RecordedChannel(
            key=key,
            label=channel.label,
            unit_as_written=channel.unit,
            dtype=samples.dtype.newbyteorder("="),
            count=samples.count,
            blocks=partial(_blocks, path, group, samples, index),
            segments=(
                Segment(
                    start_s=times[group.number].start_s + channel.late_s,
                    first=0,
                    count=samples.count,
                    rate_hz=times[group.number].rate_hz,
                    scale=channel.scale,
                    offset=channel.offset,
                ),
            ),
        )
        for key, (group, samples, index, channel) in zip(keys, parts, strict=True)
    )
    equipment = (fields.text(file.dataset, word) for word in ("Manufacturer", "ManufacturerModelName"))
    about = {"format": _class_name(fields), "equipment": " ".join(filter(None, equipment))}
    about |= {f"{key} filter": channel.about for key, (_, _, _, channel) in zip(keys, parts, strict=True)}
    return Recording(
        name=slug(path.stem, "dicom"),
        reader=READER.name,
        files=((path.name, sha256(path)),),
        channels=recorded,
        notes=read_notes(fields, times, stamp, set_aside),
        first_stamp=stamp,
        dated=stamp is not None,
        set_aside=tuple(set_aside),
        about={name: value for name, value in about.items() if value},
    )


def _class_name(fields: Fields) -> str:
    kind = fields.value(fields.item, "SOPClassUID")
    return str(getattr(kind, "name", ""))


# Groups and channels


def _samples(fields: Fields, held: int, little_endian: bool, set_aside: list[str]) -> _Samples | None:
    item = fields.item
    kind = fields.text(item, "WaveformSampleInterpretation")
    bits = fields.number("WaveformBitsAllocated")
    if kind in ("MB", "AB"):
        set_aside.append(f"multiplex group {fields.group}: recorded speech, left out")
        return None
    if kind not in _CODES or int(_CODES[kind][1]) * 8 != bits:
        raise fields.wrong(
            f"samples of kind {quoted(kind)} in {bits:g} bits are not in the standard; known kinds are "
            f"{', '.join(_CODES)}"
        )
    dtype = np.dtype(("<" if little_endian else ">") + _CODES[kind])
    channels, count = fields.number("NumberOfWaveformChannels"), fields.number("NumberOfWaveformSamples")
    if not (1 <= channels <= _MOST_CHANNELS and channels == int(channels)):
        raise fields.wrong(f"the number of channels is {channels:g}; 1 to {_MOST_CHANNELS} were expected")
    if not (count >= 1 and count == int(count)):
        raise fields.wrong(f"the number of samples is {count:g}; at least 1 was expected")
    claimed = int(channels) * int(count) * dtype.itemsize
    if claimed > held:
        raise fields.wrong(
            f"{int(count)} samples of {int(channels)} channels make {claimed} bytes; it holds {held}"
        )
    if held > claimed + 1:  # one byte may fill up to an even number
        set_aside.append(
            f"multiplex group {fields.group}: {held - claimed} bytes more than its samples take were left out"
        )
    return _Samples(dtype, int(channels), int(count), _padding(fields, dtype, set_aside))


def _padding(fields: Fields, dtype: np.dtype[Any], set_aside: list[str]) -> int | None:
    raw = fields.value(fields.item, "WaveformPaddingValue")
    if raw is None:
        return None
    if not isinstance(raw, bytes) or len(raw) < dtype.itemsize:
        set_aside.append(
            f"multiplex group {fields.group}: the value for missing samples is shorter than a sample; "
            "no sample was taken as missing"
        )
        return None
    return int(np.frombuffer(raw[: dtype.itemsize], dtype)[0])


def _channel(fields: Fields, item: Any, index: int, rate_hz: float, set_aside: list[str]) -> _Channel:
    unit = fields.coded(item, "ChannelSensitivityUnitsSequence", "CodeValue")
    label = _label(fields, item, index, unit)
    scale, offset = 1.0, 0.0
    if fields.value(item, "ChannelSensitivity") is None:
        unit = ""
        set_aside.append(
            f"multiplex group {fields.group}, channel {label}: no sensitivity is given; its values are plain codes"
        )
    else:
        scale = fields.number("ChannelSensitivity", item=item)
        scale *= fields.number("ChannelSensitivityCorrectionFactor", 1.0, item)
        offset = fields.number("ChannelBaseline", 0.0, item)
        if scale == 0 or not math.isfinite(scale):
            raise fields.wrong(
                f"the sensitivity of channel {label} is {scale:g}, which gives no usable scale"
            )
    status = fields.value(item, "ChannelStatus")
    told = [status] if isinstance(status, str) else list(status or ())
    if told and told != ["OK"]:
        set_aside.append(
            f"multiplex group {fields.group}, channel {label}: kept, though its status is "
            f"{', '.join(map(str, told))}"
        )
    late_s = fields.number("ChannelTimeSkew", 0.0, item) or (
        fields.number("ChannelSampleSkew", 0.0, item) / rate_hz
    )
    filters = [
        f"{name} {fields.number(keyword, item=item):g} Hz"
        for name, keyword in (
            ("from", "FilterLowFrequency"),
            ("to", "FilterHighFrequency"),
            ("without", "NotchFilterFrequency"),
        )
        if fields.number(keyword, 0.0, item)
    ]
    return _Channel(label, unit, scale, offset, late_s, " ".join(filters))


def _label(fields: Fields, item: Any, index: int, unit: str) -> str:
    source = fields.coded(item, "ChannelSourceSequence", "CodeMeaning")
    modifiers = [
        fields.text(one, "CodeMeaning") for one in fields.items(item, "ChannelSourceModifiersSequence")
    ]
    source = ", ".join(filter(None, (source, *modifiers)))
    label = fields.text(item, "ChannelLabel")
    if not label or (identify(label, unit).kind == "other" and identify(source, unit).kind != "other"):
        # What people named is only a number or a letter; the code says what it was.
        label = ", ".join(filter(None, (label, source)))
    return label or f"channel {index + 1} of group {fields.group}"


def _acquired(fields: Fields) -> datetime | None:
    """When the acquisition began, by the wall clock as written."""
    text = fields.text(fields.item, "AcquisitionDateTime") or (
        fields.text(fields.item, "ContentDate") + fields.text(fields.item, "ContentTime")
    )
    return stamp_of(text)


# Samples


def _blocks(path: Path, group: Group, samples: _Samples, index: int) -> Iterator[Block]:
    for codes in _codes(path, group, samples, index):
        there = None if samples.padding is None else codes != samples.padding
        yield Block(codes, None if there is None or there.all() else there)


def _codes(path: Path, group: Group, samples: _Samples, index: int) -> Iterator[NDArray[Any]]:
    width = samples.channels * samples.dtype.itemsize
    at_a_time = min(max(1, _SLAB // width), _BLOCK, samples.count)
    slab = np.empty((at_a_time, samples.channels), samples.dtype)
    native = samples.dtype.newbyteorder("=")
    try:
        with path.open("rb", buffering=0) as file:
            file.seek(group.first_byte)
            for first in range(0, samples.count, at_a_time):
                part = slab[: min(at_a_time, samples.count - first)]
                view = part.reshape(-1).view(np.uint8).data
                while view:
                    many = file.readinto(view)
                    if not many:
                        raise EOFError
                    view = view[many:]
                yield part[:, index].astype(native)
    except EOFError as cause:
        raise FileUnreadable(
            "the file became shorter while it was read",
            path=path,
            todo="Wait until nothing writes to it any more and bring it in again",
        ) from cause
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be read on ({cause.strerror or cause})", path=path, todo="Check the medium that it is on"
        ) from cause


READER = Reader("DICOM", (".dcm", ".dicom"), claims, read)

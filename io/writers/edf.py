"""A case, or a window of it, as one EDF+ file on the reference clock.

What the format cannot say, and what is done about it:

- **It has no code for "not recorded", and its files with gaps (EDF+D) have the same gaps in every signal.** The
  file is therefore continuous (EDF+C). Where nothing was recorded a signal stands on its lowest code, which no
  recorded sample has as long as one is to spare, and an annotation ``not recorded: FEM`` with onset and duration
  says so. `afterclamp.io.readers.edf` takes it back: what was a gap is a gap again.
- **All signals share one start and one duration of a data record.** Each sample stands at the place nearest to
  its time (`edf_slots`); where that is off, ``sample times: ...`` and ``repeated: ...`` say by how much.
- **It needs whole data records.** The rest of the last one is "not recorded".
- **Its values go through 16-bit codes.** A source's own 16-bit codes on one scale are kept (`edf_scale`);
  the step of every signal is in the result, and a coarser one than the source's is told in its remarks.

The start is the time of day of the reference clock, in whole seconds and with its fraction in the time-keeping
annotations; the date is left out (``Startdate X``, and 01.01.85 in the field of EDF: common practice). A
window is widened to whole reference seconds. Uneven rows become annotations. The layout is that of Kemp et al.,
Electroencephalogr Clin Neurophysiol 1992;82:391-393, and Kemp and Olivan, Clin Neurophysiol 2003;114:1755-1761.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from ..case import Case
from ..channel import Channel
from ..errors import CannotWrite
from ..readers.edf_own import NOT_RECORDED, REPEATED, times_text
from ..window import Span
from . import Course, Progress, Remark, chosen, new_file, remarks_of, window_of
from .edf_layout import EdfLayout, dimension, header, labels, layout_of
from .edf_lists import Listed, lists_of
from .edf_scale import Decimals, EdfScale, scale_of
from .edf_slots import Signal, signals_of
from .pieces import BLOCK, code_dtype, pieces_of, read_codes

_SLAB = 4 << 20  # bytes of data records written at a time
_MOST_ROWS = 20_000  # uneven rows of one channel that still make sense as annotations
_LOOKING = 0.3  # share of the work that is looking at the samples before


@dataclass(frozen=True, slots=True)
class WrittenSignal:
    """One signal of the file.

    Attributes
    ----------
    label : str
        In the file, unique.
    channel : str
        Id of the channel.
    rate_hz : float
    step : float
        Value of one code, in the channel's unit.
    exact : bool
        Whether the source's numbers are kept as they are; else they are rounded to the step.
    copies, left_out : int
        Places that hold a copy of the sample before; samples that found no place of their own.
    """

    label: str
    channel: str
    rate_hz: float
    step: float
    exact: bool
    copies: int
    left_out: int


@dataclass(frozen=True)
class EdfWritten:
    """What was written.

    Attributes
    ----------
    path : Path
    span : Span
        In reference seconds: the window, widened to whole seconds.
    record_s : int
        Duration of a data record.
    signals : tuple of WrittenSignal
    remarks : tuple of str
        Sentences on what is not as in the source: left out, rounded, as annotations.
    """

    path: Path
    span: Span
    record_s: int
    signals: tuple[WrittenSignal, ...]
    remarks: tuple[str, ...]


def write_edf(
    case: Case,
    path: Path,
    *,
    span: Span | None = None,
    channels: Sequence[Channel | str] | None = None,
    remarks: Sequence[Remark] = (),
    notes: bool = True,
    note: str = "",
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> EdfWritten:
    """Write a case or a window of it as EDF+.

    Parameters
    ----------
    case : Case
        The case, or a view of it up to some time.
    path : Path
        The file; must not exist.
    span : Span, optional
        In reference seconds; the whole case when None.
    channels : sequence of Channel or str, optional
        All that hold a sample in the window when None.
    remarks : sequence of Remark
        Marks, finds, phases: become annotations.
    notes : bool
        Whether the lines of text of the sources become annotations as well.
    note : str
        What the file carries as a whole; an annotation at its start.
    progress : callable, optional
        ``progress(share, text)``.
    cancelled : callable, optional
        Asked between blocks of some milliseconds' work.

    Raises
    ------
    CannotWrite
        When the file is there, cannot be written, or a channel does not fit into the format; nothing is left.
    Cancelled
        When asked to stop; nothing is left.
    """
    if path.exists():
        raise CannotWrite("is there already", path=path, todo="Give a new name")
    course = Course(path, progress, cancelled)
    window = _widened(window_of(case, span, path))
    said: list[str] = []
    listed = _listed(remarks_of(case, remarks, notes=notes), window, whole=span is None)
    signals: list[Signal] = []
    for channel in chosen(case, channels):
        pieces = pieces_of(channel, window)
        if pieces:
            signals += signals_of(channel, pieces, window.start)
        elif channel.segments_reference():
            said.append(f"{channel.id}: nothing was recorded in the window; left out")
        else:
            listed += _rows(channel, window, said)
    if not signals:
        raise CannotWrite(
            "none of the chosen channels has evenly spaced samples in the window",
            path=path,
            todo="Choose another window, or write uneven rows as CSV",
        )
    for signal, label in zip(signals, labels([signal.channel for signal in signals]), strict=True):
        signal.label = label
    scales = [
        _scale(signal, course, k / len(signals), _LOOKING / len(signals)) for k, signal in enumerate(signals)
    ]
    layout = layout_of(signals, scales, window)
    if note:
        listed.append(Listed(0.0, 0.0, note))
    for signal, scale in zip(signals, scales, strict=True):
        listed += _own_lists(signal, layout, window.start)
        said += _said(signal, scale)
    with new_file(path) as file:
        _write(file, layout, _start(case, window), listed, course)
    course.done(f"{path.name} written")
    return EdfWritten(path, window, layout.record_s, tuple(map(_told, signals, scales)), tuple(said))


def _widened(window: Span) -> Span:
    return Span(math.floor(window.start + 1e-6), math.ceil(window.end - 1e-6))


def _told(signal: Signal, scale: EdfScale) -> WrittenSignal:
    return WrittenSignal(
        label=signal.label,
        channel=signal.channel.id,
        rate_hz=signal.rate_hz,
        step=scale.step,
        exact=scale.exact,
        copies=signal.copies,
        left_out=signal.left_out,
    )


def _said(signal: Signal, scale: EdfScale) -> list[str]:
    unit = signal.channel.unit or "of an unknown unit"
    said = []
    if not scale.exact:
        of_source = f" (the source's is {scale.source_step:.6g})" if scale.source_step is not None else ""
        said.append(f"{signal.label}: values are rounded to steps of {scale.step:.6g} {unit}{of_source}")
    if signal.left_out:
        said.append(
            f"{signal.label}: {_many(signal.left_out, 'sample')} left out, since its clock runs fast and "
            f"{signal.rate_hz:.9g} a second are all that have a place"
        )
    if signal.copies:
        said.append(
            f"{signal.label}: {_many(signal.copies, 'copy', 'copies')} of the sample before put in, since its "
            f"clock runs slow and there are {signal.rate_hz:.9g} places a second"
        )
    return said


def _many(number: int, one: str, several: str = "") -> str:
    return f"{number} {one}" if number == 1 else f"{number} {several or one + 's'}"


# What is looked at before


def _scale(signal: Signal, course: Course, share: float, part: float) -> EdfScale:
    """Go through the samples once: their lowest and highest, and how many decimals they have."""
    dtype = code_dtype(signal.channel)
    whole = dtype.kind in "iu"
    decimals = Decimals()
    ranges: dict[tuple[float, float], tuple[float, float]] = {}
    total, done = sum(run.count for run in signal.runs), 0
    for run in signal.runs:
        for first in range(run.first, run.first + run.count, BLOCK):
            course.at(share * _LOOKING + part * done / total, f"looking at {signal.label}")
            many = min(BLOCK, run.first + run.count - first)
            codes, missing = read_codes(signal.channel, first, many)
            codes = codes if missing is None else codes[~missing]
            done += many
            if not len(codes):
                continue
            if not whole:
                decimals.look(codes)
            low, high = ranges.get(run.line, (math.inf, -math.inf))
            ranges[run.line] = min(low, float(codes.min())), max(high, float(codes.max()))
    return scale_of(
        ranges or {signal.runs[0].line: (0.0, 0.0)},
        whole=whole,
        places=decimals.places,
        channel=signal.channel.id,
    )


# Texts


def _listed(remarks: Iterable[Remark], window: Span, *, whole: bool) -> list[Listed]:
    """Texts within the window; of the whole case all of them, those before its first sample too."""
    found = []
    for remark in remarks:
        start, end = remark.start_s, remark.end_s
        if not whole:
            if start >= window.end or (end < window.start if end > start else start < window.start):
                continue
            start, end = max(start, window.start), min(end, window.end)
        found.append(Listed(start - window.start, end - start, remark.text))
    return found


def _rows(channel: Channel, window: Span, said: list[str]) -> list[Listed]:
    """Uneven rows as texts: they have no rate that a signal could be given."""
    samples = channel.read(window.start, window.end)
    there = np.isfinite(samples.values)
    if there.sum() > _MOST_ROWS:
        raise CannotWrite(
            f"it has {int(there.sum())} unevenly spaced rows, which EDF cannot hold but as annotations",
            place=f"channel {channel.id}",
            todo="Leave the channel out, or write it as CSV",
        )
    said.append(
        f"{channel.id}: its {int(there.sum())} unevenly spaced rows are written as annotations"
        if there.any()
        else f"{channel.id}: nothing was recorded in the window; left out"
    )
    return [
        Listed(t - window.start, 0.0, f"{channel.label or channel.name}: {value:.7g} {channel.unit}".strip())
        for t, value in zip(samples.t[there].tolist(), samples.values[there].tolist(), strict=True)
    ]


def _own_lists(signal: Signal, layout: EdfLayout, start_s: float) -> Iterator[Listed]:
    places = layout.places[layout.signals.index(signal)]
    rate = places / layout.record_s
    for a, b in signal.holes(layout.records * places).tolist():
        yield Listed(a / rate, (b - a) / rate, f"{NOT_RECORDED}{signal.label}")
    for run in signal.runs:
        if run.copy:
            yield Listed(run.slot / rate, 1 / rate, f"{REPEATED}{signal.label}")
    for a, b, shift, own_rate in signal.told_times(start_s):
        yield Listed(a / rate, (b - a) / rate, times_text(signal.label, shift, own_rate))
    if signal.left_out:
        yield Listed(
            0.0, 0.0, f"left out: {signal.label}, {_many(signal.left_out, 'sample')} between two places"
        )
    if signal.channel.unit and not dimension(signal.channel.unit):
        yield Listed(0.0, 0.0, f"unit: {signal.label} {signal.channel.unit}")


# The file


def _start(case: Case, window: Span) -> tuple[str, float]:
    """Time of day of the reference clock as the header has it, and the fraction of a second beyond."""
    if case.start_clock is None:
        return "00.00.00", 0.0
    start = case.start_clock + timedelta(seconds=window.start)
    return f"{start:%H.%M.%S}", start.microsecond / 1e6


def _write(
    file: BinaryIO, layout: EdfLayout, start: tuple[str, float], listed: Sequence[Listed], course: Course
) -> None:
    lists = lists_of(listed, layout.records, layout.record_s, start[1])
    width = len(lists[0])
    file.write(header(layout, start[0], width))
    record_bytes = 2 * sum(layout.places) + width
    at_a_time = max(1, _SLAB // record_bytes)
    name = Path(file.name).name.partition(".partial")[0].removeprefix(".")
    for first in range(0, layout.records, at_a_time):
        course.at(_LOOKING + (1 - _LOOKING) * first / layout.records, f"writing {name}")
        many = min(at_a_time, layout.records - first)
        slab = np.empty((many, record_bytes), np.uint8)
        at = 0
        for signal, scale, places in zip(layout.signals, layout.scales, layout.places, strict=True):
            codes = _codes(signal, scale, first * places, many * places)
            slab[:, at : at + 2 * places] = codes.astype("<i2", copy=False).view(np.uint8).reshape(many, -1)
            at += 2 * places
        slab[:, at:] = np.frombuffer(b"".join(lists[first : first + many]), np.uint8).reshape(many, width)
        file.write(slab.data)


def _codes(signal: Signal, scale: EdfScale, slot: int, count: int) -> NDArray[np.int16]:
    """Codes for the places from `slot` on."""
    out = np.full(count, scale.digital[0], np.int16)
    at = max(bisect.bisect_right(signal.runs, slot, key=lambda run: run.slot) - 1, 0)
    for run in signal.runs[at:]:
        if run.slot >= slot + count:
            break
        a, b = max(run.slot, slot), min(run.slot + run.count, slot + count)
        if b > a:
            stored, missing = read_codes(signal.channel, run.first + a - run.slot, b - a)
            codes = scale.codes(stored, run.line)
            if missing is not None:
                codes[missing] = scale.digital[0]
            out[a - slot : b - slot] = codes
    return out

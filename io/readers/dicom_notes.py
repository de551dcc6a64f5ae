"""Annotations of a DICOM waveform file as lines of text on the clock of its acquisition.

Text or coded name with its value, and the points in time that it is about, as sample positions within a group, as
offsets or as dates and times (DICOM PS3.3, C.10.10).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from ..recording import Note
from .dicom_fields import Fields, stamp_of
from .quoting import quoted


@dataclass(frozen=True, slots=True)
class GroupTimes:
    """When a group starts, seconds after the acquisition, and its samples."""

    start_s: float
    rate_hz: float
    count: int

    @property
    def end_s(self) -> float:
        """When the sample after the last would stand."""
        return self.start_s + self.count / self.rate_hz


def read_notes(
    fields: Fields, groups: Mapping[int, GroupTimes], acquired: datetime | None, set_aside: list[str]
) -> tuple[Note, ...]:
    """Annotations of a file.

    Parameters
    ----------
    fields : Fields
        Of the whole file.
    groups : mapping of int to GroupTimes
        The groups that were read, by their number; there is at least one.
    acquired : datetime or None
        When the acquisition began.
    set_aside : list of str
        Annotations without a text or a usable time are added.
    """
    begin = min(group.start_s for group in groups.values())
    end = max(group.end_s for group in groups.values())
    notes: list[Note] = []
    for number, item in enumerate(fields.items(fields.item, "WaveformAnnotationSequence"), 1):
        text = _text(fields, item)
        if not text:
            set_aside.append(f"annotation {number}: it has no text")
            continue
        points = _points(fields, item, groups, acquired)
        kind = fields.text(item, "TemporalRangeType")
        spans = _spans(kind, points, begin, end) if points is not None else []
        if not spans:
            set_aside.append(f"annotation {number} ({quoted(text)}): no time that can be used")
        notes += [Note(start_s=first, end_s=last, text=text) for first, last in spans]
    return tuple(notes)


def _text(fields: Fields, item: Any) -> str:
    text = fields.text(item, "UnformattedTextValue")
    if text:
        return text
    name = fields.coded(item, "ConceptNameCodeSequence", "CodeMeaning")
    value = fields.coded(item, "ConceptCodeSequence", "CodeMeaning")
    numbers = fields.numbers(item, "NumericValue")
    if numbers:
        unit = fields.coded(item, "MeasurementUnitsCodeSequence", "CodeValue")
        value = " ".join([*(f"{number:g}" for number in numbers), unit]).strip()
    return ": ".join(filter(None, (name, value)))


def _points(
    fields: Fields, item: Any, groups: Mapping[int, GroupTimes], acquired: datetime | None
) -> list[float] | None:
    """Points in time, seconds after the acquisition; None where they are told in a way that cannot be used."""
    positions = fields.numbers(item, "ReferencedSamplePositions")
    if positions:
        channels = fields.numbers(item, "ReferencedWaveformChannels")
        group = groups.get(int(channels[0])) if channels else None
        if group is None or not all(1 <= position <= group.count for position in positions):
            return None
        return [group.start_s + (position - 1) / group.rate_hz for position in positions]
    # Milliseconds here, where the same field of a structured report counts seconds (from memory).
    offsets = fields.numbers(item, "ReferencedTimeOffsets")
    if offsets:
        return [offset / 1000.0 for offset in offsets]
    told = fields.value(item, "ReferencedDateTime")
    if told is None:
        return []
    texts = [told] if isinstance(told, str) else list(told)
    stamps = [stamp_of(str(text)) for text in texts]
    return [
        (stamp - acquired).total_seconds() for stamp in stamps if stamp is not None and acquired is not None
    ] or None


def _spans(kind: str, points: list[float], begin: float, end: float) -> list[tuple[float, float]]:
    if not kind and not points:
        return [(begin, end)]  # PS3.3, C.10.10: without a range it is about all of the samples
    if kind in ("SEGMENT", "MULTISEGMENT"):
        return [(min(pair), max(pair)) for pair in zip(points[::2], points[1::2], strict=False)]
    if kind == "BEGIN" and points:
        return [(points[0], max(end, points[0]))]
    if kind == "END" and points:
        return [(min(begin, points[0]), points[0])]
    return [(point, point) for point in points]

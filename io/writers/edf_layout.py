"""The header of an EDF+ file, and how its data records are divided.

Layout: Kemp et al., Electroencephalogr Clin Neurophysiol 1992;82:391-393, and Kemp and Olivan, Clin Neurophysiol
2003;114:1755-1761. The identification fields name nobody and no date.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from ..channel import Channel
from ..readers.edf_own import EQUIPMENT
from ..units import UNITS, parse_unit
from ..window import Span
from .edf_scale import EdfScale
from .edf_slots import Signal, record_duration

_ANNOTATIONS = "EDF Annotations"
_RECORD_BYTES = 61_440  # what a data record should not exceed (1992, "Header record")
_UNITS = {"mm[Hg]": "mmHg", "cm[H2O]": "cmH2O", "Cel": "degC", "[degF]": "degF"}


@dataclass(frozen=True)
class EdfLayout:
    """Signals with their places in a data record; how long one is, and how many there are."""

    signals: Sequence[Signal]
    scales: Sequence[EdfScale]
    places: Sequence[int]  # in a data record
    record_s: int
    records: int


def layout_of(signals: Sequence[Signal], scales: Sequence[EdfScale], window: Span) -> EdfLayout:
    """Divide a window into data records in which each signal has a whole number of places."""
    duration, places = record_duration(signals, window.duration)
    reach = max(-(-signal.slots // many) for signal, many in zip(signals, places, strict=True))
    records = max(reach, math.ceil(window.duration / duration - 1e-9))
    # Longer records need less room for annotations; only as many in one as leave no more to be filled up.
    together = next(
        many
        for many in range(10, 0, -1)
        if records % many == 0 and (many == 1 or 2 * many * sum(places) <= _RECORD_BYTES)
    )
    return EdfLayout(
        signals, scales, [many * together for many in places], duration * together, records // together
    )


def labels(channels: Sequence[Channel]) -> list[str]:
    """A label for each, as the format wants it: at most 16 characters, ASCII, unique; the source's where it is."""
    taken: set[str] = set()
    found = []
    for channel in channels:
        stem = _ascii(channel.label)[:16].strip() or _ascii(channel.name)[:16].strip() or "signal"
        label, number = stem, 1
        while label in taken or label == _ANNOTATIONS:
            number += 1
            label = f"{stem[: 15 - len(str(number))].strip()} {number}"
        taken.add(label)
        found.append(label)
    return found


def _ascii(text: str) -> str:
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    return "".join(letter if " " <= letter <= "~" else " " for letter in plain).strip()


def header(layout: EdfLayout, clock: str, width: int) -> bytes:
    """The header; `width` is the bytes of annotations in a data record."""
    count = len(layout.signals) + 1
    fixed = [
        ("0", 8),
        ("X X X X", 80),
        (f"Startdate X X X {EQUIPMENT}", 80),
        ("01.01.85", 8),
        (clock, 8),
        (str(256 * (count + 1)), 8),
        ("EDF+C", 44),
        (str(layout.records), 8),
        (str(layout.record_s), 8),
        (str(count), 4),
    ]
    columns: list[tuple[int, list[str], str]] = [
        (16, [signal.label for signal in layout.signals], _ANNOTATIONS),
        (80, [_about(signal) for signal in layout.signals], ""),
        (8, [dimension(signal.channel.unit) for signal in layout.signals], ""),
        (8, [scale.physical[0] for scale in layout.scales], "-1"),
        (8, [scale.physical[1] for scale in layout.scales], "1"),
        (8, [str(scale.digital[0]) for scale in layout.scales], "-32768"),
        (8, [str(scale.digital[1]) for scale in layout.scales], "32767"),
        (80, [""] * (count - 1), ""),
        (8, [str(places) for places in layout.places], str(width // 2)),
        (32, [""] * count, ""),
    ]
    fields = [*fixed]
    for size, texts, of_annotations in columns:
        fields += [(text, size) for text in [*texts, of_annotations][:count]]
    return b"".join(text.ljust(size).encode("ascii") for text, size in fields)


def _about(signal: Signal) -> str:
    channel = signal.channel
    return _ascii(f"{channel.plain_name}, recorded by {channel.source}")[:80]


def dimension(unit: str) -> str:
    """A unit as EDF files write it: at most 8 characters; empty where it has none so short."""
    written = UNITS[unit].written if unit in UNITS else ()
    for text in (_UNITS.get(unit, unit), *written):
        if text.isascii() and len(text) <= 8 and (text == unit or parse_unit(text) == unit):
            return text
    return ""

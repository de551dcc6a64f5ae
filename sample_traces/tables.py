"""The tables of the invented case, read from this folder."""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

FOLDER = Path(__file__).parent
LENGTH_S = 21_000  # 350 minutes
CLOCK_AT_ZERO_S = 7 * 3600 + 42 * 60  # the monitor, which is the reference, started at 07:42:00


@dataclass(frozen=True, slots=True)
class Keyframes:
    """The trend of one channel: straight lines between points."""

    t: NDArray[np.float64]  # seconds
    values: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Truth:
    """One artefact or event that is really in the record; times in reference seconds."""

    code: str
    label: str
    start_s: float
    end_s: float
    channels: tuple[str, ...]
    phase: str
    onset_tolerance_s: float
    note: str


@dataclass(frozen=True, slots=True)
class TruePhase:
    """One true phase; times in reference seconds."""

    name: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class LogLine:
    """A line of the handwritten log: when it happened, and the hour and minute that were written."""

    true_s: float
    written: str
    text: str
    wrong: bool


@dataclass(frozen=True, slots=True)
class Caption:
    """A spoken note: seconds on the narration's own clock."""

    audio_s: float
    text: str


def rows(name: str) -> list[dict[str, str]]:
    """The rows of one of the CSV tables of this folder, as they stand."""
    with (FOLDER / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@cache
def _case() -> dict[str, Any]:
    case: dict[str, Any] = json.loads((FOLDER / "keyframes.json").read_text(encoding="utf-8"))
    return case


@cache
def keyframes() -> Mapping[str, Keyframes]:
    """Keyframes by channel name (``LRAD``, ``FOFF``, ``FLOW`` ...)."""
    found = {}
    for name, points in _case()["keyframes"].items():
        minutes, values = zip(*points, strict=True)
        found[name] = Keyframes(np.asarray(minutes, float) * 60, np.asarray(values, float))
    return found


@cache
def valid_s(name: str) -> tuple[float, float]:
    """First and last second in which a channel has values; the whole record if nothing else is said."""
    first, last = _case()["valid_min"].get(name, (0, LENGTH_S / 60))
    return first * 60.0, last * 60.0


@cache
def body() -> tuple[float, float]:
    """Height in cm and weight in kg."""
    return float(_case()["height_cm"]), float(_case()["weight_kg"])


@cache
def truth() -> tuple[Truth, ...]:
    """Every artefact and event laid into the record, in order of start.

    The table gives minutes to four decimals; all true times are whole seconds.
    """
    return tuple(
        Truth(
            row["code"],
            row["label"],
            float(round(float(row["start_min"]) * 60)),
            float(round(float(row["end_min"]) * 60)),
            tuple(row["channels"].split()),
            row["phase"],
            float(row["onset_tol_s"]),
            row["note"],
        )
        for row in rows("truth.csv")
    )


def spans(code: str, label: str = "", channel: str = "") -> list[tuple[float, float]]:
    """Start and end seconds of the true rows of one code, if wanted of one label or one channel."""
    return [
        (row.start_s, row.end_s)
        for row in truth()
        if row.code == code and label in row.label and (not channel or channel in row.channels)
    ]


@cache
def phases() -> tuple[TruePhase, ...]:
    """The true phases, in the table's order."""
    return tuple(
        TruePhase(
            row["phase"], float(round(float(row["start_min"]) * 60)), float(round(float(row["end_min"]) * 60))
        )
        for row in rows("phases.csv")
    )


def seconds(minutes_and_seconds: str) -> float:
    """``"149:30"`` as seconds from the start."""
    minutes, secs = minutes_and_seconds.split(":")
    return int(minutes) * 60.0 + int(secs)


@cache
def log_lines() -> tuple[LogLine, ...]:
    """The 22 lines of the handwritten log, in the order in which they were written."""
    return tuple(
        LogLine(seconds(row["true_min"]), row["written_time"], row["text"], bool(row["note"]))
        for row in rows("log.csv")
    )


@cache
def captions() -> tuple[Caption, ...]:
    """The spoken notes."""
    return tuple(Caption(float(row["audio_time_s"]), row["text"]) for row in rows("captions.csv"))

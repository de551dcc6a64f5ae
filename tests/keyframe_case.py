"""Test support: the invented case drawn from its keyframes without noise, and a row of its figures by name."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from afterclamp.annotate.figures import Figure
from afterclamp.io.case import Case
from afterclamp.io.recording import RecordedChannel, Segment
from afterclamp.io.terms import Identity
from afterclamp.sample_traces import trend
from afterclamp.sample_traces.write import case_sheet_toml
from recordings import case_of, even, recording

LENGTH_S = 21_000
WAVE_HZ = 25.0

WAVES = {
    "LRAD": ("lrad", Identity("arterial_pressure", "radial", "left", "wave")),
    "RRAD": ("rrad", Identity("arterial_pressure", "radial", "right", "wave")),
    "FEM": ("fem", Identity("arterial_pressure", "femoral", "", "wave")),
    "CVP": ("cvp", Identity("central_venous_pressure", statistic="wave")),
    "PAM": ("pam", Identity("pulmonary_artery_pressure", statistic="wave")),
}
ROWS = {
    "FLOW": ("L/min", Identity("pump_flow")),
    "ALP": ("mmHg", Identity("line_pressure")),
    "TAO": ("Cel", Identity("temperature", "arterial_outlet")),
    "TV": ("Cel", Identity("temperature", "venous")),
    "NP": ("Cel", Identity("temperature", "nasopharyngeal")),
    "SVO2": ("%", Identity("venous_saturation")),
    "HB": ("g/dL", Identity("haemoglobin")),
    "RES": ("mL", Identity("reservoir_volume")),
    "NIRL": ("%", Identity("cerebral_saturation", "", "left")),
    "NIRR": ("%", Identity("cerebral_saturation", "", "right")),
}


def _channel(name: str, rate: float, unit: str) -> RecordedChannel:
    count = int(LENGTH_S * rate)
    values = trend.trend(name, np.arange(count) / rate)
    there = np.isfinite(values)
    codes = np.where(there, values, 0).astype(np.float32)
    if rate > 1:  # a wave that repeats one value exactly would be a frozen one
        codes += np.where(np.arange(count) % 2, np.float32(0.125), np.float32(-0.125))
    return even(name, codes, [Segment(0.0, 0, count, rate)], unit=unit, valid=there)


def keyframe_case(folder: Path, *, sheet: bool = True) -> Case:
    """The invented case from its keyframes: flat waves at 25 Hz, everything else once a second."""
    identities = dict(WAVES.values())
    identities |= {name.lower(): identity for name, (_, identity) in ROWS.items()}
    made = [
        recording("monitor", [_channel(name, WAVE_HZ, "mmHg") for name in WAVES]),
        recording("pump", [_channel(name, 1.0, unit) for name, (unit, _) in ROWS.items()]),
    ]
    case = case_of(folder, *made, identities=identities)
    if sheet:
        case.close()
        (folder / "traces" / "case-sheet.toml").write_bytes(case_sheet_toml())
        case = Case.open(folder)
    return case


def row(rows: Sequence[Figure], limit_id: str, phase: str = "", *, site: str = "", note: str = "") -> Figure:
    """The one row of a limit, phase, site and word of its note."""
    [found] = [
        one
        for one in rows
        if one.limit_id == limit_id
        and phase in ("", one.phase)
        and site in ("", one.site)
        and (note in one.note if note else not one.note.endswith(("not judged", "for comparison")))
    ]
    return found


def minutes(text: str) -> float:
    """``"9:47"`` in seconds."""
    whole, seconds = text.split(":")
    return 60 * int(whole) + int(seconds)

"""Test support: what pump recorder and oximeter of the invented case write, by seed, as a case without waves.

The noise is that of the case's description, made by the module that makes the demonstration; only the pressure waves,
which take most of the time, are left out. Clocks are as they should be: what is looked at is the noise alone.
"""

from __future__ import annotations

import re
import shutil
from functools import cache
from pathlib import Path

import numpy as np
from afterclamp.io.case import Case
from afterclamp.io.recording import RecordedChannel, Segment
from afterclamp.io.terms import Identity
from afterclamp.sample_traces import sources, tables, trend
from afterclamp.sample_traces.write import PUMP_DECIMALS, case_sheet_toml
from recordings import case_of, even, recording

PUMP = {
    "pump flow (L/min)": ("L/min", Identity("pump_flow")),
    "line pressure (mmHg)": ("mmHg", Identity("line_pressure")),
    "outlet temp (degC)": ("Cel", Identity("temperature", "arterial_outlet")),
    "venous temp (degC)": ("Cel", Identity("temperature", "venous")),
    "SvO2 (%)": ("%", Identity("venous_saturation")),
    "Hb (g/dL)": ("g/dL", Identity("haemoglobin")),
    "reservoir (mL)": ("mL", Identity("reservoir_volume")),
}
OXIMETER = {f"NIRS {side[0].upper()} (%)": side for side in ("left", "right")}


@cache
def _femoral() -> sources.Monitor:
    """A monitor with a steady femoral line: the pump's recorder keeps its mean, and nothing here looks at it."""
    codes = np.zeros(tables.LENGTH_S * 100, np.int16)
    return sources.Monitor({"FEM": codes}, {}, ())


def _key(name: str) -> str:
    return re.sub(r"\W+", "_", name.lower()).strip("_")


def _pump(seed: int) -> list[RecordedChannel]:
    rows = sources.pump(_femoral(), np.random.default_rng([seed, 20]))
    at = np.floor(rows.true_s + 1e-6).astype(np.intp)
    channels = []
    for name, (unit, _) in PUMP.items():
        values = np.full(tables.LENGTH_S, np.nan)
        values[at] = np.round(rows.columns[name], PUMP_DECIMALS[name])
        channels.append(_even(name, values, 1.0, unit, 0.0))
    return channels


def _oximeter(seed: int) -> list[RecordedChannel]:
    rows = sources.oximeter(np.random.default_rng([seed, 30]))
    return [
        _even(name, rows.columns[name], 1 / sources.OXIMETER_EVERY_S, "%", float(rows.true_s[0]))
        for name in OXIMETER
    ]


def _temperature() -> RecordedChannel:
    t = np.arange(0, tables.LENGTH_S, sources.TEMPERATURE_EVERY_S, dtype=np.float64)
    return _even("NP", np.round(trend.trend("NP", t), 1), 1 / sources.TEMPERATURE_EVERY_S, "Cel", 0.0)


def _even(name: str, values: np.ndarray, rate: float, unit: str, start: float) -> RecordedChannel:
    there = np.isfinite(values)
    codes = np.where(there, values, 0).astype(np.float32)
    return even(_key(name), codes, [Segment(start, 0, codes.size, rate)], unit=unit, valid=there)


def seeded_case(folder: Path, seed: int) -> Case:
    """The recorders of one seed as an opened case in a new folder."""
    shutil.rmtree(folder, ignore_errors=True)
    identities = {_key(name): identity for name, (_, identity) in PUMP.items()}
    identities |= {_key(name): Identity("cerebral_saturation", "", side) for name, side in OXIMETER.items()}
    identities["np"] = Identity("temperature", "nasopharyngeal")
    made = [
        recording("monitor", [_temperature()]),
        recording("pump", _pump(seed)),
        recording("oximeter", _oximeter(seed)),
    ]
    case_of(folder, *made, identities=identities).close()
    (folder / "traces" / "case-sheet.toml").write_bytes(case_sheet_toml())
    return Case.open(folder)

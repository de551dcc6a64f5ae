"""A made-up operation of twenty minutes as a case folder: a femoral wave, a pump on its own clock, a log."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import numpy as np
from afterclamp.io.recording import Note, Segment
from afterclamp.io.terms import Identity
from recordings import START, case_of, even, recording

LENGTH_S = 1200
ON_S, OFF_S = 300, 900
OPEN_S = (120, 140)  # the line open to air
PUMP_AHEAD_S = 40.0


def pressure() -> np.ndarray:
    """Femoral pressure at 100 Hz in tenths of mmHg: pulsatile, steady on bypass, open to air once."""
    t = np.arange(LENGTH_S * 100) / 100
    phase = (t * 1.25) % 1.0
    beat = np.where(phase < 0.35, np.sin(np.pi * phase / 0.35), 0.0) * 45 + np.exp(-phase * 1.5) * 20
    values = 60 + beat
    on = (t >= ON_S) & (t < OFF_S)
    values[on] = 58 + 0.5 * np.sin(2 * np.pi * 2.2 * t[on])
    values += np.random.default_rng(7).normal(0, 0.3, len(t))
    opened = (t >= OPEN_S[0]) & (t < OPEN_S[1])
    values[opened] = np.random.default_rng(8).normal(0, 0.2, int(opened.sum()))
    return np.round(values * 10).astype(np.int16)


def make(folder: Path, until_s: int = LENGTH_S) -> Path:
    """Write the case and give its folder; of exports that end after `until_s` seconds."""
    flow = np.zeros(LENGTH_S, np.float32)
    flow[ON_S : ON_S + 60] = np.linspace(0.5, 4.4, 60)
    flow[ON_S + 60 : OFF_S - 60] = 4.4
    flow[OFF_S - 60 : OFF_S] = np.linspace(4.4, 0.0, 60)
    wave, flow = pressure()[: until_s * 100], flow[:until_s]
    monitor = recording(
        "monitor",
        [even("FEM", wave, [Segment(0.0, 0, wave.size, 100.0, scale=0.1)])],
        notes=[Note(130.0, 130.0, "zeroing <femoral> & flush"), Note(305.0, 305.0, "on bypass", 17.0)],
    )
    pump = recording(
        "pump",
        [even("flow", flow, [Segment(0.0, 0, flow.size, 1.0)], unit="L/min")],
        first_stamp=START + timedelta(seconds=PUMP_AHEAD_S),
    )
    case = case_of(
        folder,
        monitor,
        pump,
        identities={
            "fem": Identity("arterial_pressure", "femoral", "", "wave"),
            "flow": Identity("pump_flow"),
        },
    )
    with case:
        case.log.append("tester", "reference", {"source": "monitor"})
        case.log.append(
            "tester",
            "clock",
            {"source": "pump", "pieces": [{"offset_s": PUMP_AHEAD_S, "sd_s": 0.25}], "method": "by hand"},
        )
        case.log.append(
            "tester",
            "mark",
            {
                "id": "tester-m1",
                "kind": "span",
                "code": "",
                "text": "table <raised>",
                "start_s": 600.0,
                "end_s": 630.0,
                "confidence": 80,
                "channels": ["monitor/fem"],
                "anchor": None,
            },
        )
    return folder

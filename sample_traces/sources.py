"""What each recorder saw, on its own clock.

The monitor is the reference. The pump's recorder is 94 s ahead and runs 60 ppm fast; at 150:00 somebody
set it back by 30 s, so that its stamps repeat, and from 172:00 to 173:10 its cable was out. The oximeter
was never put on summer time and is 37 s slow besides; it loses 20 ppm. The handwritten log is late by
about two minutes and in whole minutes. The narration has a zero of its own at 20:12.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import artefacts, tables, trend, waves

FloatArray = NDArray[np.float64]
Progress = Callable[[float, str], None]

# EDF gives every sample a number: a channel without a catheter stands on the lowest code there is,
# which is −600 mmHg and can't be taken for a pressure, and a text line says why.
NOT_CONNECTED = -32768
PRESSURE_RANGE_MMHG = (-600.0, 600.0)
PRESSURE_CODES = (-32768, 32767)
PRESSURE_STEP_MMHG = 1200 / 65535
# Temperatures are tenths of a degree; a probe that is not in stands on the lowest code, 0.0 °C.
TEMPERATURE_RANGE_C = (0.0, 50.0)
TEMPERATURE_CODES = (0, 500)
TEMPERATURE_EVERY_S = 10
TEMPERATURES = {"NP": "NP", "bladder": "BLAD"}

FLOW_SD, RESERVOIR_SD, SATURATION_SD = 0.02, 15.0, 0.8
OXIMETER_EVERY_S = 5

BLOCK_S = 600

# The cuff, on the left arm until the line there is in; once more beside it, and that one spoils it.
CUFF_READINGS = (
    (40.0, "cuff 126/74 (91)"),
    (130.0, "cuff 128/75 (93)"),
    (220.0, "cuff 127/74 (92)"),
    (2616.0, "cuff 121/68 (86)"),
)


@dataclass(frozen=True, slots=True)
class TrueClock:
    """One piece of a source's true clock: ``stamp = t * (1 + drift_ppm * 1e-6) + offset_s``.

    Stamps are seconds after 07:42:00 by the source's own clock (the narration: seconds of its own),
    `t` is reference seconds. ``sd_s`` is what somebody who sets the clock by hand would state.
    """

    offset_s: float
    drift_ppm: float = 0.0
    sd_s: float = 0.0
    run: int = 0

    def stamp(self, t: FloatArray) -> FloatArray:
        """What the source's clock shows at reference seconds `t`."""
        return t * (1 + self.drift_ppm * 1e-6) + self.offset_s

    def reference(self, stamp: FloatArray) -> FloatArray:
        """Reference seconds at which the source's clock shows `stamp`."""
        return (stamp - self.offset_s) / (1 + self.drift_ppm * 1e-6)


PUMP_SET_BACK_S = 30.0


def true_clock_maps() -> dict[str, tuple[TrueClock, ...]]:
    """The true clock of every source but the monitor; a new run begins where stamps go back."""
    return {
        "pump": (
            TrueClock(94.0, 60.0, 0.25, run=0),
            TrueClock(94.0 - PUMP_SET_BACK_S, 60.0, 0.25, run=1),
        ),
        "oximeter": (TrueClock(-3637.0, -20.0, 3.0),),
        "log": (TrueClock(125.0, 0.0, 10.0),),
        "captions": (TrueClock(-1212.0, 0.0, 1.0),),
    }


@dataclass(frozen=True, slots=True)
class TextLine:
    """A text with a time, as the monitor keeps it; reference seconds."""

    start_s: float
    duration_s: float | None
    text: str


@dataclass(frozen=True, slots=True)
class Monitor:
    """Codes of the pressures at 100 Hz and of the temperatures every 10 s, and the text lines."""

    pressures: dict[str, NDArray[np.int16]]
    temperatures: dict[str, NDArray[np.int16]]
    texts: tuple[TextLine, ...]

    def mmhg(self, name: str, start_s: float = 0, end_s: float = tables.LENGTH_S) -> FloatArray:
        """A pressure as recorded, NaN without a catheter."""
        codes = self.pressures[name][round(start_s * waves.RATE_HZ) : round(end_s * waves.RATE_HZ)]
        low = PRESSURE_RANGE_MMHG[0]
        values: FloatArray = low + (codes.astype(float) - PRESSURE_CODES[0]) * PRESSURE_STEP_MMHG
        values[codes == NOT_CONNECTED] = np.nan
        return values


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of a recorder: its own stamps in whole seconds of the day, and the columns; NaN is blank."""

    stamp_s: NDArray[np.int64]
    true_s: FloatArray
    columns: dict[str, FloatArray]


@dataclass(frozen=True, slots=True)
class Recorded:
    """Everything that was recorded by machine."""

    monitor: Monitor
    pump: Table
    oximeter: Table


def record(seed: int = 1, progress: Progress | None = None) -> Recorded:
    """All machine recordings of the case; the same for the same seed."""
    scene = waves.Scene.of(seed)
    pressures = {}
    for number, name in enumerate(waves.PRESSURES):
        if progress is not None:
            progress(number / len(waves.PRESSURES), f"pressure {name}")
        pressures[name] = _pressure_codes(name, scene, np.random.default_rng([seed, 10 + number]))
    monitor = Monitor(pressures, {name: _temperature_codes(name) for name in TEMPERATURES}, texts())
    return Recorded(
        monitor, pump(monitor, np.random.default_rng([seed, 20])), oximeter(np.random.default_rng([seed, 30]))
    )


def _pressure_codes(name: str, scene: waves.Scene, rng: np.random.Generator) -> NDArray[np.int16]:
    """The monitor's codes of one pressure, made in stretches of ten minutes to keep memory small."""
    count = tables.LENGTH_S * waves.RATE_HZ
    codes = np.empty(count, np.int16)
    line = waves.SecondOrder(*waves.LINES[name])
    spoilt = artefacts.Artefacts(name, rng)
    low = PRESSURE_RANGE_MMHG[0]
    for first in range(0, count, BLOCK_S * waves.RATE_HZ):
        t = np.arange(first, min(first + BLOCK_S * waves.RATE_HZ, count)) / waves.RATE_HZ
        mean = np.interp(t, scene.grid, scene.means[name])
        tip = spoilt.at_tip(t, waves.pressure(name, t, scene), mean)
        wave = spoilt.in_wire(t, line(tip))
        block = np.clip(
            np.rint((wave - low) / PRESSURE_STEP_MMHG) + PRESSURE_CODES[0],
            NOT_CONNECTED + 1,
            PRESSURE_CODES[1],
        )
        block[~artefacts.connected(name, t)] = NOT_CONNECTED
        codes[first : first + t.size] = block.astype(np.int16)
    return codes


def _temperature_codes(name: str) -> NDArray[np.int16]:
    t = np.arange(0, tables.LENGTH_S, TEMPERATURE_EVERY_S, dtype=float)
    tenths = np.rint(trend.trend(TEMPERATURES[name], t) * 10)
    return np.where(np.isnan(tenths), TEMPERATURE_CODES[0], tenths).astype(np.int16)


def texts() -> tuple[TextLine, ...]:
    """The monitor's text lines: cuff readings, and which channel had nothing connected from when to when."""
    lines = [TextLine(t, None, text) for t, text in CUFF_READINGS]
    lines += [TextLine(0.0, until, f"not connected: {name}") for name, until in artefacts.CONNECTED_S.items()]
    for name in TEMPERATURES:
        lines.append(TextLine(0.0, tables.valid_s(TEMPERATURES[name])[0], f"not connected: {name}"))
    for name in waves.PRESSURES:
        lines += [
            TextLine(start, end - start, f"withdrawn: {name}") for start, end in artefacts.spans("A9", name)
        ]
    return tuple(sorted(lines, key=lambda text: (text.start_s, text.text)))


def pump(monitor: Monitor, rng: np.random.Generator) -> Table:
    """The pump's recorder: one row a second of its own clock."""
    before, after = true_clock_maps()["pump"]
    ((step_s, _),) = tables.spans("C")
    ticks = np.arange(0, 2 * tables.LENGTH_S, dtype=float)
    first = ticks[(before.reference(ticks) >= 0) & (before.reference(ticks) < step_s)]
    second = ticks[(after.reference(ticks) >= step_s) & (after.reference(ticks) < tables.LENGTH_S)]
    stamp = np.concatenate((first, second))
    t = np.concatenate((before.reference(first), after.reference(second)))

    flow = trend.trend("FLOW", t) + FLOW_SD * rng.standard_normal(t.size)
    line = trend.trend("ALP", t) + artefacts.NOISE_SD * rng.standard_normal(t.size)
    reservoir = trend.trend("RES", t) + RESERVOIR_SD * rng.standard_normal(t.size)
    columns = {
        "pump flow (L/min)": flow,
        "line pressure (mmHg)": line,
        "outlet temp (degC)": trend.trend("TAO", t),
        "venous temp (degC)": trend.trend("TV", t),
        "SvO2 (%)": trend.trend("SVO2", t),
        "Hb (g/dL)": trend.trend("HB", t),
        "reservoir (mL)": reservoir,
        "femoral mean (mmHg)": second_before(monitor.mmhg("FEM"), t),
    }
    there = np.ones(t.size, bool)
    for start, end in tables.spans("A9", "recording gap"):  # cable out: no row at all
        there &= (t < start) | (t >= end)
    return Table(
        (stamp[there] + tables.CLOCK_AT_ZERO_S).astype(np.int64),
        t[there],
        {key: column[there] for key, column in columns.items()},
    )


def second_before(wave: FloatArray, t: FloatArray) -> FloatArray:
    """Mean of the second before each of the seconds `t`; NaN where any of it was not recorded."""
    total = np.concatenate(([0.0], np.cumsum(np.nan_to_num(wave))))
    missing = np.concatenate(([0], np.cumsum(np.isnan(wave))))
    end = np.clip(np.rint(t * waves.RATE_HZ).astype(np.int64), 0, wave.size)
    start = end - waves.RATE_HZ
    whole = start >= 0
    start = np.maximum(start, 0)
    mean = (total[end] - total[start]) / waves.RATE_HZ
    return np.where(whole & (missing[end] == missing[start]), mean, np.nan)


def oximeter(rng: np.random.Generator) -> Table:
    """The oximeter: a row every 5 s of its own clock, whole per cent."""
    (clock,) = true_clock_maps()["oximeter"]
    day = np.arange(0, 24 * 3600, OXIMETER_EVERY_S)
    t = clock.reference((day - tables.CLOCK_AT_ZERO_S).astype(float))
    inside = (t >= 0) & (t < tables.LENGTH_S)
    t = t[inside]
    columns = {
        f"NIRS {side} (%)": np.rint(
            trend.trend(f"NIR{side}", t) + SATURATION_SD * rng.standard_normal(t.size)
        )
        for side in "LR"
    }
    return Table(day[inside], t, columns)

"""Test support: the invented case as a one-second view, from its trend tables, with or without noise.

Noise as the case's description gives it: pressures SD 0.7 mmHg with a ventilatory swing of 3 mmHg at
12/min off bypass, flow SD 0.02 L/min, temperatures in steps of 0.1 °C, reservoir SD 15 mL.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from afterclamp.annotate.view import Facts, View
from afterclamp.sample_traces import tables, trend

NAMES = {
    "LRAD": "left_radial", "RRAD": "right_radial", "FEM": "femoral", "CVP": "cvp", "PAM": "pa",
    "FLOW": "pump_flow", "ALP": "line_pressure", "TAO": "outlet_temperature", "TV": "venous_temperature",
    "NP": "nasopharyngeal_temperature", "BLAD": "bladder_temperature", "NIRL": "left_cerebral_saturation",
    "NIRR": "right_cerebral_saturation", "SVO2": "venous_saturation", "RES": "reservoir_volume",
}  # fmt: skip
ARTERIAL = ("left_radial", "right_radial", "femoral")
PUMP = (
    "pump_flow",
    "line_pressure",
    "outlet_temperature",
    "venous_temperature",
    "venous_saturation",
    "reservoir_volume",
)
PRESSURES = (*ARTERIAL, "cvp", "pa", "line_pressure")

# Row of the table -> (token, index, limit at the start, limit at the end)
PHASE_LIMITS = {
    "before bypass": ("pre", 0, 10, 10),
    "going on bypass": ("going_on", 0, 10, 10),
    "cooling": ("cooling", 0, 60, 5),
    "arrest 1: no flow": ("no_flow_arrest", 0, 5, 5),
    "reperfusion 1": ("reperfusion", 0, 5, 5),
    "arrest 2: lower body": ("lower_body_arrest", 1, 5, 5),
    "arrest 2: no flow at all": ("no_flow_arrest", 1, 5, 5),
    "selective cerebral perfusion": ("selective_cerebral", 0, 5, 5),
    "reperfusion 2, still cold": ("reperfusion", 1, 5, 60),
    "rewarming": ("warming", 0, 60, 150),
    "weaning": ("weaning", 0, 15, 10),
    "after bypass": ("post", 0, 10, 10),
    "whole bypass": ("bypass", 0, 10, 10),
}


def minutes(text: str) -> float:
    """``"149:30"`` in seconds."""
    whole, seconds = text.split(":")
    return int(whole) * 60.0 + float(seconds)


def demo_view(
    *, seed: int | None = None, believe: str = "femoral", artefacts: bool = True, until_s: int = 21_000
) -> View:
    """The invented case: noise if a seed is given, its gaps, masked artefacts and the kinked femoral line."""
    t = np.arange(until_s, dtype=np.float64)
    values = {name: trend.trend(column, t) for column, name in NAMES.items()}
    pulse_pressure = trend.trend("PP", t)
    pulse = {name: np.where(np.isfinite(values[name]), pulse_pressure, np.nan) for name in ARTERIAL}
    masked = {name: np.zeros(len(t), dtype=bool) for name in ARTERIAL}
    if seed is not None:
        _add_noise(values, pulse, t, np.random.default_rng(seed))
    if artefacts:
        _add_artefacts(values, pulse, masked, t)
    _height, weight = tables.body()
    return View(
        start=0.0,
        values=values,
        pulse=pulse,
        masked=masked,
        arterial=ARTERIAL,
        believed=believe,
        source={name: "pump" if name in PUMP else "monitor" for name in values},
        clock_sd={"monitor": 0.0, "pump": 0.5},
        interval={name: 10.0 for name in values if "nasopharyngeal" in name or "bladder" in name},
        facts=Facts(weight, 2.4 * trend.body_surface_area(), 36.5, "axillary", "right"),
    )


def _add_noise(values: dict, pulse: dict, t: np.ndarray, rng: np.random.Generator) -> None:
    swing = np.where(np.nan_to_num(values["pump_flow"]) < 0.2, 1.5 * np.sin(2 * np.pi * t / 5.0), 0.0)
    swing[(t > minutes("131:00")) & (t < minutes("195:00"))] = 0.0
    for name in PRESSURES:
        values[name] = values[name] + rng.normal(0, 0.7, len(t)) + swing
    for name in pulse:
        pulse[name] = np.abs(pulse[name] + rng.normal(0, 0.7, len(t)))
    values["pump_flow"] = values["pump_flow"] + rng.normal(0, 0.02, len(t))
    values["reservoir_volume"] = values["reservoir_volume"] + rng.normal(0, 15, len(t))
    for name in values:
        if name.endswith("temperature"):
            step = 10 if name.startswith(("naso", "bladder")) else 1
            values[name] = np.round(values[name][(np.arange(len(t)) // step) * step], 1)


def _add_artefacts(values: dict, pulse: dict, masked: dict, t: np.ndarray) -> None:
    names = {"LRAD": "left_radial", "RRAD": "right_radial", "FEM": "femoral"}
    for row in tables.truth():
        if row.code in ("A1", "A2"):
            for column in row.channels:
                inside = (t >= row.start_s - 1) & (t < row.end_s + 1)
                masked[names[column]] |= inside
        if row.label == "recording gap":
            for name in PUMP:
                values[name] = np.where((t >= row.start_s) & (t < row.end_s), np.nan, values[name])
        if row.code == "A5":  # drifts to 38 with a time constant of 25 s, without ripple
            inside = (t >= row.start_s) & (t < row.end_s)
            away = 1 - np.exp(-(t - row.start_s) / 25.0)
            values["femoral"] = np.where(
                inside, values["femoral"] + away * (38 - values["femoral"]), values["femoral"]
            )
            pulse["femoral"] = np.where(inside, 0.0, pulse["femoral"])
        if row.code == "A7":
            for name in (*ARTERIAL, "cvp", "pa"):
                values[name] = values[name] + 15.0 * ((t >= row.start_s) & (t < row.end_s))
    for name in ARTERIAL:
        values[name] = np.where(masked[name], np.nan, values[name])


def trend_view(length_s: int, channels: dict[str, list[tuple[float, float]]], *, pulse: dict | None = None,
               believe: str = "", arterial: tuple[str, ...] = (), **more: object) -> View:  # fmt: skip
    """A view from keyframes in seconds, straight lines between them."""
    t = np.arange(length_s, dtype=np.float64)

    def line(points: list[tuple[float, float]]) -> np.ndarray:
        times, levels = zip(*points, strict=True)
        return np.interp(t, times, levels)

    return View(
        start=0.0,
        values={name: line(points) for name, points in channels.items()},
        pulse={name: line(points) for name, points in (pulse or {}).items()},
        arterial=arterial,
        believed=believe,
        **more,  # type: ignore[arg-type]
    )


def letting_go() -> View:
    """Chest drains blocked on the second day, chest opened, then fibrillation: 14 min without a pump.

    0:00 pressure 59, pulse 22, venous 21; 5:10 chest opened, pressure 56 to 96 and venous 23 to 9 in 40 s,
    pulse to 52; 5:50 to 6:10 a flush on top; 7:30 pressure 96 to 36 in 15 s, venous 9 to 16, no beats;
    8:40 shock, 36 to 78 by 9:31.
    """
    view = trend_view(
        840,
        {
            "left_radial": [
                (0, 59), (180, 56), (310, 56), (350, 96), (450, 96), (465, 36), (520, 36), (571, 78), (840, 78),
            ],
            "cvp": [(0, 21), (180, 23), (310, 23), (350, 9), (450, 9), (465, 16), (520, 16), (571, 9)],
        },
        pulse={"left_radial": [(0, 22), (310, 22), (350, 52), (450, 52), (453, 0), (520, 0), (530, 40), (840, 45)]},
        believe="left_radial",
        arterial=("left_radial",),
    )  # fmt: skip
    flush = np.zeros(840, dtype=bool)
    flush[350:370] = True
    values = {**view.values, "left_radial": np.where(flush, np.nan, view.values["left_radial"])}
    return replace(view, values=values, masked={"left_radial": flush})


def the_pole() -> View:
    """Off bypass, protamine at 2:00; 3:10 to 4:20 every line 14 lower; 5:30 a real fall, recovered 9:30."""
    pole = [(0, 0), (190, 0), (193, -14), (260, -14), (263, 0)]

    def with_pole(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
        times = sorted({time for time, _ in (*points, *pole)})
        return [
            (
                time,
                float(
                    np.interp(time, *zip(*points, strict=True)) + np.interp(time, *zip(*pole, strict=True))
                ),
            )
            for time in times
        ]

    return trend_view(
        600,
        {
            "femoral": with_pole([(0, 76), (330, 75), (390, 48), (420, 50), (570, 74), (600, 74)]),
            "left_radial": with_pole([(0, 73), (330, 72), (390, 45), (420, 47), (570, 71), (600, 71)]),
            "cvp": with_pole([(0, 9), (330, 9), (390, 15), (570, 9)]),
            "pa": with_pole([(0, 22), (330, 22), (420, 38), (570, 23)]),
        },
        pulse={"femoral": [(0, 50), (600, 50)], "left_radial": [(0, 50), (600, 50)]},
        believe="femoral",
        arterial=("femoral", "left_radial"),
    )

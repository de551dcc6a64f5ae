"""A whole invented operation as a case on disk, for tests and measurements: three sources, one clock put right."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import numpy as np
from afterclamp.io.case import Case
from afterclamp.io.recording import Note, RecordedChannel, Segment
from afterclamp.sample_traces.sources import PRESSURE_STEP_MMHG
from afterclamp.sample_traces.trend import FloatArray
from afterclamp.sample_traces.whole_cases import OXIMETER_EVERY_S, TEMPERATURE_EVERY_S, WholeCase
from afterclamp.sample_traces.whole_course import BASELINE
from recordings import START, case_of, even, recording

CLOCK_SD_S = 0.5  # what somebody who set the pump's clock by hand would state
STEPS = {"pump flow": 0.01, "SvO2": 1.0, "Hb": 0.1, "line pressure": 1.0, "reservoir": 10.0}
UNITS = {
    "pump flow": "L/min", "line pressure": "mmHg", "outlet temp": "°C", "venous temp": "°C", "SvO2": "%",
    "Hb": "g/dL", "reservoir": "mL", "femoral mean": "mmHg",
}  # fmt: skip


def whole_case_on_disk(folder: Path, made: WholeCase, clock_off_s: float | None = 0.0) -> Case:
    """The case, opened.

    Parameters
    ----------
    folder : Path
        Where to; must not be there.
    made : WholeCase
    clock_off_s : float or None
        By how much the pump's clock was set wrongly; None: nobody has set it.
    """
    waves = [
        _even(label, wave, made.rate_hz, PRESSURE_STEP_MMHG, "mmHg") for label, wave in made.waves.items()
    ]
    temperatures = [
        _even(label, values, 1 / TEMPERATURE_EVERY_S, 0.1, "°C")
        for label, values in made.temperatures.items()
    ]
    notes = [Note(at, at, text, 0.0) for at, text in made.notes]
    monitor = recording("monitor", [*waves, *temperatures], notes=notes)
    pump = recording(
        "pump",
        [
            _even(label, values, 1.0, STEPS.get(label, 0.1), UNITS[label])
            for label, values in made.pump.items()
        ],
        first_stamp=START + timedelta(seconds=made.pump_ahead_s),
    )
    oximeter = recording(
        "oximeter",
        [_even(label, values, 1 / OXIMETER_EVERY_S, 1.0, "%") for label, values in made.oximeter.items()],
    )
    folder.mkdir(parents=True)
    case_of(folder / "case", monitor, pump, oximeter).close()
    (folder / "case" / "traces" / "case-sheet.toml").write_text(_sheet(made), "utf-8")
    case = Case.open(folder / "case")
    case.log.append("maker", "reference", {"source": "monitor"})
    known = [("oximeter", 0.0)]
    if clock_off_s is not None:
        known.append(("pump", made.pump_ahead_s + clock_off_s))
    for source, offset in known:
        piece = {"offset_s": offset, "sd_s": CLOCK_SD_S}
        case.log.append("maker", "clock", {"source": source, "pieces": [piece], "method": "by hand"})
    case.refresh()
    return case


def _even(label: str, values: FloatArray, rate_hz: float, step: float, unit: str) -> RecordedChannel:
    there = np.isfinite(values)
    codes = np.where(there, np.rint(np.nan_to_num(values) / step), 0).astype(np.int32)
    return even(label, codes, [Segment(0.0, 0, codes.size, rate_hz, step)], valid=there, unit=unit)


def _time(seconds: float) -> str:
    return f"{int(seconds // 60)}:{int(seconds % 60):02d}"


def _sheet(made: WholeCase) -> str:
    plan = made.plan
    inflow = 'site = "axillary"\nside = "right"' if plan.right_inflow else 'site = "aortic"'
    return "\n".join(
        [
            "[patient]", f"height_cm = {plan.height_cm:g}", f"weight_kg = {plan.weight_kg:g}",
            "[inflow]", inflow, "[plan]", f"flow_index = {plan.flow_index:.3f}", "rewarming_target_c = 36.0",
            "[chest]", f'opened = "{_time(plan.chest[0])}"', f'closed = "{_time(plan.chest[1])}"',
            "[ventilation]", "tidal_volume_ml_per_kg = 8",
            "[oxygen]", "arterial_saturation = 1.0", "arterial_oxygen_mmhg = 220",
            "[oximetry]", f'baseline_start = "{_time(BASELINE[0])}"', f'baseline_end = "{_time(BASELINE[1])}"',
        ]
    ) + "\n"  # fmt: skip

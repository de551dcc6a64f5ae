"""The file formats of the five sources, and the two files that a person adds. All return whole files."""

from __future__ import annotations

import contextlib
import csv
import datetime as dt
import io
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from . import sources, tables, trend, waves
from .sources import Monitor, Table

RECORD_S = 10  # a data record of the EDF+ file: one sample of the temperatures


def monitor_edf(monitor: Monitor, start_s: int = 0, end_s: int = tables.LENGTH_S) -> bytes:
    """EDF+ with pressures at 100 Hz, temperatures every 10 s and the text lines as annotations.

    EDF has no code for "not recorded". While nothing is connected a channel therefore stands on its
    lowest code, which is its physical minimum (−600 mmHg, 0 °C), and an annotation
    ``not connected: LRAD`` or ``withdrawn: PA`` with a duration says so. The start date is left out,
    as EDF+ does for anonymous recordings: only the time of day counts.

    Parameters
    ----------
    monitor : Monitor
        What the monitor recorded.
    start_s, end_s : int
        Piece to write, whole data records; the file's clock starts accordingly.
    """
    from edfio import Edf, EdfAnnotation, EdfSignal, Recording

    def piece(codes: np.ndarray, rate_hz: float) -> np.ndarray:
        return np.ascontiguousarray(codes[round(start_s * rate_hz) : round(end_s * rate_hz)])

    signals = [
        EdfSignal.from_digital(
            piece(codes, waves.RATE_HZ),
            waves.RATE_HZ,
            label=name,
            transducer_type="pressure transducer",
            physical_dimension="mmHg",
            physical_range=sources.PRESSURE_RANGE_MMHG,
            digital_range=sources.PRESSURE_CODES,
        )
        for name, codes in monitor.pressures.items()
    ]
    signals += [
        EdfSignal.from_digital(
            piece(codes, 1 / sources.TEMPERATURE_EVERY_S),
            1 / sources.TEMPERATURE_EVERY_S,
            label=name,
            transducer_type="thermistor",
            physical_dimension="degC",
            physical_range=sources.TEMPERATURE_RANGE_C,
            digital_range=sources.TEMPERATURE_CODES,
        )
        for name, codes in monitor.temperatures.items()
    ]
    annotations = [
        EdfAnnotation(text.start_s - start_s, text.duration_s, text.text)
        for text in monitor.texts
        if start_s <= text.start_s < end_s
    ]
    start = (dt.datetime(2000, 1, 1) + dt.timedelta(seconds=tables.CLOCK_AT_ZERO_S + start_s)).time()
    edf = Edf(
        signals,
        recording=Recording(equipment_code="invented"),
        starttime=start,
        data_record_duration=RECORD_S,
        annotations=annotations,
    )
    out = io.BytesIO()
    edf.write(out)
    return out.getvalue()


def clock(second_of_day: int) -> str:
    """``HH:MM:SS``."""
    return f"{second_of_day // 3600:02d}:{second_of_day // 60 % 60:02d}:{second_of_day % 60:02d}"


def _cells(column: np.ndarray, decimals: int) -> list[str]:
    """Numbers as a recorder prints them; blank where there is none, and never a minus zero."""
    rounded = np.round(column, decimals) + 0.0
    return ["" if value != value else f"{value:.{decimals}f}" for value in rounded.tolist()]


PUMP_DECIMALS = {
    "pump flow (L/min)": 2,
    "line pressure (mmHg)": 0,
    "outlet temp (degC)": 1,
    "venous temp (degC)": 1,
    "SvO2 (%)": 1,
    "Hb (g/dL)": 2,
    "reservoir (mL)": 0,
    "femoral mean (mmHg)": 1,
}


def between(table: Table, start_s: float, end_s: float) -> Table:
    """The rows of a stretch of reference time."""
    there = (table.true_s >= start_s) & (table.true_s < end_s)
    columns = {key: column[there] for key, column in table.columns.items()}
    return Table(table.stamp_s[there], table.true_s[there], columns)


def pump_csv(table: Table) -> bytes:
    """Comma-separated rows with units in the header, stamps without a date."""
    cells = [_cells(table.columns[key], decimals) for key, decimals in PUMP_DECIMALS.items()]
    stamps = [clock(second) for second in table.stamp_s.tolist()]
    lines = [",".join(("time", *PUMP_DECIMALS))]
    lines += map(",".join, zip(stamps, *cells, strict=True))
    return _text(lines)


def oximeter_txt(table: Table) -> bytes:
    """Semicolon-separated rows with decimal comma; whole per cent, printed with one decimal."""
    cells = [[cell.replace(".", ",") for cell in _cells(column, 1)] for column in table.columns.values()]
    stamps = [clock(second) for second in table.stamp_s.tolist()]
    lines = [";".join(("time", *table.columns))]
    lines += map(";".join, zip(stamps, *cells, strict=True))
    return _text(lines)


def log_csv() -> bytes:
    """The handwritten log, copied line by line: hour and minute as written, and the words."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("time", "text"))
    writer.writerows((entry.written, entry.text) for entry in tables.log_lines())
    return out.getvalue().encode()


def captions_vtt() -> bytes:
    """The spoken notes as WebVTT; a cue stays for a second and 0.4 s a word."""
    lines = ["WEBVTT", "", "NOTE Invented narration of an invented case.", ""]
    for number, caption in enumerate(tables.captions(), start=1):
        end_s = caption.audio_s + 1 + 0.4 * len(caption.text.split())
        lines += [str(number), f"{_vtt(caption.audio_s)} --> {_vtt(end_s)}", caption.text, ""]
    return _text(lines[:-1])


def _vtt(seconds: float) -> str:
    milliseconds = round(seconds * 1000)
    return f"{clock(milliseconds // 1000)}.{milliseconds % 1000:03d}"


def case_sheet_toml() -> bytes:
    """What no recorder knows."""
    height_cm, weight_kg = tables.body()
    return _text(
        [
            "# Invented case. Times are minutes:seconds from the first sample of the monitor.",
            "[patient]",
            f"height_cm = {height_cm:g}",
            f"weight_kg = {weight_kg:g}",
            'sex = "female"',
            'age_band = "50-59"',
            "",
            "[inflow]",
            'site = "axillary"',
            'side = "right"',
            "",
            "[plan]",
            "flow_index = 2.4",
            "rewarming_target_c = 36.5",
            "",
            "[chest]",
            'opened = "53:00"',
            'closed = "340:00"',
            "",
            "[ventilation]",
            "tidal_volume_ml_per_kg = 8",
            "",
            "[oxygen]",
            f"arterial_saturation = {trend.ARTERIAL_SATURATION:.1f}",
            f"arterial_oxygen_mmhg = {trend.ARTERIAL_OXYGEN_MMHG:g}",
            "",
            "[oximetry]",
            'baseline_start = "2:00"',
            'baseline_end = "4:00"',
        ]
    )


def answers_toml() -> bytes:
    """What a person would answer when this case is brought in: whose clock counts, how the others stood.

    ``offset_s`` is the source's stamp less the reference time at reference 0 (positive: the source is
    ahead), ``drift_ppm`` is positive where the source runs fast, ``run`` counts how often its stamps
    have gone back.
    """
    lines = ["# How the clocks of the invented case stood. Offset: the source's stamp less the time of the"]
    lines += ["# monitor, at the monitor's first sample; drift in ppm, positive where the source runs fast."]
    lines += ["", "[reference]", 'source = "monitor"']
    for name, pieces in sources.true_clock_maps().items():
        shown = []
        for piece in pieces:
            facts = [f"run = {piece.run}"] if len(pieces) > 1 else []
            facts.append(f"offset_s = {piece.offset_s}")
            if piece.drift_ppm:
                facts.append(f"drift_ppm = {piece.drift_ppm}")
            facts.append(f"sd_s = {piece.sd_s}")
            shown.append("{" + ", ".join(facts) + "}")
        lines += ["", f"[clocks.{name}]", "pieces = [", *(f"    {piece}," for piece in shown), "]"]
    return _text(lines)


def _text(lines: Iterable[str]) -> bytes:
    return ("\n".join(lines) + "\n").encode()


def put(path: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    from afterclamp.io.errors import CannotWrite

    part = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(content)
        part.replace(path)
    except OSError as reason:
        with contextlib.suppress(OSError):  # the same place that refused the file
            part.unlink()
        raise CannotWrite(
            f"the sample file could not be written ({reason.strerror or reason})",
            path=path,
            todo="Choose a folder that you may write to, with 60 MB free",
        ) from reason

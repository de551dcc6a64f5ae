"""The vignettes as files: an EDF+ recording with its case sheet in a folder, and the truth beside the folder.

The truth lies outside, so that a folder can be brought in whole, or given to a class.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from . import planting, sources, write
from .courses import at, record
from .trend import FloatArray
from .vignettes import VIGNETTES, Slow, Vignette

SEED = 1
RECORD_S = 5
STARTS_AT = dt.time(8, 0, 0)
TRUTH_COLUMNS = ("code", "label", "start_s", "end_s", "channels", "onset_tol_s", "note")


def pressures(vignette: Vignette, seed: int = SEED) -> dict[str, FloatArray]:
    """Recorded pressures in mmHg by label, artefacts in."""
    number = VIGNETTES.index(vignette)
    found = record(vignette.course, 100 * seed + number)
    rng = np.random.default_rng([seed, 40 + number])
    for laid in vignette.laid:
        for label in laid.channels:
            line = vignette.course.pressures[label].line(vignette.course.rate_hz)
            found[label], _ = planting.plant(
                laid.shape, found[label], line, laid.start_s, laid.length_s, rng, laid.depth
            )
    return found


def slow_values(slow: Slow, seconds: int, rng: np.random.Generator) -> FloatArray:
    """What the recorder wrote of a slow channel, in its unit."""
    t = np.arange(0, seconds, slow.every_s, dtype=float)
    values = np.asarray(at(slow.points, t) + slow.sd * rng.standard_normal(t.size))
    return np.clip(np.rint(values / slow.step) * slow.step, slow.lowest, slow.highest)


def edf(vignette: Vignette, seed: int = SEED) -> bytes:
    """The recording of a vignette as one EDF+ file without a date, its notes as annotations."""
    from edfio import Edf, EdfAnnotation, EdfSignal, Recording

    low = sources.PRESSURE_RANGE_MMHG[0]
    signals = []
    for label, wave in pressures(vignette, seed).items():
        codes = np.rint((wave - low) / sources.PRESSURE_STEP_MMHG) + sources.PRESSURE_CODES[0]
        signals.append(
            EdfSignal.from_digital(
                _codes(codes, *sources.PRESSURE_CODES),
                vignette.course.rate_hz,
                label=label,
                transducer_type="pressure transducer",
                physical_dimension="mmHg",
                physical_range=sources.PRESSURE_RANGE_MMHG,
                digital_range=sources.PRESSURE_CODES,
            )
        )
    rng = np.random.default_rng([seed, 60 + VIGNETTES.index(vignette)])
    for label, slow in vignette.slow.items():
        digital = (round(slow.lowest / slow.step), round(slow.highest / slow.step))
        values = slow_values(slow, vignette.course.seconds, rng)
        signals.append(
            EdfSignal.from_digital(
                _codes(np.rint(values / slow.step), *digital),
                1 / slow.every_s,
                label=label,
                physical_dimension=slow.unit,
                physical_range=(slow.lowest, slow.highest),
                digital_range=digital,
            )
        )
    out = io.BytesIO()
    Edf(
        signals,
        recording=Recording(equipment_code="invented"),
        starttime=STARTS_AT,
        data_record_duration=RECORD_S,
        annotations=[EdfAnnotation(second, None, text) for second, text in vignette.notes],
    ).write(out)
    return out.getvalue()


def _codes(values: FloatArray, lowest: int, highest: int) -> NDArray[np.int16]:
    return np.clip(values, lowest, highest).astype(np.int16)


def sheet(vignette: Vignette) -> bytes:
    """The case sheet: what no recorder knows."""
    lines = [f"# Invented vignette: {vignette.title}. {vignette.lesson}", "[patient]", *vignette.sheet]
    return ("\n".join(lines) + "\n").encode()


def truth_csv(vignette: Vignette) -> bytes:
    """What is really in it: one row an artefact or event, seconds from the first sample."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(TRUTH_COLUMNS)
    for row in vignette.truth:
        span = (f"{row.start_s:g}", f"{row.end_s:g}")
        writer.writerow(
            (row.code, row.label, *span, " ".join(row.channels), f"{row.onset_tolerance_s:g}", row.note)
        )
    return out.getvalue().encode()


def vignette_files(seed: int = SEED) -> dict[str, bytes]:
    """Path under the folder, and content, of every file of the three."""
    files = {}
    for vignette in VIGNETTES:
        files[f"{vignette.name}/{vignette.name}.edf"] = edf(vignette, seed)
        files[f"{vignette.name}/case-sheet.toml"] = sheet(vignette)
        files[f"{vignette.name}.truth.csv"] = truth_csv(vignette)
    return files


def build_vignettes(folder: Path | str, *, seed: int = SEED) -> list[Path]:
    """Write the three vignettes, each in a folder of its own that can be brought in as it is.

    Parameters
    ----------
    folder : Path or str
        Where to; made if it is not there. Files of the same names are replaced.
    seed : int
        The same seed gives the same bytes.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    CannotWrite
        No permission or no space; no file is left half-written.
    """
    paths = []
    for name, content in vignette_files(seed).items():
        path = Path(folder) / name
        write.put(path, content)
        paths.append(path)
    return paths

"""The whole demo case as files, and the short excerpt that is kept beside the tables."""

from __future__ import annotations

from pathlib import Path

from . import sources, tables, write
from .sources import Progress, Recorded

SEED = 1

# Excerpts: monitor with both flushes and the cuff; pump with clock step and cable gap; oximeter alike.
EXCERPT_MONITOR_S = (39 * 60, 44 * 60)
EXCERPT_TABLES_S = (38 * 60.0, 176 * 60.0)


def build_demo(folder: Path | str, progress: Progress | None = None, *, seed: int = SEED) -> list[Path]:
    """Write the five sources of the invented case, its case sheet and the answers about its clocks.

    Parameters
    ----------
    folder : Path or str
        Where to; made if it is not there. Files of the same names are replaced.
    progress : callable, optional
        Called with a part of 1 and what is being made.
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
    recorded = sources.record(
        seed, None if progress is None else lambda part, what: progress(0.8 * part, what)
    )
    if progress is not None:
        progress(0.8, "files")
    paths = []
    for name, content in demo_files(recorded).items():
        write.put(Path(folder) / name, content)
        paths.append(Path(folder) / name)
    if progress is not None:
        progress(1.0, "done")
    return paths


def demo_files(recorded: Recorded) -> dict[str, bytes]:
    """Name and content of every file of the demo case."""
    return {
        "monitor.edf": write.monitor_edf(recorded.monitor),
        "pump.csv": write.pump_csv(recorded.pump),
        "oximeter.txt": write.oximeter_txt(recorded.oximeter),
        **_written_by_people(),
        "answers.toml": write.answers_toml(),
    }


def excerpt_files(recorded: Recorded) -> dict[str, bytes]:
    """Name and content of every file of the excerpt."""
    return {
        "monitor.edf": write.monitor_edf(recorded.monitor, *EXCERPT_MONITOR_S),
        "pump.csv": write.pump_csv(write.between(recorded.pump, *EXCERPT_TABLES_S)),
        "oximeter.txt": write.oximeter_txt(write.between(recorded.oximeter, *EXCERPT_TABLES_S)),
        **_written_by_people(),
    }


def _written_by_people() -> dict[str, bytes]:
    return {
        "log.csv": write.log_csv(),
        "captions.vtt": write.captions_vtt(),
        "case-sheet.toml": write.case_sheet_toml(),
    }


def write_excerpt(folder: Path | str = tables.FOLDER / "excerpt") -> list[Path]:
    """Make the excerpt again: a short piece of each source, for the readers' tests.

    The monitor from 39:00 to 44:00 (two flushes, the cuff), pump and oximeter from 38:00 to 176:00
    (going on, the clock that was set back, the cable that was out), log, captions and case sheet whole.
    """
    paths = []
    for name, content in excerpt_files(sources.record(SEED)).items():
        write.put(Path(folder) / name, content)
        paths.append(Path(folder) / name)
    return paths

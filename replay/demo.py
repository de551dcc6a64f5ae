"""The invented demonstration case: its exports, and the case brought in from them."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from afterclamp.io import bring_in, open_case

CASE = "demo-case"

Progress = Callable[[float, str], None]


def make_demo(
    into: Path, *, progress: Progress | None = None, cancel: Callable[[], bool] | None = None
) -> Path:
    """Build the demo's exports and bring them in with its own answers; a finished demo is used again.

    Parameters
    ----------
    into : Path
        Folder that gets ``exports/`` (what five devices and people would hand over) and ``demo-case/``.
    progress : callable, optional
        ``progress(share, text)``, share from 0 to 1, for each of the two stages.
    cancel : callable, optional
        Asked now and then whether to stop.

    Returns
    -------
    Path
        The case folder.

    Raises
    ------
    CaseError
        When the folder cannot be written, or holds something else.
    """
    case = into / CASE
    if case.exists():
        open_case(case).close()  # says so when it is not a whole case
        return case
    from afterclamp.sample_traces.build import build_demo

    exports = into / "exports"
    unfinished = into / "exports.unfinished"
    if not exports.exists():
        if unfinished.exists():
            shutil.rmtree(unfinished)
        build_demo(unfinished, progress=progress)
        unfinished.rename(exports)
    answers = exports / "answers.toml"
    bring_in([exports], case, answers=answers, progress=progress, cancelled=cancel).close()
    return case

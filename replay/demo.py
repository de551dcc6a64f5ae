"""The invented demonstration case: its exports, and the case brought in from them."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from afterclamp.io import bring_in, open_case
from afterclamp.io.whole import written_whole

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
        When the folder cannot be written, or holds something else; nothing is left then.
    """
    case = into / CASE
    if case.exists():
        open_case(case).close()  # says so when it is not a whole case
        return case
    from afterclamp.sample_traces.build import build_demo

    exports = into / "exports"
    made = [folder for folder in (into, exports) if not folder.exists()]
    try:
        if exports in made:
            with written_whole(exports, parents=True, what="the demo could not be written") as unfinished:
                build_demo(unfinished, progress=progress)
        answers = exports / "answers.toml"
        bring_in([exports], case, answers=answers, progress=progress, cancelled=cancel).close()
    except BaseException:
        for folder in made:  # what was there before stays
            shutil.rmtree(folder, ignore_errors=True)
        raise
    return case

"""Bring in: files and folders to a case on disk, all of it or nothing.

Every file is read to the end before the case appears, questions that need a person are asked before a
byte is written, and a bring-in that is stopped or cannot go on leaves no trace. What is read and asked is in
`afterclamp.io.plan`; here it is written.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any

from . import casefile, mappings, scrub
from .case import SHEET, Case
from .errors import CannotWrite, FileUnreadable, QuestionsOpen
from .gathering import READING, formats
from .identity import Found
from .log import Log
from .origins import Origins, file_sha256, load_origins, save_origins
from .plan import Plan, look
from .watched import Progress, Watch
from .whole import reason, written_whole

__all__ = ["AUTHOR", "Progress", "bring_in", "formats"]

AUTHOR = "bring-in"
"""Author of the edits that a bring-in makes."""

_REFUSED = "the case could not be written"
_TODO = "Make room or get permission to write there, then bring in again"


def bring_in(
    paths: Sequence[Path | str] | Path | str,
    into: Path | str,
    *,
    columns: Sequence[Path | str] | Path | str | None = None,
    answers: Path | str | Mapping[str, Any] | None = None,
    accept_proposals: bool = False,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
    keep_identity: bool = False,
    learned_in: Path | str | None = None,
    leave_out: Sequence[Path | str] = (),
    listed: Callable[[Sequence[Found]], None] | None = None,
) -> Case:
    """Bring exports into a new or an existing case.

    Parameters
    ----------
    paths : path or sequence of paths
        Files, and folders whose files are taken.
    into : path
        The case folder; made when it does not exist.
    columns : path or sequence of paths, optional
        Column maps and path maps for files that do not explain themselves; each file takes the first that is
        meant for it.
    answers : path or mapping, optional
        Answers to questions, see `afterclamp.io.answers`.
    accept_proposals : bool
        Answer every remaining question with what is proposed.
    progress : callable, optional
        ``progress(share, text)``, share from 0 to 1; at least every 0.2 s, from the caller's own thread.
    cancelled : callable, optional
        Asked often; when it says yes the bring-in ends with `Cancelled`.
    keep_identity : bool
        Keep names, numbers and absolute dates on purpose; otherwise they are taken out, see
        `afterclamp.io.identity`.
    learned_in : path, optional
        Folder of what was decided for earlier cases, see `afterclamp.io.mappings`: it is offered in questions,
        and what is decided now is kept there.
    leave_out : sequence of path
        Files among `paths` that are not read, such as one that was refused before; the case says so.
    listed : callable, optional
        Given what was found of somebody's identity, once the case is written: it is kept nowhere else.

    Returns
    -------
    Case
        Opened.

    Raises
    ------
    FileUnreadable, CannotWrite, QuestionsOpen, Cancelled
        Nothing was written then.
    """
    into = Path(into)
    given = [Path(path) for path in ([paths] if isinstance(paths, (str, Path)) else paths)]
    maps = [] if columns is None else [columns] if isinstance(columns, (str, Path)) else columns
    folder = Path(learned_in) if learned_in is not None else None
    plan = look(
        given,
        into,
        columns=[Path(path) for path in maps],
        answers=answers,
        accept_proposals=accept_proposals,
        keep_identity=keep_identity,
        learned_in=folder,
        leave_out=[Path(path) for path in leave_out],
        progress=progress,
        cancelled=cancelled,
    )
    if plan.questions:
        raise QuestionsOpen(plan.questions, path=given[0] if len(given) == 1 else None)
    write(plan, into, keep_identity=keep_identity, progress=progress, cancelled=cancelled)
    remarks = list(plan.remarks)
    if folder is not None:
        try:
            _learn(plan, into, folder)
        except (CannotWrite, FileUnreadable) as cause:  # the case itself is whole
            remarks.append(cause.sentence)
    if listed is not None:
        comments = scrub.find_in_comments(plan.sheet.read_bytes()) if plan.sheet is not None else ()
        listed((*plan.found, *comments))
    if progress is not None:
        progress(1.0, " ".join(remarks) or "done")
    return Case.open(into)


def write(
    plan: Plan,
    into: Path,
    *,
    keep_identity: bool = False,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> None:
    """Write a plan without open questions into a new or an existing case, whole or not at all.

    Raises
    ------
    CannotWrite, Cancelled
        Nothing was written then.
    """
    watch = Watch(progress, cancelled, into)
    existing = (into / "traces").is_dir()
    if existing:
        _refuse_twice(plan, into)
    elif into.exists() and (not into.is_dir() or any(into.iterdir())):
        raise CannotWrite(
            "is there already and is not a case", path=into, todo="Give a new folder, or an existing case"
        )
    if existing:
        _add(plan, into, keep_identity, watch)
    else:
        with written_whole(into, parents=True, what=_REFUSED, todo=_TODO) as target:
            _write_edits(plan, target, _write_traces(plan, target, [], keep_identity, watch))
    before = load_origins(into)
    save_origins(into, Origins({**before.files, **plan.origins}, plan.day_zero or before.day_zero))


def _add(plan: Plan, into: Path, keep_identity: bool, watch: Watch) -> None:
    """Write into a case that is there already; whatever goes wrong, it is as it was."""
    written: list[Path] = []
    log = into / "log" / f"{AUTHOR}.jsonl"
    log_size = log.stat().st_size if log.exists() else None
    try:
        _write_edits(plan, into, _write_traces(plan, into, written, keep_identity, watch))
    except BaseException as cause:
        for path in written:
            path.unlink(missing_ok=True)
        _shorten(log, log_size)
        if isinstance(cause, OSError):
            raise CannotWrite(f"{_REFUSED} ({reason(cause)})", path=into, todo=_TODO) from cause
        raise


def _refuse_twice(plan: Plan, into: Path) -> None:
    with Case.open(into) as case:
        have = {sha: source.name for source in case.all_sources for _, sha in source.files}
    for recording in plan.recordings:
        for name, sha in recording.files:
            if sha in have:
                raise CannotWrite(
                    f"{name} is in this case already, as source {have[sha]}", path=into, todo="Leave it out"
                )
    if plan.sheet is not None and (into / "traces" / SHEET).exists():
        raise CannotWrite("the case has a case sheet already", path=into, todo="Leave the second one out")


def _write_traces(
    plan: Plan, target: Path, written: list[Path], keep_identity: bool, watch: Watch
) -> dict[str, str]:
    """Write every source; gives the SHA-256 of each trace file."""
    traces = target / "traces"
    traces.mkdir(parents=True, exist_ok=True)
    sizes = [sum(channel.count for channel in r.channels) + 1 for r in plan.recordings]
    done, total = 0, sum(sizes)
    hashes = {}
    for recording, size in zip(plan.recordings, sizes, strict=True):
        path = traces / f"{recording.name}.h5"
        start, whole = READING + (1 - READING) * done / (total or 1), (1 - READING) * size / (total or 1)
        watch.at(start, f"bringing in {recording.name}")
        channels = plan.stored[recording.name]
        watch.run(
            partial(
                casefile.write,
                recording,
                path,
                identities={key: identity for key, (identity, _) in channels.items()},
                units={key: unit for key, (_, unit) in channels.items()},
                progress=partial(_note, watch, start, whole),
                cancelled=watch.stopped,
            )
        )
        written.append(path)
        hashes[recording.name] = watch.run(partial(file_sha256, path, watch.stopped))
        done += size
    if plan.sheet is not None:
        sheet = traces / SHEET
        written.append(sheet)
        if keep_identity:
            shutil.copyfile(plan.sheet, sheet)
        else:
            sheet.write_bytes(scrub.clean_comments(plan.sheet.read_bytes()))
    return hashes


def _note(watch: Watch, start: float, whole: float, share: float) -> None:
    watch.note(start + whole * share)


def _write_edits(plan: Plan, target: Path, hashes: Mapping[str, str]) -> None:
    log = Log.open(target / "log")
    if plan.reference is not None and not log.standing("reference"):
        log.append(AUTHOR, "reference", {"source": plan.reference})
    for name, clock in plan.answers.clocks.items():
        log.append(AUTHOR, "clock", {"source": name, "pieces": clock.pieces, "method": "by hand"})
    for decision in plan.decisions:
        log.append(AUTHOR, "identity", decision)
    for name, sha in hashes.items():
        log.append(AUTHOR, "source", {"source": name, "trace_sha256": sha})


def _shorten(log: Path, size: int | None) -> None:
    """The log as it was before: an edit about a source that is not there would be nonsense."""
    with suppress(OSError):
        if size is None:
            log.unlink(missing_ok=True)
        elif log.stat().st_size > size:
            os.truncate(log, size)


def _learn(plan: Plan, into: Path, folder: Path) -> None:
    with Case.open(into) as case:
        mappings.remember(case, folder)
    for table, columns in plan.tables:
        mappings.remember_columns(table, columns, folder)

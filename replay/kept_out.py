"""What a bring-in would keep out of a case because it says who somebody is: listed for a person, kept nowhere."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime, timedelta
from itertools import groupby
from pathlib import Path

from afterclamp.io import scrub
from afterclamp.io.errors import Cancelled, several
from afterclamp.io.identity import Found, find_identifiers, words_of
from afterclamp.io.plan import look
from afterclamp.io.recording import Recording

Row = dict[str, str]
"""``file``, ``place``, ``kind``, ``text``, ``done``."""

KEPT_OUT, LEFT, KEPT = "kept out", "left, look at it", "kept, as chosen"
"""What is done with something that was found: sure, not sure, and all of it where it is kept on purpose."""

HEADER = "header"
"""Place of what stands in a file's header, as `scrub.find_in_header` has it."""


def rows(
    given: Sequence[Path],
    files: Iterable[Path],
    into: Path,
    *,
    keep_identity: bool = False,
    columns: Sequence[Path] = (),
    learned_in: Path | None = None,
    progress: Callable[[float, str], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> list[Row]:
    """What says who somebody is, file by file; nothing is written.

    Parameters
    ----------
    given : sequence of Path
        Files, and folders whose files are taken.
    files : iterable of Path
        All of these files, one by one.
    into : Path
        The case that they would go into.
    keep_identity : bool
        Whether it would be kept on purpose.
    columns, learned_in, progress, cancelled
        As of `afterclamp.io.bring.bring_in`.

    Returns
    -------
    list of dict
        The text itself is among it: for the screen only. A file's header that no reader takes over is kept out
        whatever was chosen.

    Raises
    ------
    CaseError
        What cannot be read.
    """
    # Asked to keep everything, the plan hands out recordings that still say what is looked for.
    plan = look(
        given,
        into,
        columns=columns,
        accept_proposals=True,
        keep_identity=True,
        learned_in=learned_in,
        progress=progress,
        cancelled=cancelled,
    )
    known = words_of(plan.found)
    found: list[Row] = []
    read: set[str] = set()
    for recording in plan.recordings:
        _ask(cancelled)
        file = recording.files[0][0] if recording.files else recording.name
        read |= {name for name, _ in recording.files}
        if recording.dated and recording.first_stamp is not None:
            found.append(_dated(file, recording, recording.first_stamp, plan.day_zero, keep_identity))
        some = scrub.scrub(recording, known=known)[1]
        found += [_row(file, one, KEPT if keep_identity else None) for one in some]
    for path in files:
        _ask(cancelled)
        if path == plan.sheet:
            some = scrub.find_in_comments(path.read_bytes())
            found += [_row(path.name, one, KEPT if keep_identity else None) for one in some]
        elif path.name in read:
            elsewhere = {row["text"] for row in found if row["file"] == path.name}
            found += [
                _row(path.name, one, None) for one in scrub.find_in_header(path) if one.text not in elsewhere
            ]
        else:  # the case would name it as left where it is
            some = tuple(find_identifiers(path.stem, where="file name", known=known))
            found += [
                _row(path.name, one, KEPT if keep_identity else None, place="file name") for one in some
            ]
    once = {tuple(row.values()): row for row in found}
    return sorted(once.values(), key=lambda row: row["file"])


def summary(found: Iterable[Found], *, keep_identity: bool = False) -> list[str]:
    """What was kept out and what was left for a person to look at: how many, of what kind and where."""
    kept: list[Found] = []
    out: list[Found] = []
    left: list[Found] = []
    some = list(found)
    # What stands above the rows of a text may be read as well: then it is told where it was read.
    elsewhere = {one.text for one in some if one.place != HEADER}
    for one in some:
        if one.place == HEADER and one.text in elsewhere:
            continue
        if keep_identity and one.place != HEADER:  # no reader takes these headers over, whatever was chosen
            kept.append(one)
        else:
            (out if one.sure else left).append(one)
    lines: list[str] = []
    for heading, ones in (
        ("kept out", out),
        ("left for a person to look at, it may say who somebody is", left),
        ("kept as chosen, it says or may say who somebody is", kept),
    ):
        counts = Counter((one.place, one.kind) for one in ones)
        if counts:
            lines.append(f"  {heading}:")
        for place, kinds in groupby(sorted(counts), key=lambda of: of[0]):
            told = ", ".join(_several_of(kind, counts[place, kind]) for _, kind in kinds)
            lines.append(f"    {place}: {told}")
    return lines


def _several_of(kind: str, many: int) -> str:
    if many > 1 and kind == "date of birth":
        return f"{many} dates of birth"
    return several(many, kind)


def _ask(cancelled: Callable[[], bool] | None) -> None:
    if cancelled is not None and cancelled():
        raise Cancelled("the look at the exports was stopped")


def _row(file: str, one: Found, done: str | None, place: str = "") -> Row:
    return {
        "file": file,
        "place": one.place or place,
        "kind": one.kind,
        "text": one.text,
        "done": done or (KEPT_OUT if one.sure else LEFT),
    }


def _dated(
    file: str, recording: Recording, stamp: datetime, day_zero: date | None, keep_identity: bool
) -> Row:
    """The day of the recording itself, which the case that it goes into may count from another."""
    day = stamp.date()
    neutral = scrub.DATE_KEY in recording.about
    if neutral and day_zero is not None:
        day = day_zero + timedelta(days=(day - scrub.NEUTRAL_DAY).days)
    return {
        "file": file,
        "place": "clock of the recording",
        "kind": "date",
        "text": day.isoformat(),
        "done": KEPT if keep_identity and not neutral else KEPT_OUT,
    }

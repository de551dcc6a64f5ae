"""Whether a case is still what was brought in: layout, samples, levels, log, sources; and what does not fit in it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from afterclamp.io.casefile import FORMAT_VERSION
from afterclamp.io.decisions import trace_hashes
from afterclamp.io.errors import CaseError, CaseFolderUnreadable, several
from afterclamp.io.levels import FACTORS, levels_of
from afterclamp.io.origins import file_sha256
from afterclamp.io.trace_file import TraceFile

if TYPE_CHECKING:
    from afterclamp.io.case import Case
    from afterclamp.io.trace_file import StoredChannel

_BLOCK = 64 * FACTORS[-1]


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that was looked at.

    Attributes
    ----------
    what : str
        What was looked at.
    ok : bool
        Whether it is as it was left.
    found : str
        What was found.
    todo : str
        What a person can do about it, where that is known.
    asks : bool
        Whether it is a question about the operation (`annotate.inconsistencies`), not about the files: the case
        is as it was left all the same.
    """

    what: str
    ok: bool
    found: str
    todo: str = ""
    asks: bool = False

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {"what": self.what, "ok": self.ok, "found": self.found, "todo": self.todo, "asks": self.asks}


def check_case(folder: Path) -> list[Check]:
    """Look at everything in a case folder that can be checked from within.

    A trace file that does not open is listed and the rest is still looked at, so that a person learns all
    of it at once.

    Raises
    ------
    CaseFolderUnreadable
        When the folder is no case at all.
    """
    from afterclamp.io.case import Case

    paths = sorted((folder / "traces").glob("*.h5"))
    if not paths:
        Case.open(folder)  # says what is the matter
    rows: list[Check] = []
    for path in paths:
        rows += _trace_rows(path)
    if not all(row.ok for row in rows):
        return rows
    with Case.open(folder) as case:
        rows += _hash_rows(case)
        rows += _log_rows(case)
        rows += _source_rows(case)
        rows += _original_rows(case)
        rows += _asking_rows(case)
    return rows


def _asking_rows(case: Case) -> list[Check]:
    """What cannot all be as it stands, of phases, of what was written and said, and of the traces."""
    from afterclamp.annotate.inconsistencies import CHECKS, inconsistencies_of
    from afterclamp.annotate.phases import phases
    from afterclamp.annotate.view import View

    view = View.of(case)
    found = phases(case, view)
    asked = inconsistencies_of(case, found, view)
    if not found:
        return [Check("phases and lines", True, "no phase could be told, so none was held against another")]
    if not asked:
        return [
            Check("phases and lines", True, f"none of {len(CHECKS)} checks found anything that cannot be")
        ]
    return [Check(CHECKS[one.number], True, one.sentence(), one.todo, asks=True) for one in asked]


def _trace_rows(path: Path) -> list[Check]:
    name = f"traces/{path.name}"
    try:
        file = TraceFile(path)
    except CaseFolderUnreadable as cause:
        place = f"{cause.place}: " if cause.place else ""
        return [Check(name, False, f"{place}{cause.what}", cause.todo)]
    try:
        version = int(file.file.attrs["format_version"])
        rows = [
            Check(
                name,
                True,
                f"format version {version} of {FORMAT_VERSION}, {several(len(file.channels), 'channel')}",
            )
        ]
        for channel in file.channels:
            wrong = _samples_against_levels(file, channel)
            found = wrong or f"{channel.count} samples readable and as their levels say"
            rows.append(Check(f"{name}, channel {channel.key}", not wrong, found))
        rows += [
            Check(f"{name}, file {given}", True, f"SHA-256 {sha} when it was read")
            for given, sha in file.files
        ]
        return rows
    finally:
        file.close()


def _samples_against_levels(file: TraceFile, channel: StoredChannel) -> str:
    """What is wrong with a channel's samples; empty when nothing is.

    Every stored block carries a checksum of its own, and the smallest and largest values of each bucket
    were taken when the samples were written: a change of either shows against the other.
    """
    group = file.file["channels"][channel.key]
    stored = [group["levels"][str(FACTORS[0])][part] for part in ("min", "max", "count")]
    at = start = 0
    try:
        for start, stop in _stretches(channel):
            codes = group["samples"][start:stop]
            valid = _valid(channel, start, stop)
            if codes.dtype.kind == "f":
                valid = valid & np.isfinite(codes)
            low, high, count = levels_of(codes, None if valid.all() else valid)[0]
            size = len(count)
            kept_low, kept_high, kept_count = (part[at : at + size] for part in stored)
            there = count > 0
            if not (
                np.array_equal(count, kept_count)
                and np.array_equal(low[there], kept_low[there])
                and np.array_equal(high[there], kept_high[there])
            ):
                return f"samples {start} to {stop} differ from what their levels say"
            at += size
    except (OSError, ValueError, RuntimeError):
        return f"samples cannot be read from sample {start} on: the file is damaged there"
    return "" if at == len(stored[2]) else "the levels hold more than the samples"


def _stretches(channel: StoredChannel) -> Iterator[tuple[int, int]]:
    """Pieces of at most `_BLOCK` samples that start where a bucket starts."""
    segments = [(segment.first, segment.count) for segment in channel.segments] or [(0, channel.count)]
    for first, count in segments:
        for offset in range(0, count, _BLOCK):
            yield first + offset, first + min(offset + _BLOCK, count)


def _valid(channel: StoredChannel, start: int, stop: int) -> np.ndarray[Any, np.dtype[np.bool_]]:
    there = np.zeros(stop - start, np.bool_)
    for a, b in channel.valid[(channel.valid[:, 1] > start) & (channel.valid[:, 0] < stop)]:
        there[max(a - start, 0) : max(b - start, 0)] = True
    return there


def _hash_rows(case: Case) -> list[Check]:
    """Each trace file against the SHA-256 that the bring-in wrote into the log."""
    known = trace_hashes(case.log.edits)
    rows = []
    for source in case.all_sources:
        name = f"traces/{source.name}.h5"
        if source.name not in known:
            rows.append(Check(name, True, "its SHA-256 was not kept when it was written"))
        elif file_sha256(case.folder / "traces" / f"{source.name}.h5") == known[source.name]:
            rows.append(Check(name, True, "the file is the one that was written at bring-in"))
        else:
            rows.append(Check(name, False, "the file was changed after it was brought in"))
    return rows


def _original_rows(case: Case) -> list[Check]:
    """The exports that the case was made of, where this machine knows where they lay."""
    said = {
        "as it was": "the original is as it was",
        "changed": "the original was changed since; the case holds it as it was read",
        "missing": "the original is not where it was any more; the case holds it as it was read",
        "not known here": "this machine does not know where the original lies",
    }
    return [
        Check(
            f"source {one.source}, file {one.name}",
            one.state != "changed",
            said[one.state] + (f" ({one.path})" if one.path is not None and one.state != "as it was" else ""),
        )
        for one in case.source_state()
    ]


def _log_rows(case: Case) -> list[Check]:
    authors = sorted({edit.author for edit in case.log.edits})
    rows = [Check("log", True, f"{several(len(case.log.edits), 'edit')} by {', '.join(authors) or 'nobody'}")]
    rows += [Check("log", False, what) for what in (*case.log.repairs, *case.refused)]
    rows += [
        Check(
            "log", False, f"{one.id} and {other.id} replace the same edit: somebody must settle which stands"
        )
        for one, other in case.log.conflicts
    ]
    return rows


def _source_rows(case: Case) -> list[Check]:
    """Sources that edits speak of and that are not there, what was set aside, and what lies far away."""
    have = {source.name for source in case.all_sources}
    rows = []
    for edit in case.log.standing():
        anchor = edit.payload.get("anchor")
        named = edit.payload.get("source") or (anchor.get("source") if isinstance(anchor, dict) else None)
        channel = edit.payload.get("channel")
        if named is None and isinstance(channel, str) and "/" in channel:
            named = channel.split("/", 1)[0]
        if isinstance(named, str) and named not in have:
            rows.append(
                Check("sources", False, f"edit {edit.id} ({edit.verb}) speaks of {named}, which is not there")
            )
    if not rows:
        rows.append(Check("sources", True, f"all {len(have)} that the log speaks of are there"))
    rows += [Check(f"source {name}", True, "was taken out; its file stays") for name in case.taken_out]
    for source in case.sources:
        rows += [
            Check(f"source {source.name}", True, f"set aside at bring-in: {what}")
            for what in source.set_aside
        ]
    # Kept, and nobody's damage: it is told since nothing of it is drawn or counted.
    rows += [Check("far away", True, what) for what in case.far_away]
    return rows


def refuse_if_wrong(rows: list[Check], folder: Path) -> None:
    """End with a sentence when something is not as it was left.

    Raises
    ------
    CaseError
        Naming how many checks did not hold.
    """
    wrong = [row for row in rows if not row.ok]
    if wrong:
        raise CaseError(
            f"{len(wrong)} of {len(rows)} checks did not hold, the first: {wrong[0].what}: {wrong[0].found}",
            path=folder,
            todo=wrong[0].todo or "Go back to the sources, or to a copy of the case, for what was changed",
        )

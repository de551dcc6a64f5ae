"""Where the exports of a case lay on this machine, so that a changed or missing one can be told.

``cache/sources.json`` of the case: it can be deleted at any time and goes nowhere with a hand-over. It names the
machine, the files by their SHA-256 with path, size and time of change, and the day on which the case began where
the case itself keeps only neutral dates. Without it nothing is known of the originals, and a source that is added
later is set on the nearest day.
"""

from __future__ import annotations

import hashlib
import json
import os
import platform
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, Final, Literal

from .errors import Cancelled

State = Literal["as it was", "changed", "missing", "not known here"]
_PIECE: Final = 1 << 20


@dataclass(frozen=True, slots=True)
class Origin:
    """One file as it was when it was brought in."""

    path: Path
    size: int
    changed_ns: int


@dataclass(frozen=True)
class Origins:
    """What this machine knows of where a case came from.

    Attributes
    ----------
    files : mapping of str to Origin
        By SHA-256.
    day_zero : date or None
        The day that the case's neutral first day stands for.
    """

    files: Mapping[str, Origin] = field(default_factory=dict)
    day_zero: date | None = None


@dataclass(frozen=True, slots=True)
class SourceFile:
    """An original export against what the case knows of it.

    Attributes
    ----------
    source, name : str
        The source, and the file's name as the case keeps it.
    sha256 : str
        When it was read.
    state : str
        ``"as it was"``, ``"changed"``, ``"missing"``, or ``"not known here"``: brought in on another machine.
    path : Path or None
        Where it lay.
    """

    source: str
    name: str
    sha256: str
    state: State
    path: Path | None


def origin_of(path: Path) -> Origin | None:
    """A file as it is now; None when it is not there."""
    try:
        told = path.stat()
    except OSError:
        return None
    return Origin(path.absolute(), told.st_size, told.st_mtime_ns)


def load_origins(case: Path) -> Origins:
    """What ``cache/sources.json`` says; nothing where it is absent, damaged or another machine's."""
    try:
        told = json.loads((case / "cache" / "sources.json").read_text("utf-8"))
        if told["machine"] != platform.node():
            return Origins()
        files = {
            str(sha): Origin(Path(row["path"]), int(row["size"]), int(row["changed_ns"]))
            for sha, row in told["files"].items()
        }
        day = told.get("day_zero")
        return Origins(files, date.fromisoformat(day) if day else None)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return Origins()  # it may go at any time


def save_origins(case: Path, origins: Origins) -> None:
    """Write it whole or not at all; a place that cannot be written to costs only the later comparison."""
    told: dict[str, Any] = {
        "machine": platform.node(),
        "day_zero": origins.day_zero.isoformat() if origins.day_zero else None,
        "files": {
            sha: {"path": str(one.path), "size": one.size, "changed_ns": one.changed_ns}
            for sha, one in origins.files.items()
        },
    }
    target = case / "cache" / "sources.json"
    partial = target.with_name(f".{target.name}.{os.getpid()}")
    try:
        target.parent.mkdir(exist_ok=True)
        partial.write_text(json.dumps(told, indent=1, ensure_ascii=False), "utf-8")
        partial.replace(target)
    except OSError:
        with suppress(OSError):
            partial.unlink(missing_ok=True)


def source_files(
    case: Path, sources: Iterable[tuple[str, tuple[tuple[str, str], ...]]], *, thorough: bool = True
) -> list[SourceFile]:
    """Every original of a case against what is there now.

    Parameters
    ----------
    case : Path
        The case folder.
    sources : iterable of (name, files)
        As `Case.sources` tell them.
    thorough : bool
        Read every file again. Otherwise one whose size and time of change are as they were is believed.
    """
    origins = load_origins(case)
    rows = []
    for source, files in sources:
        for name, sha in files:
            origin = origins.files.get(sha)
            state = "not known here" if origin is None else _state(origin, sha, thorough)
            rows.append(SourceFile(source, name, sha, state, origin.path if origin else None))
    return rows


def _state(origin: Origin, sha: str, thorough: bool) -> State:
    now = origin_of(origin.path)
    if now is None:
        return "missing"
    if now.size != origin.size:
        return "changed"
    if not thorough and now.changed_ns == origin.changed_ns:
        return "as it was"
    try:
        return "as it was" if file_sha256(origin.path) == sha else "changed"
    except OSError:
        return "missing"


def file_sha256(path: Path, cancelled: Callable[[], bool] | None = None) -> str:
    """SHA-256 of a file, read in pieces.

    Raises
    ------
    OSError
        When it cannot be read.
    Cancelled
        When `cancelled` says so.
    """
    digest = hashlib.sha256()
    with path.open("rb", buffering=0) as file:
        while piece := file.read(_PIECE):
            digest.update(piece)
            if cancelled is not None and cancelled():
                raise Cancelled("stopped as asked")
    return digest.hexdigest()

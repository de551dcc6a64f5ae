"""What people decided for one case, offered for the next one that looks the same.

A source looks the same when the same reader finds the same labels with the same units as written. What was decided
about such a source, identities and units, is kept as one small TOML file in a folder of this machine; a column map
that was used for a table is kept under what the table's first lines look like. Both are only ever proposed in a
question, with what they would change, and never applied unasked.

The folder is given by whoever calls: the desk's settings folder, or `default_folder` for the command line. It holds
labels and units of devices and no case.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import sys
import tomllib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final

from pydantic import ValidationError

from . import terms
from .answers import Answers, IdentityAnswer
from .errors import CannotWrite, FileUnreadable
from .readers.column_map import ColumnMap, load_column_map, to_toml
from .readers.names import slug
from .recording import Recording

if TYPE_CHECKING:
    from .case import Case

SETTINGS: Final = "AFTERCLAMP_SETTINGS"
"""Environment variable that names another folder for settings."""

_FIRST_LINES: Final = 3
_HEAD: Final = 4096


@dataclass(frozen=True)
class Learned:
    """What was decided for a source that looks the same, by channel key."""

    identities: Mapping[str, terms.Identity] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)


def default_folder() -> Path:
    """Where settings of one person lie on this system; `SETTINGS` in the environment names another place."""
    told = os.environ.get(SETTINGS)
    if told:
        return Path(told) / "mappings"
    home = Path.home()
    if sys.platform == "win32":
        base = Path(os.environ.get("APPDATA") or home / "AppData" / "Roaming")
    elif sys.platform == "darwin":
        base = home / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_CONFIG_HOME") or home / ".config")
    return base / "afterclamp" / "mappings"


# -- identities and units -----------------------------------------------------------------------------


def learned(recording: Recording, folder: Path) -> Learned:
    """What was decided for sources that look like this one; empty where there was none.

    Raises
    ------
    FileUnreadable
        When the file is there and is not what `remember` writes.
    """
    path = _place(recording.reader, _labels(recording), folder)
    try:
        raw = tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        return Learned()
    except OSError as cause:
        raise FileUnreadable(
            f"what was decided for earlier cases cannot be read ({(cause.strerror or 'no reason given').lower()})",
            path=path if os.access(folder, os.X_OK) else folder,
            todo="Get permission to read it, or delete it",
        ) from cause
    except ValueError as cause:
        raise FileUnreadable(
            "what was decided for earlier cases cannot be read (it is not valid TOML)",
            path=path,
            todo="Mend the file or delete it",
        ) from cause
    try:
        told = Answers.model_validate({"units": raw.get("units", {}), "identity": raw.get("identity", {})})
        identities = {key: answer.identity() for key, answer in told.identity.items()}
    except (ValidationError, ValueError) as cause:
        raise FileUnreadable(
            "what was decided for earlier cases holds something else than units and identities",
            path=path,
            todo="Mend the file or delete it",
        ) from cause
    keys = {channel.key for channel in recording.channels}
    return Learned(
        {key: identity for key, identity in identities.items() if key in keys},
        {key: unit for key, unit in told.units.items() if key in keys},
    )


def propose(recording: Recording, folder: Path) -> Answers:
    """The same as answers, as an answers file would hold them for this source."""
    told = learned(recording, folder)
    return Answers(
        units={f"{recording.name}/{key}": unit for key, unit in told.units.items()},
        identity={
            f"{recording.name}/{key}": IdentityAnswer(
                kind=one.kind, site=one.site, side=one.side, statistic=one.statistic
            )
            for key, one in told.identities.items()
        },
    )


def remember(case: Case, folder: Path) -> list[Path]:
    """Keep what was decided in a case, at bring-in or since: one file for each source with a decision.

    Parameters
    ----------
    case : Case
        As it stands now.
    folder : Path
        Made when it is not there.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    CannotWrite
        No room or no permission.
    """
    decided: dict[str, Learned] = {}
    for channel in case.channels:
        file = channel.recorded_as
        if channel.proposed == file.identity and channel.unit_recorded == file.unit:
            continue
        before = decided.get(channel.source, Learned())
        unit = {channel.key: channel.unit_recorded} if channel.unit_recorded != file.unit else {}
        identity = {channel.key: channel.proposed} if channel.proposed != file.identity else {}
        decided[channel.source] = Learned({**before.identities, **identity}, {**before.units, **unit})
    written = []
    for source in case.sources:
        if source.name in decided:
            own = [channel for channel in case.channels if channel.source == source.name]
            labels = [(channel.label, channel.unit_as_written) for channel in own]
            path = _place(source.reader, labels, folder)
            _write(path, _toml(source.reader, labels, decided[source.name]))
            written.append(path)
    return written


def _labels(recording: Recording) -> list[tuple[str, str]]:
    return [(channel.label, channel.unit_as_written) for channel in recording.channels]


def _place(reader: str, labels: Sequence[tuple[str, str]], folder: Path) -> Path:
    # In order of labels: a trace file lists its channels by key, a reader as they stand in the export.
    look = json.dumps([reader, sorted(labels)], ensure_ascii=False)
    return folder / f"{slug(reader.lower(), 'source')}-{hashlib.sha256(look.encode()).hexdigest()[:16]}.toml"


def _toml(reader: str, labels: Sequence[tuple[str, str]], told: Learned) -> str:
    lines = [
        "# What was decided for a source that looks like this; offered for the next one, never applied unasked.",
        f"reader = {_text(reader)}",
        f"labels = [{', '.join(_text(f'{label} [{unit}]') for label, unit in sorted(labels))}]",
    ]
    if told.units:
        lines += ["", "[units]"]
        lines += [f"{_text(key)} = {_text(unit or 'unknown')}" for key, unit in told.units.items()]
    for key, one in told.identities.items():
        lines += ["", f"[identity.{_text(key)}]", f"kind = {_text(one.kind)}", f"site = {_text(one.site)}"]
        lines += [f"side = {_text(one.side)}", f"statistic = {_text(one.statistic)}"]
    return "\n".join(lines) + "\n"


def _text(value: str) -> str:
    """A TOML basic string: JSON's escapes are among TOML's."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")


# -- column maps --------------------------------------------------------------------------------------


def columns_for(table: Path, folder: Path) -> Path | None:
    """The column map that was last used for a table that begins like this one; None where there was none."""
    shape = _shape(table)
    path = folder / f"columns-{shape}.toml"
    try:
        return path if shape and path.is_file() else None
    except OSError:  # a folder that may not be looked into: `learned` says so
        return None


def remember_columns(table: Path, columns: Path, folder: Path) -> Path | None:
    """Keep a column map for tables that begin like this one; None for a file that is no text.

    What it says of one file alone is left out, see `for_any_table`.

    Raises
    ------
    FileUnreadable
        The column map can no longer be read.
    CannotWrite
        No room or no permission.
    """
    shape = _shape(table)
    if not shape:
        return None
    path = folder / f"columns-{shape}.toml"
    if not _is_same(columns, path):
        _write(path, to_toml(for_any_table(load_column_map(columns))))
    return path


def for_any_table(columns: ColumnMap) -> ColumnMap:
    """A column map without what is true of one file alone: when it began, in which half day, an hour of summer time."""
    if columns.time is None:
        return columns
    alone = {"start": None, "half_day": None, "summer_time": None}
    return columns.model_copy(update={"time": columns.time.model_copy(update=alone)})


def _is_same(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:  # it is not there, or may not be looked at
        return False


def _shape(table: Path) -> str:
    """What the first lines of a text look like, every number and date the same; "" for what is no text."""
    try:
        with table.open("rb") as file:
            head = file.read(_HEAD)
    except OSError:
        return ""
    if b"\0" in head:
        return ""
    lines = [line.strip() for line in head.decode("latin-1").splitlines() if line.strip()][:_FIRST_LINES]
    shape = "\n".join(re.sub(r"[-+]?[\d.]*\d", "0", line) for line in lines)
    return hashlib.sha256(shape.encode()).hexdigest()[:16] if shape else ""


def _write(path: Path, text: str) -> None:
    partial = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        partial.write_text(text, "utf-8")
        partial.replace(path)
    except OSError as cause:
        with suppress(OSError):
            partial.unlink(missing_ok=True)
        raise CannotWrite(
            f"what was decided cannot be kept for the next case ({(cause.strerror or 'no reason given').lower()})",
            path=path,
            todo="Make room or get permission to write there",
        ) from cause

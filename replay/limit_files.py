"""A person's own limit sets: files kept in their settings folder, so that they are offered for every case."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from afterclamp.annotate.limit_set import LimitSet
from afterclamp.io import mappings
from afterclamp.io.errors import CannotWrite, CaseError
from afterclamp.io.whole import written_whole


def default_folder() -> Path:
    """Beside the mappings of earlier cases, in the person's settings folder."""
    return mappings.default_folder().parent / "limit-sets"


def kept_sets(folder: Path) -> list[tuple[LimitSet, Path]]:
    """The sets in a folder with their files, by name and version; a file that is none is passed over."""
    found = []
    for path in sorted(folder.glob("*.toml")):
        try:
            found.append((LimitSet.load(path), path))
        except CaseError:
            continue  # it says so when somebody opens it
    return sorted(found, key=lambda pair: (pair[0].name, pair[0].version))


def keep_copy(path: Path, folder: Path) -> Path:
    """Copy a set's file into a folder, under its name and version; the same one again is the same file.

    Raises
    ------
    FileUnreadable
        When it holds no limit set.
    CannotWrite
        When the folder cannot be written.
    """
    one = LimitSet.load(path)
    content = path.read_bytes()
    words = re.sub(r"[^a-z0-9]+", "-", f"{one.name} {one.version}".lower()).strip("-")
    target = folder / f"{words}-{hashlib.sha256(content).hexdigest()[:6]}.toml"
    if target.exists():
        return target
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as cause:
        raise CannotWrite(
            f"the folder for limit sets cannot be made ({cause.strerror})",
            path=folder,
            todo="Get permission to write there; the case keeps the set all the same",
        ) from cause
    with written_whole(
        target,
        what="the limit set could not be kept for other cases",
        todo="Make room or get permission to write there; the case keeps the set all the same",
    ) as partial:
        partial.write_bytes(content)
    return target

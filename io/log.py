"""The log: everything a person or a rule decided, one line an edit, only ever added to.

One file an author, ``log/<author>.jsonl``. A line is a JSON object::

    {"id": "mara-7", "n": 7, "made": "2026-11-25T09:00:00", "author": "mara", "verb": "mark",
     "payload": {...}, "supersedes": null, "prev": "<SHA-256 of the line before>"}

``n`` is a logical counter, one more than the highest seen in any log: order across authors is
``(n, author)``; the wall time is only shown. The state of a case is the fold of all edits. Two people
write two files, so merging is copying a file.

A line torn by a crash is set aside: the next edit of that author first writes a ``seal`` line that
says so, and the chain goes on from the last whole line. A whole line whose edit has no meaning, see
`afterclamp.io.log_shapes`, is set aside too: it stays in the file and counts for nothing.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from .errors import CannotWrite, CaseFolderUnreadable, EditRefused
from .log_shapes import SHAPES, what_is_wrong

VERBS = frozenset(SHAPES)
_BOOKKEEPING = frozenset({"undo", "redo", "seal"})
_MOST_EDITS = 1 << 40  # far above any log
_AUTHOR = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{0,63}")


@dataclass(frozen=True, slots=True)
class Edit:
    """One decision.

    Attributes
    ----------
    id : str
        Unique in the case.
    n : int
        Logical counter.
    made : str
        Wall time it was made, ISO 8601, local, only to be shown.
    author : str
        Author id: ASCII letters, digits, hyphens.
    verb : str
        One of `VERBS`.
    payload : mapping
        What was decided; its shape belongs to the verb, see `afterclamp.io.log_shapes`.
    supersedes : str or None
        Id of the edit that this one replaces.
    """

    id: str
    n: int
    made: str
    author: str
    verb: str
    payload: Mapping[str, Any]
    supersedes: str | None = None


@dataclass
class _Chain:
    """Where an author's file stands: what the next line must follow."""

    last: str = ""  # SHA-256 of the last whole line
    torn: str = ""  # text behind it that no seal has set aside yet
    ends_open: bool = False  # the file does not end with a line end


@dataclass
class Log:
    """All edits of a case, in order, and the way to add one.

    Parameters
    ----------
    folder : Path
        The case's ``log`` folder; made at the first edit.
    """

    folder: Path
    edits: list[Edit] = field(default_factory=list)
    repairs: list[str] = field(default_factory=list)
    _chains: dict[str, _Chain] = field(default_factory=dict)
    _undone: set[str] = field(default_factory=set)
    _made_by: dict[str, str] = field(default_factory=dict)  # author of each edit that can be taken back
    _highest: int = 0  # logical counter of any line, also of one that was set aside
    _taken_back: dict[str, list[str]] = field(default_factory=dict)  # by author, since the last new edit

    @classmethod
    def open(cls, folder: Path) -> Log:
        """Read every author's file; what is torn or has no meaning is set aside and named in `repairs`.

        Raises
        ------
        CaseFolderUnreadable
            When a file cannot be read at all.
        """
        log = cls(folder)
        log.reload()
        return log

    def reload(self) -> None:
        """Read again what is on disk, as after another author's file was copied in."""
        self.edits, self.repairs, self._chains, self._highest = [], [], {}, 0
        for path in sorted(self.folder.glob("*.jsonl")):
            self._read(path)
        self._fold()

    def standing(self, verb: str | None = None) -> list[Edit]:
        """Edits in force, in order: not undone and not superseded by one in force.

        Parameters
        ----------
        verb : str, optional
            Only edits of this verb.
        """
        alive = [edit for edit in self.edits if edit.verb not in _BOOKKEEPING and edit.id not in self._undone]
        replaced = {edit.supersedes for edit in alive if edit.supersedes}
        return [edit for edit in alive if edit.id not in replaced and (verb is None or edit.verb == verb)]

    def not_undone(self, verb: str) -> list[Edit]:
        """Edits of a verb that were not undone, those that another one replaced among them: every version, in order."""
        return [edit for edit in self.edits if edit.verb == verb and edit.id not in self._undone]

    @property
    def conflicts(self) -> list[tuple[Edit, Edit]]:
        """Pairs of edits in force that replace the same one; the later stands until it is settled."""
        claims: dict[str, Edit] = {}
        pairs = []
        for edit in self.standing():
            if edit.supersedes:
                if edit.supersedes in claims:
                    pairs.append((claims[edit.supersedes], edit))
                claims[edit.supersedes] = edit
        return pairs

    def append(
        self, author: str, verb: str, payload: Mapping[str, Any], *, supersedes: str | None = None
    ) -> Edit:
        """Add one edit and write it through to the disk before returning.

        Raises
        ------
        EditRefused
            When author, verb or the superseded edit is not known, or the payload is none of that verb.
        CannotWrite
            When the line cannot be written; the log is then as it was.
        """
        check_author(author)
        if verb not in VERBS:
            raise EditRefused(f"{verb!r} is no verb of the log; expected one of {', '.join(sorted(VERBS))}")
        if supersedes is not None and all(edit.id != supersedes for edit in self.edits):
            raise EditRefused(f"there is no edit {supersedes!r} to replace")
        # As it will be read again: tuples are lists then.
        payload = _as_json(verb, payload)
        wrong = what_is_wrong(verb, payload) or self._out_of_turn(author, verb, payload)
        if wrong:
            raise EditRefused(f"a {verb} edit cannot be kept: {wrong}")
        n = self._highest + 1
        edit = Edit(
            id=f"{author}-{n}",
            n=n,
            made=datetime.now().isoformat(timespec="seconds"),
            author=author,
            verb=verb,
            payload=payload,
            supersedes=supersedes,
        )
        self._write(edit)
        self._highest = n
        self.edits.append(edit)
        self._fold()
        return edit

    def undo(self, author: str) -> Edit | None:
        """Take back the author's last edit in force; None when there is none."""
        own = [
            edit
            for edit in self.edits
            if edit.author == author and edit.verb not in _BOOKKEEPING and edit.id not in self._undone
        ]
        return self.append(author, "undo", {"edit": own[-1].id}) if own else None

    def redo(self, author: str) -> Edit | None:
        """Bring back what the author last took back, unless a new edit came since; None otherwise."""
        taken_back = self._taken_back.get(author)
        return self.append(author, "redo", {"edit": taken_back[-1]}) if taken_back else None

    def _out_of_turn(self, author: str, verb: str, payload: Mapping[str, Any]) -> str:
        """Why an undo or redo has nothing to take back or bring back; empty when it has, and for other verbs."""
        if verb not in {"undo", "redo"}:
            return ""
        named = str(payload["edit"])
        if self._made_by.get(named) != author:
            return f"{author} made no edit {named!r} that could be taken back"
        if verb == "undo":
            return f"{named!r} is taken back already" if named in self._undone else ""
        return "" if named in self._taken_back.get(author, []) else f"{named!r} was not the last taken back"

    def __iter__(self) -> Iterator[Edit]:
        return iter(self.edits)

    def _fold(self) -> None:
        found = sorted(self.edits, key=lambda edit: (edit.n, edit.author))
        self.edits, self._undone, self._made_by, self._taken_back = [], set(), {}, {}
        ids: set[str] = set()
        for edit in found:
            wrong = self._out_of_turn(edit.author, edit.verb, edit.payload)
            if not wrong and edit.id in ids:
                wrong = "another edit has this id"
            if wrong:
                self.repairs.append(f"{edit.author}.jsonl, the {edit.verb} {edit.id}: {wrong}, set aside")
                continue
            ids.add(edit.id)
            self.edits.append(edit)
            taken_back = self._taken_back.setdefault(edit.author, [])
            if edit.verb == "undo":
                self._undone.add(str(edit.payload["edit"]))
                taken_back.append(str(edit.payload["edit"]))
            elif edit.verb == "redo":
                self._undone.discard(str(edit.payload["edit"]))
                taken_back.remove(str(edit.payload["edit"]))
            elif edit.verb != "seal":
                self._made_by[edit.id] = edit.author
                taken_back.clear()

    def _read(self, path: Path) -> None:
        try:
            raw = path.read_bytes()
        except OSError as cause:
            raise CaseFolderUnreadable(
                f"the log cannot be read ({cause.strerror})", path=path, todo="Check the file's permissions"
            ) from cause
        chain = self._chains.setdefault(path.stem, _Chain())
        chain.ends_open = bool(raw) and not raw.endswith(b"\n")
        for number, line in enumerate(raw.split(b"\n"), start=1):
            if not line.strip():
                continue
            fields = _parse(line)
            if fields is None:
                chain.torn = line.decode("utf-8", "replace")
                self.repairs.append(f"{path.name}, line {number}: torn, set aside")
                continue
            if fields["author"] != path.stem:
                self.repairs.append(
                    f"{path.name}, line {number}: written under author {fields['author']!r}, set aside"
                )
                continue
            if fields.pop("prev") != chain.last:
                self.repairs.append(
                    f"{path.name}, line {number}: does not follow the line before it (changed or cut by hand)"
                )
            chain.last = hashlib.sha256(line).hexdigest()
            chain.torn = ""
            if isinstance(fields["n"], int) and fields["n"] < _MOST_EDITS:
                self._highest = max(self._highest, fields["n"])
            wrong = _what_is_wrong(fields)
            if wrong:
                self.repairs.append(f"{path.name}, line {number}: {wrong}, set aside")
            else:
                self.edits.append(Edit(**fields))

    def _write(self, edit: Edit) -> None:
        path = self.folder / f"{edit.author}.jsonl"
        chain = self._chains.setdefault(edit.author, _Chain())
        text = b""
        last = chain.last
        if chain.torn:
            seal = Edit(
                id=f"{edit.id}-seal", n=edit.n, made=edit.made, author=edit.author, verb="seal",
                payload={"set_aside": chain.torn},
            )  # fmt: skip
            sealing = _line(seal, last)
            last = hashlib.sha256(sealing).hexdigest()
            text += sealing + b"\n"
        line = _line(edit, last)
        text = (b"\n" if chain.ends_open else b"") + text + line + b"\n"
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with path.open("ab") as file:
                before = file.tell()
                try:
                    file.write(text)
                    file.flush()
                    os.fsync(file.fileno())
                except OSError:
                    os.ftruncate(file.fileno(), before)
                    raise
        except OSError as cause:
            raise CannotWrite(
                f"the edit could not be written ({cause.strerror})",
                path=path,
                todo="Make room or get permission to write there, then make the edit again",
            ) from cause
        chain.last = hashlib.sha256(line).hexdigest()
        chain.torn, chain.ends_open = "", False


def check_author(author: str) -> None:
    """Whether an author id will do: it names a file of the log.

    Raises
    ------
    EditRefused
        When it does not.
    """
    if not _AUTHOR.fullmatch(author):
        raise EditRefused(
            f"author id {author!r} will not do as a file name",
            todo="Use ASCII letters, digits and hyphens",
        )


def _line(edit: Edit, prev: str) -> bytes:
    fields = {
        "id": edit.id, "n": edit.n, "made": edit.made, "author": edit.author, "verb": edit.verb,
        "payload": edit.payload, "supersedes": edit.supersedes, "prev": prev,
    }  # fmt: skip
    return json.dumps(fields, ensure_ascii=False, allow_nan=False).encode()


def _parse(line: bytes) -> dict[str, Any] | None:
    try:
        fields = json.loads(line)
    except (ValueError, RecursionError):
        return None
    if not isinstance(fields, dict) or set(fields) != {
        "id", "n", "made", "author", "verb", "payload", "supersedes", "prev",
    }:  # fmt: skip
        return None
    return fields


def _what_is_wrong(fields: Mapping[str, Any]) -> str:
    """Why a line holds no edit, as part of a sentence; empty when it holds one."""
    n, verb, supersedes = fields["n"], fields["verb"], fields["supersedes"]
    if not all(isinstance(fields[name], str) and fields[name] for name in ("id", "made", "verb")):
        return "its id, time or verb is no text"
    if verb not in VERBS:
        return f"{verb!r} is no verb that this program knows"
    if not isinstance(n, int) or isinstance(n, bool) or not 0 < n < _MOST_EDITS:
        return f"its number n is {str(n)[:40]}"
    if supersedes is not None and not isinstance(supersedes, str):
        return "what it supersedes is no id"
    if not isinstance(fields["payload"], dict):
        return "its payload is no table"
    wrong = what_is_wrong(verb, fields["payload"])
    return f"a {verb} without meaning ({wrong})" if wrong else ""


def _as_json(verb: str, payload: Mapping[str, Any]) -> dict[str, Any]:
    try:
        found: dict[str, Any] = json.loads(json.dumps(dict(payload), allow_nan=False))
    except (TypeError, ValueError, RecursionError) as cause:
        raise EditRefused(
            f"the payload of a {verb} edit holds something JSON has no place for ({cause})"
        ) from cause
    return found

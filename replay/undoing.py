"""What undo and redo would take back or bring back, told in words before they do it."""

from __future__ import annotations

from collections.abc import Callable

from afterclamp.io.log import Edit, Log

from .wording import phase_name

TimeText = Callable[[float], str]

_KINDS = {"point": "mark", "span": "span", "note": "note"}


def next_undo(log: Log, author: str) -> Edit | None:
    """The author's last edit in force: what `Log.undo` would take back."""
    undone = _undone(log, author)
    own = [edit for edit in log.edits if edit.author == author and edit.verb not in ("undo", "redo", "seal")]
    return next((edit for edit in reversed(own) if edit.id not in undone), None)


def next_redo(log: Log, author: str) -> Edit | None:
    """What `Log.redo` would bring back: nothing once the author has made another edit."""
    taken_back: list[str] = []
    for edit in log.edits:
        if edit.author != author or edit.verb == "seal":
            continue
        if edit.verb == "undo":
            taken_back.append(str(edit.payload["edit"]))
        elif edit.verb == "redo":
            taken_back.remove(str(edit.payload["edit"]))
        else:
            taken_back.clear()
    return by_id(log, taken_back[-1]) if taken_back else None


def _undone(log: Log, author: str) -> set[str]:
    undone: set[str] = set()
    for edit in log.edits:
        if edit.author == author and edit.verb == "undo":
            undone.add(str(edit.payload["edit"]))
        elif edit.author == author and edit.verb == "redo":
            undone.discard(str(edit.payload["edit"]))
    return undone


def by_id(log: Log, name: str) -> Edit | None:
    """The edit of this id."""
    return next((edit for edit in log.edits if edit.id == name), None)


def words(log: Log, edit: Edit, time_text: TimeText) -> str:
    """An edit in a few words: ``"mark at 2:03:10"``, ``"clock of pump"``.

    Parameters
    ----------
    log : Log
        For what the edit replaced.
    edit : Edit
    time_text : callable
        Writes a reference time.
    """
    payload = edit.payload
    if edit.verb == "mark":
        return _mark(log, edit, time_text)
    if edit.verb == "verdict":
        find = payload.get("find", {})
        at = f"{find.get('code', 'a find')} at {time_text(float(find.get('start_s', float('nan'))))}"
        return f"accepting {at}" if payload.get("decision") == "accepted" else f"setting {at} aside"
    if edit.verb == "clock":
        return f"clock of {payload.get('source', 'a source')}"
    if edit.verb == "reference":
        return f"{payload.get('source', 'a source')} as the reference clock"
    if edit.verb == "identity":
        return f"what {payload.get('channel', 'a channel')} is"
    if edit.verb == "source":
        source = payload.get("source", "a source")
        return f"putting {source} back" if payload.get("in", True) else f"taking {source} out"
    if edit.verb == "phase":
        name = phase_name(str(payload.get("name", "a phase")))
        return f"taking {name} away" if payload.get("removed") else f"times of {name}"
    return f"edit of a {edit.verb}"


def _mark(log: Log, edit: Edit, time_text: TimeText) -> str:
    payload = edit.payload
    at = f"{_KINDS.get(str(payload.get('kind')), 'mark')} at {time_text(float(payload['start_s']))}"
    before = by_id(log, edit.supersedes) if edit.supersedes else None
    if payload.get("removed"):
        return f"taking back of the {at}"
    if before is None:
        return at
    words_changed, class_changed = (payload.get(key) != before.payload.get(key) for key in ("text", "code"))
    if words_changed == class_changed:
        return f"change of the {at}"
    return f"{'words' if words_changed else 'class'} of the {at}"

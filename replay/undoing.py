"""What undo and redo would take back or bring back, told in words before they do it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from afterclamp.io.log import Edit, Log

from .find_words import class_words
from .wording import phase_name, readable, unit_name

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


def whole(edits: Sequence[Edit | None]) -> Edit | None:
    """Of edits that were turned together the one that the others belong to."""
    turned = [edit for edit in edits if edit is not None]
    return next((edit for edit in turned if not edit.payload.get("by")), turned[0] if turned else None)


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
        return _verdict(log, edit, time_text)
    if edit.verb == "clock":
        return f"clock of {payload.get('source', 'a source')}"
    if edit.verb == "reference":
        return f"{payload.get('source', 'a source')} as the reference clock"
    if edit.verb == "identity":
        return f"what {payload.get('channel', 'a channel')} is"
    if edit.verb == "source":
        source = payload.get("source", "a source")
        return f"putting {source} back" if payload.get("in", True) else f"taking {source} out"
    if edit.verb == "limits":
        return _limits(payload)
    if edit.verb == "limit" and "rule" in payload:
        return _rule_number(log, edit)
    if edit.verb == "phase":
        name = phase_name(str(payload.get("name", "a phase")))
        return f"taking {name} away" if payload.get("removed") else f"times of {name}"
    if edit.verb in ("hide", "unhide"):
        return _mask(log, edit, time_text)
    if edit.verb == "believe":
        return _believe(payload, time_text)
    return f"edit of a {edit.verb}"


def _verdict(log: Log, edit: Edit, time_text: TimeText) -> str:
    payload = edit.payload
    root = by_id(log, str(payload["by"])) if payload.get("by") else None
    if root is not None:
        return words(log, root, time_text)
    find, others = payload.get("find", {}), int(payload.get("beside", 0))
    code = class_words(str(find.get("code", "a find")), str(find.get("subtype") or ""))
    at = f"{code} at {time_text(float(find.get('start_s', float('nan'))))}"
    at += f" and {others} more" if others else ""
    return {
        "accepted": f"accepting {at}",
        "set aside": f"setting {at} aside",
        "reclassified": f"calling {at} {payload.get('code', 'another class')}",
        "joined": f"joining {at}",
        "split": f"splitting {at}",
    }.get(str(payload.get("decision")), f"taking back what was said of {at}")


def _rule_number(log: Log, edit: Edit) -> str:
    """A number of a rule by what it does, with its unit, and what it was before."""
    from afterclamp.annotate.rule_numbers import meaning_of

    payload = edit.payload
    code, name = str(payload["rule"]), str(payload["parameter"])
    before = by_id(log, edit.supersedes) if edit.supersedes else None
    meaning, unit, own = meaning_of(code, name)
    was = before.payload.get("value") if before is not None else None
    written = [
        "its own number" if value is None else f"{value:g} {unit_name(unit)}".rstrip()
        for value in (payload.get("value", own), own if was is None else was)
    ]
    return f"{code}, {readable(meaning)}: {written[0]} in place of {written[1]}"


def _believe(payload: Mapping[str, Any], time_text: TimeText) -> str:
    what = "going back to the proposed site"
    if not payload.get("proposal"):
        what = f"trusting {str(payload.get('site', payload.get('channel', 'a line'))).replace('_', ' ')}"
    if "start_s" not in payload:
        return f"{what} for the whole case"
    return f"{what} from {time_text(float(payload['start_s']))} to {time_text(float(payload['end_s']))}"


def _mask(log: Log, edit: Edit, time_text: TimeText) -> str:
    payload = edit.payload
    if payload.get("by"):  # it is undone with what it belongs to, and told as that
        root = by_id(log, str(payload["by"]))
        if root is not None:
            return words(log, root, time_text)
    word = "hiding" if edit.verb == "hide" else "unhiding"
    back = "taking back of the " if payload.get("removed") else "words of the " if edit.supersedes else ""
    line = str(payload["channel"]).partition("/")[2] or payload["channel"]
    times = f"{time_text(float(payload['start_s']))} to {time_text(float(payload['end_s']))}"
    return f"{back}{word} of {line}, {times}"


def _limits(payload: Mapping[str, Any]) -> str:
    if "sets" in payload:
        return f"limits of {' and '.join(str(one.get('name')) for one in payload['sets'])}"
    if payload.get("taken_back"):
        return f"taking back the number of {payload.get('limit')}"
    number = f"{payload.get('value', 0):g} {unit_name(str(payload.get('unit', '')))}".rstrip()
    return f"{number} for {payload.get('limit')}"


def _mark(log: Log, edit: Edit, time_text: TimeText) -> str:
    payload = edit.payload
    root = by_id(log, str(payload["by"])) if payload.get("by") else None
    if root is not None:  # it is undone with what it belongs to, and told as that
        return words(log, root, time_text)
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

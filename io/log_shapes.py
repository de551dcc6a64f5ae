"""What the payload of each verb of the log must look like, in one table.

A log is text that people copy about and other programs may write: what no line of this program would hold is set
aside on reading, so that whoever goes by an edit needs no doubts about its form. What a name stands for (whether
there is such a channel, rule or unit) is for those who know.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from .clock import ClockMap, ClockPiece
from .errors import EditRefused

FURTHEST_S: Final = 366 * 86400.0
"""No mark and no phase lies further than a year from the start of the reference clock (this project's choice)."""

DECISIONS: Final = ("accepted", "set aside", "reclassified", "joined", "split", "proposed")
"""What can be said of a find; ``"proposed"`` takes back what the same author said before."""

_GREATEST_INT: Final = 1 << 53  # whole numbers that a float holds exactly


@dataclass(frozen=True, slots=True)
class _Field:
    """One field: what it is in words, and whether a value is that."""

    words: str
    fits: Callable[[Any], bool]
    needed: bool = False


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 1_000_000


def _is_name(value: Any) -> bool:
    return isinstance(value, str) and bool(value.strip())


def _is_text(value: Any) -> bool:
    return isinstance(value, str)


def _is_time(value: Any) -> bool:
    return _is_number(value) and abs(value) <= FURTHEST_S


def _is_spread(value: Any) -> bool:
    return _is_number(value) and value >= 0


def _is_table(value: Any) -> bool:
    return isinstance(value, dict)


def _is_names(value: Any) -> bool:
    return isinstance(value, list) and all(map(_is_name, value))


def _is_confidence(value: Any) -> bool:
    return value is None or (_is_number(value) and 0 <= value <= 100)


def _is_anchor(value: Any) -> bool:
    return value is None or (
        isinstance(value, dict)
        and _is_name(value.get("source"))
        and _is_whole(value.get("run"))
        and all(_is_time(value.get(name)) for name in ("source_s", "source_end_s"))
    )


def _is_origin(value: Any) -> bool:
    return (
        isinstance(value, dict)
        and value.get("from") in ("rule", "joined", "split")
        and isinstance(value.get("finds"), list)
        and all(isinstance(one, dict) and not _fields(_FIND, one) for one in value["finds"])
    )


def _is_clock(value: Any) -> bool:
    if not isinstance(value, list) or not all(isinstance(piece, dict) for piece in value):
        return False
    try:
        ClockMap(0.0, tuple(map(ClockPiece.from_payload, value)), "by hand")
    except EditRefused:
        return False
    return True


def _is_limit_sets(value: Any) -> bool:
    return (
        isinstance(value, list)
        and bool(value)
        and all(
            isinstance(one, dict)
            and _is_name(one.get("name"))
            and _is_name(one.get("version"))
            and isinstance(one.get("table", {}), dict)
            for one in value
        )
    )


def _one_of(*words: str) -> Callable[[Any], bool]:
    return lambda value: isinstance(value, str) and value in words


_NAME: Final = _Field("a name", _is_name)
_NAMED: Final = _Field("a name", _is_name, needed=True)
_TEXT: Final = _Field("a text", _is_text)
_YES: Final = _Field("true or false", lambda value: isinstance(value, bool))
_TIME: Final = _Field("a time in seconds, at most a year away", _is_time)
_TIMED: Final = _Field(_TIME.words, _is_time, needed=True)
_NUMBER: Final = _Field("a number", _is_number)

_MASK: Final[Mapping[str, _Field]] = {
    "channel": _NAMED,
    "start_s": _TIMED,
    "end_s": _TIMED,
    "reason": _TEXT,
    "anchor": _Field("source, run, source_s and source_end_s", _is_anchor),
    "find": _TEXT,
    "by": _TEXT,
    "removed": _YES,
}

SHAPES: Final[Mapping[str, Mapping[str, _Field]]] = {
    "mark": {
        "id": _NAMED,
        "kind": _Field("point, span or note", _one_of("point", "span", "note"), needed=True),
        "start_s": _TIMED,
        "end_s": _TIMED,
        "code": _TEXT,
        "text": _TEXT,
        "channels": _Field("a list of channel names", _is_names),
        "confidence": _Field("a number from 0 to 100", _is_confidence),
        "anchor": _Field("source, run, source_s and source_end_s", _is_anchor),
        "removed": _YES,
        "subtype": _TEXT,
        "site": _TEXT,
        "origin": _Field("what it came from, and a list of finds", _is_origin),
        "by": _TEXT,
    },
    "phase": {
        "name": _NAMED,
        "index": _Field("a whole number from 0 on", _is_whole),
        "start_s": _TIME,
        "end_s": _TIME,
        **dict.fromkeys(("sd_s", "start_sd_s", "end_sd_s"), _Field("seconds, 0 or more", _is_spread)),
        **dict.fromkeys(("start_by", "end_by"), _TEXT),
        "removed": _YES,
    },
    "clock": {
        "source": _NAMED,
        "pieces": _Field("a list of clock pieces, each with its offset_s", _is_clock, needed=True),
        "method": _Field("'by hand', 'by evidence' or 'unset'", _one_of("by hand", "by evidence", "unset")),
        "evidence": _Field("a table", _is_table),
    },
    "reference": {"source": _NAMED},
    "identity": {
        "channel": _NAMED,
        **dict.fromkeys(("kind", "site", "side", "statistic", "unit", "unit_as_written", "why"), _TEXT),
    },
    "source": {"source": _NAMED, "in": _YES, "trace_sha256": _NAME},
    "believe": {"site": _NAME, "channel": _NAME, "start_s": _TIME, "end_s": _TIME, "proposal": _YES},
    "limit": {
        "set": _NAME,
        "oxygen": _Field("a table", _is_table),
        "rule": _NAME,
        "parameter": _NAME,
        "value": _NUMBER,
        "reason": _TEXT,
        "taken_back": _YES,
    },
    "limits": {
        "sets": _Field("a list of limit sets, each with its name and version", _is_limit_sets),
        **dict.fromkeys(("set", "limit"), _NAME),
        "value": _NUMBER,
        **dict.fromkeys(("unit", "reason"), _TEXT),
        "taken_back": _YES,
    },
    "verdict": {
        "find": _Field("a find", _is_table, needed=True),
        "decision": _Field(
            f"{', '.join(map(repr, DECISIONS[:-1]))} or {DECISIONS[-1]!r}", _one_of(*DECISIONS), needed=True
        ),
        "code": _TEXT,
        "beside": _Field("a whole number from 0 on", _is_whole),
        "by": _TEXT,
    },
    "fact": {},
    "mask": {},
    "hide": _MASK,
    "unhide": _MASK,
    "undo": {"edit": _NAMED},
    "redo": {"edit": _NAMED},
    "seal": {"set_aside": _Field("a text", _is_text, needed=True)},
}
"""Fields of each verb that anything goes by; what else a payload holds is kept and not looked at."""

_FIND: Final[Mapping[str, _Field]] = {
    "code": _TEXT,
    "name": _TEXT,
    "key": _TEXT,
    "start_s": _TIMED,
    "end_s": _TIMED,
    "channels": _Field("a list of channel names", _is_names),
}


def what_is_wrong(verb: str, payload: Mapping[str, Any]) -> str:
    """Why a payload is none of this verb, as part of a sentence; empty when it is one.

    Parameters
    ----------
    verb : str
        One of `SHAPES`.
    payload : mapping
        As it comes from JSON.
    """
    wrong = _unwritable(payload) or _fields(SHAPES[verb], payload)
    if wrong:
        return wrong
    if verb == "verdict":
        wrong = _fields(_FIND, payload["find"])
        return f"of its find, {wrong}" if wrong else _backwards(payload["find"])
    if verb == "phase" and not payload.get("removed"):
        missing = [name for name in ("start_s", "end_s") if name not in payload]
        if missing:
            return f"{missing[0]} is missing, expected {_TIME.words}"
    if verb == "limit":
        return _limit(payload)
    if verb == "limits":
        return _limits(payload)
    if verb == "believe":
        return _believe(payload)
    if verb in {"hide", "unhide"} and payload["end_s"] == payload["start_s"]:
        return f"it begins and ends at {payload['start_s']:g} s"
    return _backwards(payload) if verb in {"mark", "phase", "hide", "unhide"} else ""


def _fields(shape: Mapping[str, _Field], payload: Mapping[str, Any]) -> str:
    for name, field in shape.items():
        if name not in payload:
            if field.needed:
                return f"{name} is missing, expected {field.words}"
        elif not field.fits(payload[name]):
            return f"{name} is {_shown(payload[name])}, expected {field.words}"
    return ""


def _believe(payload: Mapping[str, Any]) -> str:
    named = bool(payload.keys() & {"site", "channel"})
    if not named and not payload.get("proposal"):
        return "site is missing, expected a name"
    if named and payload.get("proposal"):
        return "it names a site and goes back to the proposal, expected one of them"
    ends = [name for name in ("start_s", "end_s") if name in payload]
    if len(ends) == 1:
        return f"it has {ends[0]} alone, expected start_s and end_s, or neither for the whole case"
    if ends and payload["end_s"] == payload["start_s"]:
        return f"it begins and ends at {payload['start_s']:g} s"
    return _backwards(payload)


def _limit(payload: Mapping[str, Any]) -> str:
    rule = [name for name in ("rule", "parameter", "value") if name in payload]
    if payload.get("taken_back") and rule == ["rule", "parameter"]:
        return ""
    if rule and len(rule) < 3:
        return f"it has {' and '.join(rule)}, expected rule, parameter and value"
    if not rule and not payload.keys() & {"set", "oxygen"}:
        return "it names no limit, expected rule, parameter and value, or oxygen, or set"
    return ""


def _limits(payload: Mapping[str, Any]) -> str:
    """Either the sets that are chosen, or one number of a limit of theirs, given or taken back."""
    number = [name for name in ("set", "limit") if name in payload]
    if "sets" in payload:
        return f"it has sets and {' and '.join(number)}, expected one of the two" if number else ""
    if len(number) < 2:
        return "it names no limit, expected sets, or set, limit and value"
    if payload.get("taken_back"):
        return ""
    missing = next((name for name in ("value", "reason") if name not in payload), "")
    return (
        f"{missing} is missing, expected {'a number' if missing == 'value' else 'a text'}" if missing else ""
    )


def _backwards(payload: Mapping[str, Any]) -> str:
    if "start_s" in payload and "end_s" in payload and payload["end_s"] < payload["start_s"]:
        return f"it ends at {payload['end_s']:g} s and begins at {payload['start_s']:g} s"
    return ""


def _unwritable(payload: Mapping[str, Any]) -> str:
    """What no line of this program could hold, wherever it is: numbers without value, texts without letters."""
    waiting: list[Any] = [payload]
    while waiting:
        item = waiting.pop()
        if isinstance(item, Mapping):
            waiting += [*item.keys(), *item.values()]
        elif isinstance(item, (list, tuple)):
            waiting += item
        elif isinstance(item, float) and not math.isfinite(item):
            return f"it holds {item}, which is no number that JSON has a place for"
        elif isinstance(item, int) and abs(item) > _GREATEST_INT:
            return "it holds a whole number that is too large"
        elif isinstance(item, str) and not item.isascii():
            try:
                item.encode()
            except UnicodeEncodeError:
                return "it holds half a character"
    return ""


def _shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 40 else f"{text[:37]}..."

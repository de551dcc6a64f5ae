"""Artefacts as finds: what `quality` saw on each channel, told once for channels that share it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ..runs import median
from ..view import View
from .rule import Find, Parameter, Params, Rule, alternative, in_words, rounded

if TYPE_CHECKING:
    from ..quality import Artefact


def _of(view: View, code: str, name: str, rule: str, doubts: dict[str, str]) -> list[Find]:
    found = []
    for channel, seen in view.artefacts.items():
        for artefact in seen:
            if artefact.code == code:
                found.append(_single(view, channel, artefact, name, rule, doubts))
    return sorted(found, key=lambda find: find.start_s)


def _single(
    view: View, channel: str, artefact: Artefact, name: str, rule: str, doubts: dict[str, str]
) -> Find:
    start, stop = view.index(artefact.start), max(view.index(artefact.start) + 1, view.index(artefact.end))
    values = view.values[channel]
    others = _others(view, channel, start, stop)
    return Find(
        artefact.code,
        name,
        float(artefact.start),
        float(artefact.end),
        (channel,),
        "",
        0.9 if others != "moved" else 0.6,
        {
            "rule": rule,
            "crossings": [float(artefact.start), float(artefact.end)],
            "before": rounded(median(values[max(0, start - 30) : max(0, start - 1)])),
            "after": rounded(median(values[stop + 1 : stop + 30])),
            "used_s": 0,
            "masked_s": view.masked_seconds(channel, start, stop),
            "seen": {key: _plain(value) for key, value in artefact.evidence.items()},
            "other_sites": others or "none recorded",
            "alternatives": [alternative(what, why) for what, why in doubts.items()],
        },
    )


def _others(view: View, channel: str, start: int, stop: int) -> str:
    """Whether the other arterial sites moved meanwhile: ``"steady"``, ``"moved"``, empty without any."""
    if channel not in view.arterial:
        return ""
    moves = []
    for name in view.arterial:
        if name == channel:
            continue
        move = median(view.values[name][start:stop]) - median(view.values[name][max(0, start - 30) : start])
        if np.isfinite(move):
            moves.append(abs(move))
    if not moves:
        return ""
    return "steady" if max(moves) < 10 else "moved"


def _plain(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return value.tolist()
    return value.item() if isinstance(value, np.generic) else value


def find_open_to_air(view: View, params: Params) -> list[Find]:  # noqa: ARG001
    """A1: see the rule's words."""
    doubts = {
        "an arrest": "then every arterial site falls, slowly and not to zero",
        "an unplugged line": "then the trace is blank or off its scale",
    }
    return _of(view, "A1", A1.name, A1.sentence(), doubts)


def find_flush(view: View, params: Params) -> list[Find]:  # noqa: ARG001
    """A2: see the rule's words."""
    doubts = {
        "a surge of pressure": "that rises over many beats and keeps beats on it; no patient rises so fast"
    }
    return _of(view, "A2", A2.name, A2.sentence(), doubts)


def find_gap(view: View, params: Params) -> list[Find]:
    """A9: see the rule's words; channels of one source that lose the same seconds are told as one."""
    doubts = {"an arrest": "an arrest is seen on several channels, and their values are still recorded"}
    singles = _of(view, "A9", A9.name, A9.sentence(params), doubts)
    merged: list[Find] = []
    for find in singles:
        source = view.source.get(find.channels[0], "")
        slack = max(params["together"], 2 * view.interval.get(find.channels[0], 1.0))
        twin = next(
            (
                i
                for i, other in enumerate(merged)
                if source
                and view.source.get(other.channels[0], "") == source
                and find.evidence["seen"].get("what") == other.evidence["seen"].get("what")
                and abs(other.start_s - find.start_s) <= slack
                and abs(other.end_s - find.end_s) <= slack
            ),
            None,
        )
        if twin is None:
            merged.append(find)
            continue
        other = merged[twin]
        channels = (*other.channels, *find.channels)
        merged[twin] = Find(
            other.code,
            other.name,
            min(other.start_s, find.start_s),
            max(other.end_s, find.end_s),
            channels,
            "",
            other.confidence,
            {**other.evidence, "together": f"the same seconds are missing on {in_words(channels)}"},
        )
    return [
        find for find in merged if find.duration_s >= params["minimum"] and not _stagnant(view, find, params)
    ]


def _stagnant(view: View, find: Find, params: Params) -> bool:
    """Whether only a saturation of standing venous blood is missing, which says nothing and is often blanked."""
    if view.flow is None or any(not name.endswith("venous_saturation") for name in find.channels):
        return False
    flow = view.flow[view.index(find.start_s) : view.index(find.end_s) + 1]
    flow = flow[np.isfinite(flow)]
    return bool(flow.size and np.mean(flow < params["stagnant"]) >= 0.8)


A1 = Rule(
    code="A1",
    name="line open to air",
    family="artefact",
    needs=(),
    phase=(),
    words="One pressure goes to 0 ± 3 mmHg within 2 s, flat for 3 to 60 s, and returns within 2 s.",
    status="D",
    source="this project's choice",
    parameters={},
    find=find_open_to_air,
)
A2 = Rule(
    code="A2",
    name="fast flush",
    family="artefact",
    needs=(),
    phase=(),
    words="A pressure rises by at least 100 mmHg within 0.3 s to a plateau of 180 mmHg or more for 0.5 to "
    "10 s, then rings.",
    status="C",
    source="common practice, no source",
    parameters={},
    find=find_flush,
)
A9 = Rule(
    code="A9",
    name="gap, frozen or withdrawn",
    family="artefact",
    needs=(),
    phase=(),
    words="A channel is missing for longer than twice its interval, repeats one value, or is off its scale,"
    " between its first and last usable value, for at least {minimum} s. Channels of one source whose"
    " stretches begin and end within {together} s are told as one; a venous saturation that is blank "
    "under {stagnant} L/min is none.",
    status="D",
    source="this project's choice",
    parameters={
        "minimum": Parameter(2, "s", "shortest stretch that is told"),
        "stagnant": Parameter(0.3, "L/min", "flow under which a venous saturation may be blank"),
        "together": Parameter(3, "s", "how far apart the ends on channels of one source may lie"),
    },
    find=find_gap,
)
RULES = (A1, A2, A9)

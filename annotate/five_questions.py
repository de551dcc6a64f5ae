"""Is it real? The five questions that stand beside every find, answered as far as the evidence goes.

Do independent sites agree; does a downstream channel follow with the right delay; is the shape possible; is there a
human mark near; is the time base right (common practice, no source). The numbers here are this project's choice. An
answer is no verdict: that an independent site does not agree speaks for an artefact of one line, and against a find
of the patient.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from .order import Z95
from .rules import Find
from .runs import FloatArray, median
from .view import CORE_NAMES, View

if TYPE_CHECKING:
    from afterclamp.io.case import Case, TimedNote

    from .marks import Mark

QUESTIONS = (
    "Do independent sites agree?",
    "Does a downstream channel follow, with the right delay?",
    "Is the shape possible?",
    "Is there a human mark near?",
    "Is the time base right?",
)
HUMAN_MARK = 3
"""Number of the question after a human mark."""
Said = Literal["yes", "no", "cannot tell"]

BEFORE_S = 60
"""Seconds over which the level before is a median."""
SEEN = 0.5
"""Share of a find's seconds that another channel must have been seen in to be asked."""
AGREES = 0.5
"""Share of a channel's own change by which another site of the same sign agrees."""
NEAR_S = 120.0
"""How far from a find a line of text or a mark still is near."""
ANSWERS_S = 10
"""Seconds over which a downstream channel's answer is a median."""
SUDDEN = frozenset({"A1", "A2", "A3", "A7", "A8"})
"""Artefacts whose rule goes by a change that is faster than a circulation's."""
MINUTE_S = 60.0
LISTED = 3


@dataclass(frozen=True)
class Answer:
    """One answer.

    Attributes
    ----------
    said : str
        ``"yes"``, ``"no"`` or ``"cannot tell"``.
    words : str
        Why, in a sentence with its numbers.
    """

    said: Said
    words: str


@dataclass(frozen=True, slots=True)
class _Follows:
    """A channel downstream: what change is one, and within how long after the onset."""

    least: float
    unit: str
    within_s: float


_SATURATION = _Follows(3.0, "points", 300.0)
_RESERVOIR = _Follows(100.0, "mL", 120.0)
_PRESSURE = _Follows(5.0, "mmHg", 60.0)
_CORE = _Follows(0.3, "°C", 900.0)
_FASTEST: Mapping[str, tuple[float, str]] = {
    "pressure": (60.0, "mmHg"),
    "temperature": (1.0, "°C"),
    "saturation": (10.0, "points"),
}
"""By how much the mean of one second can differ from that of the last one, by kind."""


def answers(
    view: View, find: Find, notes: Iterable[TimedNote] = (), marks: Iterable[Mark] = ()
) -> tuple[Answer, ...]:
    """The five answers for one find, in the order of `QUESTIONS`.

    Parameters
    ----------
    view : View
        The case at one value a second; what is masked is NaN.
    find : Find
    notes : iterable of TimedNote
        Lines that people wrote or said.
    marks : iterable of Mark
        What people marked; those that came from this find do not count.

    Returns
    -------
    tuple of Answer
        Five.
    """
    return (
        sites_agree(view, find),
        downstream_follows(view, find),
        shape_possible(view, find),
        human_mark_near(find, notes, marks),
        time_base_right(view, find),
    )


def of_case(case: Case, finds: Sequence[Find], view: View | None = None) -> dict[str, tuple[Answer, ...]]:
    """The five answers for each of some finds, by key of the find.

    Parameters
    ----------
    case : Case
    finds : sequence of Find
    view : View, optional
        The case as a view, where it was made already.
    """
    from .marks import marks

    seen = View.of(case) if view is None else view
    said = marks(case)
    return {find.key: answers(seen, find, case.notes, said) for find in finds}


def sites_agree(view: View, find: Find) -> Answer:
    """Whether other sites of the same sort changed likewise, by half as much or more and in the same sense."""
    name = find.site or (find.channels[0] if find.channels else "")
    others = [other for other in _same_sort(view, name) if other != name]
    if not others:
        return Answer("cannot tell", f"no second site beside {_plain(name)} was recorded")
    start, stop = _seconds(view, find)
    own = _change(view.values.get(name), start, stop)
    told, changes, agreeing = [], [], 0
    for other in others:
        change = _change(view.values[other], start, stop)
        if change is None:
            told.append(f"{_plain(other)} cannot tell")
            continue
        changes.append(change)
        told.append(_moved(other, change))
        agreeing += own is not None and own * change > 0 and abs(change) >= AGREES * abs(own)
    listed = f"{', '.join(told)} against the minute before"
    asked = len(changes)
    if not asked:
        return Answer("cannot tell", f"no other site was seen in half of its seconds ({', '.join(told)})")
    if own is None:
        stayed = all(abs(change) < _least_change(name) for change in changes)
        words = f"its own seconds are masked; meanwhile {listed}"
        return Answer("no" if stayed else "cannot tell", words)
    if abs(own) < _least_change(name):
        return Answer("cannot tell", f"{_moved(name, own)}; meanwhile {listed}")
    words = f"{agreeing} of {asked}; {_moved(name, own)}; {listed}"
    return Answer("yes" if agreeing * 2 >= asked else "no", words)


def downstream_follows(view: View, find: Find) -> Answer:
    """Whether a channel downstream changed after the onset, beyond its own noise of the minute before."""
    first = find.channels[0] if find.channels else ""
    asked = [
        (name, how)
        for name, how in _downstream(view, first)
        if name not in find.channels and name != find.site
    ]
    if not asked:
        return Answer("cannot tell", "no channel downstream of it was recorded")
    told, followed = [], False
    for name, how in asked:
        doubt = Z95 * view.sd_between(first, find.start_s, name, find.start_s)
        if not np.isfinite(doubt):
            told.append(f"{_plain(name)}: a clock is not set")
            continue
        answer = _answer_of(view, name, how, find, doubt)
        if answer is None:
            told.append(f"{_plain(name)}: not seen")
        elif isinstance(answer, str):
            followed = True
            told.append(f"{_plain(name)} {answer}")
        else:
            told.append(f"{_plain(name)} moved by {answer:.0f} {how.unit} at most")
    if followed:
        return Answer("yes", "; ".join(told))
    unknown = all(text.endswith(("not seen", "not set")) for text in told)
    return Answer("cannot tell" if unknown else "no", "; ".join(told))


def shape_possible(view: View, find: Find) -> Answer:
    """Whether the line moved no faster than a patient's can, by its means of one second."""
    seen = find.evidence.get("seen")
    if find.code.startswith("A") and isinstance(seen, Mapping) and seen.get("reason"):
        if find.code in SUDDEN:
            return Answer("no", f"no patient does that: {seen['reason']}")
        return Answer(
            "cannot tell", f"a slow change of one line can be either; its rule saw: {seen['reason']}"
        )
    name = find.site or (find.channels[0] if find.channels else "")
    kind = _kind_of(name)
    values = view.values.get(name)
    if kind not in _FASTEST or values is None:
        return Answer("cannot tell", f"{_plain(name)} may change at once")
    start, stop = _seconds(view, find)
    around = values[max(0, start - 10) : min(view.n, stop + 10)]
    steps = np.abs(np.diff(around))
    steps = steps[np.isfinite(steps)]
    if not len(steps):
        return Answer("cannot tell", "no two seconds beside each other were seen")
    fastest, (bound, unit) = float(steps.max()), _FASTEST[kind]
    words = f"{_plain(name)} moved by {fastest:.1f} {unit} at most from one second to the next"
    return Answer("yes" if fastest <= bound else "no", f"{words}; {bound:g} {unit} is taken for possible")


def human_mark_near(find: Find, notes: Iterable[TimedNote] = (), marks: Iterable[Mark] = ()) -> Answer:
    """Whether somebody wrote, said or marked something within two minutes of it, the ± of its time included."""
    near = []
    for note in notes:
        if not np.isfinite(note.sd_s):
            continue
        half = Z95 * note.sd_s
        away = _away(find, note.t, note.t)  # a remark that lasts for hours is made where it begins
        if away <= NEAR_S + half and note.text:
            near.append((away, f"“{note.text}” ({note.source}, {_when(find, note.t, half)})"))
    for mark in marks:
        if any(copy.get("key") == find.key for copy in mark.found):
            continue
        away = _away(find, mark.start_s, mark.end_s)
        if away <= NEAR_S:
            what = " ".join(part for part in (mark.code, mark.text) if part) or mark.kind
            near.append((away, f"“{what}” (marked by {mark.author}, {_when(find, mark.start_s, 0.0)})"))
    if not near:
        return Answer("no", f"nothing was written, said or marked within {NEAR_S / 60:.0f} min of it")
    ordered = [words for _, words in sorted(near, key=lambda one: one[0])]
    more = f", and {len(ordered) - LISTED} more" if len(ordered) > LISTED else ""
    return Answer("yes", "; ".join(ordered[:LISTED]) + more)


def time_base_right(view: View, find: Find) -> Answer:
    """Whether the channels of a find could lie a minute apart: by one clock not, by two within their ±."""
    sources = {name: view.source[name] for name in (find.site, *find.channels) if view.source.get(name)}
    if not sources:
        return Answer("cannot tell", "where its channels come from is not known")
    if len(set(sources.values())) == 1:
        return Answer("yes", f"all of it comes from one clock, that of {next(iter(sources.values()))}")
    names = list(sources)
    widest, pair = -1.0, (names[0], names[0])
    for number, one in enumerate(names):
        for other in names[number + 1 :]:
            half = Z95 * view.sd_between(one, find.start_s, other, find.start_s)
            if half > widest:
                widest, pair = half, (one, other)
    between = f"{sources[pair[0]]} and {sources[pair[1]]}"
    if not np.isfinite(widest):
        return Answer("cannot tell", f"a clock of {between} is not set: they may lie any time apart")
    words = f"{between} are known to ± {widest:.1f} s against each other"
    bound = min(MINUTE_S, max(find.duration_s, 1.0))
    return Answer(
        "yes" if widest < bound else "no",
        words if widest < bound else f"{words}, and it lasts {find.duration_s:.0f} s",
    )


# -- inside ------------------------------------------------------------------------------------------


def _seconds(view: View, find: Find) -> tuple[int, int]:
    start = view.index(find.start_s)
    return start, max(start + 1, view.index(find.end_s))


def _change(values: FloatArray | None, start: int, stop: int) -> float | None:
    """Level during, against the minute before; None where either was not seen enough."""
    if values is None:
        return None
    during = values[start:stop]
    if np.count_nonzero(np.isfinite(during)) < SEEN * (stop - start):
        return None
    change = median(during) - median(values[max(0, start - BEFORE_S) : start])
    return float(change) if np.isfinite(change) else None


def _answer_of(view: View, name: str, how: _Follows, find: Find, doubt_s: float) -> str | float | None:
    """How it followed, in words; how far it moved where that is within its noise; None where it was not seen."""
    values = view.values[name]
    start = view.index(find.start_s)
    stop = view.index(find.start_s + how.within_s)
    before_s = values[max(0, start - BEFORE_S) : start]
    level = median(before_s)
    after = values[start:stop]
    if not np.isfinite(level) or np.count_nonzero(np.isfinite(after)) < ANSWERS_S:
        return None
    noise = 3 * 1.4826 * median(np.abs(before_s - level))
    pieces = [after[at : at + ANSWERS_S] for at in range(0, len(after), ANSWERS_S)]
    levels = np.array([median(piece) for piece in pieces]) - level
    if not np.isfinite(levels).any():
        return None
    least = max(how.least, noise)
    beyond = np.flatnonzero(np.abs(levels) >= least)
    largest = float(levels[int(np.nanargmax(np.abs(levels)))])
    if not len(beyond):
        return abs(largest)
    within = ANSWERS_S * (int(beyond[0]) + 1)
    size = f"{abs(largest):.{1 if abs(largest) < 10 else 0}f} {how.unit}"
    sense = "rose" if largest > 0 else "fell"
    doubt = f" ± {doubt_s:.0f} s" if doubt_s >= 0.5 else ""
    return f"{sense} by {size}, beginning within {within} s{doubt} of its onset"


def _downstream(view: View, name: str) -> list[tuple[str, _Follows]]:
    kind = _kind_of(name)
    there = [one for one in view.values if view.get(one) is not None]
    saturations = [(one, _SATURATION) for one in there if _kind_of(one) == "saturation"]
    reservoir = [("reservoir_volume", _RESERVOIR)] if "reservoir_volume" in there else []
    if name == "pump_flow":
        pressure = [(view.believed, _PRESSURE)] if view.believed else []
        return [*pressure, *reservoir, *saturations]
    if kind == "pressure":
        return [*reservoir, *saturations]
    if name in ("outlet_temperature", "venous_temperature"):
        return [(one, _CORE) for one in CORE_NAMES if one in there][:1]
    return []


def _moved(name: str, change: float) -> str:
    if abs(change) < _least_change(name) / 3:
        return f"{_plain(name)} stayed"
    digits = 1 if abs(change) < 10 else 0
    return f"{_plain(name)} {change:+.{digits}f} {_unit_of(name)}"


def _same_sort(view: View, name: str) -> list[str]:
    there = [one for one in view.values if view.get(one) is not None]
    if name in view.arterial:
        return [one for one in view.arterial if one in there]
    if name.endswith("_cerebral_saturation"):
        return [one for one in there if one.endswith("_cerebral_saturation")]
    if name in CORE_NAMES:
        return [one for one in there if one in CORE_NAMES]
    return []


def _kind_of(name: str) -> str:
    for kind in ("temperature", "saturation"):
        if name.endswith(kind):
            return kind
    other = name in ("haemoglobin", "heart_rate") or name.endswith(("flow", "volume"))
    return "other" if other or not name else "pressure"


def _unit_of(name: str) -> str:
    return {"temperature": "°C", "saturation": "points", "pressure": "mmHg"}.get(_kind_of(name), "")


def _least_change(name: str) -> float:
    """Under which a channel's own change is too small to be looked for elsewhere."""
    return 0.3 if _kind_of(name) == "temperature" else 3.0


def _plain(name: str) -> str:
    return {"cvp": "central venous", "pa": "pulmonary artery"}.get(
        name, name.replace("_", " ")
    ) or "this line"


def _away(find: Find, start_s: float, end_s: float) -> float:
    return max(0.0, find.start_s - end_s, start_s - find.end_s)


def _when(find: Find, t: float, half_s: float) -> str:
    doubt = f" ± {half_s:.0f} s" if half_s >= 0.5 else ""
    lag = find.start_s - t
    if abs(lag) < 0.5:
        return f"at its onset{doubt}"
    return f"{abs(lag):.0f} s{doubt} {'before' if lag > 0 else 'after'} its onset"

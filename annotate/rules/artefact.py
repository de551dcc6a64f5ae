"""Artefacts as finds: what `quality` saw on each channel, told once for channels that share it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ..artefact_numbers import FLUSH, OPEN_TO_AIR, RAMP, UNUSABLE
from ..runs import FloatArray, median
from ..view import View
from .rule import Find, Params, Rule, alternative, in_words, rounded

if TYPE_CHECKING:
    from ..quality import Artefact


AROUND_S = 30  # s before and after, over which levels are told
STEADY_MMHG = 10.0  # mm[Hg] within which another site stayed where it was
PLAIN, DOUBTFUL = 0.9, 0.6  # how plain an artefact is where the other sites stayed, and where one moved
MOVED = "sensor moved or off"  # what an A9 is called whose values are there
FULL = "clipped line"  # and one whose beats are cut off at the end of its scale, its mean with them
FULL_DOUBTS = {
    "a pressure that truly stays at that value": "no pressure comes to exactly one value from far off, beat after beat"
}
STAGNANT_SHARE = 0.8  # of a gap, with so little flow that the venous blood stood


def finds_of(view: View, code: str, name: str, rule: str, doubts: dict[str, str]) -> list[Find]:
    """One find for each artefact of a code, in order of start; `doubts` are what else it could be, and why not."""
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
        PLAIN if others != "moved" else DOUBTFUL,
        {
            "rule": rule,
            "crossings": [float(artefact.start), float(artefact.end)],
            "before": rounded(median(values[max(0, start - AROUND_S) : max(0, start - 1)])),
            "during": _meanwhile(values[start:stop], artefact.evidence),
            "after": rounded(median(values[stop + 1 : stop + AROUND_S])),
            "used_s": 0,
            "masked_s": view.masked_seconds(channel, start, stop),
            "seen": {key: _plain(value) for key, value in artefact.evidence.items()},
            "other_sites": others or "none recorded",
            "alternatives": [alternative(what, why) for what, why in doubts.items()],
        },
    )


def _meanwhile(values: FloatArray, seen: Mapping[str, Any]) -> float | None:
    """The level meanwhile: what was seen of the wave, else the median of what is not masked; None without either."""
    known = [seen[key] for key in ("level_mmhg", "plateau_mmhg") if seen.get(key) is not None]
    return rounded(float(known[0]) if known else median(values))


def _others(view: View, channel: str, start: int, stop: int) -> str:
    """Whether the other arterial sites moved meanwhile: ``"steady"``, ``"moved"``, empty without any."""
    if channel not in view.arterial:
        return ""
    moves = []
    for name in view.arterial:
        if name == channel:
            continue
        move = median(view.values[name][start:stop]) - median(
            view.values[name][max(0, start - AROUND_S) : start]
        )
        if np.isfinite(move):
            moves.append(abs(move))
    if not moves:
        return ""
    return "steady" if max(moves) < STEADY_MMHG else "moved"


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
    return finds_of(view, "A1", A1.name, A1.sentence(), doubts)


def find_flush(view: View, params: Params) -> list[Find]:  # noqa: ARG001
    """A2: see the rule's words."""
    doubts = {
        "a surge of pressure": "that rises over many beats and keeps beats on it; no patient rises so fast"
    }
    return finds_of(view, "A2", A2.name, A2.sentence(), doubts)


def find_gap(view: View, params: Params) -> list[Find]:
    """A9: see the rule's words; channels of one source that lose the same seconds are told as one."""
    doubts = {"an arrest": "an arrest is seen on several channels, and their values are still recorded"}
    singles = [_sensor_or_gap(one) for one in finds_of(view, "A9", A9.name, A9.sentence(params), doubts)]
    merged: list[Find] = []
    for find in singles:
        source = view.source.get(find.channels[0], "")
        slack = max(params["together"], params["intervals"] * view.interval.get(find.channels[0], 1.0))
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
        channels = tuple(sorted({*other.channels, *find.channels}))
        merged[twin] = Find(
            other.code,
            other.name,
            min(other.start_s, find.start_s),
            max(other.end_s, find.end_s),
            channels,
            "",
            other.confidence,
            {**other.evidence, "together": f"the same seconds are lost on {in_words(channels)}"},
        )
    return [
        find for find in merged if find.duration_s >= params["minimum"] and not _stagnant(view, find, params)
    ]


def _sensor_or_gap(find: Find) -> Find:
    """A sensor that was moved has doubts of its own, and so has a full channel: values are there, and are wrong."""
    if find.evidence["seen"].get("what") == "clipped":
        told = [alternative(*pair) for pair in FULL_DOUBTS.items()]
        return replace(find, name=FULL, evidence={**find.evidence, "alternatives": told})
    if find.evidence["seen"].get("what") != "sensor moved":
        return find
    doubts = {
        "a true change": "a saturation falls over half a minute or longer, and the other side or the pressures tell of "
        "it; a body is not cooled or warmed so fast"
    }
    told = [alternative(what, why) for what, why in doubts.items()]
    return replace(find, name=MOVED, evidence={**find.evidence, "alternatives": told})


def _stagnant(view: View, find: Find, params: Params) -> bool:
    """Whether only a saturation of standing venous blood is missing, which says nothing and is often blanked."""
    if view.flow is None or any(not name.endswith("venous_saturation") for name in find.channels):
        return False
    flow = view.flow[view.index(find.start_s) : view.index(find.end_s) + 1]
    flow = flow[np.isfinite(flow)]
    return bool(flow.size and np.mean(flow < params["stagnant"]) >= STAGNANT_SHARE)


RAMPS = (
    f"Masked with it is what leads into or out of it without a beat: a rise of at least {RAMP['rise'].value:g} mmHg "
    f"that lasts {RAMP['shortest'].value:g} to {RAMP['longest'].value:g} s, longer than any beat rises, or "
    f"{RAMP['still'].value:g} to {RAMP['longest'].value:g} s that go one way or lie still, turning back by no more "
    f"than {RAMP['swing'].value:g} mmHg; the {RAMP['edge'].value:g} s of the fall to an opening are passed over."
)

A1 = Rule(
    code="A1",
    name="line open to air",
    family="artefact",
    needs=(),
    phase=(),
    words="A pressure goes to 0 ± {level} mmHg within {within} s, lies still there (standard deviation under {sd}"
    " mmHg) for {shortest} to {longest} s, and comes back within {within} s; either change is at least {step} mmHg"
    " ({step_venous} of a central venous, {step_pulmonary} of a pulmonary artery pressure). A record or a connection "
    "that begins or ends meanwhile stands for the change on that side. A still level up to {near} mmHg off zero that "
    "steps straight to it, as before the zero key is pressed, belongs to it (arterial lines). Longer than {longest} s "
    "it is told as a sensor off (A9). Where every other arterial site loses {others_fall} % or more at the same moment"
    " it is taken for the patient, unless every one of them, on the same source, is opened with it for half of the "
    "time or more, and all lie within {together} mmHg of zero: then the lines of a pole were zeroed together.",
    status="D",
    source="this project's choice",
    parameters=OPEN_TO_AIR,
    find=find_open_to_air,
    version=3,
    grid_s=0.0,
    details="The wave is read in steps of {block} s, each still up to a spread of {swing} standard deviations; "
    "disturbances of {joined} s do not end it. Level and standard deviation leave out {margin} s at each end and "
    "samples beyond {trusted} times the level; the levels before and after are means over {around} s. The start is "
    "put back to the last moment within {share} % of the change from the level before, of a pulse from its lower edge"
    " ({edge}th percentile). A level off zero stays within {near_spread} mmHg for at least {near_shortest} s and "
    "steps within {near_gap} s. Another site had at least {others_from} mmHg over the {others_before} s before; one "
    "of the same or of an unknown site counts only if one source recorded both, and one of another source only where "
    "the clocks leave less doubt than {within} s. How plain it is: "
    f"{PLAIN:g}, or {DOUBTFUL:g} where another site moved by {STEADY_MMHG:g} mmHg or more from its level of the "
    f"{AROUND_S} s before. {RAMPS}",
)
A2 = Rule(
    code="A2",
    name="fast flush",
    family="artefact",
    needs=(),
    phase=(),
    words="A pressure rises by at least {rise} mmHg within {within} s to a plateau of {level} mmHg or more without "
    "beats for {shortest} to {longest} s, clipped or not, and falls by at least {rise} mmHg within {within} s. A valve "
    "that is held open for up to {held} s is told too. From "
    "{brief} s on a plateau counts where it falls so far within {abrupt} s, faster than any pulse. A record that "
    "begins on the plateau stands for the rise; one that ends on it is no flush. {ring} s of ring after it are masked"
    " with it.",
    status="C",
    source="rise, plateau and its length; all other numbers, and shorter plateaus, are this project's choice",
    parameters=FLUSH,
    find=find_flush,
    version=3,
    grid_s=0.0,
    details="Dips of {joined} s, down to {dip} mmHg under the lowest plateau, do not end it. It has beats on it where "
    "the 5th to 95th percentile spans more than {spread} mmHg, {lead} s at its start and {tail} s at its end left out, "
    "unless it rings as it dies away: {ringing_swings} swings or more of {ringing_swing} mmHg, each within "
    "{ringing_half} s and smaller than the one before (those that the top of the scale cuts off left out), the last "
    "{ringing_left} % of the first at most. The start is put back to the last moment within {share} % of the rise; it "
    "is called clipped where it lies at exactly its top for {clip} s. Seconds before it without a pulse of "
    "{still_swing} mmHg are told where there are {still_from} to {still_to} of them. How "
    f"plain it is: {PLAIN:g}, or {DOUBTFUL:g} where another site moved by {STEADY_MMHG:g} mmHg or more. {RAMPS}",
)
A9 = Rule(
    code="A9",
    name="gap, frozen or withdrawn",
    family="artefact",
    needs=(),
    phase=(),
    words="Between its first and last usable value a channel is missing for longer than {intervals} intervals (a wave"
    " for more than {gap} s), repeats one value, lies at the end of its scale, or holds a pattern of its device; told "
    "from {minimum} s on. One value: on a wave of pressure for {frozen} s ({frozen_coarse} s in coarse steps, "
    "{frozen_other} s on another wave), in rows {rows} times or more where they are noisy enough. End of the scale: "
    "{low} s at the lowest value ({low_other} s on a wave that is no pressure), {high} s at the highest. Pattern: "
    "a pressure of two to {levels} levels at least {apart} mmHg apart, changing {crossings} times a second or more, "
    "for {pattern} s. A pressure still at zero for longer than an opening to air (A1) is one too. Before the first "
    "and after the last usable value a line is not in, or out, which is none; nor is what an opening or a flush "
    "explains. Channels of one source whose stretches begin and end within {together} s, or {intervals} intervals, "
    "are told as one. A sensor that was moved is one as well: a cerebral saturation that steps by more than {pad_step} "
    "points within {pad_within} s while the other side stays within {pad_other} and no pressure or flow changes; a "
    "temperature that steps by more than {probe_step} °C within {probe_within} s, one of blood only while the pump "
    "runs on unchanged; until it is back, or, where that takes more than {sensor_longest} s, until it has settled. "
    "So is a line whose beats are cut off at the end of its scale for so much of the time that the mean is wrong too "
    "(how they are told is said with A4). "
    "A venous saturation that is blank is none unless a recorded flow shows that blood flowed "
    "({flowing} L/min or more for over {flowing_share} % of it; less than {stagnant} L/min "
    f"for {100 * STAGNANT_SHARE:g} % of it is none).",
    status="D",
    source="this project's choice",
    parameters=UNUSABLE,
    find=find_gap,
    version=5,
    details="Steps of {coarse} units or more are coarse; a wave that repeats itself for more than {restless} % of the "
    "time is not judged. Rows are noisy where {reversals} % of their changes turn back, {wide} % of those on a side "
    "exceed one step of the reading, and under {repeats} % of the {neighbours} rows on either side repeat; {rows} "
    "equal rows are told where at most {noisy} % of those repeat or have that very value, and where more do as many "
    "more rows as make the run just as rare, never at zero. A side of fewer than {rows} rows says nothing. A pattern "
    "may break for {pattern} s. A stretch is explained by an "
    "opening or a flush that covers it to {explained} s. The level that a sensor steps from is the median of up to "
    "{sensor_before} s, at least {sensor_seen} of them recorded; its start is put back to the last second within "
    "{sensor_share} % of the step. It is back when it stays within {sensor_back} % of the step from that level for "
    "{sensor_hold} s, and has settled when it stays within {pad_settled} points or {probe_settled} °C for "
    "{sensor_settle} s. Pressures and flow changed where an artery moved by more than {sensor_arterial} mmHg, a "
    "central venous pressure by {sensor_venous} or the flow by {sensor_flow} L/min. Rows further apart than the time "
    "that a step may take say nothing, nor does one side of a saturation without the other. "
    f"How plain it is: {PLAIN:g}, or {DOUBTFUL:g} where another site moved by {STEADY_MMHG:g} mmHg or more.",
)
RULES = (A1, A2, A9)

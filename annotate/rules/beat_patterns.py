"""Patterns from beat to beat: early beats, strong and weak by turns, change with the breath."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..beats import Beats
from ..runs import BoolArray, FloatArray, Run, evidence_runs, median, median_before, running_mean, smooth
from ..view import View
from .arrhythmia import interval_spread
from .course_find import course_find
from .rule import RUNS, Find, Parameter, Params, Rule, alternative, rounded

BREATHS_S = 9
AROUND_BEATS = 21  # beats that a usual interval is a median of
PLAIN_DIP, PLAIN_SHARE = 10.0, 4.0  # mm[Hg], and % of a pulse, beyond a limit that are plain
BEGUN = 10  # %, of the fall, within which it has not begun
REACH_S = 20
SPIKE_AROUND_S = 10  # s on either side that a venous pressure is a median of: a spike is shorter


# -- E04 -------------------------------------------------------------------------------------------


def find_handling_dip(view: View, params: Params) -> list[Find]:
    """E04: see the rule's words."""
    pressure, beats = view.pressure, view.beats.get(view.believed)
    assert pressure is not None
    level = smooth(running_mean(pressure, 3), 5)
    usual = _usual_level(level)
    dip = (usual - level >= params["fall"]) & view.off_bypass
    known = np.isfinite(level) & np.isfinite(usual)
    cvp = view.cvp
    found = []
    for run in evidence_runs(dip & known, known, minimum=int(params["shortest"]), close=10):
        if run.stop - run.start > params["longest"]:
            continue
        base, lowest = float(usual[run.start]), float(np.nanmin(level[run.start : run.stop]))
        if lowest < params["collapse"] and lowest <= (1 - params["collapse_fall"] / 100) * base:
            continue  # as deep as a collapse, which has a rule of its own
        start = _fall_began(level, run.start, base, lowest)
        early = (
            early_beats(beats, view.time(start) - 2, view.time(run.stop), params["early"])
            if beats is not None
            else 0
        )
        spike = _spike(cvp, start, run.stop)
        if early < params["beats"] and not spike >= params["spike"]:
            continue
        nadir = run.start + int(np.nanargmin(level[run.start : run.stop]))
        after = level[nadir : nadir + int(params["back_within"])]
        back = np.flatnonzero(after >= base - (1 - params["back"] / 100) * (base - lowest))
        if not back.size:
            continue  # it did not come back: bleeding, or a rhythm that stayed
        stop = max(nadir + int(back[0]), start + 1)
        whole = Run(
            start,
            stop,
            int(np.isfinite(level[start:stop]).sum()),
            int((~np.isfinite(level[start:stop])).sum()),
        )
        found.append(
            course_find(
                E04, view, whole, level, params=params,
                channels=(view.believed, *(("cvp",) if cvp is not None else ())),
                limit=base - params["fall"], unit="mm[Hg]", above=False, plain=PLAIN_DIP, minimum=params["shortest"],
                site=view.believed, early_beats=early, venous_spike=rounded(spike),
                alternatives=[
                    alternative("bleeding", "it came back by itself within "
                                f"{int(back[0])} s of its lowest"),
                    alternative("a rhythm that stays", f"{early} early beats, and the pressure came back"),
                    alternative("a sampled or zeroed line",
                                f"{view.masked_seconds(view.believed, start, stop)} s masked"),
                ],
            )
        )  # fmt: skip
    return found


def _spike(cvp: FloatArray | None, start: int, stop: int) -> float:
    """How far the venous pressure rose over its median of some seconds, which no slow filling does; NaN without one."""
    if cvp is None:
        return float("nan")
    piece = cvp[max(0, start - SPIKE_AROUND_S) : stop + SPIKE_AROUND_S]
    above = piece - smooth(piece, 2 * SPIKE_AROUND_S + 1)
    return float(np.nanmax(above)) if np.isfinite(above).any() else float("nan")


def _usual_level(level: FloatArray, seconds: int = 120, step: int = 5) -> FloatArray:
    """Median of the two minutes before each second, the last ten seconds left out; known to five seconds."""
    return median_before(level, seconds, step=step, skip=10)


def _fall_began(level: FloatArray, first: int, base: float, lowest: float) -> int:
    piece = level[max(0, first - REACH_S) : first + 1]
    still = np.flatnonzero(piece >= base - BEGUN / 100 * (base - lowest))
    return max(0, first - REACH_S) + int(still[-1]) + 1 if still.size else first


def early_beats(beats: Beats, t0: float, t1: float, share: float) -> int:
    """Beats of a stretch that came early: with an interval under `share` per cent of the usual one."""
    length = beats.end - beats.onset
    if length.size < AROUND_BEATS:
        return 0
    usual = smooth(length, AROUND_BEATS)
    early = length < share / 100 * usual
    inside = (beats.onset >= t0) & (beats.onset < t1)
    return int(np.count_nonzero(early & inside))


# -- E29 -------------------------------------------------------------------------------------------


def find_alternans(view: View, params: Params) -> list[Find]:
    """E29: see the rule's words."""
    beats = view.beats.get(view.believed)
    if beats is None or len(beats) < params["window"]:
        return []
    share, alternating = alternation(beats, int(params["window"]), int(params["of_window"]))
    spread = interval_spread(view, beats)
    second = np.clip(np.floor(beats.onset - view.start).astype(np.intp), 0, view.n - 1)
    course = _by_second(view.n, second, share)
    turns = _by_second(view.n, second, alternating.astype(float)) > 0.5
    holds = (course >= params["share"]) & turns & (spread < params["regular"]) & view.off_bypass
    known = np.isfinite(course) & np.isfinite(spread) & np.isfinite(view.values[view.believed])
    found = []
    for run in evidence_runs(holds & known, known, minimum=int(params["minimum"]), close=10):
        others = [
            name for name, its in view.beats.items()
            if name != view.believed and len(its) >= params["window"] and _alternates_too(view, its, run, params)
        ]  # fmt: skip
        found.append(
            course_find(
                E29, view, run, course, params=params, channels=(view.believed, *others), limit=params["share"],
                unit="%", above=True, plain=PLAIN_SHARE, minimum=params["minimum"], site=view.believed,
                of="difference of neighbouring pulses", intervals_spread=rounded(median(spread[run.start : run.stop])),
                alternatives=[
                    alternative("beats in pairs (bigeminy)", "the intervals were regular: "
                                f"they spread by {median(spread[run.start : run.stop]):.1f} %"),
                    alternative("change with the breath", "that has a period of three to six beats, this one of two"),
                    alternative("a line that rings",
                                "other lines show it too" if others else "cannot tell: no other line shows it"),
                ],
            )
        )  # fmt: skip
    return found


def alternation(beats: Beats, window: int, least: int) -> tuple[FloatArray, BoolArray]:
    """How far neighbouring pulses differ around each beat, % of the mean pulse, and whether they go by turns."""
    pulse = beats.pulse_pressure
    steps = np.diff(pulse, prepend=pulse[:1])
    turn = np.sign(steps[1:]) * np.sign(steps[:-1]) < 0
    turn = np.concatenate(([False], turn))
    ones = np.ones(window)
    turns = np.convolve(turn.astype(float), ones, "same")
    mean = np.convolve(pulse, ones / window, "same")
    # Of what goes by turns only: a pulse that drifts or breathes cancels.
    signs = np.where(np.arange(pulse.size) % 2, -1.0, 1.0)
    by_turns = np.abs(np.convolve(pulse * signs, ones / window, "same")) * 2
    with np.errstate(invalid="ignore", divide="ignore"):
        return 100 * by_turns / mean, turns >= least


def _by_second(count: int, second: NDArray[np.intp], values: FloatArray) -> FloatArray:
    """Mean over the beats of each second; a second between two beats has the one before, up to two seconds."""
    seen = np.isfinite(values)
    number = np.bincount(second[seen], minlength=count)
    with np.errstate(invalid="ignore", divide="ignore"):
        out = np.bincount(second[seen], values[seen], minlength=count) / number
    for _ in range(2):
        gap = np.isnan(out)
        out[1:][gap[1:]] = out[:-1][gap[1:]]
    return np.asarray(out)


def _alternates_too(view: View, beats: Beats, run: Run, params: Params) -> bool:
    share, turns = alternation(beats, int(params["window"]), int(params["of_window"]))
    inside = (beats.onset >= view.time(run.start)) & (beats.onset < view.time(run.stop))
    return bool(
        inside.any() and np.mean(turns[inside]) > 0.5 and median(share[inside]) >= params["share"] / 2
    )


# -- E30 -------------------------------------------------------------------------------------------


def find_pulse_variation(view: View, params: Params) -> list[Find]:
    """E30: see the rule's words."""
    beats = view.beats.get(view.believed)
    if beats is None or len(beats) < 2 * AROUND_BEATS:
        return []
    variation = breath_variation(view, beats, params["breath"])
    spread = interval_spread(view, beats)
    known = np.isfinite(variation) & np.isfinite(spread) & np.isfinite(view.values[view.believed])
    holds = (variation > params["above"]) & view.off_bypass & known
    found = []
    for run in evidence_runs(holds, known, minimum=int(params["minimum"]), close=20):
        why = gate(view, run, params)
        other = not_the_breath(beats, view, run, median(spread[run.start : run.stop]), params)
        found.append(
            course_find(
                E30, view, run, variation, params=params, channels=(view.believed,), limit=params["above"], unit="%",
                above=True, plain=PLAIN_SHARE, minimum=params["minimum"], site=view.believed,
                name=E30.name if not why else f"{E30.name} (not interpretable: {why[0]})",
                label="interpretable" if not why else f"not interpretable: {', '.join(why)}",
                of="pulse pressure variation", held_back=other,
                alternatives=[
                    alternative("an irregular rhythm",
                                f"the intervals spread by {median(spread[run.start : run.stop]):.0f} %"),
                    alternative("an open chest", "then the value is too low rather than too high"),
                    alternative("a failing right heart", "cannot tell from this line: see the venous pressure"),
                ],
            )
        )  # fmt: skip
    return found


def gate(view: View, run: Run, params: Params) -> list[str]:
    """Why a pulse pressure variation cannot be interpreted, in words; empty where nothing speaks against it."""
    facts, why = view.facts, []
    opened, closed = facts.chest_opened_s, facts.chest_closed_s
    middle = view.time((run.start + run.stop) // 2)
    if opened is not None and middle >= opened and (closed is None or middle < closed):
        why.append("open chest")
    if facts.tidal_volume_ml_per_kg is None:
        why.append("tidal volume not known")
    elif facts.tidal_volume_ml_per_kg < params["tidal"]:
        why.append(f"tidal volume {facts.tidal_volume_ml_per_kg:g} mL/kg")
    return why


def not_the_breath(beats: Beats, view: View, run: Run, spread: float, params: Params) -> str:
    """What else than the breath made the pulse change, as a sentence; empty where nothing is seen."""
    if spread > params["regular"]:
        return f"the rhythm was irregular (intervals spread by {spread:.0f} %), and pulses change with that"
    _, turns = alternation(beats, 16, 12)
    inside = (beats.onset >= view.time(run.start)) & (beats.onset < view.time(run.stop))
    if inside.any() and np.mean(turns[inside]) > 0.5:
        return "beats were strong and weak by turns: the pulse changed from beat to beat, not with the breath"
    return ""


def breath_variation(view: View, beats: Beats, breath_s: float) -> FloatArray:
    """Pulse pressure variation of each second, %: highest less lowest over their mean in windows of one breath.

    The windows are of `breath_s`; the value of a second is the median of the windows around it over three
    breaths, so that one odd beat does not make it.
    """
    pulse = beats.pulse_pressure
    first = np.floor(view.start)
    edges = np.arange(first, view.start + view.n + 1)
    low = np.searchsorted(beats.onset, edges[:-1] - breath_s / 2)
    high = np.searchsorted(beats.onset, edges[:-1] + breath_s / 2)
    out = np.full(view.n, np.nan)
    enough = high - low >= 4
    index = np.flatnonzero(enough)
    if index.size:
        pairs = np.column_stack([low[index], high[index]]).ravel()
        padded = np.concatenate((pulse, pulse[-1:]))
        top, bottom = np.maximum.reduceat(padded, pairs)[::2], np.minimum.reduceat(padded, pairs)[::2]
        with np.errstate(invalid="ignore", divide="ignore"):
            out[index] = 100 * (top - bottom) / ((top + bottom) / 2)
    return smooth(out, int(3 * breath_s) // 2 * 2 + 1)


E04 = Rule(
    code="E04",
    name="handling dip with ectopy",
    family="beat_patterns",
    needs=("site",),
    phase=("pre", "post"),
    words="Off bypass, mean pressure falls by {fall} mmHg or more for {shortest} to {longest} s with {beats} early "
    "beats or more (an interval under {early} % of the usual), or with a venous spike of {spike} mmHg or more, and "
    "recovers by {back} % within {back_within} s of its lowest. A fall by {collapse_fall} % or more to under "
    "{collapse} mmHg is left to the rule of collapse.",
    status="D",
    source="this project's choice",
    parameters={
        "fall": Parameter(15, "mm[Hg]", "smallest fall"),
        "shortest": Parameter(5, "s", "shortest length"),
        "longest": Parameter(180, "s", "longest length"),
        "beats": Parameter(3, "1", "fewest early beats"),
        "early": Parameter(80, "%", "of the usual interval, under which a beat is early"),
        "spike": Parameter(5, "mm[Hg]", "or smallest venous spike"),
        "collapse": Parameter(45, "mm[Hg]", "level under which a fall may be a collapse (E02) instead"),
        "collapse_fall": Parameter(40, "%", "and the fall from which it is"),
        "back": Parameter(80, "%", "of the fall that must be made up"),
        "back_within": Parameter(120, "s", "time that it may take"),
    },
    find=find_handling_dip,
    details=f"The pressure is a median of 5 s; its usual level the median of 2 min before, the last 10 s left out; "
    f"the usual interval of {AROUND_BEATS} beats; a spike stands over the median of {2 * SPIKE_AROUND_S + 1} s "
    f"around it. The start is put back to the last second within {BEGUN} % of the fall, up to {REACH_S} s. {RUNS} "
    f"Plain from {PLAIN_DIP:g} mmHg beyond.",
)
E29 = Rule(
    code="E29",
    name="pressure alternans",
    family="beat_patterns",
    needs=("site", "pulse"),
    phase=("pre", "post"),
    words="Off bypass, for at least {minimum} s: neighbouring pulses differ by {share} % of the mean pulse or more, "
    "up and down by turns in {of_window} of {window} beats, while the beat intervals spread by less than {regular} %.",
    status="D",
    source="this project's choice",
    parameters={
        "share": Parameter(8, "%", "smallest difference, of the mean pulse"),
        "window": Parameter(16, "1", "beats that are looked at together"),
        "of_window": Parameter(12, "1", "of them that must go by turns"),
        "regular": Parameter(5, "%", "spread of the intervals under which the rhythm is regular"),
        "minimum": Parameter(15, "s", "shortest length"),
    },
    find=find_alternans,
    details="The difference is of what goes by turns alone, so that breath and drift cancel; another line counts "
    "from half of "
    f"the share on. {RUNS} Plain from {PLAIN_SHARE:g} % beyond.",
)
E30 = Rule(
    code="E30",
    name="high pulse pressure variation",
    family="beat_patterns",
    needs=("site", "pulse"),
    phase=("pre", "post"),
    words="Off bypass, pulse pressure variation over {above} % for at least {minimum} s. Told as not interpretable, "
    "with the reason, where the chest was open or the tidal volume was under {tidal} mL/kg or is not known. Held "
    "back where the rhythm was irregular (intervals that spread by more than {regular} %) or beats were strong and "
    "weak by turns (12 of 16).",
    status="P",
    source="13 % in a valid setting: Michard et al. AJRCCM 2000;162:134-8 (n = 40); a grey zone of 4 to 17 % was "
    "found in 556 patients (PMC4240833); what makes it invalid is from memory",
    parameters={
        "above": Parameter(13, "%", "variation beyond which it counts"),
        "minimum": Parameter(60, "s", "shortest length"),
        "tidal": Parameter(8, "mL/kg", "tidal volume from which it can be interpreted"),
        "regular": Parameter(10, "%", "spread of the intervals up to which the rhythm is regular"),
        "breath": Parameter(5, "s", "length of a breath: twelve a minute"),
    },
    find=find_pulse_variation,
    details="Highest less lowest pulse over their mean in windows of {breath} s with four beats or more, as a median "
    "over three "
    f"breaths. {RUNS} Plain from {PLAIN_SHARE:g} % beyond.",
)
RULES = (E04, E29, E30)

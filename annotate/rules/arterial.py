"""Limits of the arterial pressure: hypotension off bypass, low and high pressure on bypass.

Limits are judged at the believed site, and a believed line that falls alone is no fall of the patient.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from ..order import Z95
from ..runs import FloatArray, Run, evidence_runs, median, running_mean, smooth
from ..view import View
from .arrest import ARRESTED
from .rule import (
    BEFORE_S,
    HIGH_PERCENTILE,
    RUNS,
    SETTLE_S,
    Find,
    Link,
    Parameter,
    Params,
    Rule,
    alternative,
    before,
    confidence,
    counted,
    fall,
    rounded,
)

ONE_SITE_FALL = 8.0  # mm[Hg] that a line must leave its own level by
LEVEL_STEP = 5.0  # mm[Hg], smallest step of a level that is looked at
LEVEL_SAME = 6.0  # mm[Hg], ±3 of each other: pressures that moved together
ONE_SITE_STEADY = 5.0  # mm[Hg] within which the others must stay
EARLY_S = (300, 45)  # s before, over which a line's own level is taken
PULSE_GONE, PULSE_HALVED = 2.0, 0.5  # mm[Hg], and of what it was: a pulse that is gone
STEP_S = (5, 20)  # s on either side of a step, over which its levels are taken
PULSE_SAME = (0.8, 1.25)  # a pulse that stayed as it was, of before
LONG_S = 600  # s from which a stretch is told as long
PLAIN_DEPTH = 5.0  # mm[Hg] beyond a limit that is plain
FLOW_NEAR = 10  # %, of its fall, within which a flow had not begun to fall
FLOW_SMOOTH_S = 5  # s of flow that its levels are medians of
BREATHS_S = 9  # s over which a limit's mean is taken: about two breaths, so that breathing does not cut a run
REFLOW_S = 120  # s; low pressure that begins so soon after an arrest goes with the ramp of the flow


def fell_alone(view: View, start: int, stop: int) -> str:
    """Whether the believed line fell while no other did, as a sentence; empty if not.

    A kinked or blocked catheter drifts alone; so does one limb that gets no blood. Neither is the
    pressure of the patient. With one other site the pulse must be gone as well; with two or more
    that stay where they were the fall alone decides (this project's choice).
    """
    assert view.pressure is not None
    early = slice(max(0, start - EARLY_S[0]), max(0, start - EARLY_S[1]))
    late = slice(start, stop)

    def change(values: FloatArray) -> float:
        return median(values[late]) - median(values[early])

    own = change(view.pressure)
    others = [name for name in view.arterial if name != view.believed]
    changes = [(name, change(view.values[name])) for name in others]
    changes = [(name, moved) for name, moved in changes if np.isfinite(moved)]
    if not changes or not own <= -ONE_SITE_FALL:
        return ""
    if any(abs(moved) > ONE_SITE_STEADY for _, moved in changes):
        return ""
    pulse = view.pulse.get(view.believed)
    gone = False
    if pulse is not None:
        then, now = median(pulse[early]), median(pulse[late])
        gone = bool(np.isfinite(then) and np.isfinite(now) and now <= max(PULSE_GONE, PULSE_HALVED * then))
    if len(changes) == 1 and not gone:
        return ""
    steady = ", ".join(f"{name.replace('_', ' ')} by {moved:+.0f}" for name, moved in changes)
    return (
        f"{view.believed.replace('_', ' ')} fell by {-own:.0f} mmHg alone while {steady} mmHg"
        f"{', and its pulse was lost' if gone else ''}: the line or the limb, not the patient"
    )


def _why_not(view: View, run: Run, limit: float) -> str:
    return fell_alone(view, run.start, run.stop) or moved_together(view, run, limit)


def beside(view: View, run: Run, *names: str) -> str:
    """Whether a run lies so near to phases that the pump dates that it may belong to them, as a sentence.

    Only where the clock of pump or pressure was set by nobody: what is in or out of a phase can then be
    told only in the middle of it (within `REFLOW_S` of its ends it cannot).
    """
    at = view.time(run.start)
    if view.flow is None or np.isfinite(view.sd_between("pump_flow", at, view.believed, at)):
        return ""
    near = view.inside(*names)[max(0, run.start - REFLOW_S) : run.stop + REFLOW_S]
    if not near.any():
        return ""
    return (
        "flow and pressure cannot be ordered, since a clock of theirs is not set: whether it belongs to the phase "
        "beside it, in which a low pressure is planned, cannot be told"
    )


def moved_together(view: View, run: Run, limit: float) -> str:
    """Whether a low pressure is only a shift of every transducer, as a sentence; empty if not.

    All pressures on one pole, venous ones with them, step by the same amount within 5 s with the pulse
    unchanged when pole and patient move apart (0.74 mmHg a centimetre of water), and step back when it
    is mended. Without a venous pressure, or with fewer than three lines, nothing is said.
    """
    down, up = common_step(view, run.start), common_step(view, run.stop)
    assert view.pressure is not None
    if not (down <= -LEVEL_STEP and abs(down + up) <= LEVEL_SAME):
        return ""
    if median(view.pressure[run.start : run.stop]) - down < limit:
        return ""
    return (
        f"every pressure, venous ones too, stepped by about {down:.0f} mmHg within seconds and back by {up:.0f} at the "
        "end, and the pulse stayed: the level of the transducers, not the patient"
    )


def common_step(view: View, index: int) -> float:
    """By how much every pressure stepped together around a second, mm[Hg]; NaN if they did not."""
    near, far = STEP_S
    early, late = slice(max(0, index - far), max(0, index - near)), slice(index + near, index + far)
    names = [*view.arterial, *(name for name in ("cvp", "pa") if view.get(name) is not None)]
    steps = {name: median(view.values[name][late]) - median(view.values[name][early]) for name in names}
    steps = {name: step for name, step in steps.items() if np.isfinite(step)}
    if len(steps) < 3 or not {"cvp", "pa"} & set(steps) or view.believed not in steps:
        return float("nan")
    if max(steps.values()) - min(steps.values()) > LEVEL_SAME:
        return float("nan")
    pulse = view.pulse.get(view.believed)
    if pulse is not None:
        least, most = PULSE_SAME
        if not least <= median(pulse[late]) / max(median(pulse[early]), 1e-9) <= most:
            return float("nan")
    return steps[view.believed]


def _limit_find(
    view: View,
    run: Run,
    *,
    code: str,
    name: str,
    limit: float,
    minimum: float,
    rule: str,
    low: bool = True,
    **more: Any,
) -> Find:
    pressure = view.pressure
    assert pressure is not None
    inside = pressure[run.start : run.stop]
    extreme = float(np.nanmin(inside) if low else np.nanmax(inside))
    depth = abs(median(inside) - limit)
    evidence = {
        "rule": rule,
        "limit": limit,
        "unit": "mm[Hg]",
        "crossings": [view.time(run.start), view.time(run.stop)],
        "before": rounded(before(pressure, run.start)),
        "during": rounded(median(inside)),
        "nadir" if low else "peak": rounded(extreme),
        "after": rounded(median(pressure[run.stop : run.stop + 60])),
        **counted(view, run, view.believed),
        "believed": view.believed_reason,
        **more,
    }
    return Find(
        code,
        name,
        view.time(run.start),
        view.time(run.stop),
        (view.believed,),
        view.believed,
        confidence(
            margin=depth / PLAIN_DEPTH, duration=run.used / minimum, seen=run.used / (run.stop - run.start)
        ),
        evidence,
    )


def _sites_agree(view: View, run: Run) -> dict[str, str]:
    levels = [
        f"{name.replace('_', ' ')} {median(view.values[name][run.start : run.stop]):.0f}"
        for name in view.arterial
        if name != view.believed and np.isfinite(view.values[name][run.start : run.stop]).any()
    ]
    if not levels:
        return alternative(
            "an artefact of this one line", "cannot tell: no other arterial site was recorded then"
        )
    return alternative("an artefact of this one line", f"the others meanwhile: {', '.join(levels)} mmHg")


# -- E01 -------------------------------------------------------------------------------------------


def find_hypotension_off_bypass(view: View, params: Params) -> list[Find]:
    """E01: see the rule's words."""
    pressure = view.pressure
    assert pressure is not None
    level, off = running_mean(pressure, BREATHS_S), view.off_bypass
    known = np.isfinite(level)
    found = []
    for run in evidence_runs((level < params["below"]) & off, known, minimum=int(params["minimum"])):
        told = bool(view.of_name("pre") or view.of_name("post"))
        flow_words = (
            f"no pump flow recorded: {'off by what was written or said' if told else 'taken as off bypass'}"
        )
        if view.flow is not None:
            recorded = np.isfinite(view.flow[run.start : run.stop]).any()
            flow_words = (
                "the pump was not running" if recorded else "no pump flow recorded then: off by the phases"
            )
        find = _limit_find(
            view, run, code="E01", name=E01.name, limit=params["below"], minimum=params["minimum"],
            rule=E01.sentence(params),
            below_55_s=int((pressure[run.start : run.stop] < params["severe"]).sum()),
            longest_epoch=f"{LONG_S // 60} min or longer" if run.used >= LONG_S else f"shorter than {LONG_S // 60} min",
            alternatives=[
                _sites_agree(view, run),
                alternative("low pressure planned on bypass", flow_words),
                alternative("a zeroed, flushed or sampled line",
                            f"{view.masked_seconds(view.believed, run.start, run.stop)} s of it masked, not counted"),
            ],
        )  # fmt: skip
        why_not = _why_not(view, run, params["below"]) or beside(view, run, "bypass")
        found.append(replace(find, held_back=why_not))
    return found


# -- E13 -------------------------------------------------------------------------------------------


def find_pressure_on_bypass(view: View, params: Params) -> list[Find]:
    """E13, low and high: see the rule's words."""
    pressure, flow = view.pressure, view.flow
    assert pressure is not None
    assert flow is not None
    allowed = view.inside("bypass") & ~view.inside(*ARRESTED)
    flowing = allowed & (flow >= params["flow"])
    level = running_mean(pressure, BREATHS_S)
    known = np.isfinite(level) & np.isfinite(flow)
    found = []
    for run in evidence_runs((level < params["below"]) & flowing, known, minimum=int(params["minimum"])):
        kind, words, links = _attribution(view, run, params["flow_fall"] / 100)
        find = _limit_find(
            view, run, code="E13", name=E13.name, limit=params["below"], minimum=params["minimum"],
            rule=E13.sentence(params), attribution=kind, attribution_words=words,
            flow_before=rounded(before(flow, run.start), 2),
            flow_during=rounded(median(flow[run.start : run.stop]), 2),
            alternatives=[
                _sites_agree(view, run),
                alternative("a planned arrest", f"flow was at least {params['flow']:g} L/min and no arrest was on"),
                alternative("flow-led" if kind == "tone-led" else "tone-led", words),
            ],
        )  # fmt: skip
        why_not = _why_not(view, run, params["below"]) or beside(view, run, *ARRESTED)
        found.append(replace(find, linked=links, subtype="hypo", held_back=why_not))
    for run in evidence_runs((level > params["above"]) & flowing, known, minimum=int(params["high_minimum"])):
        find = _limit_find(
            view, run, code="E13", name="hypertension on bypass", limit=params["above"],
            minimum=params["high_minimum"], low=False, rule=E13.sentence(params),
            alternatives=[_sites_agree(view, run)],
        )  # fmt: skip
        found.append(replace(find, subtype="hyper"))
    return found


def _attribution(view: View, run: Run, fraction: float) -> tuple[str, str, tuple[Link, ...]]:
    """Whether the flow fell first, with words and what went before; never a cause."""
    flow = view.flow
    assert flow is not None
    start_s = view.time(run.start)
    doubt = Z95 * view.sd_between("pump_flow", start_s, view.believed, start_s)
    if not np.isfinite(doubt):
        return "not attributed", "flow and pressure cannot be ordered: a clock of theirs is not set", ()
    arrest = [
        phase for phase in view.phases
        if phase.name in ("lower_body_arrest", "no_flow_arrest")
        and 0 <= view.time(run.start) - phase.end_s <= REFLOW_S
    ]  # fmt: skip
    if arrest:
        lag = view.time(run.start) - arrest[-1].end_s
        words = f"the flow came back {lag:.0f} s before: the ramp after an arrest"
        return "flow-led", words, ()
    high, now = fall(smooth(flow, FLOW_SMOOTH_S), run.start)
    if np.isfinite(high) and np.isfinite(now) and now <= (1 - fraction) * high:
        smoothed = smooth(flow, FLOW_SMOOTH_S)
        low_end = max(0, run.start - BEFORE_S)
        still = np.flatnonzero(smoothed[low_end : run.start + 1] >= high - FLOW_NEAR / 100 * (high - now))
        lag = float(run.start - (low_end + int(still[-1]))) if len(still) else 0.0
        words = f"flow fell from {high:.1f} to {now:.1f} L/min within the minute before"
        what = f"fall of pump flow from {high:.1f} to {now:.1f} L/min"
        link = Link("preceded by", what, lag_s=lag, ordered=lag > doubt, at_s=start_s - lag)
        return "flow-led", words, (link,)
    if np.isfinite(high) and np.isfinite(now) and abs(now - high) < fraction * high:
        return "tone-led", f"flow was steady at {now:.1f} L/min in the minute before", ()
    return "not attributed", "flow was not steady and did not fall in the minute before", ()


HELD_BACK = (
    f"Held back, with the reason, where the believed line fell by {ONE_SITE_FALL:g} mmHg or more from its level of "
    f"{EARLY_S[0]} to {EARLY_S[1]} s before while no other site moved by more than {ONE_SITE_STEADY:g} mmHg (with one "
    f"other site only if its pulse is gone too: at most {PULSE_GONE:g} mmHg or {100 * PULSE_HALVED:g} % of before); "
    f"where at least three pressures, a venous one among them, stepped down by {LEVEL_STEP:g} mmHg or more within "
    f"{LEVEL_SAME:g} mmHg of each other and back at the end, with the pulse at {100 * PULSE_SAME[0]:g} to "
    f"{100 * PULSE_SAME[1]:g} % (levels from {STEP_S[0]} to {STEP_S[1]} s on either side), and would not be low "
    f"without that; and within {REFLOW_S} s of a phase that plans a low pressure where a clock is not set. Plain from "
    f"{PLAIN_DEPTH:g} mmHg beyond the limit."
)

E01 = Rule(
    code="E01",
    name="hypotension off bypass",
    family="arterial",
    needs=("site",),
    phase=("pre", "post"),
    words="Mean pressure at the believed site under {below} mmHg for at least {minimum} s off bypass (mean "
    f"over {BREATHS_S} s, so that breathing does not cut it); seconds under {{severe}} and stretches of {LONG_S // 60} "
    "min or longer are told apart. A line that fell alone, or a step of all transducers, is held back.",
    status="P",
    source="under 65 mmHg for 10 min or longer after bypass: Anesthesiology 2020;132:1447; the 60 s are this"
    " project's choice",
    parameters={
        "below": Parameter(65, "mm[Hg]", "mean pressure under which it counts"),
        "minimum": Parameter(60, "s", "shortest length"),
        "severe": Parameter(55, "mm[Hg]", "second level that is counted within"),
    },
    find=find_hypotension_off_bypass,
    details=f"{RUNS} {HELD_BACK}",
    version=2,
)
E13 = Rule(
    code="E13",
    name="hypotension on bypass",
    family="arterial",
    needs=("site", "pump_flow"),
    phase=("bypass",),
    words="Mean pressure at the believed site under {below} mmHg for at least {minimum} s, or over {above} "
    "mmHg for at least {high_minimum} s, at a pump flow of at least {flow} L/min and outside arrests "
    f"(mean over {BREATHS_S} s). Flow-led if the flow fell by {{flow_fall}} % in the {BEFORE_S} s before or came back "
    f"from an arrest within {REFLOW_S} s, tone-led if it was steady, else not attributed; nor where flow and "
    "pressure cannot be ordered. A line that fell alone, or a step of all transducers, is held back.",
    status="P",
    source="50 and 80 mmHg as levels to treat at: EACTS/EACTA/EBCP guideline, Eur J Cardiothorac Surg "
    "2020;57:210-51 (read in a secondary source); lengths and attribution are this project's choice",
    parameters={
        "below": Parameter(50, "mm[Hg]", "mean pressure under which it counts as low"),
        "minimum": Parameter(60, "s", "shortest length, low"),
        "above": Parameter(80, "mm[Hg]", "mean pressure above which it counts as high"),
        "high_minimum": Parameter(300, "s", "shortest length, high"),
        "flow": Parameter(1.3, "L/min", "lowest pump flow at which it is looked for"),
        "flow_fall": Parameter(15, "%", "fall of the flow that makes it flow-led"),
    },
    find=find_pressure_on_bypass,
    details=f"{RUNS} The flow fell from the {HIGH_PERCENTILE}th percentile of the {BEFORE_S} s before (medians of "
    f"{FLOW_SMOOTH_S} s) to the median of the first {SETTLE_S} s; it began where it was last within {FLOW_NEAR} % of "
    f"that fall. {HELD_BACK}",
)
RULES = (E01, E13)

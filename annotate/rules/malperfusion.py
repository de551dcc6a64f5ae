"""A pattern of malperfusion: several signs at once, soon after blood began to come in at a new place."""

from __future__ import annotations

import numpy as np

from ..runs import (
    CLOSE_S,
    BoolArray,
    FloatArray,
    close_gaps,
    drop_short,
    evidence_runs,
    median,
    median_before,
    running_mean,
    smooth,
)
from ..view import View
from .cannulae import USUAL_STEP_S, inflow_resistance
from .course_find import course_find
from .rule import RUNS, Find, Parameter, Params, Rule, alternative

SMOOTH_S = 9
USUAL_S = 600
LINE_SMOOTH_S, LINE_HELD_S = (
    5,
    10,
)  # s of line pressure that its level is a median of, and for which it is high
PLAIN_SHARE = 0.2  # of a half that is plain


def find_malperfusion(view: View, params: Params) -> list[Find]:
    """E21: see the rule's words."""
    flow = view.flow
    assert flow is not None
    running = smooth(flow, 5) >= params["flow"]
    window = _after_inflow(view, params["within"])
    signs = _signs(view, params, running)
    count = np.sum(list(signs.values()), axis=0) if signs else np.zeros(view.n, dtype=int)
    share, low_name = _lowest_share(view)
    known = np.isfinite(flow)
    found = []
    for run in evidence_runs(
        (count >= params["signs"]) & window & known, known, minimum=int(params["minimum"]), close=15
    ):
        told = [words for words, mask in signs.items() if mask[run.start : run.stop].mean() >= 0.3]
        lower = low_name[run.start : run.stop]
        name = max(set(lower), key=list(lower).count)
        channels = tuple(dict.fromkeys((*((name,) if name else ()), "line_pressure", "pump_flow")))
        found.append(
            course_find(
                E21, view, run, share, params=params,
                channels=tuple(one for one in channels if view.get(one) is not None), limit=params["share"] / 100,
                unit="1", above=False, plain=PLAIN_SHARE, minimum=params["minimum"],
                of="lowest arterial site over the highest", signs=told,
                alternatives=[
                    alternative("a cuff or a kinked line on one arm",
                                "then neither line pressure nor the brain's saturation would follow"
                                if len(told) > 1 else "cannot be ruled out"),
                    alternative("the inflow side that over-reads",
                                "then the others are not low; here the lowest was at "
                                f"{100 * median(share[run.start : run.stop]):.0f} % of the highest"),
                    alternative("somebody leaning on the arm", "cannot tell from traces: see the notes"),
                ],
            )
        )  # fmt: skip
    return found


def _after_inflow(view: View, within: float) -> BoolArray:
    """Seconds within so many of blood coming in: going on, reflow after an arrest, a pump that runs again."""
    mask = np.zeros(view.n, dtype=np.bool_)
    starts = [phase.start_s for phase in view.of_name("bypass")]
    starts += [phase.end_s for phase in (*view.of_name("no_flow_arrest"), *view.of_name("lower_body_arrest"))]
    flow = view.flow
    if flow is not None:
        runs = (smooth(flow, 5) >= 0.5) & view.inside("bypass")
        starts += [view.time(int(i) + 1) for i in np.flatnonzero(~runs[:-1] & runs[1:])]
    for at in starts:
        mask[view.index(at) : view.index(at + within)] = True
    arrested = view.inside("no_flow_arrest", "lower_body_arrest", "selective_cerebral")
    return np.asarray(mask & view.inside("bypass") & ~arrested)


def _signs(view: View, params: Params, running: BoolArray) -> dict[str, BoolArray]:
    """The signs that can be asked of this case, each with the seconds in which it is there."""
    signs: dict[str, BoolArray] = {}
    share, _ = _lowest_share(view)
    if np.isfinite(share).any():
        half = (share < params["share"] / 100) & running
        signs["one arterial site under half of another"] = _held(half, int(params["site_held"]))
    line = view.get("line_pressure")
    if line is not None:
        high = (smooth(line, LINE_SMOOTH_S) > params["line"]) & view.inside("bypass")
        resistance, usual = inflow_resistance(view, least_flow=params["flow"], above=params["line"])
        signs["a high line pressure, or resistance of the inflow"] = _held(
            high | (resistance > params["times"] * usual), LINE_HELD_S
        )
    falls = _one_sided_fall(view, params)
    if falls is not None:
        signs["one side of the brain's saturation fell"] = falls
    return signs


def _held(mask: BoolArray, seconds: int) -> BoolArray:
    """Stretches that hold for so many seconds at least."""
    return drop_short(close_gaps(mask, CLOSE_S), seconds)


def _lowest_share(view: View) -> tuple[FloatArray, list[str]]:
    """Lowest arterial site over the highest, of each second, and the lowest one's name."""
    names = [name for name in view.arterial if view.get(name) is not None]
    if len(names) < 2:
        return np.full(view.n, np.nan), [""] * view.n
    levels = np.vstack([running_mean(view.values[name], SMOOTH_S) for name in names])
    seen = np.isfinite(levels)
    low, high = np.where(seen, levels, np.inf).min(axis=0), np.where(seen, levels, -np.inf).max(axis=0)
    enough = (seen.sum(axis=0) >= 2) & (high > 20)
    which = np.where(seen, levels, np.inf).argmin(axis=0)
    share = np.full(view.n, np.nan)
    share[enough] = low[enough] / high[enough]
    return share, [names[i] if ok else "" for i, ok in zip(which.tolist(), enough.tolist(), strict=True)]


def _one_sided_fall(view: View, params: Params) -> BoolArray | None:
    sides = [view.get(f"{side}_cerebral_saturation") for side in ("left", "right")]
    if any(one is None for one in sides):
        return None
    levels = [running_mean(one, 15) for one in sides if one is not None]
    falls = [100 * (1 - level / median_before(level, USUAL_S, step=USUAL_STEP_S)) for level in levels]
    apart = np.abs(levels[0] - levels[1])
    one_sided = (np.abs(falls[0] - falls[1]) >= params["fall"] / 2) & (np.fmax(*falls) >= params["fall"])
    return np.asarray(one_sided | (apart >= params["apart"]))


E21 = Rule(
    code="E21",
    name="malperfusion pattern",
    family="malperfusion",
    needs=("pump_flow", "two_sites"),
    phase=("bypass",),
    words="Within {within} s of blood coming in anew (going on, reflow after an arrest, a pump that runs again), "
    "{signs} or more of these at once for {minimum} s: one arterial mean under {share} % of another for {site_held} "
    "s at {flow} L/min or more; line pressure over {line} mmHg, or a resistance of the inflow of more "
    "than {times} times its usual one, as E07 has them; one side of the brain's saturation down by {fall} % "
    "of its usual level, or {apart} points under the other.",
    status="C",
    source="pressures at several sites with the brain's saturations: Harrington 2011; false-lumen perfusion found by "
    "several pressures: Tsujimoto 2025; the numbers are common practice",
    parameters={
        "within": Parameter(600, "s", "time after the inflow began"),
        "signs": Parameter(2, "1", "fewest signs at once"),
        "minimum": Parameter(20, "s", "shortest length"),
        "share": Parameter(50, "%", "of another site, under which one counts"),
        "site_held": Parameter(30, "s", "for how long"),
        "flow": Parameter(1.0, "L/min", "lowest flow at which sites are compared"),
        "line": Parameter(300, "mm[Hg]", "line pressure above which it counts"),
        "times": Parameter(
            1.5, "1", "resistance of the inflow from which it counts, in medians of the time before"
        ),
        "fall": Parameter(15, "%", "fall of one side's saturation"),
        "apart": Parameter(10, "%", "or difference of the sides in points"),
    },
    find=find_malperfusion,
    details=f"Arterial means are of {SMOOTH_S} s, saturations of 15 s, their usual level the median of "
    f"{USUAL_S // 60} min. Line pressure or resistance of the inflow count from {LINE_HELD_S} s on; a usual resistance "
    f"is known where the pump ran in the {USUAL_S // 60} min before. The fourth sign of the textbooks, a resistance of "
    f"the body far under its usual, is not asked. {RUNS} Plain from {PLAIN_SHARE:g} under the share.",
    version=2,
)
RULES = (E21,)

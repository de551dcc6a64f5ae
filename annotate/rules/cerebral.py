"""The brain's saturations: under their baseline, and one side under the other."""

from __future__ import annotations

import numpy as np

from ..runs import BRIDGE_S, FloatArray, evidence_runs, median, running_mean
from ..view import View
from .course_find import course_find, signed
from .rule import RUNS, Find, Parameter, Params, Rule, alternative, rounded

SIDES = ("left", "right")
CLOSED_S = 30  # s over the limit that do not part two stretches: readings are rounded and few
READINGS = 5  # readings over which a rounded and noisy saturation is a mean
PLAIN_FALL, PLAIN_DIFFERENCE = 3.0, 3.0  # points of saturation beyond a limit that are plain
STEP_POINTS, STEP_S = 12.0, 10  # a change that no brain makes so fast


def saturation_of(view: View, side: str) -> FloatArray | None:
    """One side, %, as the mean of a few readings; None where it was not recorded."""
    name = f"{side}_cerebral_saturation"
    recorded = view.get(name)
    if recorded is None:
        return None
    width = int(READINGS * max(view.interval.get(name, 1.0), 1.0))
    return running_mean(recorded, width + 1 - width % 2)


def baseline_of(view: View, side: str) -> float:
    """Median of the awake window of the case sheet, %; NaN without one."""
    recorded, window = view.get(f"{side}_cerebral_saturation"), view.facts.cerebral_baseline_s
    if recorded is None or window is None:
        return float("nan")
    return median(recorded[view.index(window[0]) : view.index(window[1])])


def find_desaturation(view: View, params: Params) -> list[Find]:
    """E19: see the rule's words."""
    found = []
    for side in SIDES:
        level, baseline = saturation_of(view, side), baseline_of(view, side)
        if level is None:
            continue
        name = f"{side}_cerebral_saturation"
        limits = [
            (
                "",
                params["fraction"] / 100 * baseline,
                f"{params['fraction']:g} % of a baseline of {baseline:.0f} %",
            )
        ]
        if params["absolute_too"] > 0:
            limits.append(("b", params["below"], "the absolute level, asked for"))
        for subtype, limit, words in limits:
            if not np.isfinite(limit):
                continue
            for run in evidence_runs(
                level < limit, np.isfinite(level), minimum=int(params["minimum"]), close=CLOSED_S
            ):
                if not np.nanmin(level[run.start : run.stop]) <= limit - params["clear"]:
                    continue  # within one step of the readings, noise decides on which side it lies
                found.append(
                    course_find(
                        E19, view, run, level, params=params, channels=(name,), limit=limit, unit="%", above=False,
                        plain=PLAIN_FALL, minimum=params["minimum"], subtype=subtype, limit_words=words, area=True,
                        alternatives=[
                            alternative("a pad that was moved, light or blood on it", _fall_words(view, name,
                                run.start)),
                            alternative("a baseline taken on oxygen",
                                "the window stands on the case sheet, and moves the limit"),
                            alternative("blood, skin and haemoglobin dilution",
                                "cannot tell from one number; the other side is told above"),
                        ],
                        other_side=_other_side(view, side, run.start, run.stop),
                    )
                )  # fmt: skip
    return sorted(found, key=lambda one: (one.start_s, one.channels))


def _fall_words(view: View, name: str, start: int) -> str:
    """How fast it fell into the limit."""
    recorded = view.values[name][max(0, start - 120) : start + 30]
    if recorded.size <= STEP_S:
        return "cannot tell: the record begins here"
    largest = float(np.nanmax(recorded[:-STEP_S] - recorded[STEP_S:], initial=0.0))
    kind = "it may be" if largest >= STEP_POINTS else "it fell slowly"
    return f"{kind}: by {largest:.0f} % at most within {STEP_S} s"


def _other_side(view: View, side: str, start: int, stop: int) -> str:
    other = "right" if side == "left" else "left"
    level = saturation_of(view, other)
    meanwhile = median(level[start:stop]) if level is not None else float("nan")
    return f"{meanwhile:.0f} %" if np.isfinite(meanwhile) else "not recorded"


def find_side_difference(view: View, params: Params) -> list[Find]:
    """E20: see the rule's words."""
    left, right = (saturation_of(view, side) for side in SIDES)
    assert left is not None
    assert right is not None
    difference = right - left
    usual = baseline_of(view, "right") - baseline_of(view, "left")
    apart = np.abs(difference)
    holds = apart >= params["points"] - 1e-6
    if np.isfinite(usual):
        # A difference that was there awake is told only where it changed as well.
        changed = np.abs(difference - usual) >= params["points"] - 1e-6
        holds = (holds & (np.abs(difference - usual) >= params["points"] / 2)) | changed
        apart = np.maximum(apart, np.abs(difference - usual))
    found = []
    for run in evidence_runs(holds, np.isfinite(difference), minimum=int(params["minimum"])):
        lower = "left" if median(difference[run.start : run.stop]) > 0 else "right"
        found.append(
            course_find(
                E20, view, run, apart, params=params, of="difference of the sides", area=True,
                channels=(f"{lower}_cerebral_saturation",
                    f"{'right' if lower == 'left' else 'left'}_cerebral_saturation"),
                limit=params["points"], unit="%", above=True, plain=PLAIN_DIFFERENCE, minimum=params["minimum"],
                lower_side=lower, awake_difference=rounded(usual, 0),
                alternatives=[
                    alternative("a pad that was moved", _fall_words(view, f"{lower}_cerebral_saturation", run.start)),
                    alternative("a difference that was there awake",
                                f"it was {signed(usual)} points then" if np.isfinite(usual)
                                    else "cannot tell: no baseline"),
                    alternative("an old stroke or a narrow artery", "cannot tell from traces: it stays for good"),
                ],
            )
        )  # fmt: skip
    return found


def _sides_not_asked(view: View, params: Params) -> list[str]:  # noqa: ARG001
    said = []
    for side in SIDES:
        if view.get(f"{side}_cerebral_saturation") is None:
            said.append(f"E19 not looked for on the {side}: no cerebral saturation of that side")
        elif not np.isfinite(baseline_of(view, side)):
            said.append(f"E19 not looked for on the {side}: no awake baseline on the case sheet")
    return said


E19 = Rule(
    code="E19",
    name="cerebral desaturation",
    family="cerebral",
    needs=("cerebral_saturation",),
    phase=(),
    words="a: the brain's saturation of one side under {fraction} % of its awake baseline for at least {minimum} s, "
    "its lowest by {clear} % or more beyond that. b: under {below} % for as long whatever the baseline; looked for "
    "where absolute_too is 1 (it is {absolute_too}).",
    status="C",
    source="areas under 80 % of baseline and under 50 %: J Clin Med 2020;9:840; lengths are common practice, no source",
    parameters={
        "fraction": Parameter(80, "%", "of the awake baseline, under which it counts"),
        "below": Parameter(50, "%", "absolute level under which it counts, where asked for"),
        "absolute_too": Parameter(0, "1", "1: the absolute level is looked for too"),
        "minimum": Parameter(30, "s", "shortest length"),
        "clear": Parameter(
            1, "%", "points that its lowest must lie beyond the limit: one step of the readings"
        ),
    },
    find=find_desaturation,
    parts=_sides_not_asked,
    details=f"The saturation is a mean of {READINGS} readings, the baseline the median of its window. Up to "
    f"{CLOSED_S} s "
    f"over the limit, and masked or missing stretches of up to {BRIDGE_S} s, do not end it; only seconds that were "
    f"seen "
    f"count. A fall by "
    f"{STEP_POINTS:g} points within {STEP_S} s is told as a pad that may have been moved. Plain from {PLAIN_FALL:g} "
    "points beyond.",
)
E20 = Rule(
    code="E20",
    name="side difference of the brain's saturations",
    family="cerebral",
    needs=("cerebral_both",),
    phase=(),
    words="Right and left saturation of the brain apart by {points} points or more, or their difference changed from "
    "the awake "
    "one by as much, for at least {minimum} s. Where it is known awake, a difference counts only if it changed by "
    "half of "
    "that too.",
    status="D",
    source="common practice and this project's choice",
    parameters={
        "points": Parameter(10, "%", "difference in points from which it counts"),
        "minimum": Parameter(60, "s", "shortest length"),
    },
    find=find_side_difference,
    details=f"Either side is a mean of {READINGS} readings. {RUNS} Plain from {PLAIN_DIFFERENCE:g} points beyond.",
)
RULES = (E19, E20)

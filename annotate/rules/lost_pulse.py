"""Pulse or ripple lost on one line alone, as finds: blood sample, kink or wedge, cuff on the same arm."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..artefact_numbers import CUFF, KINK, LOST, RUN_UP, SAMPLE
from ..lost_shapes import AFTER_S
from ..lost_slowly import PAUSE_S, SILENT_S, SMOOTH_S
from ..pulse_course import RIPPLE_WINDOW_S, WINDOW_S
from ..view import View
from .artefact import DOUBTFUL, finds_of
from .rule import Find, Params, Rule, alternative

REGULAR_S = 10.0  # within which the times from cuff to cuff are the same
SATURATION = {"left": "left_cerebral_saturation", "right": "right_cerebral_saturation"}


def find_sample(view: View, params: Params) -> list[Find]:
    """A3: see the rule's words; less plain where no other line kept its pulse."""
    doubts = {
        "a collapse": "every line loses its pulse then, the pressure falls, and no flush ends it",
        "a kinked catheter": "no flush ends it, and the mean drifts away",
        "a cuff on that arm": "the pulse fades over seconds, and the pressure falls to a flat level",
    }
    found = finds_of(view, "A3", A3.name, A3.sentence(params), doubts)
    return [
        replace(one, confidence=DOUBTFUL) if one.evidence["seen"].get("others_kept") == "none" else one
        for one in found
    ]


def find_kink(view: View, params: Params) -> list[Find]:
    """A5: see the rule's words."""
    doubts = {
        "a true gradient between the sites": "that line keeps its pulse, or the pump's ripple",
        "a clamp or pressure on the artery upstream": "only who was there can tell; the trace is the same",
        "a blood sample that took longer": "a flush ends it",
        "malperfusion of that limb": "line pressure, flow or the saturation of that side change with it",
    }
    found = finds_of(view, "A5", A5.name, A5.sentence(params), doubts)
    wedge = {"a pulmonary artery pressure that truly narrows": "the arteries narrow or fall with it"}
    return [
        replace(
            one, evidence={**one.evidence, "alternatives": [alternative(*pair) for pair in wedge.items()]}
        )
        if one.channels == ("pa",)
        else one
        for one in found
    ]


def find_cuff(view: View, params: Params) -> list[Find]:
    """A6: see the rule's words; a cuff value soon after and even intervals are told where there are any."""
    doubts = {
        "malperfusion of that arm": "it lasts, and the cerebral saturation of that side falls",
        "somebody leaning on the arm": "it comes once, and no cuff value follows",
        "a blood sample": "the pulse is lost at once, and a flush ends it",
    }
    found = finds_of(view, "A6", A6.name, A6.sentence(params), doubts)
    told = []
    for number, one in enumerate(found):
        before = [other for other in found[:number] if other.channels == one.channels]
        gaps = np.diff([other.start_s for other in (*before, one)][-3:])
        more = {
            "cuff_value_s": _cuff_value(view, one, params["value"]),
            "every_s": round(float(gaps[-1]))
            if gaps.size == 2 and abs(gaps[0] - gaps[1]) <= REGULAR_S
            else None,
            **_saturation(view, one),
        }
        seen = {**one.evidence["seen"], **{key: value for key, value in more.items() if value is not None}}
        told.append(replace(one, evidence={**one.evidence, "seen": seen}))
    return told


def _cuff_value(view: View, one: Find, within: float) -> int | None:
    """Seconds from the end to the next cuff value; None where none follows in time."""
    values = view.values.get("cuff")
    if values is None:
        return None
    last = view.index(one.end_s)
    there = np.flatnonzero(np.isfinite(values[last : last + int(within) + 1]))
    return int(there[0]) if there.size else None


def _saturation(view: View, one: Find) -> dict[str, float | None]:
    """Fall of the cerebral saturation of that side, in points; nothing where it was not recorded."""
    side = one.channels[0].split("_")[0]
    values = view.values.get(SATURATION.get(side, ""))
    if values is None:
        return {}
    first, last = view.index(one.start_s), view.index(one.end_s)
    before, after = values[max(first - 30, 0) : first], values[last : last + 30]
    if not (np.isfinite(before).any() and np.isfinite(after).any()):
        return {}
    return {"saturation_fall": round(float(np.nanmedian(before) - np.nanmedian(after)), 1)}


OTHERS = (
    "Every other pressure of another site that had a pulse or ripple keeps {others_kept} % of its power or more, and "
    "no other mean changes by more than {others_level} mmHg"
)
PUMP = (
    ", nor pump flow or line pressure by more than {pump} % ({pump_flow} L/min, {pump_line} mmHg of small ones), nor "
    "does the cerebral saturation of that side fall by {followed} points, from its median over the {before} s before "
    "to {followed_within} s after the end, or after its first {followed_to} s"
)
MEASURED = (
    f"Pulse or ripple is what the wave moves within {WINDOW_S:g} s, without its noise; with little of it, what moves "
    f"at the frequency of the pump's ripple within {RIPPLE_WINDOW_S:g} s. "
    "It is lost where under {left} % of its power over the {before} s "
    "before is left, and no more than {most} mmHg (noise allowed for; interruptions of {joined} s do not end it), if "
    "it was {least} mmHg or more; stretches from {core} s on are looked at. {clear} s next to them are left out of "
    "what was before. Another line's level is taken over {others_within} s before and after the onset, its movement "
    "over up to {others_to} s. "
)

_RUN_UP = {f"run_up_{name}": parameter for name, parameter in RUN_UP.items()}
RUNS_UP = (
    " A tap closed against the flush bag is told too, whatever the others do: a pressure rises by {run_up_rise} mmHg "
    "or more without a beat, for {run_up_shortest} s or longer from a tenth to nine tenths of it, and falls by as much "
    "within {run_up_release} s, {run_up_longest} s later at most."
)

A3 = Rule(
    code="A3",
    name="blood sample or tap closed",
    family="lost_pulse",
    needs=(),
    phase=(),
    words="A pressure loses its pulse, or the pump's ripple, within {within} s, lies flat or drifts at any level for "
    "{shortest} to {longest} s, and a flush ends it, at once or after openings to air in between. "
    + OTHERS
    + ". "
    "Where no other line can tell, it is told less plainly, and only if less than {least} mmHg of movement is left, "
    "the mean does not fall by more than {alone} mmHg with the pulse, and"
    + PUMP.removeprefix(", nor").replace(" by more", " change by no more", 1)
    + "."
    + RUNS_UP,
    status="C",
    source="2 s, 10 to 120 s and the flush; all other numbers are this project's choice",
    parameters={**LOST, **SAMPLE, **_RUN_UP},
    find=find_sample,
    details=MEASURED
    + "Each length may lie off by {slack} s, and the flush begins within {flush} s. A run-up is looked "
    "for where the mean rises by {run_up_speed} mmHg a second, and turns back by no more than {run_up_swing} mmHg.",
)
A5 = Rule(
    code="A5",
    name="catheter kink, wall contact or wedge",
    family="lost_pulse",
    needs=(),
    phase=(),
    words="An arterial pressure loses its pulse, or the pump's ripple, and its mean moves by {drift} mmHg or more "
    "within {within} s, or a pulse of {kept_pulse} mmHg or more stays lost for {kept} s at any level; it lasts "
    "{shortest} to {longest} s, and no flush ended within {flush} s of its onset; "
    f"while it is not over for {AFTER_S[1]:g} s it is told only beyond the length of a sample (A3). "
    + OTHERS
    + PUMP
    + ". A pulmonary artery pressure with a pulse of {wedge_pulse} mmHg or more that loses its shape (under {left} "
    "% of its power) while its mean moves by {wedge} mmHg is taken for wedged. With no other line that kept its pulse "
    "or ripple nothing is told. A line that is not on an arm, and falls to a flat level and comes back as under a cuff "
    "(A6), was pressed upon and is told here.",
    status="D",
    source="this project's choice",
    parameters={**LOST, **KINK},
    find=find_kink,
    version=2,
    grid_s=WINDOW_S,
    details=MEASURED
    + "Without a pulse, places are looked for where the mean against every other arterial line is not "
    "what it was over the {past} s before. Where a pulse fades, it began to be lost when its power came under "
    f"{{falling}} % of that of the {{before}} s before, over {SMOOTH_S:g} s, and went on falling, pauses of "
    f"{PAUSE_S:g} s passed over, for up to {{slowest}} s. After {{others_to}} s it lasts no longer than another line "
    f"keeps its pulse or the mean lies {{drift}} mmHg off, pauses of {SILENT_S} s passed over.",
)
A6 = Rule(
    code="A6",
    name="cuff on the same arm",
    family="lost_pulse",
    needs=(),
    phase=(),
    words="The pressure of an arm, or of a line whose site is not known, falls by {fall} mmHg or more within {fastest} "
    "to {slowest} s, lies flat without pulse or ripple for {flat} to {longest_flat} s, and comes back at once or in "
    "steps within {return} s; {shortest} to {longest} s in all. "
    + OTHERS
    + PUMP
    + ". With no other line that kept its pulse or "
    "ripple nothing is told. A cuff value within {value} s after it, and even intervals, are told with it.",
    status="C",
    source="3 to 15 s, 10 to 40 s, 20 to 60 s and the cuff value; all other numbers are this project's choice",
    parameters={**LOST, **CUFF},
    find=find_cuff,
    grid_s=WINDOW_S,
    details=MEASURED
    + "Times may lie off by {slack} s, but for the shortest fall. It is flat where its first and last "
    "third differ by {spread} mmHg at most; fall and return count from and to within {share} % of their change. "
    f"Intervals are even within {REGULAR_S:g} s.",
)
RULES = (A3, A5, A6)

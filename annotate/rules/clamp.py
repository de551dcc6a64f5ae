"""The clamp: when people say that it went on and came off, and what the trace says for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ..phase_clamp import (
    BASE_S,
    DIP_BACK,
    DIP_SHARE,
    EJECTION_HELD_S,
    EJECTS_MMHG,
    NEAR_S,
    NONE_MMHG,
    Dip,
    clamp_boundary,
    clock,
    flow_dips,
    support,
)
from ..phase_clamp_open import lone_clamp_ons
from ..phase_model import Boundary, Phase
from ..runs import median
from ..said import Said
from ..view import View
from .rule import Find, Parameter, Params, Rule, before, confidence, counted_on, rounded

PLAIN_WITHIN_S = 60.0  # ± under which a time of the clamp is plain


def find_clamp(view: View, params: Params) -> list[Find]:
    """E23: see the rule's words."""
    found = []
    for phase in view.of_name("clamp"):
        for subtype, edge in (("on", phase.start), ("off", phase.end)):
            if edge.recorded:
                found.append(_find(view, params, phase, subtype, edge))
    for event in lone_clamp_ons(view):
        edge = clamp_boundary(view, event, flow_dips(view))
        open_end = Boundary(view.time(view.n), "nobody set, wrote or said when it came off", recorded=False)
        one = _find(view, params, Phase("clamp", edge, open_end, "bypass"), "on", edge)
        found.append(replace(one, evidence={**one.evidence, "no_off": open_end.rule}))
    return sorted(found, key=lambda one: one.start_s)


def _find(view: View, params: Params, phase: Phase, subtype: str, edge: Boundary) -> Find:
    dips = [dip for dip in flow_dips(view) if dip.share >= params["dip"] / 100]
    seen = support(view, Said(f"clamp_{subtype}", edge.time_s, edge.unc_s / 1.96), dips)
    at = view.index(edge.time_s)
    flow = view.flow
    others = [{"what": "another time", "why_not": text} for text in edge.alternatives]
    others.append({"what": "a fall of the flow for another reason", "why_not": _lone_dips(view, phase, dips)})
    by = edge.confirmed_by or phase.confirmed_by
    certain = PLAIN_WITHIN_S / max(PLAIN_WITHIN_S, edge.unc_s)
    channels = ("pump_flow",) if flow is not None else (view.believed,)
    return Find(
        "E23",
        f"clamp {subtype}",
        edge.time_s,
        edge.time_s,
        tuple(dict.fromkeys(name for name in (*channels, view.believed) if name)),
        "",
        1.0 if by else confidence(margin=seen.rank / 3, duration=1.0 + 2 * certain),
        {
            "rule": E23.sentence(params),
            "crossings": [edge.time_s],
            "before": rounded(before(flow, at), 2) if flow is not None else None,
            "after": rounded(median(flow[at : at + BASE_S]), 2) if flow is not None else None,
            "unit": "L/min",
            "time_from": f"set by {by}" if by else edge.rule.split("; the trace")[0],
            "the_trace_says": seen.words,
            **(counted_on(view, "pump_flow", max(0, at - BASE_S), at + BASE_S) if flow is not None else {}),
            "alternatives": others,
        },
        subtype=subtype,
        unc_s=edge.unc_s,
    )


def _lone_dips(view: View, phase: Phase, dips: Sequence[Dip]) -> str:
    """Dips that stand at neither end of the clamp."""
    times = [
        clock(view.time(dip.start))
        for dip in dips
        if min(abs(view.time(dip.start) - end) for end in (phase.start_s, phase.end_s)) > NEAR_S
    ]
    if not times:
        return "no other dip of the flow was seen"
    shown = ", ".join(times[:4]) + (f" and {len(times) - 4} more" if len(times) > 4 else "")
    return f"the flow also dipped at {shown}, where nobody spoke of a clamp"


E23 = Rule(
    code="E23",
    name="clamp on or off",
    family="clamp",
    needs=("clamp",),
    phase=(),
    words="A time of the clamp that a person set, wrote or said, or that the first dose of cardioplegia gives; never "
    "one of the trace alone. Of several times for one clamp the one that the trace fits best is taken: a dip of the "
    "flow by {dip} % or more of the minute before, for 5 to 60 s with return, and ejection lost (on) or back (off) "
    "within 10 min; then the one that more sources agree on, then the one with the smallest ±. The others are named "
    "beside it. A clamp that nobody took off has its time on alone; where nobody gave a time, what the trace offers is "
    "named as a candidate and never taken.",
    status="D",
    source="this project's choice",
    parameters={"dip": Parameter(100 * DIP_SHARE, "%", "fall of the flow that counts as a dip, at least 30")},
    find=find_clamp,
    version=2,
    details=f"A dip is over within {100 * DIP_BACK:g} % of the flow before, and speaks for a time up to {NEAR_S:g} s "
    f"away besides that time's ±. Ejection is a pulse of {EJECTS_MMHG:g} mmHg or more at the believed site, its loss "
    f"one under {NONE_MMHG:g} mmHg, each held {EJECTION_HELD_S} s.",
)

RULES: tuple[Rule, ...] = (E23,)

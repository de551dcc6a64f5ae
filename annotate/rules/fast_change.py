"""Fast changes of the arterial pressure: collapse, decompression surge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..phase_rules import ARREST_MINIMUM_S, COLD_CORE_C, FLOW_ON
from ..runs import back_date, evidence_runs, highest_before, lowest_before, median, settled, smooth
from ..view import View
from .arrest import ARRESTED
from .rule import Find, Parameter, Params, Rule, alternative, confidence, counted, rounded

# -- E02 -------------------------------------------------------------------------------------------


def find_collapse(view: View, params: Params) -> list[Find]:
    """E02: see the rule's words."""
    assert view.pressure is not None
    window = int(params["within"])
    levels = {name: smooth(view.values[name], 3) for name in view.arterial if view.get(name) is not None}
    collapsed = np.ones(view.n, dtype=np.bool_)
    working = np.zeros(view.n, dtype=np.bool_)
    low = np.ones(view.n, dtype=np.bool_)
    for level in levels.values():
        here = np.isfinite(level)
        top = highest_before(level, window)
        fell = (level <= (1 - params["fraction"] / 100) * top) & (top - level >= params["fall"])
        collapsed &= ~here | (fell & (level < params["below"]))
        low &= ~here | (level < params["below"])
        working |= here
    collapsed &= working & np.isfinite(levels[view.believed])
    low &= working
    arrested = view.inside(*ARRESTED)
    found = []
    for run in evidence_runs(low, working, minimum=int(params["minimum"])):
        if not collapsed[run.start : run.start + window].any():
            continue
        first = run.start + int(np.flatnonzero(collapsed[run.start : run.stop])[0])
        level = levels[view.believed]
        piece = level[max(0, first - window) : first + 1]
        top_at = max(0, first - window) + int(np.nanargmax(piece))
        nadir = float(np.nanmin(level[run.start : run.stop]))
        # Where the fall began: from the level it had, not from its highest noise.
        base = median(level[max(0, top_at - 30) : top_at + 1])
        bottom = median(level[first : min(run.stop, first + 15)])
        start = back_date(level, first, base=base, after=bottom)
        count = sum(1 for values in levels.values() if np.isfinite(values[run.start : run.stop]).any())
        flow = view.flow
        flow_words = "no pump flow recorded, so a planned arrest cannot be told apart"
        if flow is not None:
            flow_words = f"not inside an arrest; pump flow {median(flow[run.start : run.stop]):.1f} L/min"
        find = Find(
            "E02",
            E02.name,
            view.time(start),
            view.time(run.stop),
            tuple(levels),
            view.believed,
            confidence(
                margin=(base - nadir - params["fall"]) / 15.0,
                duration=run.used / params["minimum"],
                seen=run.used / (run.stop - run.start),
                agreement=1.0 if count > 1 else 0.5,
            ),
            {
                "rule": E02.sentence(params),
                "crossings": [view.time(run.start), view.time(run.stop)],
                "before": rounded(base),
                "during": rounded(bottom),
                "nadir": rounded(nadir),
                "unit": "mm[Hg]",
                "sites": count,
                **counted(view, run, *levels),
                "alternatives": [
                    alternative("planned arrest with the pump ordered off", flow_words),
                    alternative(
                        "a single line or limb",
                        f"{count} working arterial sites fell together" if count > 1
                        else "cannot tell: only one arterial site was recorded",
                    ),
                ],
            },
        )  # fmt: skip
        if arrested[max(0, start - 15) : first + 30].any():
            continue  # a planned arrest is not a collapse; it is looked for by its own rule
        found.append(replace(find, held_back=_not_over(view, first)))
    return found


def _not_over(view: View, first: int) -> str:
    """Whether the pump stands at a cold core as the record ends: an arrest takes 2 min to be told."""
    flow, core = view.flow, view.core_near(first)
    if flow is None or not core <= COLD_CORE_C:
        return ""
    rest = flow[first:]
    if not view.n - first < ARREST_MINIMUM_S or (rest > FLOW_ON).any():
        return ""
    return f"the pump was stopped at a core of {core:.1f} °C and the record ends before an arrest can be told"


# -- E03 -------------------------------------------------------------------------------------------


def find_decompression(view: View, params: Params) -> list[Find]:
    """E03: see the rule's words."""
    assert view.pressure is not None
    assert view.cvp is not None
    window = int(params["within"])
    level, cvp = smooth(view.pressure, 5), smooth(view.cvp, 5)
    pulse = smooth(view.pulse[view.believed], 5)
    low = lowest_before(level, window)
    rise = level - low
    plain = (low <= params["from"]) & ((rise >= params["rise"]) | (rise >= params["fraction"] / 100 * low))
    drained = highest_before(cvp, window) - cvp >= params["cvp_fall"]
    wide = pulse >= (1 + params["pulse"] / 100) * lowest_before(pulse, window)
    holds = plain & drained & wide & view.off_bypass
    known = np.isfinite(level) & np.isfinite(cvp) & np.isfinite(pulse)
    found: list[Find] = []
    for run in evidence_runs(holds, known, minimum=3, close=window, bridge=window):
        first = run.start
        begin = max(0, first - window)
        low_at = begin + int(np.nanargmin(level[begin : first + 1]))
        base = median(level[max(0, low_at - 30) : low_at + 1])
        top = float(np.nanmax(level[first : first + window]))
        start = back_date(level, first, base=base, after=top)
        end = settled(level[: first + window], first, base=base, after=top)
        pulse_before = median(pulse[max(0, start - 30) : start])
        if not pulse_before >= params["pulse_from"]:
            continue  # a heart that begins to beat again widens nothing: there must be a pulse to widen
        found.append(
            Find(
                "E03",
                E03.name,
                view.time(start),
                view.time(end),
                (view.believed, "cvp"),
                view.believed,
                confidence(
                    margin=(top - base - params["rise"]) / 15.0,
                    duration=3.0,
                    seen=run.used / (run.stop - run.start),
                ),
                {
                    "rule": E03.sentence(params),
                    "crossings": [view.time(first)],
                    "before": rounded(base),
                    "after": rounded(top),
                    "cvp_before": rounded(median(cvp[max(0, start - 30) : start])),
                    "cvp_after": rounded(median(cvp[end : end + 15])),
                    "pulse_before": rounded(pulse_before),
                    "pulse_after": rounded(median(pulse[end : end + 15])),
                    "unit": "mm[Hg]",
                    **counted(view, run, view.believed, "cvp"),
                    "alternatives": [
                        alternative(
                            "a flush of the line", "it has beats on it and took many of them to rise"
                        ),
                        alternative(
                            "a vasopressor, or the clamp going on",
                            "the central venous pressure fell with it, and the pulse widened",
                        ),
                    ],
                },
            )
        )
    return found


E02 = Rule(
    code="E02",
    name="pressure collapse",
    family="fast_change",
    needs=("site",),
    phase=(),
    words="Mean pressure falls by at least {fraction} % and {fall} mmHg within {within} s to under {below} "
    "mmHg, at every working arterial site, and stays there for at least {minimum} s; not in a planned"
    " arrest.",
    status="D",
    source="this project's choice",
    parameters={
        "fraction": Parameter(40, "%", "smallest fall, of the level before"),
        "fall": Parameter(25, "mm[Hg]", "smallest fall"),
        "within": Parameter(60, "s", "time that the fall may take"),
        "below": Parameter(45, "mm[Hg]", "level that it falls to"),
        "minimum": Parameter(15, "s", "shortest length under that level"),
    },
    find=find_collapse,
)
E03 = Rule(
    code="E03",
    name="decompression surge",
    family="fast_change",
    needs=("site", "pulse", "cvp"),
    phase=("pre", "post"),
    words="Mean pressure rises by at least {rise} mmHg or {fraction} % within {within} s from {from} mmHg "
    "or less, while the central venous pressure falls by at least {cvp_fall} mmHg and the pulse widens by "
    "at least {pulse} % from {pulse_from} mmHg or more.",
    status="D",
    source="this project's choice; the physiology of drainage is published",
    parameters={
        "rise": Parameter(30, "mm[Hg]", "smallest rise"),
        "fraction": Parameter(50, "%", "or smallest rise, of the level before"),
        "within": Parameter(60, "s", "time that rise and fall may take"),
        "from": Parameter(60, "mm[Hg]", "highest level that it rises from"),
        "cvp_fall": Parameter(5, "mm[Hg]", "smallest fall of the central venous pressure"),
        "pulse": Parameter(50, "%", "smallest widening of the pulse"),
        "pulse_from": Parameter(
            8, "mm[Hg]", "narrowest pulse that can widen; with less the heart was not beating"
        ),
    },
    find=find_decompression,
)
RULES = (E02, E03)

"""Fast changes of the arterial pressure: collapse, decompression surge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..artefact_numbers import OPEN_TO_AIR
from ..order import Z95
from ..phase_rules import ARREST_MINIMUM_S, COLD_CORE_C, FLOW_ON
from ..runs import back_date, evidence_runs, highest_before, lowest_before, median, settled, smooth
from ..view import View
from .arrest import ARRESTED
from .rule import FLOW_UNKNOWN, RUNS, Find, Parameter, Params, Rule, alternative, confidence, counted, rounded

COLLAPSE_SMOOTH_S, SURGE_SMOOTH_S = 3, 5  # s that levels are medians of
BASE_S = 30  # s before the highest (or lowest) second, over which the level before is a median
BOTTOM_S = 15  # s after, over which the level reached is a median
BEGUN = 10  # %, of the whole change, within which it has not begun
SURGE_HELD_S = 3  # s for which all three signs of a surge must hold
PLAIN_FALL = PLAIN_RISE = 15.0  # mm[Hg] beyond the smallest that is plain
ARREST_BEFORE_S, ARREST_AFTER_S = 15, 30  # s around a collapse in which a planned arrest explains it
UNORDERED_ARREST = (
    "the case holds a planned arrest, and flow and pressure cannot be ordered, since a clock of theirs is not set: "
    "whether it is that arrest cannot be told"
)

# -- E02 -------------------------------------------------------------------------------------------


def find_collapse(view: View, params: Params) -> list[Find]:
    """E02: see the rule's words."""
    assert view.pressure is not None
    window = int(params["within"])
    levels = {
        name: smooth(view.values[name], COLLAPSE_SMOOTH_S)
        for name in view.arterial
        if view.get(name) is not None
    }
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
    unknown = np.zeros(view.n, dtype=np.bool_)
    for begin, end in view.flow_unknown:
        unknown[begin:end] = True
    found = []
    for run in evidence_runs(low, working, minimum=int(params["minimum"])):
        fallen = np.flatnonzero(collapsed[run.start : min(run.stop, run.start + window)])
        if not len(fallen):
            continue
        first = run.start + int(fallen[0])
        level = levels[view.believed]
        piece = level[max(0, first - window) : first + 1]
        top_at = max(0, first - window) + int(np.nanargmax(piece))
        nadir = float(np.nanmin(level[run.start : run.stop]))
        # Where the fall began: from the level it had, not from its highest noise.
        base = median(level[max(0, top_at - BASE_S) : top_at + 1])
        bottom = median(level[first : min(run.stop, first + BOTTOM_S)])
        start = back_date(level, first, base=base, after=bottom, fraction=BEGUN / 100)
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
                margin=(base - nadir - params["fall"]) / PLAIN_FALL,
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
                    alternative("every line opened to air at once", _opened(nadir)),
                ],
            },
        )  # fmt: skip
        at = view.time(first)
        doubt = Z95 * view.sd_between("pump_flow", at, view.believed, at) if flow is not None else 0.0
        slack = int(np.ceil(min(doubt, view.n)))
        if arrested[max(0, start - ARREST_BEFORE_S - slack) : first + ARREST_AFTER_S + slack].any():
            if np.isfinite(doubt):
                continue  # a planned arrest is not a collapse; it is looked for by its own rule
            find = replace(find, held_back=UNORDERED_ARREST)
        if not find.held_back and unknown[start : first + 1].any():
            find = replace(find, held_back=f"{FLOW_UNKNOWN}: whether it is a planned arrest cannot be told")
        found.append(find if find.held_back else replace(find, held_back=_not_over(view, first)))
    return found


def _opened(nadir: float) -> str:
    level = OPEN_TO_AIR["level"].value
    if abs(nadir) <= level:
        return f"cannot be ruled out: the pressure went to 0 ± {level:g} mmHg"
    return f"the lowest pressure was {nadir:.0f} mmHg, not zero"


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
    level, cvp = smooth(view.pressure, SURGE_SMOOTH_S), smooth(view.cvp, SURGE_SMOOTH_S)
    pulse = smooth(view.pulse[view.believed], SURGE_SMOOTH_S)
    low = lowest_before(level, window)
    rise = level - low
    plain = (low <= params["from"]) & ((rise >= params["rise"]) | (rise >= params["fraction"] / 100 * low))
    drained = highest_before(cvp, window) - cvp >= params["cvp_fall"]
    wide = pulse >= (1 + params["pulse"] / 100) * lowest_before(pulse, window)
    holds = plain & drained & wide & view.off_bypass
    known = np.isfinite(level) & np.isfinite(cvp) & np.isfinite(pulse)
    found: list[Find] = []
    for run in evidence_runs(holds, known, minimum=SURGE_HELD_S, close=window, bridge=window):
        first = run.start
        begin = max(0, first - window)
        low_at = begin + int(np.nanargmin(level[begin : first + 1]))
        base = median(level[max(0, low_at - BASE_S) : low_at + 1])
        top = float(np.nanmax(level[first : first + window]))
        start = back_date(level, first, base=base, after=top, fraction=BEGUN / 100)
        end = settled(level[: first + window], first, base=base, after=top, fraction=BEGUN / 100)
        pulse_before = median(pulse[max(0, start - BASE_S) : start])
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
                    margin=(top - base - params["rise"]) / PLAIN_RISE,
                    duration=3.0,
                    seen=run.used / (run.stop - run.start),
                ),
                {
                    "rule": E03.sentence(params),
                    "crossings": [view.time(first)],
                    "before": rounded(base),
                    "after": rounded(top),
                    "cvp_before": rounded(median(cvp[max(0, start - BASE_S) : start])),
                    "cvp_after": rounded(median(cvp[end : end + BOTTOM_S])),
                    "pulse_before": rounded(pulse_before),
                    "pulse_after": rounded(median(pulse[end : end + BOTTOM_S])),
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
    " arrest. It is held back where such an arrest cannot be ordered against it because a clock is not set, where the "
    "flow then is not recorded before or behind a pump record that begins or ends on bypass, and where "
    f"the record ends within {ARREST_MINIMUM_S} s with the pump standing at a core of {COLD_CORE_C:g} °C or less.",
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
    details=f"Levels are medians of {COLLAPSE_SMOOTH_S} s. A planned arrest explains it from {ARREST_BEFORE_S} s "
    f"before the fall to {ARREST_AFTER_S} s after its crossing, and by the ± of the clocks beyond. The start is put "
    f"back to the last second within {BEGUN} % of the fall from the median of {BASE_S} s to that of the first "
    f"{BOTTOM_S} s under the limit. {RUNS} Plain from {PLAIN_FALL:g} mmHg beyond the smallest fall, at two sites "
    "or more.",
    version=2,
)
E03 = Rule(
    code="E03",
    name="decompression surge",
    family="fast_change",
    needs=("site", "pulse", "cvp"),
    phase=("pre", "post"),
    words="Mean pressure rises by at least {rise} mmHg or {fraction} % within {within} s from {from} mmHg "
    "or less, while the central venous pressure falls by at least {cvp_fall} mmHg and the pulse widens by "
    "at least {pulse} % from {pulse_from} mmHg or more; off bypass.",
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
    details=f"Levels are medians of {SURGE_SMOOTH_S} s; all three signs hold for at least {SURGE_HELD_S} s, with "
    "breaks of up to {within} s. Start and end are put to the last and first second within "
    f"{BEGUN} % of the whole change from the median of {BASE_S} s; levels after are medians of {BOTTOM_S} s. Plain "
    f"from {PLAIN_RISE:g} mmHg beyond the smallest rise.",
    version=2,
)
RULES = (E02, E03)

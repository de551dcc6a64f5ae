"""Before and after bypass: what follows protamine, a crisis of the pulmonary pressure, and a heart that cannot fill."""

from __future__ import annotations

import numpy as np

from ..runs import (
    BoolArray,
    FloatArray,
    Run,
    evidence_runs,
    highest_before,
    median,
    median_before,
    running_mean,
    smooth,
)
from ..view import View
from .course_find import course_find
from .rule import BEFORE_S, RUNS, Find, Parameter, Params, Rule, alternative, before, rounded

BREATHS_S = 9  # s over which a pressure is a mean: about two breaths
HELD_S = 60  # s that signs of a slow filling must hold
ONSET_HELD_S = 20  # s that a fall must hold before it is followed
BEGUN = 10  # %, of the whole change, within which it has not begun
PLAIN_FALL, PLAIN_RATIO, PLAIN_FILL = 8.0, 0.1, 4.0  # beyond a limit that is plain
USUAL_S = 600  # s before, over which a ratio of pressures is a median
TREND_S = 600  # s over which a slow filling is looked at
STEP_S = 10


# -- E27 -------------------------------------------------------------------------------------------


def find_protamine_reaction(view: View, params: Params) -> list[Find]:
    """E27: see the rule's words."""
    pressure = view.pressure
    assert pressure is not None
    level = running_mean(pressure, BREATHS_S)
    base = highest_before(smooth(level, 15), BEFORE_S * 2)
    fallen = (level <= (1 - params["fraction"] / 100) * base) | (base - level >= params["fall"])
    after = _after_protamine(view, params["within"])
    known = np.isfinite(level)
    found: list[Find] = []
    # Long falls outlast the window that the level before is taken from: what began is followed to where it is over.
    for run in evidence_runs(fallen & after & view.off_bypass & known, known, minimum=ONSET_HELD_S):
        was = float(base[run.start])
        limit = max((1 - params["fraction"] / 100) * was, was - params["fall"])
        stop = _over(level, run.start, limit)
        used = int(known[run.start : stop].sum())
        if used < params["minimum"]:
            continue
        lowest = float(np.nanmin(level[run.start : stop]))
        start = _begun(level, run.start, was, lowest)
        if found and view.time(start) < found[-1].end_s:
            continue
        pulmonary, venous = (_change(view, name, start, stop) for name in ("pa", "cvp"))
        subtype, kind = _kind(pulmonary, venous, params)
        whole = Run(start, stop, int(known[start:stop].sum()), int((~known[start:stop]).sum()))
        found.append(
            course_find(
                E27, view, whole, level, params=params,
                channels=tuple(name for name in (view.believed, "cvp", "pa") if view.get(name) is not None),
                limit=limit, unit="mm[Hg]", above=False,
                plain=PLAIN_FALL, minimum=params["minimum"], site=view.believed, subtype=subtype,
                name=f"protamine reaction, {kind}", protamine=_since_protamine(view, view.time(start)),
                pulmonary_change=rounded(pulmonary), venous_change=rounded(venous),
                alternatives=[
                    alternative("bleeding, or coming off too early", "then venous and pulmonary pressure fall"
                                + (f"; they moved by {venous:+.0f} and {pulmonary:+.0f} mmHg"
                                   if np.isfinite(venous) and np.isfinite(pulmonary) else "")),
                    alternative("a shift of the transducers", "that is masked where all the lines step alike"),
                    alternative("another drug or the heart itself", "cannot tell: sequence is not cause"),
                ],
            )
        )  # fmt: skip
    return found


def _kind(pulmonary: float, venous: float, params: Params) -> tuple[str, str]:
    """Sub-type of a reaction and its words; none where a line that would tell is missing, or where they disagree."""
    if not np.isfinite(pulmonary) or not np.isfinite(venous):
        return "", "kind cannot be told"
    if pulmonary >= params["pulmonary"] and venous >= params["venous"]:
        return "b", "pulmonary"
    if pulmonary < params["pulmonary"] and venous < params["venous"]:
        return "a", "fall of pressure"
    return "", "neither kind"


def _kind_untold(view: View, params: Params) -> list[str]:  # noqa: ARG001
    """What of the rule cannot be asked, in words."""
    missing = [words for name, words in _LINES_OF_KIND if view.get(name) is None]
    return [f"E27's kinds a and b not looked for: no {' and no '.join(missing)}"] if missing else []


_LINES_OF_KIND = (("pa", "pulmonary artery pressure"), ("cvp", "central venous pressure"))


def _since_protamine(view: View, start_s: float) -> str:
    """How the drug's time stands to the beginning, as a sentence."""
    times = view.facts.protamine_s
    before_it = [t for t in times if t <= start_s]
    if before_it:
        return f"given {start_s - max(before_it):.0f} s before it began"
    return f"said to be running {min(times) - start_s:.0f} s after it began; when it was given is not known"


def _after_protamine(view: View, within: float) -> BoolArray:
    """Seconds within so many of a time at which protamine is said to have been given."""
    mask = np.zeros(view.n, dtype=np.bool_)
    for at in view.facts.protamine_s:
        mask[view.index(at) : view.index(at + within)] = True
    return mask


def _begun(level: FloatArray, first: int, base: float, lowest: float, reach: int = 180) -> int:
    """Last second before `first` within a tenth of the whole fall, and one on."""
    piece = level[max(0, first - reach) : first + 1]
    still = np.flatnonzero(piece >= base - BEGUN / 100 * (base - lowest))
    return max(0, first - reach) + int(still[-1]) + 1 if still.size else first


def _over(level: FloatArray, first: int, limit: float, close: int = 5) -> int:
    """First second from which the level stays over the limit for more than some seconds."""
    over = level[first:] > limit
    held = np.convolve(over.astype(np.int32), np.ones(close + 1, np.int32))[close:] > close
    back = np.flatnonzero(held)
    return first + int(back[0]) if back.size else level.size


def _change(view: View, name: str, start: int, stop: int) -> float:
    """Largest rise of a channel's mean within a stretch over the two minutes before; the fall where it never rose."""
    values = view.get(name)
    if values is None:
        return float("nan")
    level, was = running_mean(values, BREATHS_S), before(values, start, 2 * BEFORE_S)
    inside = level[start : max(stop, start + 1)]
    if not np.isfinite(inside).any():
        return float("nan")
    rise, fall = float(np.nanmax(inside)) - was, float(np.nanmin(inside)) - was
    return rise if rise >= abs(fall) else fall


# -- E28 -------------------------------------------------------------------------------------------


def find_pulmonary_crisis(view: View, params: Params) -> list[Find]:
    """E28: see the rule's words."""
    pulmonary, pressure = view.get("pa"), view.pressure
    assert pulmonary is not None
    assert pressure is not None
    pa, systemic = running_mean(pulmonary, BREATHS_S), running_mean(pressure, BREATHS_S)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where(systemic > 0, pa / systemic, np.nan)
    off = view.off_bypass
    usual = _usual(np.where(off, ratio, np.nan))
    risen = pa - _usual(np.where(off, pa, np.nan)) >= params["risen"]
    close = risen & (ratio >= params["ratio"]) & (ratio - usual >= params["over_usual"])
    known = np.isfinite(ratio) & np.isfinite(usual)
    found = []
    for run in evidence_runs(close & off & known, known, minimum=int(params["minimum"])):
        found.append(_crisis(view, params, run, ratio, "ratio", params["ratio"], usual))
    sudden = _sudden(view, pa, systemic, params) & off
    seen = np.isfinite(pa) & np.isfinite(systemic)
    for run in evidence_runs(sudden & seen, seen, minimum=int(params["minimum"])):
        if not any(one.start_s < view.time(run.stop) and one.end_s > view.time(run.start) for one in found):
            found.append(_crisis(view, params, run, ratio, "rise", params["ratio"], usual))
    return sorted(found, key=lambda one: one.start_s)


def _rise_untold(view: View, params: Params) -> list[str]:  # noqa: ARG001
    """What of the rule cannot be asked, in words."""
    if view.cvp is not None:
        return []
    return ["E28 by a rise of the pulmonary pressure not looked for: no central venous pressure"]


def _usual(ratio: FloatArray) -> FloatArray:
    """Median of the ten minutes before each second, known to ten seconds."""
    return median_before(ratio, USUAL_S, step=STEP_S)


def _sudden(view: View, pa: FloatArray, systemic: FloatArray, params: Params) -> BoolArray:
    cvp = view.cvp
    if cvp is None:
        return np.zeros(view.n, dtype=np.bool_)
    window = int(params["rise_within"])
    venous = running_mean(cvp, BREATHS_S)
    rose = pa + highest_before(-pa, window) >= params["rise"]
    fell = highest_before(systemic, window) - systemic >= params["systemic_fall"]
    filled = venous + highest_before(-venous, window) >= params["venous"]
    return np.asarray(rose & fell & filled)


def _crisis(
    view: View, params: Params, run: Run, ratio: FloatArray, by: str, limit: float, usual: FloatArray
) -> Find:
    return course_find(
        E28, view, run, ratio, params=params, channels=("pa", view.believed), limit=limit, unit="1", above=True,
        plain=PLAIN_RATIO, minimum=params["minimum"], site=view.believed, label=f"told by its {by}",
        of="mean pulmonary over mean arterial pressure", usual=rounded(float(usual[run.start]), 2),
        pulmonary_before=rounded(before(view.values["pa"], run.start, 300)),
        pulmonary_during=rounded(median(view.values["pa"][run.start : run.stop])),
        alternatives=[
            alternative("a high pulmonary pressure all along",
                        f"the ratio was {usual[run.start]:.2f} over the 10 min before"),
            alternative("a catheter in wedge", f"{view.masked_seconds('pa', run.start, run.stop)} s of it masked"),
            alternative("a low arterial pressure alone", "then the pulmonary pressure does not rise"),
        ],
    )  # fmt: skip


# -- E31 -------------------------------------------------------------------------------------------


def find_filling_hindered(view: View, params: Params) -> list[Find]:
    """E31: see the rule's words."""
    cvp, pressure, pulse = view.cvp, view.pressure, view.pulse[view.believed]
    assert cvp is not None
    assert pressure is not None
    length = int(params["over"])
    if view.n < length:
        return []
    venous, systemic, width = (running_mean(one, 61) for one in (cvp, pressure, pulse))
    low = -highest_before(-venous, length)
    rose = (venous - low >= params["venous"]) & (venous >= params["to"])
    fell = highest_before(systemic, length) - systemic >= params["fall"]
    narrow = width <= (1 - params["pulse"] / 100) * highest_before(width, length)
    diastolic = view.low.get("pa")
    equal = np.ones(view.n, dtype=np.bool_)
    if diastolic is not None:
        apart = np.abs(running_mean(diastolic, 61) - venous)
        equal = ~(apart > params["equal"])  # nothing recorded speaks for nothing
    known = np.isfinite(venous) & np.isfinite(systemic) & np.isfinite(width) & view.off_bypass
    since = _known_for(known, length)
    found: list[Find] = []
    for run in evidence_runs(rose & fell & narrow & equal & since, known, minimum=HELD_S):
        first = max(0, run.start - length)
        began = _slow_begin(venous, run.start, length)
        # Held against the levels that it began from: a pattern that lasts must not become its own past.
        stays = (
            (venous >= max(params["to"], float(low[run.start]) + params["venous"]))
            & (systemic <= float(np.nanmax(systemic[first : run.start + 1])) - params["fall"])
            & (width <= (1 - params["pulse"] / 100) * float(np.nanmax(width[first : run.start + 1])))
            & equal
        )
        lasting = evidence_runs(
            stays[run.start :], known[run.start :], minimum=1, close=HELD_S, bridge=2 * HELD_S
        )
        stop = run.start + lasting[0].stop if lasting else run.stop
        if stop - began < length or (found and view.time(run.start) < found[-1].end_s):
            continue  # as fast as this goes no filling
        whole = Run(
            run.start, stop, int(known[run.start : stop].sum()), int((~known[run.start : stop]).sum())
        )
        found.append(
            course_find(
                E31, view, whole, venous, params=params, channels=("cvp", view.believed), limit=params["to"],
                unit="mm[Hg]", above=True, plain=PLAIN_FILL, minimum=params["over"], site=view.believed,
                arterial_before=rounded(median(systemic[max(0, began - 60) : began + 1])),
                arterial_during=rounded(median(systemic[run.start : stop])),
                pulse_before=rounded(median(width[max(0, began - 60) : began + 1])),
                pulse_after=rounded(median(width[run.start : stop])),
                alternatives=[
                    alternative("a failing right heart",
                                "cannot tell: no pulmonary artery pressure" if diastolic is None else
                                f"the pulmonary diastolic pressure lay within {params['equal']:g} mmHg of the venous"),
                    alternative("air or blood in the chest", "cannot tell from traces"),
                    alternative("too much volume", "then the arterial pressure rises"),
                    alternative("a venous line behind a clamp", "then the arterial pressure does not fall with it"),
                ],
            )
        )  # fmt: skip
    return found


def _known_for(known: BoolArray, length: int) -> BoolArray:
    """Seconds before which at least half of the whole length was seen off bypass."""
    seen = np.concatenate(([0], np.cumsum(known)))
    index = np.arange(known.size)
    first = np.maximum(index - length, 0)
    return np.asarray((index >= length) & (seen[index] - seen[first] >= 0.5 * length))


def _slow_begin(venous: FloatArray, first: int, length: int) -> int:
    """Where the slow rise began: the last second at its lowest before."""
    piece = venous[max(0, first - length) : first + 1]
    if not np.isfinite(piece).any():
        return first
    return max(0, first - length) + int(np.nanargmin(piece))


E27 = Rule(
    code="E27",
    name="protamine reaction",
    family="after",
    needs=("site", "protamine"),
    phase=("post",),
    words="Within {within} s of a time at which protamine was written or said to have been given or to be running, "
    "off bypass: mean pressure at the believed site falls by {fraction} % or {fall} mmHg or more from its highest of "
    "the 2 min before, for at least {minimum} s. b where the mean pulmonary artery pressure rises by {pulmonary} "
    "mmHg and the venous by {venous} mmHg with it, else a.",
    status="C",
    source="common practice; the course (a fall at about 1 min, the pulmonary rise at about 2 min) was described in "
    "19 men",
    parameters={
        "within": Parameter(900, "s", "time after the drug"),
        "fraction": Parameter(20, "%", "smallest fall, of the pressure before"),
        "fall": Parameter(15, "mm[Hg]", "or smallest fall"),
        "minimum": Parameter(60, "s", "shortest length"),
        "pulmonary": Parameter(8, "mm[Hg]", "rise of the mean pulmonary artery pressure that makes it b"),
        "venous": Parameter(3, "mm[Hg]", "rise of the venous pressure that makes it b"),
    },
    find=find_protamine_reaction,
    parts=_kind_untold,
    details=f"Pressures are means of {BREATHS_S} s. The start is put back to the last second within {BEGUN} % of the "
    f"fall; it ends where the pressure is back over the limit for more than 5 s; a fall counts once it held for "
    f"{ONSET_HELD_S} s. {RUNS} Plain from {PLAIN_FALL:g} mmHg beyond.",
)
E28 = Rule(
    code="E28",
    name="pulmonary hypertensive crisis",
    family="after",
    needs=("site", "pa"),
    phase=("pre", "post"),
    words="Off bypass, for at least {minimum} s: mean pulmonary over mean arterial pressure at {ratio} or more and "
    "by {over_usual} or more over its median of the 10 min before, the pulmonary mean itself by {risen} mmHg or "
    "more; or the pulmonary mean up by {rise} mmHg within {rise_within} s with the arterial mean down by "
    "{systemic_fall} mmHg and the venous up by {venous} mmHg.",
    status="D",
    source="common practice and this project's choice",
    parameters={
        "ratio": Parameter(0.7, "1", "ratio from which it counts"),
        "over_usual": Parameter(0.15, "1", "and by so much over the usual one"),
        "risen": Parameter(
            4, "mm[Hg]", "rise of the pulmonary mean over its usual: a low arterial pressure alone is none"
        ),
        "minimum": Parameter(60, "s", "shortest length"),
        "rise": Parameter(15, "mm[Hg]", "rise of the pulmonary mean"),
        "rise_within": Parameter(300, "s", "time that it may take"),
        "systemic_fall": Parameter(15, "mm[Hg]", "fall of the arterial mean"),
        "venous": Parameter(3, "mm[Hg]", "rise of the venous pressure"),
    },
    find=find_pulmonary_crisis,
    parts=_rise_untold,
    details=f"Pressures are means of {BREATHS_S} s, the usual ratio is known to {STEP_S} s. {RUNS} Plain from "
    f"{PLAIN_RATIO:g} beyond.",
)
E31 = Rule(
    code="E31",
    name="tamponade pattern",
    family="after",
    needs=("site", "pulse", "cvp"),
    phase=("pre", "post"),
    words="Off bypass, over {over} s: central venous pressure up by {venous} mmHg or more to {to} mmHg or more, mean "
    "arterial pressure down by {fall} mmHg or more and pulse by {pulse} % or more, with the venous and the pulmonary "
    "diastolic pressure within {equal} mmHg of each other where both are recorded.",
    status="C",
    source="common practice, no source",
    parameters={
        "over": Parameter(TREND_S, "s", "time over which it develops; a shorter record cannot show it"),
        "venous": Parameter(5, "mm[Hg]", "smallest rise of the venous pressure"),
        "to": Parameter(15, "mm[Hg]", "level that it reaches"),
        "fall": Parameter(15, "mm[Hg]", "smallest fall of the arterial pressure"),
        "pulse": Parameter(30, "%", "smallest narrowing of the pulse"),
        "equal": Parameter(5, "mm[Hg]", "how far venous and pulmonary diastolic pressure may lie apart"),
    },
    find=find_filling_hindered,
    details=f"All are means of 61 s; half of that time at least was seen, and the signs hold for {HELD_S} s. It is "
    "dated by its crossing, and goes on while all three signs hold against the levels that it began from; from the "
    "lowest venous pressure before to its end it lasts as long as that time at least, since what is faster is no slow "
    f"filling. {RUNS} Plain from {PLAIN_FILL:g} mmHg beyond.",
)
RULES = (E27, E28, E31)

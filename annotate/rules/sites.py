"""Arterial sites against each other: radial under femoral, and one arm over the other."""

from __future__ import annotations

import numpy as np

from ..runs import CLOSE_S, BoolArray, FloatArray, Run, evidence_runs, median, running_mean
from ..view import View
from .course_find import course_find, signed
from .rule import Find, Parameter, Params, Rule, alternative, rounded

SMOOTH_S = 15  # s over which a difference of two means is a mean: three breaths
PLAIN_MMHG = 4.0  # beyond a limit that is plain
ARMS_SMOOTH_S = 5  # the same between the arms on bypass, where nobody breathes into it
BRIDGE_ARMS_S = 30
ABOVE_MEAN = 0.58  # of a pulse pressure; the mean lies at 0.42 of it (Grillo et al., J Hypertens 2020)
FLOW_AROUND_S, FLOW_MOVED = 120, 0.5  # s on either side, and L/min, that a correlation with the flow needs
BRIDGE_UNSEEN_S = 300  # s masked or missing that do not end a difference that stands for an hour
CORRELATION_LEAST_S = 120  # fewest seconds that a correlation with the flow is taken from
INFLOW, NOT_SHOWN = "inflow side", "inflow side, not shown: the flow did not change"


def find_site_gradient(view: View, params: Params) -> list[Find]:
    """E22: see the rule's words."""
    return sorted(
        [*_central_over_radial(view, params), *_arm_over_arm(view, params)], key=lambda one: one.start_s
    )


def femoral_line(view: View) -> str:
    """The femoral line, the believed one before another; empty where none was recorded."""
    lines = [name for name in (view.believed, *view.arterial) if name.endswith("femoral")]
    return next((name for name in lines if view.get(name) is not None), "")


def _central_over_radial(view: View, params: Params) -> list[Find]:
    central = femoral_line(view)
    fed = f"{view.facts.inflow_side}_radial" if view.facts.inflow_site == "axillary" else ""
    radials = [name for name in ("left_radial", "right_radial") if view.get(name) is not None]
    names = [name for name in radials if name != fed]
    if not central:
        return []
    found: list[Find] = []
    for name in names:
        found += [
            one
            for one in _under_central(view, params, central, name)
            if not any(one.overlap_s(other) for other in found)  # the other arm tells it already
        ]
    return found


def _under_central(view: View, params: Params, central: str, name: str) -> list[Find]:
    difference = running_mean(view.values[central] - view.values[name], SMOOTH_S)
    systolic = _systolic_difference(view, central, name)
    where = _since_the_pump(view) & ~view.inside("lower_body_arrest", "no_flow_arrest", "selective_cerebral")
    known = np.isfinite(difference)
    holds = (difference >= params["mean"]) | (running_mean(systolic, SMOOTH_S) >= params["systolic"])
    found = []
    for run in evidence_runs(
        holds & where & known, known, minimum=int(params["minimum"]), bridge=BRIDGE_UNSEEN_S
    ):
        earlier = difference[~_since_the_pump(view) & known]
        was = median(earlier) if earlier.size else float("nan")
        found.append(
            course_find(
                E22, view, run, difference, params=params, channels=(central, name), limit=params["mean"],
                unit="mm[Hg]", above=True, plain=PLAIN_MMHG, minimum=params["minimum"], subtype="a",
                name="radial under femoral pressure", site=central, of="difference of the means",
                systolic_difference_mmhg=rounded(median(systolic[run.start : run.stop]), 0),
                alternatives=[
                    alternative("a damped or kinked radial line",
                        f"{view.masked_seconds(name, run.start, run.stop)} s of "
                                "it masked, not counted"),
                    alternative("two transducers at two heights",
                        f"before the pump the femoral was {signed(was)} mmHg over it"
                                if np.isfinite(was) else "cannot tell: nothing recorded before the pump"),
                    alternative("a narrow artery of that arm", "that would have been there before the pump too"),
                ],
            )
        )  # fmt: skip
    return found


def _since_the_pump(view: View) -> BoolArray:
    """Seconds from the first going on bypass to the end."""
    mask = np.zeros(view.n, dtype=np.bool_)
    bypass = view.of_name("bypass")
    if bypass:
        mask[view.index(bypass[0].start_s) :] = True
    return mask


def _systolic_difference(view: View, one: str, other: str) -> FloatArray:
    """Difference of the systolic pressures: of means and of what a pulse stands above them, a bit over half of it."""
    if one not in view.pulse or other not in view.pulse:
        return np.full(view.n, np.nan)
    return np.asarray(
        view.values[one] - view.values[other] + ABOVE_MEAN * (view.pulse[one] - view.pulse[other])
    )


def _arm_over_arm(view: View, params: Params) -> list[Find]:
    left, right = view.get("left_radial"), view.get("right_radial")
    if left is None or right is None:
        return []
    where = view.inside("bypass") & ~view.inside("selective_cerebral", "no_flow_arrest", "lower_body_arrest")
    # Averaged over what is judged alone: in brain perfusion the arms differ as they must.
    difference = np.where(
        where, running_mean(np.where(where, right - left, np.nan), ARMS_SMOOTH_S), right - left
    )
    known = np.isfinite(difference)
    found = []
    for sign, higher in ((1.0, "right"), (-1.0, "left")):
        course = sign * difference
        holds = (course >= params["arms"]) & where & known
        for run in evidence_runs(
            holds, known, minimum=int(params["arms_minimum"]), close=BRIDGE_ARMS_S, bridge=BRIDGE_UNSEEN_S
        ):
            with_flow = _with_flow(view, course, run.start, run.stop)
            high_name, low_name = (f"{higher}_radial", f"{'left' if higher == 'right' else 'right'}_radial")
            unseen = view.masked_seconds(low_name, run.start, run.stop)
            low = median(view.values[low_name][run.start : run.stop])
            told = _told_as(view, params, high_name, run, with_flow)
            found.append(
                course_find(
                    E22, view, run, course, params=params, channels=(high_name, low_name, "pump_flow"),
                    limit=params["arms"], unit="mm[Hg]", above=True, plain=PLAIN_MMHG, minimum=params["arms_minimum"],
                    subtype="b", name="inflow side over-reads" if told == INFLOW else "one arm over the other",
                    of="difference of the means", told_as=told,
                    with_flow=rounded(with_flow, 2),
                    alternatives=[
                        alternative("two transducers at two heights", _before_the_pump(view, difference * sign)),
                        alternative("a cuff, or a kinked line, on the lower arm",
                                    f"{unseen} s of it masked, not counted"),
                        alternative("one limb that gets no blood",
                                    f"the lower arm was at {low:.0f} mmHg"),
                    ],
                )
            )  # fmt: skip
    return found


def _told_as(view: View, params: Params, higher: str, run: Run, with_flow: float) -> str:
    """Whether the difference is the inflow's, in words; `with_flow` is its correlation with the flow.

    A line that over-reads stands over every other one: where a third stands over it, blood comes in elsewhere.
    """
    fed = view.facts.inflow_site == "axillary" and higher == f"{view.facts.inflow_side}_radial"
    levels = [median(view.values[name][run.start : run.stop]) for name in view.arterial if name != higher]
    over = [level - median(view.values[higher][run.start : run.stop]) for level in levels]
    if not fed or any(one >= params["arms"] for one in over):
        return "not explained by the inflow"
    if not np.isfinite(with_flow):
        return NOT_SHOWN
    return INFLOW if with_flow > params["correlation"] else "not explained by the inflow"


def _with_flow(view: View, course: FloatArray, start: int, stop: int) -> float:
    """Correlation of a difference with the flow over the run and the two minutes on either side."""
    if view.flow is None:
        return float("nan")
    piece = slice(max(0, start - FLOW_AROUND_S), stop + FLOW_AROUND_S)
    a, b = course[piece], view.flow[piece]
    good = np.isfinite(a) & np.isfinite(b)
    if np.count_nonzero(good) < CORRELATION_LEAST_S or np.ptp(b[good]) < FLOW_MOVED or not np.ptp(a[good]):
        return float("nan")
    return float(np.corrcoef(a[good], b[good])[0, 1])


def _before_the_pump(view: View, course: FloatArray) -> str:
    early = course[~_since_the_pump(view) & np.isfinite(course)]
    if not early.size:
        return "cannot tell: nothing recorded before the pump"
    return f"before the pump the difference was {signed(median(early))} mmHg"


def _missing_lines(view: View, params: Params) -> list[str]:  # noqa: ARG001
    said = []
    radials = [name for name in ("left_radial", "right_radial") if view.get(name) is not None]
    fed = f"{view.facts.inflow_side}_radial" if view.facts.inflow_site == "axillary" else ""
    if not femoral_line(view):
        said.append("E22a not looked for: no femoral pressure")
    elif not set(radials) - {fed}:
        said.append("E22a not looked for: no radial pressure of an arm that the pump does not feed")
    if len(radials) < 2:
        said.append("E22b not looked for: no radial pressure of both arms")
    if not view.of_name("bypass"):
        known = view.flow is not None
        said.append(
            f"E22 not looked for: {'no bypass in the record' if known else 'whether and when on bypass is not known'}"
        )
    return said


E22 = Rule(
    code="E22",
    name="difference between arterial sites",
    family="sites",
    needs=("two_sites",),
    phase=(),
    words="a: from the first bypass on, femoral over radial pressure by {mean} mmHg or more of the means, or "
    "{systolic} mmHg or more systolic, for at least {minimum} s, on an arm that the pump does not feed. b: on bypass, "
    "one radial mean over the other by {arms} mmHg or more for at least {arms_minimum} s; told as inflow side where "
    "the higher arm's axillary artery is the inflow, no other line stands over that arm by {arms} mmHg, and the "
    "difference correlates with the flow by more than {correlation}; where the flow did not change, that is not "
    "shown, and said. Neither in planned arrests nor in brain perfusion alone.",
    status="P",
    source="25 mmHg systolic or 10 mean for 5 min: PubMed 26599795; b is common practice and this project's choice",
    parameters={
        "mean": Parameter(10, "mm[Hg]", "difference of the means from which it counts"),
        "systolic": Parameter(25, "mm[Hg]", "difference of the systolic pressures from which it counts"),
        "minimum": Parameter(300, "s", "shortest length, a"),
        "arms": Parameter(10, "mm[Hg]", "difference between the arms from which it counts"),
        "arms_minimum": Parameter(60, "s", "shortest length, b"),
        "correlation": Parameter(0.7, "1", "correlation with the flow beyond which it is the inflow's"),
    },
    find=find_site_gradient,
    version=2,
    details=f"Of several femoral lines the believed one is taken. Differences are means of {SMOOTH_S} s (a) or "
    f"{ARMS_SMOOTH_S} s (b). Interruptions of up to {CLOSE_S} s (a) or {BRIDGE_ARMS_S} s (b), and masked or missing "
    f"stretches of up to {BRIDGE_UNSEEN_S} s, do not end them; only seconds that were seen count. A systolic pressure "
    f"is taken as the mean and {100 * ABOVE_MEAN:g} % of the pulse. The correlation is taken over the stretch and "
    f"{FLOW_AROUND_S} s on either side, {CORRELATION_LEAST_S} s at least, where the flow moved by {FLOW_MOVED:g} L/min "
    f"or more. Plain from {PLAIN_MMHG:g} mmHg beyond.",
    parts=_missing_lines,
)
RULES = (E22,)

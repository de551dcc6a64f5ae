"""What goes wrong at the cannulae: a high line pressure, lost drainage, and a head that cannot drain."""

from __future__ import annotations

import numpy as np

from ..order import Z95
from ..runs import (
    BoolArray,
    FloatArray,
    Run,
    evidence_runs,
    highest_before,
    median,
    median_before,
    smooth,
    spans,
)
from ..view import View
from .course_find import course_find, signed
from .rule import BEFORE_S, Find, Parameter, Params, Rule, alternative, before, rounded

SMOOTH_S = 5  # s of flow, line and venous pressure that their levels are medians of
RESERVOIR_SMOOTH_S = 15
BACK_S = 90  # s before a crossing within which its rise or fall is taken to have begun
FIRST_S, LEAST_SHARE = (
    20,
    0.5,
)  # s of a loss in which the line pressure is looked at; share of the reservoir's fall
BEHIND_S = 30  # s behind the flow in which the reservoir may still fall
ORDER_S = 5  # s within which two changes of different shape cannot be ordered
LONGEST_S = 900  # s after which a flow that did not come back is no longer waited for
USUAL_VENOUS_S = 300
USUAL_S = 600  # s before, over which the resistance of the line is a median
USUAL_STEP_S = 10  # s to which such a median is known
HALF = 0.5  # of a rise, which it is looked back from
BEGUN = 10  # %, of the whole change, within which it has not begun
SAME_MMHG = 10.0  # within which the mean arterial pressure stayed
HEAD_FALL, HEAD_WITHIN_S = 10.0, 180  # % of saturation, and s: the head's answer to a drainage that is shut
PLAIN_LINE, PLAIN_FLOW, PLAIN_VENOUS = 30.0, 0.3, 5.0  # mm[Hg], share of the flow, mm[Hg] that are plain
PLAIN_TIMES = 1.0  # times the usual resistance
STEP_S = 15  # s from where it began to the limit that are one step, dated by its middle
RISING_S, RISING_FLOW = 10, 0.2  # s, and L/min by which a flow rises that takes the line pressure with it
JOINED_S = 15  # s between two stretches of one and the same obstruction


def pumping(view: View) -> BoolArray:
    """Seconds on bypass outside planned arrests and brain perfusion alone."""
    return view.inside("bypass") & ~view.inside("lower_body_arrest", "no_flow_arrest", "selective_cerebral")


def back_dated(course: FloatArray, first: int, base: float, top: float, reach: int = BACK_S) -> int:
    """Last second before `first` that is within a tenth of the whole change from its level before, and one on."""
    share = (course[max(0, first - reach) : first + 1] - base) / (top - base) if top != base else np.zeros(1)
    still = np.flatnonzero(share <= BEGUN / 100)
    return max(0, first - reach) + int(still[-1]) + 1 if still.size else max(0, first - reach)


def _began(course: FloatArray, start: int, stop: int) -> int:
    """Where a course began to rise to its highest between a little before `start` and `stop`."""
    base, early = before(course, max(0, start - BEHIND_S)), max(0, start - BEHIND_S)
    piece = course[early:stop]
    if not np.isfinite(piece).any() or not np.isfinite(base):
        return start
    top = float(np.nanmax(piece))
    half = np.flatnonzero(piece >= base + HALF * (top - base))
    return back_dated(course, early + int(half[0]), base, top) if half.size else start


def _order(view: View, one: tuple[str, str, int], did: str, other: tuple[str, str, int]) -> str:
    """Which of two channels moved first, as far as their clocks and the whole seconds tell."""
    (a, a_name, a_at), (b, b_name, b_at) = one, other
    doubt = max(Z95 * view.sd_between(a_name, view.time(a_at), b_name, view.time(b_at)), float(ORDER_S))
    lag = b_at - a_at
    if not np.isfinite(doubt):
        return f"cannot tell whether {a} or {b} came first: a clock of theirs is not set"
    if not abs(lag) > doubt:
        return f"cannot tell whether {a} or {b} came first: {abs(lag)} s apart, known to ± {doubt:.0f} s"
    return f"the {a} {did} {abs(lag)} s {'before' if lag > 0 else 'after'} the {b} fell"


# -- E07 -------------------------------------------------------------------------------------------


def find_high_line_pressure(view: View, params: Params) -> list[Find]:
    """E07: see the rule's words."""
    line, flow = view.get("line_pressure"), view.flow
    assert line is not None
    assert flow is not None
    line, flow = smooth(line, SMOOTH_S), smooth(flow, SMOOTH_S)
    pressure = view.pressure
    high = (line > params["above"]) & view.inside("bypass")
    resistance, usual = inflow_resistance(view, least_flow=params["flow"], above=params["above"])
    steep = resistance > params["times"] * usual
    found = []
    for run in evidence_runs(high | steep, np.isfinite(line), minimum=int(params["minimum"]), close=JOINED_S):
        start, stop = run.start, run.stop
        peak = float(np.nanmax(line[start:stop]))
        times = resistance / usual[start]
        over = np.flatnonzero(high[start:stop])
        by_limit = over.size >= min(int(params["minimum"]), int(np.count_nonzero(steep[start:stop])))
        course, limit, unit, plain = (
            (line, params["above"], "mm[Hg]", PLAIN_LINE)
            if by_limit
            else (times, params["times"], "1", PLAIN_TIMES)
        )
        began = _began(line, start, stop)
        took = start - began
        crossed = (start + int(over[0]), start + int(over[-1]) + 1) if by_limit else (start, stop)
        whole = _whole(line if by_limit else times, flow, run, crossed)
        moved = median(pressure[start:stop]) - before(pressure, start) if pressure is not None else np.nan
        found.append(
            course_find(
                E07, view, whole, course, params=params, channels=("line_pressure", "pump_flow"),
                limit=limit, unit=unit, above=True, plain=plain, minimum=params["minimum"], crossed=crossed,
                of="line pressure" if by_limit else "resistance of the inflow, in times of its usual one",
                flow_before=rounded(before(flow, start), 2),
                flow_during=rounded(median(flow[start:stop]), 2),
                line_peak_mmhg=None if by_limit else rounded(peak, 0),
                resistance_times=rounded(median(times[start:stop])) if by_limit else None,
                order=_order(
                    view, ("line pressure", "line_pressure", began), "rose",
                    ("flow", "pump_flow", _began(-flow, start, stop)),
                ),
                alternatives=[
                    alternative("cold and viscous blood", f"that takes minutes; it rose within {took} s"
                                if 0 < took < BACK_S - 1 else "cannot be ruled out: no sudden rise was seen"),
                    alternative("a vasopressor", "cannot tell: no arterial pressure" if not np.isfinite(moved)
                                else f"mean arterial pressure moved by {signed(moved)} mmHg with it"),
                    alternative("a transducer moved to the other side of the filter", "cannot tell from traces"),
                    alternative("lost drainage", "then the line pressure falls with the flow"),
                ],
            )
        )  # fmt: skip
    return found


def inflow_resistance(view: View, *, least_flow: float, above: float) -> tuple[FloatArray, FloatArray]:
    """Resistance of the inflow of each second and its usual one, mm[Hg]/(L/min)².

    (Line pressure less mean arterial pressure at the believed site) over the flow squared, on bypass outside going on
    and coming off, at `least_flow` L/min or more; NaN elsewhere, and everywhere without one of the three. The usual
    one is the median of the `USUAL_S` seconds before, those with a line pressure over `above` mm[Hg] left out.
    """
    line, flow, pressure = view.get("line_pressure"), view.flow, view.pressure
    resistance = np.full(view.n, np.nan)
    if line is None or flow is None or pressure is None:
        return resistance, resistance.copy()
    line, flow = smooth(line, SMOOTH_S), smooth(flow, SMOOTH_S)
    enough = view.inside("bypass") & ~view.inside("going_on", "weaning") & (flow >= least_flow)
    resistance[enough] = ((line - pressure) / np.maximum(flow, 0.1) ** 2)[enough]
    return resistance, median_before(np.where(line > above, np.nan, resistance), USUAL_S, step=USUAL_STEP_S)


def _whole(course: FloatArray, flow: FloatArray, run: Run, crossed: tuple[int, int]) -> Run:
    """The run from where its rise began to where it was over: the end is looked for as the start of it backwards."""
    n = course.size
    start = _obstructed_from(course, flow, run.start, run.stop, crossed[0])
    stop = n - _obstructed_from(course[::-1], flow[::-1], n - run.stop, n - run.start, n - crossed[1])
    seen = int(np.isfinite(course[start:stop]).sum())
    return Run(start, stop, seen, stop - start - seen)


def _obstructed_from(course: FloatArray, flow: FloatArray, start: int, stop: int, crossed: int) -> int:
    """Where the first sign or its rise began; at the middle of the rise where that is one step."""
    began = min(start, _began(course, start, stop))
    # What rises with the flow is no obstruction.
    earlier = np.concatenate((np.full(RISING_S, np.nan), flow[:-RISING_S]))
    rising = np.flatnonzero((flow - earlier)[began:start] > RISING_FLOW)
    began += int(rising[-1]) + 1 if rising.size else 0
    if not crossed - began <= STEP_S:
        return began
    middle = (1 - HALF) * course[began] + HALF * float(np.nanmax(course[began:stop]))
    return min(began + int(np.argmax(course[began:stop] >= middle)), crossed)


# -- E08 -------------------------------------------------------------------------------------------


def find_drainage_loss(view: View, params: Params) -> list[Find]:
    """E08: see the rule's words."""
    flow, reservoir, line = view.flow, view.reservoir, view.get("line_pressure")
    assert flow is not None
    assert reservoir is not None
    level, volume = smooth(flow, SMOOTH_S), smooth(reservoir, RESERVOIR_SMOOTH_S)
    earlier = highest_before(level, int(params["within"]))
    fell = level <= (1 - params["fall"] / 100) * earlier
    dropped = highest_before(volume, int(params["reservoir_within"])) - volume >= params["reservoir_fall"]
    low = volume < params["low_mark"]
    near = int(params["reservoir_within"])
    emptied = _any_within(dropped | low, near)
    # A flow that was brought down before, as on the way off, is no drainage that is lost.
    full = median(level[pumping(view) & (level >= params["flow"])])
    least = max(params["flow"], params["of_usual"] / 100 * full) if np.isfinite(full) else params["flow"]
    where = pumping(view) & ~view.inside("weaning") & (earlier >= least)
    found: list[Find] = []
    for first, stop_of_fall in spans(fell & where & emptied):
        last = stop_of_fall - 1
        base = float(earlier[first])
        start = back_dated(-level, first, -base, -float(np.nanmin(level[first : last + 30])))
        stop = _recovered(level, last, base)
        if found and view.time(start) <= found[-1].end_s:
            continue
        pressed = (
            median(line[first : first + FIRST_S]) - before(line, start, BEHIND_S)
            if line is not None
            else np.nan
        )
        if np.isfinite(pressed) and pressed > 0:
            continue  # a line pressure that rises with a falling flow is an obstruction of the inflow
        meanwhile = volume[start : stop + BEHIND_S]
        lowest, had = float(np.nanmin(meanwhile, initial=np.inf)), before(volume, start)
        if not (had - lowest >= LEAST_SHARE * params["reservoir_fall"] or lowest < params["low_mark"]):
            continue  # it fell before, and rose or stood while the flow was low
        run = Run(
            start,
            stop,
            int(np.isfinite(level[start:stop]).sum()),
            int((~np.isfinite(level[start:stop])).sum()),
        )
        find = course_find(
            E08, view, run, level, params=params, channels=("pump_flow", "reservoir_volume"),
            limit=(1 - params["fall"] / 100) * base, unit="L/min", crossed=(first, stop), above=False,
                plain=PLAIN_FLOW * base,
            minimum=params["shortest"],
            reservoir_before_ml=rounded(had, 0), reservoir_lowest_ml=rounded(lowest, 0),
            order=_order(
                view, ("reservoir", "reservoir_volume", _began(-volume, start, stop)),
                "fell", ("flow", "pump_flow", start),
            ),
            low_reservoir_s=int(np.count_nonzero(low[start : stop + BEHIND_S])),
            alternatives=[
                alternative("flow lowered on purpose",
                    f"the reservoir fell by {had - lowest:.0f} mL; it would have risen"),
                alternative("an obstruction of the inflow", "cannot tell: no line pressure" if not np.isfinite(pressed)
                            else f"the line pressure moved by {signed(pressed)} mmHg with the flow"),
                alternative("a pump that stopped by itself", "then the reservoir rises"),
            ],
        )  # fmt: skip
        if find.duration_s >= params["shortest"]:
            found.append(find)
    return found


def _any_within(mask: BoolArray, seconds: int) -> BoolArray:
    """Whether it holds at any second up to so many before or after."""
    wide = np.convolve(np.pad(mask.astype(np.int32), seconds), np.ones(2 * seconds + 1, np.int32), "valid")
    return np.asarray(wide > 0)


def _recovered(level: FloatArray, first: int, base: float, reach: int = LONGEST_S) -> int:
    """First second from which the flow is back within a tenth of its fall, or as far as it was looked for."""
    piece = level[first : first + reach]
    lowest = float(np.nanmin(piece[:120], initial=np.inf))
    back = np.flatnonzero(piece >= base - 0.1 * (base - lowest))
    return first + int(back[0]) if back.size else min(first + reach, level.size)


# -- E09 -------------------------------------------------------------------------------------------


def find_head_undrained(view: View, params: Params) -> list[Find]:
    """E09: see the rule's words."""
    cvp, flow, pressure = view.cvp, view.flow, view.pressure
    assert cvp is not None
    assert flow is not None
    level = smooth(cvp, SMOOTH_S)
    plan = view.facts.planned_flow or median(flow[view.inside("bypass")])
    usual = median_before(np.where(level >= params["to"], np.nan, level), USUAL_VENOUS_S, step=USUAL_STEP_S)
    holds = (level >= params["to"]) & (level - usual >= params["rise"])
    holds &= pumping(view) & (smooth(flow, SMOOTH_S) >= params["of_plan"] / 100 * plan)
    found = []
    for run in evidence_runs(holds, np.isfinite(level), minimum=int(params["minimum"]), close=JOINED_S):
        base, top = float(usual[run.start]), float(np.nanmax(level[run.start : run.stop]))
        start = back_dated(level, run.start, base, top)
        moved = _moved(pressure, start, run) if pressure is not None else float("nan")
        if np.isfinite(moved) and abs(moved) >= params["same"]:
            continue
        falls = _head_falls(view, start, run.stop)
        seen = int(np.isfinite(level[start : run.stop]).sum())
        whole = Run(start, run.stop, seen, run.stop - start - seen)
        agreement = sum(fall >= HEAD_FALL for _, fall in falls) / len(falls) if falls else 0.5
        found.append(
            course_find(
                E09, view, whole, level, params=params, channels=("cvp",), limit=params["to"], unit="mm[Hg]",
                above=True, plain=PLAIN_VENOUS, minimum=params["minimum"], agreement=agreement,
                crossed=(run.start, run.stop), area=True, of="central venous pressure",
                saturation_falls={side: round(fall) for side, fall in falls} or None,
                alternatives=[
                    alternative("a catheter tip on the wall or in a snare",
                                "cannot tell: no saturation of the brain" if not falls else
                                "; ".join(f"{side} saturation of the brain fell by {fall:.0f} %" for side,
                                    fall in falls)),
                    alternative("a shift of the transducers", f"arterial pressure moved by {signed(moved)} mmHg"
                                if np.isfinite(moved) else "cannot tell: no arterial pressure"),
                    alternative("an infusion through that lumen",
                        "that stands like a square, and the brain does not answer"),
                ],
            )
        )  # fmt: skip
    return found


def _moved(pressure: FloatArray, start: int, run: Run) -> float:
    return median(pressure[run.start : run.stop]) - before(pressure, start)


def _head_falls(view: View, start: int, stop: int) -> list[tuple[str, float]]:
    """By how many per cent of itself each side's saturation fell within three minutes."""
    falls = []
    for side in ("left", "right"):
        saturation = view.get(f"{side}_cerebral_saturation")
        if saturation is None:
            continue
        was = before(saturation, start)
        lowest = float(np.nanmin(smooth(saturation[start : stop + HEAD_WITHIN_S], 15), initial=np.inf))
        if np.isfinite(was) and np.isfinite(lowest) and was > 0:
            falls.append((side, 100 * (was - lowest) / was))
    return falls


def _without_pressure(view: View, params: Params) -> list[str]:  # noqa: ARG001
    return (
        []
        if view.pressure is not None
        else ["E07 not looked for by the resistance: no believed arterial site"]
    )


E07 = Rule(
    code="E07",
    name="high arterial line pressure",
    family="cannulae",
    needs=("line_pressure", "pump_flow"),
    phase=("bypass",),
    words="On bypass, pressure in the arterial line over {above} mmHg for at least {minimum} s; or, for as long, "
    "outside going "
    "on and coming off and at a flow of {flow} L/min or more, a resistance of the inflow, (line pressure - mean "
    "arterial "
    f"pressure) / flow², of more than {{times}} times its median of the {USUAL_S // 60} min before.",
    status="C",
    source="common practice, no source: units set the limit, mostly between 250 and 350 mmHg; the resistance is this "
    "project's choice",
    parameters={
        "above": Parameter(300, "mm[Hg]", "line pressure above which it counts"),
        "times": Parameter(1.5, "1", "resistance from which it counts, in medians of the time before"),
        "minimum": Parameter(10, "s", "shortest length"),
        "flow": Parameter(1.0, "L/min", "lowest flow at which the resistance is judged"),
    },
    find=find_high_line_pressure,
    details=f"Line pressure and flow are medians of {SMOOTH_S} s; up to {JOINED_S} s between two stretches do not part "
    f"them, so that one obstruction is one find from its first sign to its last. As every change, it begins where the "
    f"line pressure (or the resistance, where the limit was not crossed for as long) was last within {BEGUN} % of its "
    f"whole rise from the level of {BEFORE_S} s before: {BACK_S} s before half of it at most, and not while the flow "
    f"rose by more than {RISING_FLOW:g} L/min in {RISING_S} s. It ends likewise. A step, at most {STEP_S} s from there "
    f"to the crossing, is dated by the middle of its rise. A rise that took less than {BACK_S} s to the first sign "
    f"is told as sudden; which came first, its rise or the fall of the flow, is told where they are more than "
    f"{ORDER_S} s and the clocks' ± apart. Plain from {PLAIN_LINE:g} mmHg beyond, or from {PLAIN_TIMES:g} times the "
    "usual resistance beyond.",
    parts=_without_pressure,
    version=2,
)
E08 = Rule(
    code="E08",
    name="drainage loss (venous air lock, low level)",
    family="cannulae",
    needs=("pump_flow", "reservoir"),
    phase=("bypass",),
    words="Pump flow falls by {fall} % or more within {within} s from {flow} L/min or more, and from {of_usual} % of "
    "the usual flow on bypass or more, while the reservoir falls by {reservoir_fall} mL or more within "
    "{reservoir_within} s, or is under the low-level mark of {low_mark} mL. It takes {shortest} s or more until the "
    "flow is back. Not where the line pressure rises with it, not in planned arrests, not while coming off.",
    status="C",
    source="common practice, no source; the numbers are this project's choice",
    parameters={
        "fall": Parameter(30, "%", "smallest fall of the flow"),
        "within": Parameter(30, "s", "time that it may take"),
        "flow": Parameter(1.0, "L/min", "lowest flow that it falls from"),
        "of_usual": Parameter(50, "%", "and lowest flow that it falls from, of the usual one on bypass"),
        "reservoir_fall": Parameter(200, "mL", "smallest fall of the reservoir"),
        "reservoir_within": Parameter(60, "s", "time that it may take, before or after the flow's"),
        "low_mark": Parameter(300, "mL", "low-level mark; a unit sets its own"),
        "shortest": Parameter(10, "s", "shortest length until the flow is back"),
    },
    find=find_drainage_loss,
    details=f"Flow is a median of {SMOOTH_S} s, the reservoir of {RESERVOIR_SMOOTH_S} s. It begins where the flow "
    f"was last "
    f"within {BEGUN} % of its fall, {BACK_S} s before the crossing at most, and ends where it is back as far, or after "
    f"{LONGEST_S // 60} min. From there to {BEHIND_S} s behind it the reservoir lost {100 * LEAST_SHARE:g} % of that "
    f"amount "
    f"at least. Which came first, reservoir or flow, is told where they are more "
    f"than {ORDER_S} s and the clocks' ± apart. The line pressure of the first {FIRST_S} s is held against the "
    f"{BEHIND_S} s before. Plain from a flow "
    f"{100 * PLAIN_FLOW:g} % of what it was under the limit.",
)
E09 = Rule(
    code="E09",
    name="upper-body drainage obstruction",
    family="cannulae",
    needs=("cvp", "pump_flow"),
    phase=("bypass",),
    words="On bypass outside arrests, central venous pressure up by {rise} mmHg or more, to {to} mmHg or more, for "
    "at least "
    "{minimum} s at {of_plan} % of the planned flow or more (of its median on bypass, where none is planned), while "
    "the mean "
    f"arterial pressure moves by less than {{same}} mmHg. A fall of the brain's saturations by {HEAD_FALL:g} % within "
    f"{HEAD_WITHIN_S // 60} min supports it.",
    status="C",
    source="common practice, no source; that arterial pressure and mixed saturation may not change: Sakamoto et al. "
    "2004",
    parameters={
        "rise": Parameter(10, "mm[Hg]", "smallest rise"),
        "to": Parameter(15, "mm[Hg]", "level that it reaches"),
        "minimum": Parameter(30, "s", "shortest length"),
        "of_plan": Parameter(70, "%", "lowest flow, of the planned one"),
        "same": Parameter(SAME_MMHG, "mm[Hg]", "within which the mean arterial pressure stays"),
    },
    find=find_head_undrained,
    details=f"Pressure and flow are medians of {SMOOTH_S} s; the venous pressure rises from its median of the "
    f"{USUAL_VENOUS_S // 60} min before, seconds at {{to}} mmHg or more left out. Up to {JOINED_S} s between two "
    f"stretches do "
    f"not part them. It begins where the pressure was last within {BEGUN} % of its rise, {BACK_S} s before the "
    f"crossing at "
    f"most, and ends as it is under the limit again. Plain from {PLAIN_VENOUS:g} mmHg beyond.",
)
RULES = (E07, E08, E09)

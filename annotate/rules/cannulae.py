"""What goes wrong at the cannulae: a high line pressure, lost drainage, and a head that cannot drain."""

from __future__ import annotations

import numpy as np

from ..runs import BoolArray, FloatArray, Run, evidence_runs, median, smooth
from ..view import View
from .course_find import course_find
from .rule import Find, Parameter, Params, Rule, alternative, before, rounded

SMOOTH_S = 5  # s of flow, line and venous pressure that their levels are medians of
RESERVOIR_SMOOTH_S = 15
USUAL_S = 600  # s before, over which the resistance of the line is a median
BEGUN = 10  # %, of the whole change, within which it has not begun
SAME_MMHG = 10.0  # within which the mean arterial pressure stayed
HEAD_FALL, HEAD_WITHIN_S = 10.0, 180  # % of saturation, and s: the head's answer to a drainage that is shut
PLAIN_LINE, PLAIN_FLOW, PLAIN_VENOUS = 30.0, 0.3, 5.0  # mm[Hg], share of the flow, mm[Hg] that are plain
JOINED_S = 15  # s between two stretches of one and the same obstruction


def pumping(view: View) -> BoolArray:
    """Seconds on bypass outside planned arrests and brain perfusion alone."""
    return view.inside("bypass") & ~view.inside("lower_body_arrest", "no_flow_arrest", "selective_cerebral")


def back_dated(course: FloatArray, first: int, base: float, top: float, reach: int = 90) -> int:
    """Last second before `first` that is within a tenth of the whole change from its level before, and one on."""
    share = (course[max(0, first - reach) : first + 1] - base) / (top - base) if top != base else np.zeros(1)
    still = np.flatnonzero(share <= BEGUN / 100)
    return max(0, first - reach) + int(still[-1]) + 1 if still.size else max(0, first - reach)


def over_again(course: FloatArray, last: int, base: float, top: float, reach: int = 120) -> int:
    """First second from `last` on that is back within a tenth of the whole change of its level before."""
    share = (course[last : last + reach] - base) / (top - base) if top != base else np.zeros(1)
    back = np.flatnonzero(share <= BEGUN / 100)
    return last + int(back[0]) if back.size else last


def running_median(values: FloatArray, width: int, step: int = 10) -> FloatArray:
    """Median of the `width` seconds before each second, known to `step` seconds; NaN without any."""
    out = np.full(values.size, np.nan)
    for start in range(0, values.size, step):
        out[start : start + step] = median(values[max(0, start - width) : start])
    return out


# -- E07 -------------------------------------------------------------------------------------------


def find_high_line_pressure(view: View, params: Params) -> list[Find]:
    """E07: see the rule's words."""
    line, flow = view.get("line_pressure"), view.flow
    assert line is not None and flow is not None
    line, flow = smooth(line, SMOOTH_S), smooth(flow, SMOOTH_S)
    pressure = view.pressure
    where = view.inside("bypass")
    high = line > params["above"]
    resistance = np.full(view.n, np.nan)
    if pressure is not None:
        enough = where & (flow >= params["flow"])
        resistance[enough] = ((line - pressure) / np.maximum(flow, 0.1) ** 2)[enough]
        usual = running_median(np.where(high, np.nan, resistance), USUAL_S)
        steep = resistance > params["times"] * usual
    else:
        steep, usual = np.zeros(view.n, dtype=np.bool_), np.full(view.n, np.nan)
    holds = (high | steep) & where
    found = []
    for run in evidence_runs(holds, np.isfinite(line), minimum=int(params["minimum"]), close=JOINED_S):
        base, top = before(line, run.start), float(np.nanmax(line[run.start : run.stop]))
        # A line pressure that rose little while the flow fell is dated by its resistance.
        start = back_dated(line, run.start, base, top) if top - base > PLAIN_LINE else run.start
        stop = over_again(line, run.stop, base, top) if top - base > PLAIN_LINE else run.stop
        whole = Run(start, stop, run.used, run.unknown)
        moved = (
            median(pressure[run.start : run.stop]) - before(pressure, start)
            if pressure is not None
            else np.nan
        )
        times = median(resistance[run.start : run.stop]) / usual[run.start]
        found.append(
            course_find(
                E07, view, whole, line, params=params, channels=("line_pressure", "pump_flow"),
                limit=params["above"], unit="mm[Hg]", above=True, plain=PLAIN_LINE, minimum=params["minimum"],
                flow_before=rounded(before(flow, start), 2),
                flow_during=rounded(median(flow[run.start : run.stop]), 2),
                resistance_times=rounded(times),
                alternatives=[
                    alternative("cold and viscous blood", f"it rose within {run.start - start} s; that takes minutes"),
                    alternative("a vasopressor", "cannot tell: no arterial pressure" if not np.isfinite(moved)
                                else f"mean arterial pressure moved by {moved:+.0f} mmHg with it"),
                    alternative("lost drainage", "then the line pressure falls with the flow"),
                ],
            )
        )  # fmt: skip
    return found


# -- E08 -------------------------------------------------------------------------------------------


def find_drainage_loss(view: View, params: Params) -> list[Find]:
    """E08: see the rule's words."""
    flow, reservoir, line = view.flow, view.reservoir, view.get("line_pressure")
    assert flow is not None and reservoir is not None
    level, volume = smooth(flow, SMOOTH_S), smooth(reservoir, RESERVOIR_SMOOTH_S)
    earlier = _highest_of_last(level, int(params["within"]))
    fell = level <= (1 - params["fall"] / 100) * earlier
    dropped = _highest_of_last(volume, int(params["reservoir_within"])) - volume >= params["reservoir_fall"]
    low = volume < params["low_mark"]
    near = int(params["reservoir_within"])
    emptied = _any_within(dropped | low, near)
    where = pumping(view) & ~view.inside("weaning") & (earlier >= params["flow"])
    found: list[Find] = []
    for first, last in _falls(fell & where & emptied):
        base = float(earlier[first])
        start = back_dated(-level, first, -base, -float(np.nanmin(level[first : last + 30])))
        stop = _recovered(level, last, base)
        if found and view.time(start) <= found[-1].end_s:
            continue
        pressed = median(line[first : first + 20]) - before(line, start, 30) if line is not None else np.nan
        if np.isfinite(pressed) and pressed > 0:
            continue  # a line pressure that rises with a falling flow is an obstruction of the inflow
        lowest = float(np.nanmin(volume[start : stop + 30]))
        had = before(volume, start)
        if had - lowest < params["reservoir_fall"] / 2 and not lowest < params["low_mark"]:
            continue
        run = Run(
            start,
            stop,
            int(np.isfinite(level[start:stop]).sum()),
            int((~np.isfinite(level[start:stop])).sum()),
        )
        find = course_find(
            E08, view, run, level, params=params, channels=("pump_flow", "reservoir_volume"),
            limit=(1 - params["fall"] / 100) * base, unit="L/min", above=False, plain=PLAIN_FLOW * base,
            minimum=params["shortest"],
            reservoir_before_ml=rounded(had, 0), reservoir_lowest_ml=rounded(lowest, 0),
            low_reservoir_s=int(np.count_nonzero(low[start : stop + 30])),
            alternatives=[
                alternative("flow lowered on purpose", f"the reservoir fell by {had - lowest:.0f} mL; it would have risen"),
                alternative("an obstruction of the inflow", "cannot tell: no line pressure" if not np.isfinite(pressed)
                            else f"the line pressure moved by {pressed:+.0f} mmHg with the flow"),
                alternative("a pump that stopped by itself", "then the reservoir rises"),
            ],
        )  # fmt: skip
        if find.duration_s >= params["shortest"]:
            found.append(find)
    return found


def _highest_of_last(values: FloatArray, seconds: int) -> FloatArray:
    filled = np.where(np.isfinite(values), values, -np.inf)
    padded = np.concatenate((np.full(seconds, -np.inf), filled))
    top = np.lib.stride_tricks.sliding_window_view(padded, seconds + 1).max(axis=1)
    return np.where(np.isfinite(top), top, np.nan)


def _any_within(mask: BoolArray, seconds: int) -> BoolArray:
    """Whether it holds at any second up to so many before or after."""
    wide = np.convolve(np.pad(mask.astype(np.int32), seconds), np.ones(2 * seconds + 1, np.int32), "valid")
    return np.asarray(wide > 0)


def _falls(mask: BoolArray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return list(zip(edges[::2].tolist(), (edges[1::2] - 1).tolist(), strict=True))


def _recovered(level: FloatArray, first: int, base: float, reach: int = 900) -> int:
    """First second from which the flow is back within a tenth of its fall, or as far as it was looked for."""
    piece = level[first : first + reach]
    lowest = float(np.nanmin(piece[:120], initial=np.inf))
    back = np.flatnonzero(piece >= base - 0.1 * (base - lowest))
    return first + int(back[0]) if back.size else min(first + reach, level.size)


# -- E09 -------------------------------------------------------------------------------------------


def find_head_undrained(view: View, params: Params) -> list[Find]:
    """E09: see the rule's words."""
    cvp, flow, pressure = view.cvp, view.flow, view.pressure
    assert cvp is not None and flow is not None
    level = smooth(cvp, SMOOTH_S)
    plan = view.facts.planned_flow or median(flow[view.inside("bypass")])
    usual = running_median(np.where(level >= params["to"], np.nan, level), 300)
    holds = (level >= params["to"]) & (level - usual >= params["rise"])
    holds &= pumping(view) & (smooth(flow, SMOOTH_S) >= params["of_plan"] / 100 * plan)
    found = []
    for run in evidence_runs(holds, np.isfinite(level), minimum=int(params["minimum"]), close=JOINED_S):
        base, top = float(usual[run.start]), float(np.nanmax(level[run.start : run.stop]))
        start, stop = back_dated(level, run.start, base, top), over_again(level, run.stop, base, top)
        moved = _moved(pressure, start, run) if pressure is not None else float("nan")
        if np.isfinite(moved) and abs(moved) >= params["same"]:
            continue
        falls = _head_falls(view, start, run.stop)
        whole = Run(start, stop, run.used, run.unknown)
        agreement = sum(fall >= HEAD_FALL for _, fall in falls) / len(falls) if falls else 0.5
        found.append(
            course_find(
                E09, view, whole, level, params=params, channels=("cvp",), limit=params["to"], unit="mm[Hg]",
                above=True, plain=PLAIN_VENOUS, minimum=params["minimum"], agreement=agreement,
                saturation_falls={side: round(fall) for side, fall in falls},
                alternatives=[
                    alternative("a catheter tip on the wall or in a snare",
                                "cannot tell: no saturation of the brain" if not falls else
                                "; ".join(f"{side} saturation of the brain fell by {fall:.0f} %" for side, fall in falls)),
                    alternative("a shift of the transducers", f"arterial pressure moved by {moved:+.0f} mmHg"
                                if np.isfinite(moved) else "cannot tell: no arterial pressure"),
                    alternative("an infusion through that lumen", "that stands like a square, and the brain does not answer"),
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


E07 = Rule(
    code="E07",
    name="high arterial line pressure",
    family="cannulae",
    needs=("line_pressure", "pump_flow"),
    phase=("bypass",),
    words="Pressure in the arterial line over {above} mmHg for at least {minimum} s on bypass; or the resistance of the "
    "inflow, (line pressure - mean arterial pressure) / flow², more than {times} times its median of the "
    f"{USUAL_S // 60} min before for as long, at {{flow}} L/min or more.",
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
    details=f"Line pressure and flow are medians of {SMOOTH_S} s; stretches {JOINED_S} s apart are one. The start is put "
    f"back to the last second within {BEGUN} % of the rise from the median of 60 s, the end on to the first. Without an "
    f"arterial pressure only the limit is asked. Plain from {PLAIN_LINE:g} mmHg beyond.",
)
E08 = Rule(
    code="E08",
    name="drainage loss (venous air lock, low level)",
    family="cannulae",
    needs=("pump_flow", "reservoir"),
    phase=("bypass",),
    words="Pump flow falls by {fall} % or more within {within} s from {flow} L/min or more while the reservoir falls by "
    "{reservoir_fall} mL or more within {reservoir_within} s, or under the low-level mark of {low_mark} mL; not where the "
    "line pressure rises with it, not in planned arrests nor while coming off.",
    status="C",
    source="common practice, no source; the numbers are this project's choice",
    parameters={
        "fall": Parameter(30, "%", "smallest fall of the flow"),
        "within": Parameter(30, "s", "time that it may take"),
        "flow": Parameter(1.0, "L/min", "lowest flow that it falls from"),
        "reservoir_fall": Parameter(200, "mL", "smallest fall of the reservoir"),
        "reservoir_within": Parameter(60, "s", "time that it may take, before or after the flow's"),
        "low_mark": Parameter(300, "mL", "low-level mark; a unit sets its own"),
        "shortest": Parameter(10, "s", "shortest length until the flow is back"),
    },
    find=find_drainage_loss,
    details=f"Flow is a median of {SMOOTH_S} s, the reservoir of {RESERVOIR_SMOOTH_S} s. It ends where the flow is back "
    f"within {BEGUN} % of its fall. Plain from a flow {PLAIN_FLOW:g} of what it was below the limit.",
)
E09 = Rule(
    code="E09",
    name="upper-body drainage obstruction",
    family="cannulae",
    needs=("cvp", "pump_flow"),
    phase=("bypass",),
    words="Central venous pressure rises by {rise} mmHg or more to {to} mmHg or more for at least {minimum} s at {of_plan} % "
    "of the planned flow or more (of its median, where none is planned), while the mean arterial pressure moves by less "
    f"than {{same}} mmHg. A fall of the brain's saturations by {HEAD_FALL:g} % within {HEAD_WITHIN_S // 60} min supports it.",
    status="C",
    source="common practice; that arterial pressure and mixed saturation may not change: Sakamoto et al. 2004",
    parameters={
        "rise": Parameter(10, "mm[Hg]", "smallest rise"),
        "to": Parameter(15, "mm[Hg]", "level that it reaches"),
        "minimum": Parameter(30, "s", "shortest length"),
        "of_plan": Parameter(70, "%", "lowest flow, of the planned one"),
        "same": Parameter(SAME_MMHG, "mm[Hg]", "within which the mean arterial pressure stays"),
    },
    find=find_head_undrained,
    details=f"The venous pressure is a median of {SMOOTH_S} s, its usual level the median of 5 min before; stretches "
    f"{JOINED_S} s apart are one. Start and end are put to within {BEGUN} % of the rise. Plain from {PLAIN_VENOUS:g} mmHg "
    "beyond.",
)
RULES = (E07, E08, E09)

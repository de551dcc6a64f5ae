"""The truth of a whole invented operation: what was planned, and what the limits give on its noise-free courses.

Limit classes are read off the courses with the definitions of the catalogue, by code of its own: nothing of the
program that looks for them is used. A stretch that a little more or less depth or length would make or unmake is
`EITHER_WAY`: finding it is no mistake, and neither is leaving it out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .tables import Truth
from .trend import FloatArray
from .whole_course import BASELINE, Courses
from .whole_plan import Plan

EITHER_WAY = "either way"
CLOSE_S = 5
TOLERANCE_S = {
    "E04": 15, "E05": 15, "E06": 20, "E07": 5, "E08": 10, "E09": 15, "E10": 5, "E11": 15, "E12": 15, "E14a": 30,
    "E14b": 30, "E14c": 30, "E15": 60, "E16": 15, "E17": 5, "E18": 10, "E22a": 30, "E22b": 60, "E23": 60, "E24": 20,
    "E25": 20, "E26": 15, "E27": 15, "E28": 15, "E29": 15, "E30": 30, "E21": 60,
}  # fmt: skip
"""Onset tolerance by class where it is not 15 s (steps ± 5, pressures ± 15, temperatures ± 30 to 60)."""

BoolArray = NDArray[np.bool_]
Masks = tuple[BoolArray, BoolArray, BoolArray]  # clearly, exactly, nearly


@dataclass(frozen=True, slots=True)
class _Limit:
    """Where a course is outside a limit for long enough: clearly, exactly, and nearly."""

    code: str
    label: str
    strict: BoolArray
    exact: BoolArray
    loose: BoolArray
    least_s: int
    channels: tuple[str, ...]
    close_s: int = CLOSE_S

    def rows(self) -> Iterator[Truth]:
        sure = list(_runs(self.strict, round(1.15 * self.least_s), self.close_s))
        told = [
            (start, end)
            for start, end in _runs(self.exact, self.least_s, self.close_s)
            if any(first < end and last > start for first, last in sure)
        ]
        for start, end in told:
            yield _row(self.code, self.label, start, end, self.channels)
        for start, end in _runs(self.loose, round(0.85 * self.least_s), self.close_s):
            if not any(first < end and last > start for first, last in told):
                yield _row(self.code, self.label, start, end, self.channels, EITHER_WAY)


def _runs(mask: BoolArray, least: int, close: int = CLOSE_S) -> Iterator[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.r_[0, mask.astype(np.int8), 0]))
    found: list[list[int]] = []
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if found and start - found[-1][1] <= close:
            found[-1][1] = end
        else:
            found.append([start, end])
    yield from ((start, end) for start, end in found if end - start >= least)


def _row(code: str, label: str, start: float, end: float, channels: tuple[str, ...], note: str = "") -> Truth:
    return Truth(code, label, float(start), float(end), channels, "", float(TOLERANCE_S.get(code, 15)), note)


def truth_of(plan: Plan, seen: Courses) -> tuple[Truth, ...]:
    """Every event of an operation, in order of start; no artefacts."""
    planned = (_from_its_crossing(row, seen) for row in _planned(plan))
    rows = [*planned, *(row for limit in _limits(plan, seen) for row in limit.rows())]
    return tuple(sorted(rows, key=lambda row: (row.start_s, row.code)))


def _from_its_crossing(row: Truth, seen: Courses) -> Truth:
    """A high line pressure from the second in which it passes 300 mmHg, as the invented case's table dates it."""
    if row.code != "E07":
        return row
    with np.errstate(invalid="ignore"):
        over = np.flatnonzero(seen.line_pressure[int(row.start_s) : int(row.end_s)] > 300)
    return replace(row, start_s=row.start_s + float(over[0])) if over.size else row


def _planned(plan: Plan) -> Iterator[Truth]:
    arteries = ("FEM", "LRAD")
    channels = {
        "E04": arteries, "E07": ("ALP", "FLOW"), "E08": ("FLOW", "RES"), "E09": ("CVP",),
        "E10": ("FLOW",), "E21": ("LRAD", "ALP"), "E24": arteries, "E27": ("FEM", "PAM", "CVP"),
        "E29": arteries, "E30": ("FEM",),
    }  # fmt: skip
    for one in plan.events:
        code, _, kind = one.code.partition("/")
        if code in channels:
            yield _row(code, kind, one.start, one.end, channels[code])
        if code == "E21":
            yield _row("E07", "with malperfusion", one.start, one.end, ("ALP", "FLOW"))
    for start, end in plan.no_flow:
        yield _row("E17", "no flow", start, end, ("FLOW", "FEM"))
    for start, end in plan.brain_alone:
        yield _row("E18", "brain perfused alone", start, end, ("FLOW", "RRAD"))
    for at, word in zip(plan.clamp, ("on", "off"), strict=True):
        yield _row("E23", f"clamp {word}", at, at, ("ANNOT",))
    yield _row("E26", "weaning begins", plan.weaning, plan.off, ("FLOW", "PP"))
    yield _row("E26", "off bypass", plan.off, plan.off, ("FLOW",))


def _limits(plan: Plan, seen: Courses) -> Iterator[_Limit]:
    t = np.arange(seen.flow.size)
    index = seen.flow / plan.body_surface
    on = (t >= plan.going_on) & (t < plan.off)
    established = (t >= plan.full_flow) & (t < plan.weaning)
    arrested = np.zeros(t.size, bool)
    for start, end in plan.arrested:
        arrested |= (t >= start) & (t < end + 90)
    fem = seen.femoral

    def below(values: FloatArray, limit: float, slack: float, where: BoolArray) -> Masks:
        with np.errstate(invalid="ignore"):
            return (
                where & (values < limit - slack),
                where & (values < limit),
                where & (values < limit + slack),
            )

    def above(values: FloatArray, limit: float, slack: float, where: BoolArray) -> Masks:
        with np.errstate(invalid="ignore"):
            return (
                where & (values >= limit + slack),
                where & (values >= limit),
                where & (values >= limit - slack),
            )

    yield _Limit("E01", "hypotension off bypass", *below(fem, 65, 1.2, ~on & (t > 60)), 60, ("FEM",))
    carried = on & (seen.flow >= 1.3)
    yield _Limit("E13", "hypotension on bypass", *below(fem, 50, 1.0, carried), 60, ("FEM",))
    yield _Limit("E13", "hypertension on bypass", *above(fem, 80, 1.0, carried), 300, ("FEM",))
    yield _collapse(fem, ~arrested & (t > 120))
    warm = established & (seen.outlet >= 32) & ~arrested
    full = plan.flow_index
    yield _Limit("E11", "low flow index", *below(index, max(2.0, 0.8 * full), 0.04, warm), 180, ("FLOW",))
    delivery = 10 * index * (1.34 * seen.haemoglobin + 0.66)
    yield _Limit("E12", "low oxygen delivery", *below(delivery, 280, 5, warm), 300, ("DO2I",))
    pumped = on & (seen.flow >= 1)
    cooling, warming = seen.venous - seen.outlet, seen.outlet - seen.venous
    yield _Limit("E14a", "cooling gradient", *above(cooling, 10, 0.15, pumped), 60, ("TV", "TAO"))
    cold = pumped & (seen.outlet < 30)
    yield _Limit("E14b", "warming gradient, cold", *above(warming, 10, 0.15, cold), 60, ("TV", "TAO"))
    yield _Limit(
        "E14c", "warming gradient", *above(warming, 4, 0.15, pumped & (seen.outlet >= 30)), 60, ("TV", "TAO")
    )
    slope, warm_outlet = _slope(seen.nasopharyngeal), pumped & (seen.outlet >= 30)
    sure, exact, perhaps = above(slope, 0.5, 0.03, warm_outlet)
    # The outlet's own slope counts as well by some readings of the guideline.
    perhaps |= above(_slope(np.nan_to_num(seen.outlet, nan=36.0)), 0.5, 0.03, warm_outlet)[2]
    yield _Limit("E15", "fast rewarming", sure, exact, perhaps, 120, ("NP",))
    yield _Limit("E16", "hyperthermic outlet", *above(seen.outlet, 37, 0.08, pumped), 30, ("TAO",))
    for side, values in (("L", seen.left_saturation), ("R", seen.right_saturation)):
        base = float(np.median(values[int(BASELINE[0]) : int(BASELINE[1])]))
        yield _Limit(
            "E19",
            f"cerebral desaturation {side}",
            *below(values, 0.8 * base, 1.0, t > 240),
            30,
            (f"NIR{side}",),
        )
    apart = np.abs(seen.right_saturation - seen.left_saturation)
    yield _Limit("E20", "side difference", *above(apart, 10, 1.0, t > 240), 60, ("NIRL", "NIRR"))
    gradient = fem - seen.left_radial
    yield _Limit(
        "E22a",
        "radial-femoral gradient",
        *above(gradient, 10, 0.8, (t >= plan.clamp[0]) & ~arrested),
        300,
        ("FEM", "LRAD"),
    )
    brain = np.zeros(t.size, bool)
    for start, end in plan.brain_alone:
        brain |= (t >= start) & (t < end)
    arms = np.abs(seen.right_radial - seen.left_radial)
    yield _Limit("E22b", "arm to arm", *above(arms, 10, 0.8, on & ~brain), 60, ("RRAD", "LRAD"), 30)
    ratio = seen.pa / np.maximum(fem, 1)
    yield _Limit("E28", "pulmonary crisis", *above(ratio, 0.7, 0.03, ~on & (t > 900)), 60, ("PAM", "FEM"))
    still = on & (seen.pulse < 4) & ~arrested
    filled = above(seen.pa, 20, 1.0, still)
    yield _Limit("E25", "ventricular distension", *filled, 60, ("PAM",))
    # Any fall so soon after protamine meets the definition, whatever was planned as its reason.
    highest = np.lib.stride_tricks.sliding_window_view(np.pad(fem, (120, 0), mode="edge"), 121).max(axis=1)
    soon = (t >= plan.protamine) & (t < plan.protamine + 900)
    none = np.zeros(t.size, bool)
    yield _Limit("E27", "any fall after protamine", none, none, soon & (fem <= 0.85 * highest), 50, ("FEM",))
    lost = on & (seen.pulse < 2) & (index >= 0.5 * full)
    for start, end in _runs(lost, 10):
        if seen.pulse[max(0, start - 60) : start].max(initial=0.0) >= 4:
            yield _Limit("E06", "loss of ejection", *_same(_only(lost, start, end)), 10, ("PP",))
    gone = on & (seen.pulse < 10) & (t >= plan.going_on) & (t < plan.full_flow + 600)
    if gone.any():
        first = int(np.flatnonzero(gone)[0])
        span = np.zeros(t.size, bool)
        span[int(plan.going_on) : first] = True
        yield _Limit("E05", "loss of pulsatility", *_same(span), 1, ("PP", "FLOW"))


def _collapse(fem: FloatArray, where: BoolArray) -> _Limit:
    """Falls by 40 % and 25 mmHg within 60 s to under 45: whatever made them, a pump that stopped as well."""
    found = []
    for part, fall, level in ((0.43, 28.0, 43.0), (0.4, 25.0, 45.0), (0.37, 22.0, 47.0)):
        high = np.lib.stride_tricks.sliding_window_view(np.pad(fem, (60, 0), mode="edge"), 61).max(axis=1)
        deep = where & (fem < level) & (high - fem >= fall) & (fem <= (1 - part) * high)
        stays = deep.copy()
        for start, end in _runs(deep, 1):
            after = end
            while after < fem.size and fem[after] < level and where[after]:
                after += 1
            stays[start:after] = True
        found.append(stays)
    return _Limit("E02", "pressure collapse", found[0], found[1], found[2], 15, ("FEM", "LRAD"))


def _same(mask: BoolArray) -> Masks:
    return mask, mask, mask


def _only(mask: BoolArray, start: int, end: int) -> BoolArray:
    out = np.zeros(mask.size, bool)
    out[start:end] = mask[start:end]
    return out


def _slope(values: FloatArray) -> FloatArray:
    """Least-squares slope of the 5 min around each second, °C/min."""
    half = 150
    x = np.arange(-half, half + 1) / 60
    padded = np.pad(values, half, mode="edge")
    return np.asarray(np.correlate(padded, x / np.sum(x * x), "valid"))

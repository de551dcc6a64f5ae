"""Where a trace speaks against a phase that stands: flow in an arrest, a warm core, cooling, a step of the clock."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import numpy as np

from .phase_clamp import clock
from .phase_model import NAMES, Phase
from .phase_rules import COLD_CORE_C, FLOW_ON
from .phase_temperatures import COOLING_GRADIENT_C, STAGNANT_FLOW, STEADY_C_PER_MIN, TARGET_FIT_S
from .runs import FloatArray, close_gaps, line_fit, median, smooth, spans
from .view import View

Row = tuple[int, str, str, tuple[float, ...]]
"""Number, sentence with places for times, what to do, times."""

PRESSURE_MMHG = 30.0
HELD_S = 10  # s of flow or pressure that count against an arrest without flow
RUN_DOWN_S = 120  # s that a pressure may take to run down after the flow has stopped
COLDER_S = 300  # s of cooling within what is called warming


def of_traces(found: Sequence[Phase], view: View) -> list[Row]:
    """What traces and clocks say against phases: rows of the checks 5, 6, 12 and 14."""
    return [*_flow_in_arrest(found, view), *_warm(found, view), *_colder(found, view), *_steps(found, view)]


def _flow_in_arrest(found: Sequence[Phase], view: View) -> Iterator[Row]:
    for arrest in (phase for phase in found if phase.name == "no_flow_arrest"):
        # What the boundaries leave open is not held against it.
        start = view.index(arrest.start_s + 1 + _bounded(arrest.start.unc_s))
        stop = view.index(arrest.end_s - 1 - _bounded(arrest.end.unc_s))
        told = []
        run = _longest(view.flow, start, stop, FLOW_ON)
        if run is not None:
            told.append(("flow of " + f"{run[1]:.1f} L/min", run[0], run[2]))
        run = _longest(view.pressure, start + RUN_DOWN_S, stop, PRESSURE_MMHG)
        if run is not None:
            told.append((f"a mean pressure of {run[1]:.0f} mmHg", run[0], run[2]))
        for words, at, seconds in told:
            yield (
                5,
                f"The arrest without flow from {{1}} to {{2}} holds {words} at {{0}} for {seconds} s.",
                "Look whether it was over, or whether the reading is an artefact to hide.",
                (view.time(at), arrest.start_s, arrest.end_s),
            )


def _bounded(unc_s: float) -> float:
    return float(min(unc_s, 60.0)) if np.isfinite(unc_s) else 60.0


def _longest(values: FloatArray | None, start: int, stop: int, above: float) -> tuple[int, float, int] | None:
    """The longest stretch of more than `above` for `HELD_S` or more: its second, its median, its length."""
    if values is None or stop <= start:
        return None
    level = smooth(values[start:stop], 5)
    runs = [(low, high) for low, high in spans(close_gaps(level > above, 3)) if high - low >= HELD_S]
    if not runs:
        return None
    low, high = max(runs, key=lambda run: run[1] - run[0])
    return start + low, median(level[low:high]), high - low


def _warm(found: Sequence[Phase], view: View) -> Iterator[Row]:
    arrests = [phase for phase in found if phase.name == "lower_body_arrest"]
    arrests = arrests or [phase for phase in found if phase.name == "no_flow_arrest"]
    for arrest in arrests:
        core = view.core_near(view.index(arrest.start_s))
        if np.isfinite(core) and core > COLD_CORE_C:
            yield (
                6,
                f"The arrest at {{0}} begins at a core of {core:.1f} °C, warmer than {COLD_CORE_C:g} °C: a gap in the "
                "record, or a stopped pump?",
                "Look at the pressures then; take the arrest away if it was none.",
                (arrest.start_s,),
            )


def _colder(found: Sequence[Phase], view: View) -> Iterator[Row]:
    warming = [phase for phase in found if phase.name == "warming"]
    if not warming:
        return
    if view.outlet is not None and view.venous is not None and view.flow is not None:
        flowing = np.isfinite(view.flow) & (view.flow >= STAGNANT_FLOW)
        falls = flowing & (view.outlet - view.venous <= -COOLING_GRADIENT_C)
        words = f"the outlet is {COOLING_GRADIENT_C:g} °C or more under venous"
    elif view.core:
        _, slope = line_fit(view.values[view.core], TARGET_FIT_S)
        falls = slope * 60 <= -STEADY_C_PER_MIN
        words = f"the core falls by {STEADY_C_PER_MIN:g} °C a minute or more"
    else:
        return
    for warm in warming:
        start, stop = view.index(warm.start_s), view.index(warm.end_s)
        for low, high in spans(close_gaps(falls[start:stop], 30)):
            if high - low > COLDER_S:
                yield (
                    12,
                    f"From {{0}} on for {clock(high - low)} {words}, within what is called warming from {{1}} to "
                    "{2}.",
                    "Look at the temperatures, and set the times of warming.",
                    (view.time(start + low), warm.start_s, warm.end_s),
                )


def _steps(found: Sequence[Phase], view: View) -> Iterator[Row]:
    for source, pieces in sorted(view.clocks.items()):
        if ", " in source:
            continue  # several sources in turn, each of which is asked by itself
        for earlier, later in itertools.pairwise(pieces):
            at = later.from_s
            inside = [
                phase
                for phase in found
                if phase.start_s < at < phase.end_s and phase.name not in ("pre", "post")
            ]
            if not np.isfinite(at) or not inside:
                continue
            back = later.piece[0] != earlier.piece[0]
            names = ", ".join(dict.fromkeys(NAMES.get(phase.name, phase.name) for phase in inside))
            yield (
                14,
                f"The clock of {source.replace('_', ' ')} "
                f"{'goes back or repeats' if back else 'is set otherwise'} at {{0}}, within {names}.",
                "A length across it needs both pieces of that clock set: look at the clock bench.",
                (at,),
            )

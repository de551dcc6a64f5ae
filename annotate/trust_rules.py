"""Rules that propose which arterial line is believed at each time, each span with its sentence.

R1  A line that is masked, missing or not in place is not believed: `quality.quality_class` says of each second
    whether it is good, or good for its mean. A change of up to `runs.BRIDGE_S` is bridged.
R2  A line on the arm that the pump feeds comes last while the pump runs: the jet of the inflow passes it.
R3  In the first `OFF_BYPASS_S` off bypass the femoral line is believed before a radial one if there is a gradient:
    femoral less radial mean at `GRADIENT_MMHG` or more for `GRADIENT_S`. The radial line reads too low then in a
    third to a half of patients (146 of 435: Bouchard-Dechêne 2018; 33 of 73: PubMed 26599795, whose definition of
    a gradient this is). The femoral line comes first in the order of sites anyway; R3 gives the reason its number,
    and a warning to a radial line that stands in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from .phase_rules import FLOW_OFF
from .runs import BRIDGE_S, BoolArray, evidence_runs, smooth, spans
from .site import ARM, bridged, judged_each_second, on_fed_arm, why_not_believed
from .view import View

OFF_BYPASS_S = 1800.0  # J3.3 row 28: the first 30 min off bypass
GRADIENT_MMHG, GRADIENT_S = 10.0, 300  # PubMed 26599795
GRADIENT_SMOOTH_S = 31  # the swing of the ventilator is no gradient (this project's choice)

BELIEVED, STANDS_IN, CHOSEN, NO_LINE = "believed", "stands in", "chosen", "no line"


@dataclass(frozen=True)
class TrustSpan:
    """One stretch of the strip.

    Attributes
    ----------
    start_s, end_s : float
        Reference seconds.
    line : str
        Name of the line as in `named.signals`; empty where no line has a usable second.
    why : str
        One sentence.
    standing : str
        ``"believed"``, ``"stands in"`` (for finds alone), ``"chosen"`` (by a person), ``"no line"``.
    by : str
        Who chose it; empty for a proposal.
    """

    start_s: float
    end_s: float
    line: str
    why: str
    standing: str = BELIEVED
    by: str = ""


def proposed_spans(
    view: View, usable: Mapping[str, BoolArray] | None = None, by: str = ""
) -> list[TrustSpan]:
    """What R1 to R3 propose, in order of time, without what people chose for stretches.

    Parameters
    ----------
    view : View
        With its phases laid in.
    usable : mapping of str to ndarray of bool, optional
        Seconds in which each line may be believed; those that the view has a value for if not given.
    by : str
        Who chose the believed line for the whole case, if somebody did.
    """
    if view.believed not in view.values or not view.n:
        return []
    seen = {name: np.isfinite(values) & _of(usable, name, view.n) for name, values in view.values.items()}
    shown = replace(
        view,
        values={**view.values, **{n: np.where(seen[n], view.values[n], np.nan) for n in view.arterial}},
    )
    names, judged = judged_each_second(shown)
    none = ~np.logical_or.reduce([seen[name] for name in names])
    # Between a stretch without any line and a change of lines nothing is left that is too short to be told.
    state = bridged(np.where(_lasting(none), -1, judged))
    gradients = off_bypass_gradients(view)
    # R3 is of one half hour: it is one span, and says for how long no line was usable in it.
    for one in gradients:
        for start, stop in spans(state == -1):
            if one.start < start and stop < one.stop and state[start - 1] == state[stop] == 0:
                state[start:stop] = 0
    edges = {0, view.n, *(int(cut) + 1 for cut in np.flatnonzero(np.diff(state)))}
    for one in gradients:
        edges |= {one.start, one.stop}
    ordered = sorted(edges)
    found: list[TrustSpan] = []
    for start, stop in pairwise(ordered):
        after = next((one for one in gradients if one.start <= start < one.stop), None)
        out_s = int(np.count_nonzero(_lasting(none)[start:stop])) if state[start] >= 0 else 0
        span = _proposed(shown, names, int(state[start]), start, stop, after, by, out_s)
        last = found[-1] if found else None
        if last and replace(last, end_s=span.end_s) == replace(span, start_s=last.start_s):
            found[-1] = replace(last, end_s=span.end_s)
        else:
            found.append(span)
    return found


def _of(usable: Mapping[str, BoolArray] | None, name: str, count: int) -> BoolArray:
    everywhere = np.ones(count, dtype=np.bool_)
    return everywhere if usable is None else usable.get(name, everywhere)


def _lasting(mask: BoolArray) -> BoolArray:
    """Only stretches that are too long to be bridged."""
    out = np.zeros_like(mask)
    for start, stop in spans(mask):
        out[start:stop] = stop - start > BRIDGE_S
    return out


class Gradient(NamedTuple):
    """A femoral line above a radial one after bypass: half-open seconds of the view for which R3 holds."""

    start: int
    stop: int
    femoral: str
    radial: str
    seconds: int  # at `GRADIENT_MMHG` or more
    greatest: float  # mmHg


def off_bypass_gradients(view: View) -> list[Gradient]:
    """Where R3 holds: the first `OFF_BYPASS_S` after each bypass that a gradient follows."""
    femorals = [name for name in view.arterial if name.rpartition("_")[2] == "femoral"]
    radials = [
        name for name in view.arterial if name.rpartition("_")[2] == "radial" and not on_fed_arm(view, name)
    ]
    bypasses = view.of_name("bypass")
    found = []
    for number, one in enumerate(bypasses):
        if not one.end.recorded:
            continue
        later = bypasses[number + 1].start_s if number + 1 < len(bypasses) else np.inf
        start, stop = view.index(one.end_s), view.index(min(one.end_s + OFF_BYPASS_S, later))
        for femoral in femorals:
            for radial in radials:
                above = smooth((view.values[femoral] - view.values[radial])[start:stop], GRADIENT_SMOOTH_S)
                known = np.isfinite(above)
                runs = evidence_runs(above >= GRADIENT_MMHG, known, minimum=GRADIENT_S)
                if runs:
                    seconds = int(np.count_nonzero(above[known] >= GRADIENT_MMHG))
                    found.append(Gradient(start, stop, femoral, radial, seconds, float(np.nanmax(above))))
    # Of several radial lines the first in the order of sites speaks.
    return [one for number, one in enumerate(found) if all(one.start != a.start for a in found[:number])]


def _proposed(
    view: View,
    names: list[str],
    judged: int,
    start: int,
    stop: int,
    after: Gradient | None,
    by: str,
    out_s: int,
) -> TrustSpan:
    times = view.time(start), view.time(stop)
    if judged < 0:
        return TrustSpan(*times, "", "no line has a usable second (R1)", NO_LINE)
    name = names[judged]
    gradient = ""
    if after is not None:
        gradient = (
            f"{_spaced(after.radial)} read up to {after.greatest:.0f} mmHg less than {_spaced(after.femoral)} in the "
            f"first 30 min off bypass, {GRADIENT_MMHG:.0f} mmHg or more for {after.seconds / 60:.1f} min"
        )
    if judged == 0:
        why = view.believed_reason
        if after is not None and name == after.femoral:
            why += f"; {gradient} (R3)"
            if out_s:
                why += f"; in it no line has a usable second for {out_s / 60:.1f} min (R1)"
        return TrustSpan(*times, name, why, CHOSEN if by else BELIEVED, by)
    why = f"{_spaced(name)} stands in for finds while {_spaced(view.believed)} "
    why += f"{why_not_believed(view, start, stop)} (R1)"
    runs = view.flow is None or not (view.flow[start:stop] <= FLOW_OFF).all()
    fed = [one for one in view.arterial if runs and on_fed_arm(view, one)]
    if name in fed:
        why += "; it is on the side of the inflow and may over-read, no other line is usable (R2)"
    elif fed:
        others = " and ".join(map(_spaced, fed))
        why += f"; {others} is on the side of the inflow and comes last while the pump runs (R2)"
    if gradient and name.rpartition("_")[2] in ARM:
        why += f"; it may read too low: {gradient} (R3)"
    return TrustSpan(*times, name, why, STANDS_IN)


def _spaced(name: str) -> str:
    return name.replace("_", " ")

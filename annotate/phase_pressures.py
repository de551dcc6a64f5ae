"""Arrests of the lower body where no flow is recorded: from what was said of the circulation, and from pressures."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from .order import Z95
from .phase_arrests import SELECTIVE_MINIMUM_S, SELECTIVE_PRESSURE, edge, head_site, lower_body_site
from .phase_clamp import clock, spread_words, words_of
from .phase_model import Boundary, Phase
from .phase_rules import ARREST_MINIMUM_S, ARREST_PRESSURE, BRIDGE_S, BURST_S, COLD_CORE_C, CONFIRM_S
from .runs import BoolArray, back_date, close_gaps, drop_short, median, smooth, spans
from .said import SAME_S, SaidEvent
from .view import View

PRESSURE_ALONE_S = 30.0  # s, half width of the 95 % interval of a time that pressures alone give (J5.1)
RUN_DOWN_S = (
    120  # s within which a pressure runs down to its lowest, or comes up again (this project's choice)
)
STILL_S = 60  # s without any pressure that an arrest has in it (this project's choice)
OVER = ("circulation_on", "full_flow")

At = Callable[..., Boundary]


class Still(NamedTuple):
    """A stretch without pressure in the lower body, half-open in seconds of the view."""

    start: int
    stop: int
    head: tuple[tuple[int, int], ...]  # with a pressure at the head's side


def pressure_arrests(view: View, events: Sequence[SaidEvent], said_at: At) -> list[Phase]:
    """Arrests with their parts where no flow dates them.

    Parameters
    ----------
    view : View
    events : sequence of SaidEvent
    said_at : callable
        ``(view, event, *alternatives) -> Boundary`` of a time that was said.

    Returns
    -------
    list of Phase
        Said ones from circulation off to on (or full flow); an end that nobody spoke of is the pressure's. Pressures
        alone make one where every arterial site runs down under 20 mm[Hg] for 2 min at a core of 28 °C or less. Without
        a pressure a said one counts where both its ends were said.
    """
    stills = _stills(view)
    offs = [one for one in events if one.kind == "circulation_off"]
    ons = [one for one in events if one.kind in OVER]
    found: list[Phase] = []
    used: set[Still] = set()
    for number, off in enumerate(offs):
        before = offs[number + 1].t if number + 1 < len(offs) else np.inf
        behind = [one for one in ons if off.t < one.t < before]
        near = [one for one in stills if one not in used and abs(view.time(one.start) - off.t) <= _reach(off)]
        still = min(near, key=lambda one: abs(view.time(one.start) - off.t), default=None)
        if still is not None:
            used.add(still)
            still = _as_said(view, still, behind)
            end = _end(view, still, behind, said_at)
        elif behind:
            end = said_at(view, behind[0])
        else:
            continue  # nothing says when it was over
        start = said_at(view, off)
        if still is not None:
            start = _surer(off, start, _start(view, still))
        found += _with_parts(view, start, end, still, events, said_at)
    for still in stills:
        over = [one for one in ons if abs(one.t - view.time(still.stop)) <= _reach(one)]
        cold = view.core_near(still.start) <= COLD_CORE_C
        if still not in used and (cold or over):
            found += _with_parts(
                view, _start(view, still), _end(view, still, over, said_at), still, events, said_at
            )
    return found


def _as_said(view: View, still: Still, behind: Sequence[SaidEvent]) -> Still:
    """A stretch up to when the circulation was said to be back, where no line of the lower body contradicts that.

    What came up at the head's side before was then the head alone.
    """
    if lower_body_site(view) or not behind or behind[0].t - view.time(still.stop) <= _reach(behind[0]):
        return still
    back = view.index(behind[0].t)
    return Still(still.start, back, ((still.stop, back),))


def _reach(event: SaidEvent) -> float:
    """How far from a pressure's fall or rise a word may speak of it, seconds."""
    unc = event.best.unc_s
    return min(CONFIRM_S + unc, SAME_S) if np.isfinite(unc) else SAME_S


def _stills(view: View) -> list[Still]:
    levels = {name: smooth(view.values[name], 5) for name in view.arterial}
    seen = np.zeros(view.n, dtype=np.bool_)
    high = np.zeros(view.n, dtype=np.bool_)
    for level in levels.values():
        seen |= np.isfinite(level)
        high |= level >= ARREST_PRESSURE
    none = seen & ~high
    femoral, head = lower_body_site(view), head_site(view)
    fed = np.zeros(view.n, dtype=np.bool_)
    if femoral and head:
        fed = (levels[femoral] < ARREST_PRESSURE) & (levels[head] >= SELECTIVE_PRESSURE)
    body = _bridged(close_gaps(none | fed, BURST_S), seen)
    out = []
    for start, stop in spans(drop_short(body, ARREST_MINIMUM_S)):
        if none[start:stop].sum() < STILL_S:
            continue
        parts = spans(drop_short(close_gaps(fed[start:stop], BURST_S), SELECTIVE_MINIMUM_S))
        out.append(Still(start, stop, tuple((start + low, start + high) for low, high in parts)))
    return out


def _bridged(body: BoolArray, seen: BoolArray) -> BoolArray:
    """With stretches of up to 2 min in which no pressure was seen, between seconds that count."""
    out = body.copy()
    for start, stop in spans(~seen):
        if start > 0 and stop < len(out) and stop - start <= BRIDGE_S and out[start - 1] and out[stop]:
            out[start:stop] = True
    return out


def _alone(view: View, index: int, rule: str, channel: str, away_s: float) -> Boundary:
    """A boundary that pressures alone give: ± 30 s, or by what it was dated back if that is more."""
    at = edge(view, index, f"{rule}; from pressure alone, no pump flow", channel)
    return replace(at, sampling_sd_s=max(PRESSURE_ALONE_S, away_s) / Z95)


def _site(view: View) -> str:
    return lower_body_site(view) or view.believed or view.arterial[0]


def _start(view: View, still: Still) -> Boundary:
    site, at = _site(view), still.start
    if at == 0:
        begun = edge(view, at, "the record begins without an arterial pressure; no pump flow", site)
        return replace(begun, recorded=False)
    low = max(0, at - RUN_DOWN_S)
    level = smooth(view.values[site][low : at + 1], 5)
    base = median(view.values[site][max(0, at - 2 * RUN_DOWN_S) : max(1, at - RUN_DOWN_S // 2)])
    began = at
    if np.isfinite(base) and np.isfinite(level[-1]) and base > level[-1]:
        began = low + back_date(level, at - low, base=base, after=float(level[-1]))
    words = "every arterial pressure ran down under 20 mmHg for 2 min, dated to where it began to fall"
    return _alone(view, began, words, site, float(at - began))


def _end(view: View, still: Still, words: Sequence[SaidEvent], said_at: At) -> Boundary:
    near = [one for one in words if abs(one.t - view.time(still.stop)) <= _reach(one)]
    if near:
        one = min(near, key=lambda event: abs(event.t - view.time(still.stop)))
        beside = f"the arterial pressure came up at {clock(view.time(still.stop))}"
        return _surer(one, said_at(view, one, beside), _rise(view, still))
    return _rise(view, still)


def _surer(event: SaidEvent, said: Boundary, seen: Boundary) -> Boundary:
    """What was said, or the pressures' own time where that is known more closely; then the words stand beside it."""
    if not seen.recorded or said.unc_s <= seen.unc_s:
        return said
    written = tuple(f"{words_of(one)}: {clock(one.t)} {spread_words(one)}" for one in event.times)
    return replace(
        seen, rule=f"{seen.rule}; as was written or said", alternatives=(*written, *seen.alternatives)
    )


def _rise(view: View, still: Still) -> Boundary:
    """When the pressures came up, dated to where they began to."""
    site = _site(view)
    if still.stop >= view.n:
        return Boundary(view.time(view.n), "the record ends in the arrest; no pump flow", recorded=False)
    low = max(still.start, still.stop - RUN_DOWN_S)
    level = smooth(view.values[site][low : still.stop + 1], 5)
    base, after = median(level[:-30]), float(level[-1])
    rose = still.stop
    if np.isfinite(base) and np.isfinite(after) and after > base:
        rose = low + back_date(level, len(level) - 1, base=base, after=after, fraction=0.2)
    rule = "the arterial pressure came up over 20 mmHg, dated to where it began to rise"
    return _alone(view, rose, rule, site, float(still.stop - rose))


def _with_parts(
    view: View,
    start: Boundary,
    end: Boundary,
    still: Still | None,
    events: Sequence[SaidEvent],
    said_at: At,
) -> list[Phase]:
    """An arrest, and in it the head perfused alone (by words, else by pressures) and what is without any flow."""
    if end.time_s - start.time_s < BURST_S:
        return []
    heads = _heads(view, start, end, still, events, said_at)
    found = [Phase("lower_body_arrest", start, end, "bypass")]
    edges = [start, *(one for pair in heads for one in pair), end]
    for low, high in zip(edges[::2], edges[1::2], strict=True):
        if high.time_s - low.time_s >= BURST_S:
            found.append(Phase("no_flow_arrest", low, high, "lower_body_arrest"))
    return found + [Phase("selective_cerebral", low, high, "lower_body_arrest") for low, high in heads]


def _heads(
    view: View,
    start: Boundary,
    end: Boundary,
    still: Still | None,
    events: Sequence[SaidEvent],
    said_at: At,
) -> list[tuple[Boundary, Boundary]]:
    within = [one for one in events if start.time_s < one.t < end.time_s]
    pairs: list[tuple[Boundary, Boundary]] = []
    for on in (one for one in within if one.kind == "head_on"):
        off = next((one for one in within if one.kind == "head_off" and one.t > on.t), None)
        if not pairs or on.t > pairs[-1][1].time_s:
            pairs.append((said_at(view, on), said_at(view, off) if off is not None else end))
    if pairs:
        return pairs
    words = "the head's pressure at least 25, femoral under 20 mmHg"
    if not lower_body_site(view):
        words = "an arterial pressure came up before the circulation was said to be back; no femoral line, assumed"
    for low, high in still.head if still is not None else ():
        site = head_site(view) or _site(view)
        begin = _alone(view, low, words, site, 0.0)
        last = (
            end
            if abs(view.time(high) - end.time_s) <= CONFIRM_S
            else _alone(view, high, f"no longer {words}", site, 0.0)
        )
        if start.time_s < begin.time_s < last.time_s <= end.time_s:
            pairs.append((begin, last))
    return pairs

"""What a person's hand on the trust strip comes to: payloads of ``believe`` edits. No Qt."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, NamedTuple

from afterclamp.annotate.trust import TrustStrip
from afterclamp.annotate.trust_rules import CHOSEN, TrustSpan

Payload = dict[str, Any]


class Edge(NamedTuple):
    """Where one line gives way to another."""

    t: float
    left: TrustSpan
    right: TrustSpan


def edges(spans: Sequence[TrustSpan]) -> list[Edge]:
    """The boundaries that can be dragged: between two spans that are not of one line and one standing."""
    return [
        Edge(a.end_s, a, b)
        for a, b in pairwise(spans)
        if a.end_s == b.start_s and (a.line, a.standing) != (b.line, b.standing)
    ]


def trusted(strip: TrustStrip, line: str, start: float, end: float) -> Payload:
    """A line believed from one time to another, whole seconds within the record."""
    found = strip.line(line)
    token = found.token if found is not None else line
    return {"site": token, **_between(strip, start, end)}


def back(strip: TrustStrip, start: float, end: float) -> Payload:
    """Back to what the rules propose, from one time to another."""
    return {"proposal": True, **_between(strip, start, end)}


def moved(strip: TrustStrip, edge: Edge, t: float) -> Payload | None:
    """What moving a boundary comes to: one of its sides takes seconds from the other.

    A side that a person chose is chosen for these seconds too. Any other side is the proposal's: where the
    proposal has its line there, they go back to it; where not, they are chosen from now on.

    Parameters
    ----------
    strip : TrustStrip
    edge : Edge
    t : float
        Reference seconds where it was let go; no farther than the ends of its two spans.

    Returns
    -------
    dict or None
        None where nothing changes.
    """
    t = float(round(min(max(t, edge.left.start_s), edge.right.end_s)))
    if t == edge.t:
        return None
    grown, start, end = (edge.left, edge.t, t) if t > edge.t else (edge.right, t, edge.t)
    by_hand = any(one.line == grown.line and one.start_s == grown.start_s for one in strip.chosen)
    proposed = {
        one.line for one in strip.proposal if one.start_s < end and one.end_s > start and one.line != ""
    }
    if not grown.line or (not (by_hand and grown.standing == CHOSEN) and proposed <= {grown.line}):
        return back(strip, start, end)
    return trusted(strip, grown.line, start, end)


def _between(strip: TrustStrip, start: float, end: float) -> Payload:
    low, high = (float(round(min(max(t, strip.start), strip.end))) for t in sorted((start, end)))
    return {"start_s": low, "end_s": high}

"""How each clock was set: the evidence in words, the traces before and after, the peak and the residuals."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from afterclamp.io.case import Span

from ..clock_traces import busiest, pair_of, points_of
from ..clock_words import clock_words
from ..wording import half_width, length, plus_minus
from .content import ClockEvidence, Moment, Picture, Section

if TYPE_CHECKING:
    from afterclamp.annotate.align import ClockEstimate
    from afterclamp.io.case import Case, Channel, Source
    from afterclamp.io.log import Edit

TITLE = "Appendix: how the clocks were set"

AGAIN_UP_TO_S = 12 * 3600.0
"""In a longer case the evidence is not worked out again for the paper, which would take too long (this project's
choice)."""

PEAK_S = 120.0
"""At most so much of the evidence is shown on either side of its peak (this project's choice)."""


TRACES = (
    "The known trace is thick and pale, that of the source thin and dark: above where its stamps alone would put it, "
    "below where it stands by its clock. Shown is half an hour around the largest change."
)
CHARTS = (
    "Where a clock was set by evidence there stands below the traces, left, how well each offset fits, with broken "
    "lines at the clock in force; right, how far each piece of evidence lies off the clock found, with its 95 % "
    "interval where that is known. Hollow ones were left out, and may lie beyond the edge."
)

PLAIN_ROWS, CHART_ROWS = 2, 3
"""How high the picture is, counted in strips: with the traces alone, and with peak and residuals."""


def clock_section(case: Case) -> tuple[Section, ...]:
    """A block for each source whose clock somebody set; nothing where nobody set one."""
    by_source = {str(edit.payload.get("source")): edit for edit in case.log.standing("clock")}
    moments = tuple(
        _moment(case, source, by_source[source.name])
        for source in case.sources
        if not source.is_reference and source.clock.method != "unset" and source.name in by_source
    )
    if not moments:
        return ()
    lead = [TRACES] if any(moment.picture is not None for moment in moments) else []
    if any(moment.picture is not None and moment.picture.rows > PLAIN_ROWS for moment in moments):
        lead.append(CHARTS)
    return (Section(TITLE, lead=tuple(lead), moments=moments),)


def _moment(case: Case, source: Source, edit: Edit) -> Moment:
    evidence = _evidence(edit)
    kind = str(evidence.get("kind", ""))
    by_evidence = source.clock.method == "by evidence"
    within = plus_minus(half_width(source.clock.pieces[0].sd_s))
    facts: list[tuple[str, str]] = []
    found, picture = None, None
    if case.horizon is not None:
        facts.append(
            ("Evidence", "not told in a view up to a time: a clock may rest on what was recorded later")
        )
    elif by_evidence:
        facts += _kept(evidence)
        found = _again(case, source, kind)
        facts += _compared_again(source, found)
    else:
        facts.append(("Evidence", f"none was kept; whoever set it says that it is right within {within[2:]}"))
    if case.horizon is None:  # by its stamps alone a trace may show what was recorded later
        picture = _picture(case, source, evidence, found)
    return Moment(
        key="clock-" + "".join(c if c.isalnum() else "-" for c in source.name),
        heading=source.name,
        when=clock_words(source.clock, within),
        state=f"{'by evidence' + (f', {kind}' if kind else '') if by_evidence else 'set by hand'}; by {edit.author}",
        facts=tuple(facts),
        picture=picture,
    )


def _evidence(edit: Edit) -> Mapping[str, Any]:
    """What the log keeps of the evidence; an edit written by another program may keep none, or something else."""
    kept = edit.payload.get("evidence")
    return kept if isinstance(kept, Mapping) else {}


def _texts(evidence: Mapping[str, Any], key: str) -> list[str]:
    kept = evidence.get(key)
    return [str(one) for one in kept] if isinstance(kept, list | tuple) else []


def _kept(evidence: Mapping[str, Any]) -> list[tuple[str, str]]:
    """The evidence as it was when it was accepted."""
    words = _texts(evidence, "words")
    facts = [("Evidence", " ".join(words) if words else "its words were not kept")]
    told = facts[0][1]
    left = [f"“{one}”" for one in _texts(evidence, "not_used") if f"“{one}”" not in told]
    if left:
        facts.append(("Lines that fit nothing, left out", ", ".join(left)))
    return facts


def _again(case: Case, source: Source, kind: str) -> ClockEstimate | None:
    """The same evidence, looked at once more for its peak and residuals; None where that would take long."""
    if case.span.duration > AGAIN_UP_TO_S:
        return None
    from afterclamp.annotate.align import estimate

    (found,) = estimate(case, sources=[source.name])
    return found if found.told and found.evidence == kind else None


def _compared_again(source: Source, found: ClockEstimate | None) -> list[tuple[str, str]]:
    """Whether the evidence still says what it said: other clocks may have been set since."""
    if found is None:
        return [("Peak and residuals", "not shown: the evidence was not worked out again in the same way")]
    if abs(found.offset_s - source.clock.offset_s) <= source.clock.pieces[0].sd_s / 10:
        return []
    again = clock_words(found.clock, plus_minus(half_width(found.offset_sd_s)))
    return [("Worked out again for this paper", again)]


def _picture(
    case: Case, source: Source, evidence: Mapping[str, Any], found: ClockEstimate | None
) -> Picture | None:
    own, known = _traces(case, source, evidence)
    if known is None or not (known.begun and (own is None or own.begun)):
        return None
    span = busiest(case, own, known)
    span = Span(span.start, max(span.end, span.start + 1.0))
    other = f"{known.plain_name} of {known.source}"
    what = f"{own.plain_name} of {source.name}" if own is not None else f"Lines of {source.name}"
    curve, name = _curve(found)
    points = _points(found)
    return Picture(
        span=span,
        marked=None,
        channels=tuple(one.id for one in (own, known) if one is not None),
        alt=f"{what}, laid on {other}, before and after the clock of {source.name} was set.",
        caption=f"{what[:1].upper()}{what[1:]} on {other}, {length(span.start)} to {length(span.end)} min:s.",
        rows=CHART_ROWS if curve or points else PLAIN_ROWS,
        look="clock",
        clock=ClockEvidence(
            source=source.name,
            own=own.id if own is not None else "",
            known=known.id,
            curve=curve,
            curve_name=name,
            points=points,
            not_used=tuple(_texts(evidence, "not_used")),
        ),
    )


def _traces(case: Case, source: Source, evidence: Mapping[str, Any]) -> tuple[Channel | None, Channel | None]:
    """The traces that were compared, where the case still has them; else those that answer each other best."""
    compared = [case.get(one) for one in _texts(evidence, "compared")[:2]]
    if len(compared) == 2 and all(compared) and compared[0] is not None and compared[0].source == source.name:
        return compared[0], compared[1]
    return pair_of(case, source)


def _curve(found: ClockEstimate | None) -> tuple[tuple[tuple[float, float], ...], str]:
    """The evidence near its peak."""
    if found is None or found.curve is None:
        return (), ""
    lag, evidence = found.curve.lag_s, found.curve.evidence
    there = np.isfinite(lag) & np.isfinite(evidence)
    if not there.any():
        return (), ""
    lag, evidence = lag[there], evidence[there]
    step = float(np.median(np.diff(lag))) if len(lag) > 1 else PEAK_S
    reach = min(PEAK_S, max(12 * found.offset_sd_s, 20 * step))
    near = np.abs(lag - lag[np.argmax(evidence)]) <= reach
    pairs = zip(lag[near].tolist(), evidence[near].tolist(), strict=True)
    return tuple(pairs), found.curve.name


def _points(found: ClockEstimate | None) -> tuple[tuple[float, float, float, bool], ...]:
    points = points_of(found) if found is not None else None
    if points is None:
        return ()
    there = np.isfinite(points.t) & np.isfinite(points.residual_s)
    return tuple(
        zip(
            points.t[there].tolist(),
            points.residual_s[there].tolist(),
            np.where(np.isfinite(points.sd_s), points.sd_s, np.inf)[there].tolist(),
            points.used[there].tolist(),
            strict=True,
        )
    )

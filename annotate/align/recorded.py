"""From channels of a case to an estimate: which pairs two sources share, and what the comparison says in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from afterclamp.io.clock import ClockMap, ClockPiece

from ..runs import FloatArray
from .changes import FLOW_AND_PRESSURE, SATURATION_AND_ARREST, Coupling
from .coupled import LEAST_CHANGES, Matched, match_answer, match_flow
from .courses import Course, Rows, course_of, rows_of
from .estimate import (
    Z95,
    ClockEstimate,
    Curve,
    Points,
    StepFound,
    length_words,
    offset_words,
    whole_hours,
)
from .path import Path
from .seams import seams_of
from .shared import coarse, match_same
from .steps import Pieces

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel, Source

PRESSURES = ("arterial_pressure", "central_venous_pressure", "pulmonary_artery_pressure")

TWICE = (*PRESSURES, "line_pressure", "pump_flow", "cardioplegia_flow", "temperature", "heart_rate",
         "venous_saturation", "arterial_saturation", "cerebral_saturation", "haemoglobin")  # fmt: skip
"""Kinds that are the same thing when kind, site and side agree."""

SEEN_DRIFT_SD_PPM = 30.0
"""A drift less well known than this is not put into words (this project's choice)."""

CURVE_POINTS = 2000


@dataclass(frozen=True)
class Recorded:
    """A source with channels, beside the sources whose clocks are known.

    Attributes
    ----------
    case : Case
    source : Source
    known : mapping of str to ClockMap
    """

    case: Case
    source: Source
    known: Mapping[str, ClockMap]

    @property
    def own(self) -> list[Channel]:
        """Its channels that hold something."""
        return [one for one in self.case.channels if one.source == self.source.name and one.count]

    @property
    def others(self) -> list[Channel]:
        """Channels of sources whose clock is known, read by that clock."""
        return [
            one if one.clock == self.known[one.source] else one.on_clock(self.known[one.source])
            for one in self.case.channels
            if one.source in self.known and one.source != self.source.name and one.count
        ]


Pair = tuple["Channel", "Channel"]


def pairs_of(recorded: Recorded, how: str) -> list[Pair]:
    """Pairs of own and known channel that can be compared: ``"same"``, ``"flow"`` or ``"answer"``."""
    own, others = recorded.own, recorded.others
    if how == "same":
        same = [(a, b) for a in own for b in others if a.kind == b.kind in TWICE and _same_place(a, b)]
        return same or [
            (a, b)
            for a in own
            for b in others
            if a.kind == b.kind == "arterial_pressure" and a.unit == b.unit
        ]
    if how == "flow":
        return [
            (a, b) for a in own for b in others if a.kind == "pump_flow" and b.kind == "arterial_pressure"
        ]
    return [
        (a, b)
        for a in own
        for b in others
        if a.kind in ("cerebral_saturation", "arterial_pressure") and b.kind == "pump_flow"
    ]


def _same_place(a: Channel, b: Channel) -> bool:
    """Whether two channels of a kind are of one place, or could be as one of them does not say."""
    if a.statistic not in ("wave", "mean", "value") or b.statistic not in ("wave", "mean", "value"):
        return False
    sites = a.site == b.site or (a.kind == "arterial_pressure" and not (a.site and b.site))
    return sites and (a.side == b.side or not (a.side and b.side))


# -- the same quantity twice -------------------------------------------------------------------------


def by_same(recorded: Recorded) -> ClockEstimate | None:
    """The clock by a quantity that a known source recorded as well; None without anything to compare."""
    best: tuple[Path, Pair, Rows, Course] | None = None
    courses: dict[str, Course] = {}
    for own, other in pairs_of(recorded, "same"):
        rows = rows_of([own], recorded.source.runs)
        course = courses.setdefault(other.id, course_of(other))
        path = coarse(rows, course) if len(rows.stamp) else None
        if path is not None and (best is None or path.total > best[0].total):
            best = path, (own, other), rows, course
    if best is None:
        return None
    path, (own, other), rows, course = best
    what = f"{own.plain_name} of {own.source} and {other.plain_name} of {other.source}"
    found = match_same(rows, course, path)
    if found is None or found.fit is None:
        return _not_told(recorded, _same_kind(own), (own, other), path, f"{what} agree at no one offset")
    fit, pieces = found.fit, found.pieces
    if pieces is None:
        return _not_told(recorded, _same_kind(own), (own, other), path, f"{what} are too unlike")
    many = int(np.isfinite(fit.sd).sum())
    words = [
        f"{what} were laid on each other in {many} windows; they correlate by {fit.typical:.2f} there.",
        f"The windows lie {_spread_words(pieces)} off one straight line.",
    ]
    if fit.width_s > 1:
        words.append(f"{own.source} averages over about {fit.width_s:.0f} s, which was allowed for.")
    words.append("A recorder's mean belongs anywhere within a second of its stamp: that is most of the ±.")
    known = np.flatnonzero(np.isfinite(fit.sd))
    seen = fit.windows[int(known[0])].first, fit.windows[int(known[-1])].stop
    points = Points(fit.stamp - fit.lag, pieces.residual, fit.sd, pieces.used)
    return _told(recorded, _same_kind(own), (own, other), rows, pieces, path, points, words, seen)


def _same_kind(channel: Channel) -> str:
    return "same pressure" if channel.kind.endswith("_pressure") else f"same {channel.kind.replace('_', ' ')}"


def _spread_words(pieces: Pieces) -> str:
    used = pieces.residual[pieces.used]
    spread = float(np.std(used)) if len(used) else 0.0
    return f"{spread:.2f} s" if spread >= 0.01 else "less than 0.01 s"


# -- what answers what -------------------------------------------------------------------------------


def by_flow(recorded: Recorded) -> ClockEstimate | None:
    """The clock of a source that recorded the flow, by a known pressure that answers it."""
    pairs = pairs_of(recorded, "flow")
    own = pairs[0][0]
    rows = rows_of([own], recorded.source.runs)
    best: tuple[Matched, Channel] | None = None
    for other in {b.id: b for _, b in pairs}.values():
        found = match_flow(rows, course_of(other))
        if found is not None and (best is None or _better(found, best[0])):
            best = found, other
    if best is None:
        return _too_few(recorded, "flow and pressure", f"the flow of {own.source} stops or changes")
    return _coupled(recorded, "flow and pressure", (own, best[1]), rows, best[0], FLOW_AND_PRESSURE)


def by_answer(recorded: Recorded) -> ClockEstimate | None:
    """The clock of a source that recorded a saturation or a pressure, by a known flow."""
    pairs = pairs_of(recorded, "answer")
    flow = pairs[0][1]
    own = {a.id: a for a, _ in pairs}
    pressures = [one for one in own.values() if one.kind == "arterial_pressure"]
    saturations = [one for one in own.values() if one.kind == "cerebral_saturation"]
    course = course_of(flow)
    best: tuple[Matched, Channel, Rows, str, Coupling] | None = None
    # Two sides of a head answer alike, so their noise is averaged; pressures of two sites are not one.
    tries = [([one], "flow and pressure", FLOW_AND_PRESSURE) for one in pressures]
    tries += [(saturations, "saturation and arrest", SATURATION_AND_ARREST)] if saturations else []
    for channels, kind, coupling in tries:
        rows = rows_of(channels, recorded.source.runs)
        found = match_answer(rows, course, coupling) if len(rows.stamp) else None
        if found is not None and (best is None or _better(found, best[0])):
            best = found, channels[0], rows, kind, coupling
    if best is None:
        return _too_few(recorded, tries[-1][1], f"the flow of {flow.source} stops for long enough")
    found, channel, rows, kind, coupling = best
    return _coupled(recorded, kind, (channel, flow), rows, found, coupling)


def _better(one: Matched, other: Matched) -> bool:
    """Whether it is told more surely, or failing that has more evidence."""
    return _rank(one) > _rank(other)


def _rank(found: Matched) -> tuple[float, float]:
    return (-found.pieces.offset_sd_s if found.pieces is not None else -np.inf, found.path.total)


def _coupled(
    recorded: Recorded, kind: str, pair: Pair, rows: Rows, found: Matched, coupling: Coupling
) -> ClockEstimate:
    own, other = pair
    name = "cerebral saturation" if kind == "saturation and arrest" else own.plain_name
    what = f"{name} of {own.source} and {other.plain_name} of {other.source}"
    if found.pieces is None:
        return _not_told(recorded, kind, pair, found.path, f"{what} do not change together at any one offset")
    pieces = found.pieces
    words = [
        f"{what} change together: {int(pieces.used.sum())} of {len(found.lag)} changes of the flow agree.",
        f"The answer was taken to begin {coupling.delay_s:.0f} s after the flow, ± {Z95 * coupling.delay_sd_s:.0f} s.",
    ]
    used = found.first_row[pieces.used]
    seen = int(used.min()), int(used.max())
    points = Points(found.stamp - found.lag, pieces.residual, found.sd, pieces.used)
    return _told(recorded, kind, pair, rows, pieces, found.path, points, words, seen)


def _too_few(recorded: Recorded, kind: str, what: str) -> ClockEstimate:
    return ClockEstimate(
        recorded.source.name,
        kind,
        zero_s=recorded.source.clock.zero_s,
        cannot_tell=f"The clock of {recorded.source.name} cannot be told: {what} fewer than {LEAST_CHANGES} times.",
    )


# -- the result --------------------------------------------------------------------------------------


def _not_told(recorded: Recorded, kind: str, pair: Pair, path: Path, why: str) -> ClockEstimate:
    return ClockEstimate(
        recorded.source.name,
        kind,
        zero_s=recorded.source.clock.zero_s,
        cannot_tell=" ".join(
            [f"The clock of {recorded.source.name} cannot be told: {why}.", *_stepped_reference(recorded)]
        ),
        curve=_curve(path),
        compared=(pair[0].id, pair[1].id),
    )


def _told(
    recorded: Recorded,
    kind: str,
    pair: Pair,
    rows: Rows,
    pieces: Pieces,
    path: Path,
    points: Points,
    words: list[str],
    seen_rows: tuple[int, int],
) -> ClockEstimate:
    source = recorded.source
    zero = source.clock.zero_s
    # What is compared with a source that was itself aligned carries that source's doubt as well.
    base = max(piece.sd_s for piece in recorded.known[pair[1].source].pieces)
    clock_pieces = tuple(
        ClockPiece(
            offset_s=piece.offset_s,
            drift_ppm=pieces.drift_ppm,
            sd_s=float(np.hypot(piece.sd_s, base)),
            run=piece.run,
            from_s=piece.from_stamp - zero,
        )
        for piece in pieces.pieces
    )
    clock = ClockMap(zero, clock_pieces, "by evidence")
    steps = tuple(_steps(rows, pieces, clock))
    hours = whole_hours(pieces.pieces[0].offset_s) if source.first_stamp is not None else 0
    sd = float(np.hypot(pieces.offset_sd_s, base))
    head = (
        f"{source.name} is {offset_words(pieces.pieces[0].offset_s, hours)} ± {length_words(Z95 * sd)}; "
        + (
            f"it runs {abs(pieces.drift_ppm):.0f} ± {Z95 * pieces.drift_sd_ppm:.0f} ppm "
            f"{'fast' if pieces.drift_ppm >= 0 else 'slow'}."
            if pieces.drift_sd_ppm < SEEN_DRIFT_SD_PPM
            else "how fast it runs cannot be seen in this record."
        )
    )
    told = [
        f"It was set {'back' if step.by_s < 0 else 'forward'} by {length_words(abs(step.by_s))} "
        f"± {length_words(Z95 * step.by_sd_s)} at {recorded.case.clock_text(step.at_s)} of the reference."
        for step in steps
    ]
    told += _stepped_reference(recorded)
    told += _unseen_holes(recorded, rows, clock, seen_rows)
    told += [
        f"Nothing is shared in run {piece.run + 1} of its stamps, so it was taken to follow on without a pause."
        for piece in pieces.pieces
        if not piece.seen
    ]
    return ClockEstimate(
        source=source.name,
        evidence=kind,
        pieces=clock_pieces,
        zero_s=zero,
        offset_sd_s=sd,
        drift_sd_ppm=pieces.drift_sd_ppm,
        steps=steps,
        whole_hours=hours,
        curve=_curve(path),
        points=points,
        compared=(pair[0].id, pair[1].id),
        words=(head, *told, *words),
    )


def _stepped_reference(recorded: Recorded) -> list[str]:
    """What to say where the reference's own clock was set back: then no one offset can fit another source."""
    reference = next(one for one in recorded.case.sources if one.is_reference)
    if reference.runs == 1:
        return []
    return [f"The clock of {reference.name} itself was set back: take another source as the reference."]


def _steps(rows: Rows, pieces: Pieces, clock: ClockMap) -> list[StepFound]:
    found = []
    for piece in pieces.pieces[1:]:
        inside = rows.run == piece.run
        if np.isfinite(piece.from_stamp):
            inside &= rows.stamp >= piece.from_stamp
        first = int(np.flatnonzero(inside)[0])
        at = float(clock.to_reference(rows.stamp[first] - clock.zero_s, piece.run))
        before = float(clock.to_reference(rows.stamp[first - 1] - clock.zero_s, int(rows.run[first - 1])))
        found.append(
            StepFound(
                at, max(at - before, 0.0) / float(np.sqrt(12)), piece.step_s, piece.step_sd_s, piece.run
            )
        )
    return found


UNSEEN_HOLE_S = 5.0
"""Shorter holes are not worth a sentence (this project's choice)."""


def _unseen_holes(recorded: Recorded, rows: Rows, clock: ClockMap, seen: tuple[int, int]) -> list[str]:
    """Holes with evidence on one side only: a clock that was set there would not show."""
    seams = seams_of(rows)
    out = []
    for row, back, jump in zip(seams.row, seams.new_run, seams.jump_s, strict=True):
        if back or jump < UNSEEN_HOLE_S or seen[0] < row <= seen[1]:
            continue
        at = float(clock.to_reference(rows.stamp[row] - clock.zero_s, int(rows.run[row])))
        side = "after" if row > seen[1] else "before"
        out.append(
            f"Nothing is shared {side} the {length_words(jump)} without rows up to {recorded.case.clock_text(at)}: "
            f"had the clock been set then, it would not show."
        )
    return out


def _curve(path: Path) -> Curve:
    """The evidence at each lag, thinned by its highest values so that a chart stays light."""
    width = max(1, len(path.lags) // CURVE_POINTS)
    many = len(path.lags) // width
    block = path.evidence[: many * width].reshape(many, width)
    at = block.argmax(axis=1) + width * np.arange(many)
    lag: FloatArray = path.lags[at]
    return Curve(lag, path.evidence[at], "evidence of all windows together")

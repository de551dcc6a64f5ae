"""The quality of a channel as stretches: its class, the artefact or the person behind it, and the seconds of each."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from .mask_reasons import told_spans
from .masking import HIDDEN, MaskedSpan, in_force
from .quality import ARTEFACT, CLASS_OF, CLASS_WORDS, GOOD, NOTHING, quality_class
from .rules import RULES
from .runs import FloatArray

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

NOT_RECORDED = "nothing recorded"
BY_RULE, BY_PERSON = "rule", "human"
_RULE_NAMES = {rule.code: rule.name for rule in RULES if rule.code not in ("A4", "A9")}
"""An A9 says itself what it is (a gap, a value that repeats, a sensor that was moved), and so does a clipped A4."""


@dataclass(frozen=True, slots=True)
class QualitySpan:
    """Whole seconds of one class and one reason.

    Attributes
    ----------
    start_s, end_s : float
        Reference seconds, half-open.
    qclass : int
        `quality.GOOD` to `quality.NOT_JUDGED`.
    acode : str
        ``"A1"`` to ``"A9"``; empty where no artefact is behind it.
    reason : str
        In words; empty where nothing is wrong with it.
    origin : str
        ``"rule"``, or ``"human"`` where a person hid it or believes it.
    rater : str
        Who; empty for a rule.
    """

    start_s: float
    end_s: float
    qclass: int
    acode: str
    reason: str
    origin: str = BY_RULE
    rater: str = ""

    @property
    def duration_s(self) -> float:
        """Seconds."""
        return self.end_s - self.start_s


def quality_spans(channel: Channel, grid: FloatArray) -> list[QualitySpan]:
    """Every second of a channel's grid, in stretches of one class and one reason.

    Parameters
    ----------
    channel : Channel
        Any channel.
    grid : ndarray
        Whole reference seconds, one apart.

    Returns
    -------
    list of QualitySpan
        In order of time, without gaps: each second is in one of them. Of several artefacts of one class in a
        second the earlier one is named.
    """
    if not grid.size:
        return []
    classes = quality_class(channel, grid)
    start = float(grid[0])
    reasons: list[QualitySpan] = [
        QualitySpan(0, 0, number, "", "" if number != NOTHING else NOT_RECORDED) for number in CLASS_WORDS
    ]
    lookup = np.zeros(max(CLASS_WORDS) + 1, np.intp)
    lookup[list(CLASS_WORDS)] = np.arange(len(CLASS_WORDS))
    which = lookup[classes]
    named = np.zeros(grid.size, np.bool_)

    def lay(first: float, last: float, reason: QualitySpan) -> None:
        piece = slice(max(int(np.floor(first - start + 1e-6)), 0), max(int(np.ceil(last - start - 1e-6)), 0))
        fits = (classes[piece] == reason.qclass) & ~named[piece]
        if fits.any():
            which[piece][fits] = len(reasons)
            named[piece] |= fits
            reasons.append(reason)

    for one in in_force(told_spans(channel), channel.masks, channel.believed):
        lay(one.start, one.end, _reason(one))
    for mask in channel.masks:
        if not mask.hidden:
            why = f"believed by {mask.author}{f': {mask.reason}' if mask.reason else ''}"
            lay(mask.start, mask.end, QualitySpan(0, 0, GOOD, "", why, BY_PERSON, mask.author))
    edges = np.flatnonzero(np.diff(which)) + 1
    bounds = [0, *edges.tolist(), grid.size]
    return [_placed(reasons[int(which[a])], start + a, start + b) for a, b in pairwise(bounds)]


def _reason(one: MaskedSpan) -> QualitySpan:
    if one.code == HIDDEN:
        return QualitySpan(0, 0, ARTEFACT, "", one.reason, BY_PERSON, one.by)
    return QualitySpan(0, 0, CLASS_OF.get(one.code, ARTEFACT), one.code, _RULE_NAMES.get(one.code, one.words))


def _placed(one: QualitySpan, start: float, end: float) -> QualitySpan:
    return QualitySpan(start, end, one.qclass, one.acode, one.reason, one.origin, one.rater)


def class_seconds(spans: list[QualitySpan]) -> dict[int, float]:
    """Seconds of each class, those without any among them."""
    found = dict.fromkeys(CLASS_WORDS, 0.0)
    for one in spans:
        found[one.qclass] += one.duration_s
    return found

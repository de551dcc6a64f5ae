"""Stretches of a channel that are not to be believed, each with its reason: what rules see, and what people say.

What rules see is looked for once (`quality.rule_spans`); what people hide and unhide is laid over it here, by
arithmetic on stretches alone, so that a mask shows at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from afterclamp.io.masks import without

if TYPE_CHECKING:
    from afterclamp.io.masks import Mask

Interval = tuple[float, float]
There = Literal["values", "off scale", "nothing"]

HIDDEN: Final = "hidden"
"""Stands among the codes of artefacts for what a person hid."""

NAMES: Final = {
    "A1": "line open to air",
    "A2": "fast flush",
    "A3": "blood sample or closed tap",
    "A4": "over-damped or ringing line",
    "A5": "catheter kink, wall contact or wedge",
    "A6": "cuff on the same arm",
    "A7": "transducer height shift",
    "A8": "electrical or movement noise",
    "A9": "gap, frozen, withdrawn or sensor off",
    HIDDEN: "hidden",
}
"""In plain words, where a rule gives no better ones."""

TAKES: Final = {"A4": "pulse", "A7": "level"}
"""What artefacts take away that leave something to be used: the mean, or the pulse. Any other takes away both."""

ROUNDING: Final = 1e-6  # s or samples; what the arithmetic of a clock may leave


@dataclass(frozen=True, slots=True)
class MaskedSpan:
    """A stretch of a channel that is not to be believed.

    Attributes
    ----------
    start, end : float
        Reference seconds, half-open: with the ring of a flush and with the ramps into and out of it.
    code : str
        A1 to A9, or `HIDDEN`.
    words : str
        What is wrong with it.
    there : {"values", "off scale", "nothing"}
        What was recorded in it; only values can be unhidden.
    by : str
        Who hid it; empty for a rule.
    artefact_s : tuple of float
        Start and end of the artefact itself, or of the mask.
    edit : str
        The edit that hid it; empty for a rule.
    """

    start: float
    end: float
    code: str
    words: str
    there: There = "values"
    by: str = ""
    artefact_s: tuple[float, float] = (0.0, 0.0)
    edit: str = ""

    @property
    def light(self) -> bool:
        """Whether something of it can be used all the same: its mean, or its pulse."""
        return self.code in TAKES

    @property
    def takes_level(self) -> bool:
        """Whether its seconds are masked in figures of levels: means, and everything made of them."""
        return self.there == "values" and TAKES.get(self.code) != "pulse"

    @property
    def reason(self) -> str:
        """Code and words; for what a person hid, who and why."""
        if self.code != HIDDEN:
            return f"{self.code} {self.words}"
        return f"hidden by {self.by}{f': {self.words}' if self.words else ''}"

    def state(self, raw: bool) -> str:
        """What becomes of its values, to be put before the reason; empty where there are none."""
        if self.there != "values":
            return ""
        if raw and self.code != "A9":
            return "left in: "
        return f"{TAKES[self.code]} masked: " if self.light else "masked: "

    @property
    def seconds(self) -> tuple[int, int]:
        """First and past-last whole second that it touches: those are masked."""
        return around(self.start, self.end)

    def left_by(self, believed: Sequence[Interval]) -> list[Interval]:
        """What is left of it where a person believes what was recorded."""
        left = [(self.start, self.end)]
        for start, end in believed if self.there == "values" else ():
            left = without(left, start, end)
        return left


def around(start: float, end: float) -> tuple[int, int]:
    """First and past-last of the whole units that a stretch touches, the last digits of its ends aside."""
    return int(np.floor(start + ROUNDING)), int(np.ceil(end - ROUNDING))


def in_force(
    spans: Iterable[MaskedSpan], masks: Sequence[Mask], believed: Sequence[Interval]
) -> list[MaskedSpan]:
    """What is masked on a channel after what people said, in order of time.

    Parameters
    ----------
    spans : iterable of MaskedSpan
        What rules see, of `quality.rule_spans`.
    masks : sequence of Mask
        What people said of the channel, in the order of the log (`Channel.masks`).
    believed : sequence of (float, float)
        What they believe, of `Channel.believed`.
    """
    found = [replace(one, start=a, end=b) for one in spans for a, b in one.left_by(believed)]
    for number, mask in enumerate(masks):
        left = [(mask.start, mask.end)] if mask.hidden else []
        for later in masks[number + 1 :]:
            left = without(left, later.start, later.end)  # a later one tells of those seconds itself
        whole = (mask.start, mask.end)
        found += [
            MaskedSpan(a, b, HIDDEN, mask.reason, by=mask.author, artefact_s=whole, edit=mask.edit)
            for a, b in left
        ]
    return sorted(found, key=lambda one: (one.start, one.code))

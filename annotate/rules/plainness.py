"""How plain a find is: a number from 0 to 1 that knows what it was made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True, slots=True)
class Parts:
    """What a plainness was made of.

    Attributes
    ----------
    margin : float
        How far beyond its limit, in units of what would be plain.
    duration : float
        Length over the shortest length that counts.
    seen : float
        Share of its seconds that were observed and not masked.
    agreement : float
        Share of the other channels asked that agree.
    """

    margin: float
    duration: float
    seen: float
    agreement: float


class Plainness(float):
    """A plainness that still knows its parts; once rounded or multiplied it is a plain float.

    Examples
    --------
    >>> Plainness.of(margin=1.0, duration=3.0)
    1.0
    """

    parts: Parts

    def __new__(cls, value: float, parts: Parts) -> Plainness:
        """A number with its parts."""
        made = super().__new__(cls, value)
        made.parts = parts
        return made

    def __reduce__(self) -> tuple[Any, ...]:
        """Packed with its parts."""
        return Plainness, (float(self), self.parts)

    @classmethod
    def of(cls, *, margin: float, duration: float, seen: float = 1.0, agreement: float = 1.0) -> Plainness:
        """Put together as `rule.confidence` says."""
        plain = 0.4 + 0.3 * float(np.clip(margin, 0, 1)) + 0.3 * float(np.clip((duration - 1) / 2, 0, 1))
        value = plain * float(np.clip(seen, 0, 1)) * (0.6 + 0.4 * float(np.clip(agreement, 0, 1)))
        return cls(round(value, 2), Parts(float(margin), float(duration), float(seen), float(agreement)))

"""What else moves an answer: noise of which a part hangs together, and how to see past it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..runs import FloatArray


class Noise(NamedTuple):
    """What else moves the answer: a share of its variance that fades with time, and the rest at once."""

    share: float
    fades: float  # in values

    def whitening(self, count: int) -> FloatArray:
        """The matrix that takes `count` values to independent ones."""
        apart = np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
        covariance = self.share * np.exp(-apart / self.fades) + (1 - self.share) * np.eye(count)
        return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)), dtype=np.float64)


class Plain:
    """Takes level, trend and what hangs together out of windows of one length."""

    def __init__(self, noise: Noise, t: FloatArray, *, trend: bool = True) -> None:
        self._whiten = noise.whitening(len(t))
        level = np.column_stack([np.ones(len(t)), t - t.mean()])[:, : 1 + trend]
        self._out, _ = np.linalg.qr(self._whiten @ level)

    def of(self, values: FloatArray) -> FloatArray:
        """Independent values, window by window along the columns."""
        values = self._whiten @ values
        return np.asarray(values - self._out @ (self._out.T @ values), dtype=np.float64)

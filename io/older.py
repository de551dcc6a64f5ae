"""Trace files of older format versions: what they lack is filled in on reading, the files stay as they are.

A file is never rewritten: its SHA-256 stands in the log, and a case that was handed on stays readable by whoever
wrote it. So carrying over means that each step from one version to the next is one function here, and that
everything past `trace_file.TraceFile` sees the newest layout only.

- 0 to 1: the times of uneven rows had no ``runs`` beside them, and channels no attribute ``statistic``.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .recording import Segment

_WAVE_HZ = 20.0


def runs_of_times(times: NDArray[np.float64]) -> NDArray[np.int32]:
    """How often the clock had gone backwards at each row, as the times themselves show it."""
    return np.cumsum(np.diff(times, prepend=times[:1]) < 0).astype(np.int32)


def identity_fields(attrs: Mapping[str, Any], segments: tuple[Segment, ...], version: int) -> dict[str, str]:
    """Kind, site, side and statistic of a channel; the statistic by rate and kind where version 0 has none."""
    fields = {name: str(attrs[name]) for name in ("kind", "site", "side")}
    if version >= 1:
        return fields | {"statistic": str(attrs["statistic"])}
    rate = max((segment.rate_hz for segment in segments), default=0.0)
    is_wave = rate >= _WAVE_HZ and fields["kind"].endswith("_pressure")
    return fields | {"statistic": "wave" if is_wave else "value"}

"""Arithmetic "what if": the oxygen delivery of the same record with another flow or another haemoglobin.

Nothing else moves: no pressure, saturation or temperature, since how a patient would have answered is not known
to arithmetic. The banner stands in every result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..series import OBSERVED, Series, combined_state
from .intervals import SpanLike, as_interval
from .oxygen import DEFAULT_CONSTANTS, OxygenConstants, arterial_oxygen_content, oxygen_delivery_index

FloatArray = NDArray[np.float64]

WHAT_IF_BANNER = "arithmetic only: the patient's response is not modelled"


@dataclass(frozen=True)
class WhatIf:
    """Oxygen delivery as recorded and with a value replaced, mL/min/m².

    Attributes
    ----------
    recorded, changed : Series
        On the same seconds, with the same states. The note of `changed` begins with the banner, so that
        whatever is made of it carries it along.
    words : str
        What was replaced by what.
    """

    recorded: Series
    changed: Series
    words: str

    @property
    def banner(self) -> str:
        """Stands on every view and in every export."""
        return WHAT_IF_BANNER

    def __str__(self) -> str:
        return f"{self.words} ({self.banner})"


def oxygen_delivery_what_if(
    flow_index: Series,
    haemoglobin: Series,
    arterial_saturation: float,
    arterial_oxygen_tension: float,
    *,
    within: Sequence[SpanLike],
    replaced_flow_index: float | None = None,
    replaced_haemoglobin: float | None = None,
    constants: OxygenConstants = DEFAULT_CONSTANTS,
) -> WhatIf:
    """Oxygen delivery index in mL/min/m² with flow index or haemoglobin replaced in some stretches.

    Parameters
    ----------
    flow_index : Series
        L/min/m².
    haemoglobin : Series
        g/dL, on the same seconds.
    arterial_saturation : float
        Fraction.
    arterial_oxygen_tension : float
        mmHg.
    within : sequence of Span or (start, end)
        Where the value is replaced, reference seconds. Has no default: over a whole record it would fill the
        arrests with flow.
    replaced_flow_index, replaced_haemoglobin : float
        L/min/m² and g/dL; at least one of the two.
    constants : OxygenConstants
        Capacity and solubility, the same for both courses.

    Returns
    -------
    WhatIf
        A second that was masked or missing stays so: nothing is made up where nothing was recorded.

    Raises
    ------
    ValueError
        If nothing is replaced, a replacement is negative, or the series do not stand on the same seconds.

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> flow, hb = from_values(0.0, np.full(60, 1.2)), from_values(0.0, np.full(60, 8.0))
    >>> tried = oxygen_delivery_what_if(flow, hb, 1.0, 200, within=[(30, 60)], replaced_flow_index=2.4)
    >>> tried.changed.values[[0, 59]].round(2)
    array([135.84, 271.68])
    >>> print(tried)
    flow index 2.4 L/min/m2 (arithmetic only: the patient's response is not modelled)
    """
    if replaced_flow_index is None and replaced_haemoglobin is None:
        raise ValueError("give a flow index or a haemoglobin to replace the recorded one by")
    if min(replaced_flow_index or 0.0, replaced_haemoglobin or 0.0) < 0:
        raise ValueError("a flow index and a haemoglobin are not negative")
    if (flow_index.start, flow_index.values.size) != (haemoglobin.start, haemoglobin.values.size):
        raise ValueError("flow index and haemoglobin need the same seconds")
    state = combined_state(flow_index, haemoglobin)
    inside = np.zeros(state.size, dtype=bool)
    for start, end in map(as_interval, within):
        inside |= (flow_index.t >= start) & (flow_index.t < end)

    def delivery(flow: FloatArray, grams: FloatArray, note: str, name: str) -> Series:
        content = arterial_oxygen_content(grams, arterial_saturation, arterial_oxygen_tension, constants)
        values = np.where(state == OBSERVED, oxygen_delivery_index(flow, content), np.nan)
        return Series(flow_index.start, values, state, "mL/min/m2", name, flow_index.site, note)

    said = f"constants {constants}"
    recorded = delivery(flow_index.values, haemoglobin.values, said, "oxygen_delivery_index")
    flow, grams = flow_index.values, haemoglobin.values
    words = []
    if replaced_flow_index is not None:
        flow = np.where(inside, replaced_flow_index, flow)
        words.append(f"flow index {replaced_flow_index:g} L/min/m2")
    if replaced_haemoglobin is not None:
        grams = np.where(inside, replaced_haemoglobin, grams)
        words.append(f"haemoglobin {replaced_haemoglobin:g} g/dL")
    note = f"{WHAT_IF_BANNER}; {' and '.join(words)}; {said}"
    return WhatIf(recorded, delivery(flow, grams, note, "oxygen_delivery_index_what_if"), " and ".join(words))

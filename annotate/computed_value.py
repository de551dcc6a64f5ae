"""One computed value that no limit stands behind: a number with its unit, its seconds and where it comes from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from .derived import Absent, Measured
from .measures.intervals import Interval
from .measures.pieces import seconds_in
from .measures.summary import Summary, summary
from .series import MISSING, OBSERVED, Series


@dataclass(frozen=True)
class Value:
    """One row of the computed values.

    Attributes
    ----------
    section : str
        Which family it belongs to: ``body flow oxygen resistance pulse temperature brain``.
    measure : str
        Token of what it is.
    value, unit
        The number in its UCUM unit; None where it was not computed: the note then says why.
    words : str
        What the number is called where it has a name (``"deep"``), or what is in the way of reading it.
    phase, index : str, int
        When, as a phase token with its number among its name; empty where it holds for the case.
    at_s : float or None
        Reference second that it belongs to, where it belongs to one.
    observed_s, excluded_s, masked_s, missing_s : float
        Seconds that it rests on, and that it does not.
    site : str
        Which channel or channels.
    clean : str
        ``"masked"`` or ``"raw"``.
    reference : str
        Formula or definition with its source.
    note : str
        What a reader must know.
    """

    section: str
    measure: str
    value: float | None = None
    unit: str = ""
    words: str = ""
    phase: str = ""
    index: int = 0
    at_s: float | None = None
    observed_s: float = 0.0
    excluded_s: float = 0.0
    masked_s: float = 0.0
    missing_s: float = 0.0
    site: str = ""
    clean: str = "masked"
    reference: str = ""
    note: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            name: (round(one, 6) if np.isfinite(one) else None) if isinstance(one, float) else one
            for name, one in asdict(self).items()
        }

    def why_not(self, reason: str) -> Value:
        """The same row, not computed for a reason."""
        return replace(self, value=None, note=f"not computed: {reason}")

    def noted(self, *sentences: str) -> Value:
        """The same row with more that a reader must know; what is empty adds nothing."""
        return replace(self, note="; ".join(filter(None, [self.note, *sentences])))

    def of(
        self,
        measured: Measured,
        within: Sequence[Interval] | Absent,
        exclude: Sequence[Interval] = (),
        which: str = "median",
    ) -> Value:
        """The same row with a statistic of a measure within a window, and the seconds it rests on.

        `which` is ``"median"``, ``"mean"``, ``"lowest"`` or ``"highest"``; the last two say when.
        """
        if isinstance(measured, Absent):
            return self.why_not(measured.reason)
        if isinstance(within, Absent):
            return self.why_not(within.reason)
        found = summary(measured, within=within, exclude=exclude)
        row = replace(self, unit=self.unit or measured.unit, site=self.site or measured.site)
        row = row.resting_on(found)
        if found.observed_s <= 0:
            return row.why_not("nothing usable was recorded in that time")
        row = replace(row, value=_statistic(measured, found, within, exclude, which))
        if which in ("lowest", "highest"):
            row = replace(row, at_s=_when(measured, row.value, within, exclude))
        return row.noted(measured.note)

    def resting_on(self, found: Summary) -> Value:
        """The same row with the seconds of a summary."""
        return replace(
            self,
            observed_s=found.observed_s,
            excluded_s=found.excluded_s,
            masked_s=found.masked_s,
            missing_s=found.missing_s,
        )


def _statistic(
    measured: Series, found: Summary, within: Sequence[Interval], exclude: Sequence[Interval], which: str
) -> float:
    if which == "mean":
        return float(measured.values[used(measured, within, exclude)].mean())
    return float({"median": found.median, "lowest": found.lowest, "highest": found.highest}[which])


def _when(
    measured: Series, value: float | None, within: Sequence[Interval], exclude: Sequence[Interval]
) -> float | None:
    at = np.flatnonzero(used(measured, within, exclude) & (measured.values == value))
    return float(measured.t[at[0]]) if at.size else None


def used(
    measured: Series, within: Sequence[Interval], exclude: Sequence[Interval] = ()
) -> np.ndarray[Any, Any]:
    """Observed seconds whose middle lies in a window and in nothing that is left out."""
    middle = measured.t + 0.5
    inside = np.zeros(middle.size, dtype=np.bool_)
    for start, end in within:
        inside |= (middle >= start) & (middle < end)
    for start, end in exclude:
        inside &= ~((middle >= start) & (middle < end))
    return np.asarray(inside & (measured.state == OBSERVED))


def at_times(
    measured: Measured, times_s: Sequence[float], row: Value, reaching_s: float = 0.5
) -> list[Value]:
    """A measure at chosen moments: the value of the second that holds each, or why there is none.

    Parameters
    ----------
    measured : Series or Absent
        The measure.
    times_s : sequence of float
        Reference seconds.
    row : Value
        Section and measure of the rows.
    reaching_s : float
        Seconds on either side whose median is taken; the one second alone with 0.5.
    """
    rows = []
    for moment in times_s:
        one = replace(row, at_s=float(moment))
        if isinstance(measured, Absent):
            rows.append(one.why_not(measured.reason))
            continue
        window = [(moment - reaching_s, moment + reaching_s)] if reaching_s > 0.5 else _second_of(moment)
        one = replace(one, unit=measured.unit, site=measured.site)
        seen = used(measured, window)
        if not seen.any():
            missing = seconds_in(measured, MISSING, window) > 0
            rows.append(
                one.why_not("not recorded then" if missing else "an artefact then, or outside the record")
            )
            continue
        value = float(np.median(measured.values[seen]))
        rows.append(replace(one, value=value, observed_s=float(seen.sum())).noted(measured.note))
    return rows


def _second_of(moment: float) -> list[Interval]:
    begin = float(np.floor(moment))
    return [(begin, begin + 1)]

"""A case with its windows, ready to be measured against limits: what every family of figures stands on."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from .derived import Absent, Derived, Measured
from .dose import Counted
from .figure_row import RUN_GAP_S, Figure, area_unit, exposed, with_exact, with_filled
from .finds import Find, edited_limits
from .kept_finds import KeptFinds, kept_finds
from .limits import Limit, LimitSet, in_force, oxygen_constants, rule_limits
from .measures.intervals import Interval
from .measures.pressure import RAW
from .named import Signal, under_their_site
from .series import MISSING, OBSERVED, FloatArray, Series
from .site import stand_ins
from .site_choices import sites_in
from .view import View
from .windows import Windows

if TYPE_CHECKING:
    from afterclamp.io.case import Case

OF_THE_LINE = ("E01", "E13")
"""Rules that hold a low pressure back because it looks like the line's and not the patient's."""


class Bench:
    """One case with its windows, ready to be measured against limits.

    Parameters
    ----------
    case : Case
        The case, or a view of it up to some time.
    believe : str or None
        Arterial site to go by instead of the proposed one.
    sets : sequence of LimitSet
        The sets in force; rules and constants go by them too.
    masked : bool
        Whether artefacts are left out.
    """

    def __init__(self, case: Case, believe: str | None, sets: Sequence[LimitSet], masked: bool) -> None:
        self.case = case
        self.derived = Derived(case, believe, oxygen_constants(case, sets), masked=masked)
        # What was looked for on this state of the case already is not looked for again.
        kept = kept_finds(case) if not believe and self.derived.site is not None else None
        self.windows = Windows(case, self.derived, kept.view.phases if kept is not None else None)
        self.doubted: tuple[Find, ...] = ()
        self.instead: list[tuple[Signal, Interval, str]] = []
        self.view: View | None = None
        if self.derived.site is not None:
            edits, of_sets = edited_limits(case), rule_limits(*sets)
            # As `finds.find`: what people changed stands above the case's own sets, and below sets that are asked for.
            own = tuple(sets) == tuple(in_force(case))
            numbers = {**of_sets, **edits} if own else {**edits, **of_sets}
            if kept is None:
                kept = KeptFinds(View.of(case, believe).with_phases(self.windows.phases))
            self.view, found = kept.view, kept.finds(numbers)
            self.doubted = tuple(
                one for one in found.held_back if one.code in OF_THE_LINE and one.site == found.site
            )
            self.instead = self._stand_ins(kept.view)

    def _stand_ins(self, view: View) -> list[tuple[Signal, Interval, str]]:
        """Lines that stand in for the believed one, each with when, in seconds, and why."""
        named = under_their_site(self.derived.signals, self.derived.site)
        return [
            (named[one.name], (view.time(one.start), view.time(one.stop)), one.why) for one in stand_ins(view)
        ]

    def believing(self, signal: Signal) -> Bench:
        """The same with another line believed throughout; windows stay, and what rules held back is not told."""
        other = copy(self)
        other.derived = self.derived.believing(signal)
        other.doubted, other.instead = (), []
        if self.view is not None:
            named = under_their_site(self.derived.signals, self.derived.site)
            name = next(view_name for view_name, one in named.items() if one.channels == signal.channels)
            other.view = replace(self.view, believed=name, chosen=())
        return other

    @property
    def pulse_at_site(self) -> FloatArray | None:
        """Pulse pressure of each second at the believed line, mmHg; None without one."""
        return None if self.view is None else self.view.believed_pulse

    def row(
        self,
        limit: Limit,
        measured: Measured,
        token: str,
        window: list[Interval] | Absent,
        exclude: list[Interval],
        excluded_words: str,
        rivals: list[str],
        level: float | None = None,
    ) -> Figure:
        """One row: a measure against a limit, or against another level of it (per cent of a baseline)."""
        row = Figure(
            measure=limit.measure,
            phase=token,
            limit=limit.value if level is None else level,
            limit_unit=limit.unit,
            side="below" if limit.below is not None else "at least" if limit.inclusive else "above",
            limit_source=limit.cited,
            limit_id=limit.id,
            rivals=tuple(rivals),
        )
        if isinstance(measured, Absent):
            return replace(row, note=f"not computed: {measured.reason}")
        if isinstance(window, Absent):
            return replace(row, note=f"not computed: {window.reason}")
        row = replace(row, site=self.derived.site_within(measured, window))
        if limit.unit not in (measured.unit, "%"):
            reason = f"the limit is in {limit.unit}, the record in {measured.unit or 'an unknown unit'}"
            return replace(row, note=f"not computed: {reason}")
        found = exposed(limit, measured, window, exclude, level)
        row = replace(
            row,
            observed_s=found.observed_s,
            excluded_s=found.excluded_s,
            masked_s=found.masked_s,
            missing_s=found.missing_s,
        )
        if found.observed_s <= 0:
            return replace(row, note="not computed: nothing usable was recorded in that time")
        excluded = f"excluded by design: {excluded_words}" if excluded_words and found.excluded_s > 0 else ""
        row = replace(
            row,
            value=found.area,
            unit=area_unit(measured.unit),
            outside_s=found.outside_s,
            area=found.area,
            nadir=found.nadir,
            longest_run_s=found.longest_run_s,
            largest_single_area=found.largest_single_area,
            time_weighted_average=found.time_weighted_average,
            method=f"{found.method}, one value a second; stretches up to {RUN_GAP_S:g} s apart are one",
            note="; ".join(filter(None, [measured.note, excluded])),
            runs=found.runs,
            counted=Counted(
                measured, found.limit, found.above, found.inclusive, tuple(window), tuple(exclude)
            ),
        )
        row = with_filled(row, limit, measured, window, exclude, level)
        return with_exact(row, limit, measured, window, exclude, level)

    def told(self, row: Figure) -> Figure:
        """The same row, saying whether artefacts were left in, and what its clocks allow."""
        if not self.derived.masked:
            row = replace(row, clean="raw").noted("" if row.value is None or RAW in row.note else RAW)
        return self._with_clocks(row)

    def _with_clocks(self, row: Figure) -> Figure:
        """The same row, with a word where it lays sources over each other and a clock of theirs is not set."""
        tokens = sites_in(row.site)
        signals = [one for one in self.derived.signals.values() if one.token in tokens]
        if row.phase != "record":  # the pump tells the phases
            signals += [one for one in self.derived.signals.values() if one.name == "pump_flow"]
        names = {channel.source for one in signals for channel in one.channels}
        unset = [one.name for one in self.case.sources if one.name in names and one.clock.method == "unset"]
        if row.value is None or not unset:
            return row
        clocks = f"the clock{'s' if len(unset) > 1 else ''} of {' and '.join(unset)} not set"
        said = []
        if len(names) > 1:
            said.append(
                f"± unknown, {clocks}: which seconds of {' and '.join(sorted(names))} belong together is "
                "taken from their stamps"
            )
        said += [f"± unknown, {clocks}: {one}" for one in self._by_the_sheet(row)]
        return replace(row, note="; ".join(filter(None, [*said, row.note])))

    def _by_the_sheet(self, row: Figure) -> list[str]:
        """What of a row rests on times of the case sheet, which are the reference clock's."""
        found = []
        if row.measure == "cerebral_saturation_of_baseline":
            found.append(
                "which readings lie in the baseline window of the case sheet is taken from its stamps"
            )
        by_hand = isinstance(self.derived.haemoglobin, Series) and not self.derived.haemoglobin.site
        if row.measure == "oxygen_delivery_index" and by_hand:
            found.append("which haemoglobin of the case sheet holds in a second is taken from its stamps")
        return found


def known_with(measured: Measured, other: Measured, within: Sequence[Interval] | None = None) -> Measured:
    """A measure whose seconds are missing where the channel that decides about them is.

    Parameters
    ----------
    measured, other : Series or Absent
        The measure, and the channel that decides about it; where either is absent nothing changes.
    within : sequence of (start, end), optional
        Reference seconds in which it decides; everywhere if not given.
    """
    if isinstance(measured, Absent) or isinstance(other, Absent):
        return measured
    unknown = other.state == MISSING
    if within is not None:
        t = other.t
        decides = np.zeros(t.size, dtype=np.bool_)
        for start, end in within:
            decides |= (t >= start) & (t < end)
        unknown &= decides
    state = np.maximum(measured.state, np.where(unknown, MISSING, OBSERVED).astype(np.uint8))
    values = np.where(state == OBSERVED, measured.values, np.nan)
    return Series(measured.start, values, state, measured.unit, measured.name, measured.site, measured.note)

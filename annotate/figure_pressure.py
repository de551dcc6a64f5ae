"""Figures of the arterial pressure: which line they rest on, and what another one would have said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from .derived import Absent, Measured
from .figure_bench import Bench, known_with
from .figure_row import Figure, OtherLine, Outside, exposed, minutes_text, outside_of
from .limits import Limit
from .measures.intervals import Interval, seconds_where, subtract_intervals
from .named import Signal
from .other_lines import changed, lines_used, long_enough
from .series import MISSING, OBSERVED
from .site_choices import sites_in
from .windows import seconds_at, within

HOLDS_BYPASS = ("established", "bypass", "record")
"""Phases in which bypass takes from the pressure by plan."""
BANDS = {"mean_arterial_pressure_from_55": 55.0, "mean_arterial_pressure_from_65": 65.0}
"""Disjoint bands of the mean arterial pressure, mmHg: the lower end, which is in; the limit is the upper one."""
PRESSURE_LIMITS = ("mean_arterial_pressure", *BANDS)
FLOW_FOR_PRESSURE = 1.3  # L/min; under it the pump does not carry the circulation (this project's choice)

Window = list[Interval] | Absent
AtSite = Callable[[Signal], Measured]
"""The measure as it would be with another arterial line believed."""


def pressure_rows(bench: Bench, limit: Limit, rivals: list[str]) -> list[Figure]:
    """The rows of one limit of the mean arterial pressure, or of a band of it, in each of its phases.

    Whatever the phase, what bypass takes from the pressure by plan is left out and told apart in rows of its own:
    arrests, brain perfusion alone, and flow that does not carry the circulation.
    """
    derived, arrests = bench.derived, bench.windows.arrests
    floor = BANDS.get(limit.measure)
    rows = []
    for token, window in bench.windows.of(limit.phase):
        on_bypass = token in HOLDS_BYPASS
        low = _low_flow(bench) if on_bypass else []
        exclude = arrests + low if on_bypass else []
        pressure = (
            _with_flow(bench, derived.mean_arterial_pressure) if on_bypass else derived.mean_arterial_pressure
        )
        at_site = partial(_at_site, bench, on_bypass=on_bypass, floor=floor)
        words = (
            f"arrests, brain perfusion alone and flow under {FLOW_FOR_PRESSURE:g} L/min" if on_bypass else ""
        )
        if on_bypass and token == "record":
            words += ", on bypass only"
        if floor is None:
            row = bench.row(limit, pressure, token, window, exclude, words, rivals)
        else:
            row = _band_row(bench, limit, pressure, token, window, exclude, words, rivals)
        rows.append(_with_what_else(bench, row, limit, window, exclude, at_site))
        if not on_bypass or limit.is_above or floor is not None or isinstance(window, Absent):
            continue
        rows += _told_apart(bench, limit, token, window, low, rivals)
    return rows


def _told_apart(
    bench: Bench, limit: Limit, token: str, window: list[Interval], low: list[Interval], rivals: list[str]
) -> list[Figure]:
    """What was left out of a row: in the arrests, and at low flow; and the row as it would be with the arrests."""
    pressure, arrests = bench.derived.mean_arterial_pressure, bench.windows.arrests
    rows = []
    if arrests:
        apart = bench.row(limit, pressure, "lower_body_arrest", arrests, [], "", rivals)
        rows.append(apart.noted("in planned arrest and brain perfusion alone: told apart, not judged"))
    slow = within(subtract_intervals(low, arrests), window)
    if slow:
        rest = subtract_intervals(window, slow)
        words = f"arrests, and all but flow under {FLOW_FOR_PRESSURE:g} L/min on bypass"
        apart = bench.row(limit, pressure, token, window, rest, words, rivals)
        apart = replace(apart, part=f"flow under {FLOW_FOR_PRESSURE:g} L/min on bypass")
        rows.append(apart.noted("while the pump does not carry the circulation: told apart, not judged"))
    if arrests:
        mistaken = bench.row(limit, pressure, token, window, [], "", rivals)
        mistaken = replace(mistaken, part="arrests counted in")
        rows.append(mistaken.noted("arrests not excluded: the usual mistake, for comparison"))
    return rows


def _band_row(
    bench: Bench, limit: Limit, pressure: Measured, token: str, window: Window, exclude: list[Interval],
    words: str, rivals: list[str],
) -> Figure:  # fmt: skip
    """The row of a band: seconds under its lower end belong to another band and are left out."""
    floor = BANDS[limit.measure]
    deeper = seconds_at(pressure, "below", floor)
    lower = f"pressure under {floor:g} mm[Hg], which is another band"
    row = bench.row(
        limit, pressure, token, window, exclude + deeper, " and ".join(filter(None, [words, lower])), rivals
    )
    if row.value is None or isinstance(pressure, Absent) or isinstance(window, Absent):
        return row
    whole_s = exposed(limit, pressure, window, exclude).observed_s
    return row.noted(f"with the seconds under {floor:g} mm[Hg] {whole_s / 60:.1f} min were observed")


def _low_flow(bench: Bench) -> list[Interval]:
    """Seconds on bypass in which the pump does not carry the circulation."""
    return within(seconds_at(bench.derived.pump_flow, "below", FLOW_FOR_PRESSURE), bench.windows.bypass)


def _with_flow(bench: Bench, pressure: Measured) -> Measured:
    """The pressure where, on bypass, the flow that decides about it is known."""
    return known_with(pressure, bench.derived.pump_flow, bench.windows.bypass)


def _at_site(bench: Bench, signal: Signal, *, on_bypass: bool, floor: float | None) -> Measured:
    """The pressure of another line as a row counts it; what lies in another band is missing in it."""
    pressure: Measured = bench.derived.pressure(signal)
    if on_bypass:
        pressure = _with_flow(bench, pressure)
    if floor is None or isinstance(pressure, Absent):
        return pressure
    deeper = (pressure.state == OBSERVED) & (pressure.values < floor)
    state = np.where(deeper, MISSING, pressure.state).astype(np.uint8)
    return replace(pressure, values=np.where(deeper, np.nan, pressure.values), state=state)


def with_bypass_unknown(bench: Bench, limit: Limit, row: Figure) -> Figure:
    """The same row, labelled where nobody knows which part of the record was bypass and the limit asks for it."""
    asks = limit.phase == "off" or (limit.phase == "record" and limit.measure in PRESSURE_LIMITS)
    if not asks or row.phase != "record" or row.value is None or bench.windows.bypass_known:
        return row
    said = "no pump flow is recorded: bypass is not known and may be counted in"
    row = replace(row, note="; ".join(filter(None, [said, row.note])))
    return replace(row, part=", ".join(filter(None, [row.part, "bypass not known"])))


def _with_what_else(
    bench: Bench, row: Figure, limit: Limit, window: Window, exclude: list[Interval], at_site: AtSite
) -> Figure:
    """The same row with what it would be without the doubted seconds, and at another site."""
    row = _with_doubted(bench, row, limit, window, exclude, at_site)
    row = _with_stand_ins(bench, row, limit, window, exclude, at_site)
    return with_other_sites(bench, row, limit, window, exclude, at_site)


def _with_stand_ins(
    bench: Bench, row: Figure, limit: Limit, window: Window, exclude: list[Interval], at_site: AtSite
) -> Figure:
    """The same row, with a sentence on the time for which the believed line has nothing and another has.

    A row keeps its one site: those seconds are missing in it.
    """
    if isinstance(window, Absent) or not row.site:
        return row
    sentences = []
    for signal, (start, end), why in bench.instead:
        inside = within([(start, end)], window)
        if not bench.derived.masked:  # what is masked is counted then; only what was not recorded is not
            inside = within(inside, _not_observed(bench.derived.mean_arterial_pressure))
        series = at_site(signal)
        if not inside or isinstance(series, Absent):
            continue
        found = exposed(limit, series, inside, exclude)
        if found.observed_s > 0:
            whole = sum(b - a for a, b in inside)
            sentences.append(
                f"{whole / 60:.1f} min while {_words(sites_in(row.site)[0])} {why} are not counted: "
                f"{signal.plain_name}, which stands in for finds, was outside for {found.outside_s / 60:.1f} of "
                f"{found.observed_s / 60:.1f} observed min of them"
            )
    return row.noted(*sentences)


def _not_observed(measured: Measured) -> list[Interval]:
    """Seconds in which a measure is missing or masked."""
    return [] if isinstance(measured, Absent) else seconds_where(measured.state != OBSERVED, measured.start)


def _with_doubted(
    bench: Bench, row: Figure, limit: Limit, window: Window, exclude: list[Interval], at_site: AtSite
) -> Figure:
    """The same row, with a sentence on what lies in stretches that a rule held back.

    They are counted all the same: that a line fell alone can be its kink, or the very difference between
    sites that a figure is there to show, and which of the two it is a person decides.
    """
    site, spans = bench.derived.site, [(one.start_s, one.end_s) for one in bench.doubted]
    if row.value is None or isinstance(window, Absent) or site is None or not spans or limit.is_above:
        return row
    pressure = bench.derived.as_believed(at_site)
    if isinstance(pressure, Absent):
        return row
    left = exposed(limit, pressure, window, [*exclude, *spans])
    held_back_s = row.outside_s - left.outside_s
    if held_back_s <= 0:
        return row
    inside = [one for one in bench.doubted if any(one.start_s < b and one.end_s > a for a, b in window)]
    codes = " and ".join(dict.fromkeys(one.code for one in inside))
    stretches = ", ".join(f"{minutes_text(one.start_s)} to {minutes_text(one.end_s)}" for one in inside)
    reasons = " / ".join(dict.fromkeys(one.held_back for one in inside))
    sentence = (
        f"{held_back_s / 60:.1f} min of it lie where {codes} is held back, {stretches} ({reasons}): without "
        f"them {left.outside_s / 60:.1f} of {left.observed_s / 60:.1f} observed min and {left.area:.0f} {row.unit}"
    )
    return replace(row, held_back_s=held_back_s).noted(sentence)


def with_other_sites(
    bench: Bench, row: Figure, limit: Limit, window: Window, exclude: list[Interval], at_site: AtSite
) -> Figure:
    """The same row, with a sentence where another arterial line would change the conclusion.

    It is held against the lines that the window goes by: each line that could have been used from its beginning to its
    end instead. It would change the conclusion where one lies outside the limit and the other never does, or where
    minutes or area become others by more than `other_lines.CHANGES_BY`. Of both masked stretches are bridged first:
    what one line lost to an artefact is no difference between sites.
    """
    if row.value is None or isinstance(window, Absent) or bench.derived.site is None:
        return row
    own, used = row.bridged, lines_used(bench.derived, window)
    found = []
    for signal in used.others(bench.derived):
        series = at_site(signal)
        if isinstance(series, Absent):
            continue
        other = outside_of(limit, series, window, exclude)
        if not long_enough(other.observed_s + other.bridged_s, own.observed_s + own.bridged_s):
            continue
        if changed(own.outside_s, other.outside_s) or changed(own.area, other.area):
            sentence = (
                f"{used.instead(signal)}: "
                f"{other.outside_s / 60:.1f} min and {_area(other.area)} {row.unit}{_denominator(other)} instead of "
                f"{own.outside_s / 60:.1f} min and {_area(own.area)}{_denominator(own)}"
            )
            found.append(OtherLine(signal.plain_name, other.outside_s, other.area, sentence))
    return replace(row, other_lines=tuple(found)).noted(*(one.sentence for one in found))


def _area(area: float) -> str:
    return f"{area:.0f}" if area >= 1 or area == 0 else f"{area:.2g}"


def _denominator(found: Outside) -> str:
    bridged = f", {found.bridged_s / 60:.1f} of them masked and bridged" if found.bridged_s else ""
    return f" (of {(found.observed_s + found.bridged_s) / 60:.1f} min{bridged})"


def ratio_with_other_sites(
    bench: Bench, row: Figure, limit: Limit, window: Window, exclude: list[Interval]
) -> Figure:
    """The same for the ratio of pulmonary to systemic pressure, which rests on the believed line too."""
    return with_other_sites(bench, row, limit, window, exclude, bench.derived.pulmonary_to)


def _words(site: str) -> str:
    return site.replace("_", " ")

"""Computed values of the pulse: its height, upstroke, variation with breathing, and variability of the mean."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from .beats import Beats, joined
from .circulation import pulse_course
from .computed_value import Value, used
from .derived import Absent
from .figure_bench import Bench
from .kept_beats import kept_beats
from .measures.intervals import Interval
from .measures.pulse_variation import (
    BreathingConditions,
    breath_length,
    interpreted,
    rhythm_is_regular,
    variation_by_breath,
)
from .measures.variability import (
    average_real_variability,
    average_real_variability_weighted,
    generalised_average_real_variability,
)
from .named import Signal
from .series import OBSERVED, FloatArray, Series

BLOCK_S = 60.0  # of beats from which one variation with breathing is told (this project's choice)
LONGEST_STEP_S = 90.0  # between two readings that a step of variability may join (this project's choice)
OFF_BYPASS = ("pre", "post")


def pulse_values(bench: Bench) -> list[Value]:
    """Pulse pressure, upstroke, variation with breathing and variability, before and after bypass."""
    rows: list[Value] = []
    site = bench.derived.site
    for token in OFF_BYPASS if bench.windows.bypass_known else ("record",):
        [(phase, window), *_] = bench.windows.of(token)
        one = Value("pulse", "pulse_pressure", phase=phase, words="median")
        if site is None:
            rows.append(one.why_not(bench.derived.site_reason))
            continue
        if isinstance(window, Absent):
            rows.append(one.why_not(window.reason))
            continue
        pressure = bench.derived.mean_arterial_pressure
        told = site.token if isinstance(pressure, Absent) else bench.derived.site_within(pressure, window)
        if bench.pulse_at_site is not None:
            course = pulse_course(bench.derived, told, bench.pulse_at_site)
            rows.append(replace(one, reference="systolic less diastolic of each beat").of(course, window))
        rows += _of_beats(bench, _believed_beats(bench, site), phase, window, told)
        rows += _variability(bench, phase, window)
    return rows


def _believed_beats(bench: Bench, site: Signal) -> Beats:
    """Beats of the line that is believed at each time: of another one in the stretches that a person chose it for."""
    masked, elsewhere = bench.derived.masked, bench.derived.elsewhere
    own = kept_beats(bench.case, site, masked=masked)
    away = np.zeros(len(own), dtype=np.bool_)
    parts = []
    for one in elsewhere:
        away |= (own.onset < one.end_s) & (own.end > one.start_s)
        there = kept_beats(bench.case, bench.derived.signals[one.line], masked=masked)
        parts.append(there.where((there.onset >= one.start_s) & (there.end <= one.end_s)))
    return joined([own.where(~away), *parts]) if parts else own


def _of_beats(bench: Bench, found: Beats, phase: str, window: list[Interval], site: str) -> list[Value]:
    inside = np.zeros(len(found), dtype=np.bool_)
    for start, end in window:
        inside |= (found.onset >= start) & (found.end <= end)
    beats = found.where(inside)
    steep = Value(
        "pulse", "steepest_rise", unit="mm[Hg]/s", words="median", phase=phase, site=site,
        reference="dP/dt of each beat's upstroke, by the line's own response",
    )  # fmt: skip
    seconds = float((beats.end - beats.onset).sum())
    steep = replace(steep, observed_s=seconds)
    if len(beats):
        steep = replace(steep, value=float(np.median(beats.upstroke)))
    else:
        steep = steep.why_not("no beats were seen in that time")
    return [steep, *_with_breathing(bench, beats, phase, site)]


def _with_breathing(bench: Bench, beats: Beats, phase: str, site: str) -> list[Value]:
    """Variation of the pulse with breathing: the middle of all minutes, and the largest, with what is in the way."""
    row = Value(
        "pulse", "pulse_pressure_variation", unit="%", words="median", phase=phase, site=site,
        reference="Am J Respir Crit Care Med 2000;162:134-8; minutes of beats, each of its breaths the mean of three",
    )  # fmt: skip
    all_of_them = _blocks(beats)
    alternating = sum(one.alternates for one in all_of_them)
    left_out = (
        f"{alternating} min left out in which the pulse alternates from beat to beat" if alternating else ""
    )
    row = replace(row, excluded_s=BLOCK_S * alternating).noted(left_out)
    blocks = [one for one in all_of_them if np.isfinite(one.variation) and not one.alternates]
    if not blocks:
        return [row.why_not("no minute with a rhythm of breathing in the pulse")]
    values = np.array([one.variation for one in blocks])
    row = replace(row, observed_s=BLOCK_S * len(blocks))
    largest = int(values.argmax())
    top = blocks[largest]
    told = interpreted(top.variation, _conditions(bench, top.start_s, top.regular, phase))
    said = f"not interpretable: {', '.join(told.in_the_way)}" if told.in_the_way else ""
    ways = [
        interpreted(one.variation, _conditions(bench, one.start_s, one.regular, phase)).in_the_way
        for one in blocks
    ]
    spoken_for = sum(not one for one in ways)
    share = f"{spoken_for} of {len(blocks)} minutes can be interpreted"
    return [
        replace(row, value=float(np.median(values))).noted(share),
        replace(row, value=top.variation, words="highest minute", at_s=top.start_s, observed_s=BLOCK_S).noted(
            said
        ),
    ]


class _Minute(NamedTuple):
    """Variation of one minute of beats, per cent, and what is known of their rhythm."""

    start_s: float
    variation: float
    regular: bool | None
    alternates: bool


def _alternates(pulse: FloatArray) -> bool:
    """Whether strong and weak beats take turns: breathing cannot be told from that.

    In 3 of 4 beats in a row, by 8 % of their mean at least, as the rule of alternating pulse has it (this
    project's choice).
    """
    step = np.diff(pulse[np.isfinite(pulse)])
    if step.size < 8:
        return False
    turns = (step[1:] * step[:-1] < 0) & (
        np.minimum(np.abs(step[1:]), np.abs(step[:-1])) >= 0.08 * np.nanmean(pulse)
    )
    return bool(turns.mean() >= 0.75)


def _blocks(beats: Beats) -> list[_Minute]:
    """Each minute of beats."""
    if not len(beats):
        return []
    begin = np.arange(np.floor(beats.onset[0] / BLOCK_S) * BLOCK_S, beats.onset[-1], BLOCK_S)
    found = []
    for start, low, high in zip(
        begin,
        np.searchsorted(beats.onset, begin),
        np.searchsorted(beats.onset, begin + BLOCK_S),
        strict=True,
    ):
        onset, pulse = beats.onset[low:high], beats.pulse_pressure[low:high]
        breath = breath_length(onset, pulse)
        value = float("nan")
        if np.isfinite(breath):
            _, by_breath = variation_by_breath(onset, pulse, breath)
            known = by_breath[np.isfinite(by_breath)]
            value = float(np.median(known)) if known.size >= 3 else float("nan")
        regular = rhythm_is_regular((beats.end - beats.onset)[low:high])
        found.append(_Minute(float(start), value, regular, _alternates(pulse)))
    return found


def _conditions(bench: Bench, at_s: float, regular: bool | None, phase: str) -> BreathingConditions:
    sheet = bench.case.sheet
    opened, closed = sheet.chest_opened_s, sheet.chest_closed_s
    is_open = None
    if opened is not None and closed is not None:
        is_open = opened - BLOCK_S < at_s < closed
    volume = sheet.ventilation.tidal_volume_ml_per_kg
    return BreathingConditions(
        rhythm_regular=regular,
        ventilation_controlled=True if volume is not None else None,
        tidal_volume_ml_per_kg=volume,
        chest_open=is_open,
        on_bypass=False if phase in OFF_BYPASS else None,
    )


def _variability(bench: Bench, phase: str, window: list[Interval]) -> list[Value]:
    """Average real variability of one mean pressure a minute, in its three conventions."""
    pressure = bench.derived.mean_arterial_pressure
    row = Value("pulse", "average_real_variability", phase=phase)
    if isinstance(pressure, Absent):
        return [row.why_not(pressure.reason)]
    t, readings = _minutes(pressure, window)
    rest = Value("pulse", "", phase=phase).of(pressure, window)
    rows = []
    for name, words, unit, value, reference in (
        ("average_real_variability", "unweighted", "mm[Hg]",
         average_real_variability(readings, t, max_gap_s=LONGEST_STEP_S) if t.size else np.nan,
         "doi 10.1161/JAHA.117.006895"),
        ("average_real_variability_weighted", "weighted by time", "mm[Hg]",
         average_real_variability_weighted(readings, t, max_gap_s=LONGEST_STEP_S) if t.size else np.nan,
         "J Hypertens 2005;23:505-11"),
        ("generalised_average_real_variability", "sum of steps over time", "mm[Hg]/min",
         generalised_average_real_variability(readings, t, max_gap_s=LONGEST_STEP_S) if t.size else np.nan,
         "Anesthesiology 2015;123:79-91"),
    ):  # fmt: skip
        one = replace(rest, measure=name, words=words, unit=unit, value=value, reference=reference, note="")
        one = one.noted(f"{t.size} readings, the mean of each minute; only records of one spacing compare")
        rows.append(one if np.isfinite(value) else one.why_not("fewer than two readings in a row"))
    return rows


def _minutes(pressure: Series, window: list[Interval]) -> tuple[FloatArray, FloatArray]:
    """Middle and mean of each whole minute of which at least half was observed."""
    seen = used(pressure, window) & (pressure.state == OBSERVED)
    minute = np.floor(pressure.t[seen] / 60).astype(np.intp)
    if not minute.size:
        return np.empty(0), np.empty(0)
    count = np.bincount(minute)
    total = np.bincount(minute, pressure.values[seen])
    there = np.flatnonzero(count >= 30)
    return np.asarray(there * 60.0 + 30.0, dtype=np.float64), np.asarray(
        total[there] / count[there], dtype=np.float64
    )

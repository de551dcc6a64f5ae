"""The appendix of the paper: clocks, and what was recorded, masked and missing on each channel."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from afterclamp.annotate.series import MASKED, MISSING, OBSERVED, StateArray

from ..tables import clock_steps
from ..wording import NONE, half_width, length, number, plus_minus, unit_name
from .content import Row, Section, Table

if TYPE_CHECKING:
    from afterclamp.io.case import Case


def appendix(case: Case, states: Mapping[str, StateArray]) -> Section:
    """Clocks and quality."""
    closing = [
        f"Set aside when {source.name} was brought in: {what}."
        for source in case.sources
        for what in source.set_aside
    ]
    closing += [f"Far from everything else: {what}." for what in case.far_away]
    closing += [f"In the log: {repair}." for repair in case.log.repairs]
    return Section(
        "Appendix: clocks and quality",
        tables=(_clocks(case), _quality(case, states), _files(case)),
        closing=tuple(closing),
    )


def _clocks(case: Case) -> Table:
    rows = []
    for source in case.sources:
        clock = source.clock
        if clock.method == "unset":
            ahead, drift = "not set: times as written", NONE
        else:
            spread = "" if source.is_reference else f" {plus_minus(half_width(clock.pieces[0].sd_s))}"
            ahead = f"{number(clock.offset_s, 1)} s{spread}"
            drift = f"{number(clock.pieces[0].drift_ppm, 0)} ppm"
        steps = "; ".join(
            f"{number(size, 1)} s at {case.clock_text(at) if math.isfinite(at) else '?'}"
            for at, size in clock_steps(case, source.name)
        )
        rows.append(Row((source.name, source.reader, ahead, drift, steps or "none", clock.method)))
    return Table(
        caption="Clocks: seconds ahead of the reference at its start (negative: behind), with a 95 % interval",
        headings=("source", "read as", "ahead by", "drift", "steps", "set"),
        rows=tuple(rows),
        right="<<>><<",
        widths=(22, 26, 44, 18, 44, 24),
    )


def _quality(case: Case, states: Mapping[str, StateArray]) -> Table:
    rows = []
    for channel in case.channels:
        state = states.get(channel.id)
        counts = [0.0, 0.0, float(len(case.grid))]
        if state is not None:
            counts = [float(np.count_nonzero(state == kind)) for kind in (OBSERVED, MASKED, MISSING)]
        written = f"{channel.unit_as_written} (unknown)" if channel.unit_as_written else "not known"
        rate = (
            f"{1 / channel.interval_s:g} Hz"
            if 0 < channel.interval_s < 1
            else f"every {channel.interval_s:g} s"
        )
        rows.append(
            Row(
                (
                    channel.plain_name,
                    channel.source,
                    unit_name(channel.unit) or written,
                    rate if channel.interval_s > 0 else NONE,
                    f"{length(channel.span.start)} to {length(channel.span.end)}",
                    *(length(seconds) for seconds in counts),
                )
            )
        )
    return Table(
        caption=f"Channels: seconds observed, masked as artefact, and missing, which add up to the record of "
        f"{length(float(len(case.grid)))} min:s",
        headings=(
            "channel",
            "source",
            "unit",
            "rate",
            "from first to last sample",
            "observed",
            "masked",
            "missing",
        ),
        rows=tuple(rows),
        right="<<<>>>>>",
        widths=(42, 20, 16, 18, 34, 18, 16, 16),
        empty="No channel was recorded.",
    )


def _files(case: Case) -> Table:
    return Table(
        caption="Files that were brought in, with the SHA-256 of each as it was read",
        headings=("source", "file", "SHA-256"),
        rows=tuple(Row((source.name, name, sha)) for source in case.sources for name, sha in source.files),
        widths=(24, 44, 110),
        empty="No file is known.",
    )

"""Phases that a channel of cardioplegia or a line of text dates: doses, and the quarter of an hour behind protamine."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from .phase_arrests import edge
from .phase_clamp import CARDIOPLEGIA, WORDS_SD_S
from .phase_model import WORDS_RULE, Boundary, Phase
from .runs import close_gaps, hysteresis, spans
from .said import Said, grouped
from .view import View

DOSE_ON_ML_MIN, DOSE_OFF_ML_MIN = 50.0, 20.0
GAP_S = 30  # s of unrecorded flow that do not end a dose (this project's choice)
PROTAMINE_WINDOW_S = 900.0


def cardioplegia_doses(view: View) -> list[Phase]:
    """Doses of cardioplegia: from more than 50 mL/min to less than 20, where a channel recorded its flow."""
    flow = view.get(CARDIOPLEGIA)
    if flow is None:
        return []
    # A missing value keeps the state; one that lasts is not known to be a dose any more.
    running = hysteresis(flow, on=DOSE_ON_ML_MIN, off=np.nextafter(DOSE_OFF_ML_MIN, 0.0))
    running &= close_gaps(np.isfinite(flow), GAP_S)
    return [
        Phase(
            "cardioplegia",
            edge(view, start, "cardioplegia above 50 mL/min", CARDIOPLEGIA),
            edge(view, stop, "cardioplegia under 20 mL/min", CARDIOPLEGIA),
            "bypass",
        )
        for start, stop in spans(running)
    ]


def protamine_windows(view: View, said: Iterable[Said], off: Iterable[Boundary]) -> list[Phase]:
    """The quarter of an hour behind each time that somebody gave for protamine, so long as it lies after bypass.

    Parameters
    ----------
    view : View
    said : iterable of Said
    off : iterable of Boundary
        Ends of bypass: protamine that was written down for a time before one is asked about, not taken.
    """
    ends = [one for one in off if one.recorded]
    found: list[Phase] = []
    for event in grouped(one for one in said if one.kind == "protamine"):
        best = event.best
        if ends and best.t < min(one.time_s for one in ends):
            continue
        if found and best.t < found[-1].end_s:
            continue
        last = view.time(view.n)
        if not best.t < last:
            continue
        clock = view.clock_at(best.source, best.t)
        start = Boundary(
            best.t,
            f"{WORDS_RULE}: “{best.text}” ({best.source})",
            source=best.source,
            sampling_sd_s=float(np.hypot(best.written_sd_s, WORDS_SD_S)),
            clock_sd_s=float(np.sqrt(max(best.sd_s**2 - best.written_sd_s**2, 0.0))),
            clock_piece=clock.piece,
            alternatives=tuple(
                f"“{one.text}” ({one.source}): {one.t - best.t:+.0f} s" for one in event.times[1:]
            ),
        )
        whole = best.t + PROTAMINE_WINDOW_S
        end = Boundary(
            min(whole, last),
            "a quarter of an hour later" if whole <= last else "the record ends",
            source=start.source,
            sampling_sd_s=start.sampling_sd_s,
            clock_sd_s=start.clock_sd_s,
            clock_piece=start.clock_piece,
            recorded=whole <= last,
        )
        found.append(Phase("protamine", start, end, "post"))
    return found

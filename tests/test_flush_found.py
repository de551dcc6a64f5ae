"""Fast flushes of badly ringing lines: found as such, at the second that they were planted, and nothing else.

The wave is a line of second order of the frequency and damping named (Gardner, Anesthesiology 1981;54:227-36), with
the flush given to its input, so that plateau and release ring as the line does.
"""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.annotate.measures.flush import half_cycles_from_damping
from afterclamp.annotate.wave_artefacts import Artefact, fast_flushes
from afterclamp.sample_traces.planting import Line, plant
from beat_waves import made

RATE = 100


def flushed(natural_hz: float, damping: float, length_s: float, top: float = np.inf) -> list[Artefact]:
    wave = made(
        rate=75, pulse=45, diastolic=55, rate_hz=RATE, length_s=30, line=(natural_hz, damping), noise=0.7
    )
    line = Line(RATE, natural_hz, damping)
    laid, _ = plant("flush", wave.wave, line, 12.3, length_s, np.random.default_rng(4))
    return fast_flushes(np.minimum(laid, top), RATE)


@pytest.mark.parametrize("natural_hz", [5.0, 6.0, 8.0])
@pytest.mark.parametrize("damping", [0.1, 0.2, 0.4])
@pytest.mark.parametrize("length_s", [0.7, 2.0])
def test_a_plateau_that_rings_is_still_a_flush(natural_hz: float, damping: float, length_s: float) -> None:
    [one] = flushed(natural_hz, damping, length_s)
    assert one.start == pytest.approx(12.3, abs=0.1)
    assert one.end == pytest.approx(12.3 + length_s, abs=0.1)
    assert one.evidence["adequacy"] != "adequate" or damping == 0.4
    if damping < 0.4 and length_s == 2.0:
        assert one.evidence["natural_frequency_hz"] == pytest.approx(natural_hz, rel=0.15)
        # As the ratio of neighbouring swings, since the pulse beneath moves each of them by a few mmHg.
        assert one.evidence["half_cycle_ratio"] == pytest.approx(half_cycles_from_damping(damping), abs=0.12)


def test_a_ringing_plateau_that_is_cut_off_at_the_top_is_a_flush_too() -> None:
    [one] = flushed(6.0, 0.1, 2.0, top=300.0)
    assert one.evidence["clipped"]
    assert one.end == pytest.approx(14.3, abs=0.1)


def test_a_pressure_with_beats_on_it_is_no_plateau() -> None:
    # 190 to 250 mmHg at 150 a minute for 4 s, with steep edges: beats neither die away nor are over within 0.17 s.
    wave = np.full(3000, 80.0)
    t = np.arange(400) / RATE
    wave[1000:1400] = 220 + 30 * np.sin(2 * np.pi * 2.5 * t)
    assert not fast_flushes(wave, RATE)

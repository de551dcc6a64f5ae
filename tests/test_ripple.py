"""A pump's ripple beside the beats: taken out where it is one, and no beat of the heart taken for one.

Every expected value is what the wave was made with.
"""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.annotate.beats import Beats, find_beats
from afterclamp.annotate.ripple import beside_beats

RATE = 100.0
T = np.arange(int(180 * RATE)) / RATE


def made(
    pulses: list[float], hz: float, ripple: float, *, ripple_hz: float = 2.2, noise: float = 0.7
) -> np.ndarray:
    """A wave of beats whose pulses follow one another in turn, with a ripple (peak to peak) and noise (SD)."""
    beat, phase = np.divmod(T * hz, 1.0)
    # Up in a fifth of the beat, down in two fifths, then at rest: one beat reaches exactly its pulse.
    rise = np.sin(np.pi * np.minimum(phase, 0.2) / 0.4) ** 2
    shape = np.where(phase < 0.2, rise, np.cos(np.pi * (np.clip(phase, 0.2, 0.6) - 0.2) / 0.8) ** 2)
    pulse = np.asarray(pulses)[beat.astype(int) % len(pulses)]
    rng = np.random.default_rng(7)
    return (
        50
        + pulse * shape
        + ripple / 2 * np.sin(2 * np.pi * ripple_hz * T)
        + noise * rng.standard_normal(T.size)
    )


def feet(hz: float) -> np.ndarray:
    return np.arange(0.0, T.size, RATE / hz)


def beats(*args: object, **more: object) -> Beats:
    return find_beats(made(*args, **more), RATE)  # type: ignore[arg-type]


@pytest.mark.parametrize("ripple", [0.0, 1.5, 3.0])
@pytest.mark.parametrize("pulse", [9.0, 12.0])
def test_a_small_pulse_is_as_large_with_a_pump_s_ripple_as_without(pulse: float, ripple: float) -> None:
    # With little noise, so that only the ripple could make the pulse larger: by up to all of it. A fifth may stay.
    found = beats([pulse], 1.17, ripple, noise=0.2)
    assert np.mean(found.pulse_pressure[10:-10]) == pytest.approx(pulse, abs=max(0.5, 0.25 + ripple / 5))


@pytest.mark.parametrize("amplitude", [1.5, 4.0])
def test_the_ripple_beside_the_beats_is_the_one_that_was_put_there(amplitude: float) -> None:
    ripple = beside_beats(made([20.0], 1.17, amplitude), feet(1.17), RATE)
    inner = slice(int(20 * RATE), int(160 * RATE))
    true = amplitude / 2 * np.sin(2 * np.pi * 2.2 * T)
    assert np.std(ripple[inner] - true[inner]) < 0.15 * amplitude / 2


@pytest.mark.parametrize("hz", [1.0, 1.17, 1.5, 2.2])
@pytest.mark.parametrize(
    "pulses", [[30.0], [30.0, 24.0], [45.0, 20.0]], ids=["even", "alternating", "two by two"]
)
def test_beats_alone_hold_no_ripple(pulses: list[float], hz: float) -> None:
    assert not beside_beats(made(pulses, hz, 0.0), feet(hz), RATE).any()


def test_strong_and_weak_beats_stay_strong_and_weak() -> None:
    found = beats([40.0, 30.0], 1.5, 0.0)
    pulses = found.pulse_pressure[10:-10]
    assert abs(np.mean(pulses[::2]) - np.mean(pulses[1::2])) == pytest.approx(10.0, abs=1.0)


def test_a_line_in_step_with_the_beats_is_theirs() -> None:
    # A ripple at just twice the pulse's rate cannot be told from the pulse's own second harmonic.
    assert not beside_beats(made([20.0], 1.1, 1.5), feet(1.1), RATE).any()

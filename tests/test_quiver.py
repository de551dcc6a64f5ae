"""Fine irregular ripple apart from noise and from the steady ripple of a pump, on waves made by formula."""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.annotate.quiver import fibrillation_ripple

SECONDS = 120


def noise(rate: float, sd: float, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, sd, int(SECONDS * rate))


def irregular(rate: float, sd: float, seed: int = 2) -> np.ndarray:
    """White noise of which only 3 to 8 Hz are left, of that standard deviation."""
    n = int(SECONDS * rate)
    spectrum = np.fft.rfft(np.random.default_rng(seed).normal(size=n))
    hz = np.fft.rfftfreq(n, 1 / rate)
    wave = np.fft.irfft(np.where((hz >= 3) & (hz <= 8), spectrum, 0), n)
    return sd * wave / wave.std()


def steady(rate: float, hz: float, amplitude: float) -> np.ndarray:
    return amplitude * np.sin(2 * np.pi * hz * np.arange(int(SECONDS * rate)) / rate)


def middle(wave: np.ndarray, rate: float) -> np.ndarray:
    return fibrillation_ripple([(0.0, rate, wave)], 0.0, SECONDS)[15:105]


@pytest.mark.parametrize("rate", [50.0, 100.0, 125.0, 250.0, 500.0])
@pytest.mark.parametrize("sd", [0.4, 1.0])
def test_the_standard_deviation_of_a_planted_ripple_comes_back(rate: float, sd: float) -> None:
    seen = middle(60 + irregular(rate, sd) + noise(rate, 0.3), rate)
    # Ten seconds of a band of 5 Hz: the power of one window scatters by about a fifth.
    assert np.median(seen) == pytest.approx(sd, rel=0.15)


@pytest.mark.parametrize("rate", [50.0, 125.0, 500.0])
@pytest.mark.parametrize("sd", [0.3, 1.5])
def test_noise_alone_is_none(rate: float, sd: float) -> None:
    seen = middle(60 + noise(rate, sd), rate)
    assert np.mean(seen > 0.25) < 0.05


@pytest.mark.parametrize("hz", [3.3, 4.0, 5.7])
def test_a_pump_at_one_frequency_is_none(hz: float) -> None:
    wave = 60 + steady(125, hz, 1.5) + noise(125, 0.3)
    assert np.mean(middle(wave, 125) > 0.25) < 0.05


def test_a_slow_drift_and_the_level_do_not_matter() -> None:
    rate, wave = 125.0, irregular(125, 0.5) + noise(125, 0.3)
    drift = 0.5 * np.arange(wave.size) / rate
    assert middle(wave + 60 + drift, rate) == pytest.approx(middle(wave, rate), rel=0.05, abs=0.05)


def test_it_begins_and_ends_where_it_does_to_a_window() -> None:
    rate = 125.0
    wave = noise(rate, 0.3)
    inside = slice(int(40 * rate), int(80 * rate))
    wave[inside] += irregular(rate, 0.6)[inside]
    seen = fibrillation_ripple([(0.0, rate, wave)], 0.0, SECONDS)
    assert np.all(seen[48:72] > 0.25)
    assert np.mean(np.r_[seen[5:28], seen[92:115]] > 0.25) < 0.1


def test_what_is_not_recorded_whole_or_sampled_too_slowly_is_unknown() -> None:
    wave = noise(125, 0.3)
    wave[(60 * 125)] = np.nan
    seen = fibrillation_ripple([(0.0, 125.0, wave)], 0.0, SECONDS)
    assert np.isnan(seen[60])
    assert np.isfinite(seen[20])
    # 9 to 12 Hz need 24 samples a second at least.
    assert np.isnan(fibrillation_ripple([(0.0, 20.0, noise(20, 0.3))], 0.0, SECONDS)).all()
    assert np.isnan(fibrillation_ripple([], 0.0, 5)).all()
    assert np.isnan(fibrillation_ripple([(0.0, 125.0, wave[:500])], 0.0, 5)).all()


def test_a_piece_stands_where_its_time_says() -> None:
    wave = irregular(125, 0.5) + noise(125, 0.3)
    here = fibrillation_ripple([(0.0, 125.0, wave)], 0.0, SECONDS)
    later = fibrillation_ripple([(1000.0, 125.0, wave)], 990.0, SECONDS + 20)
    assert np.isnan(later[:10]).all()
    np.testing.assert_allclose(later[10 : 10 + SECONDS], here)

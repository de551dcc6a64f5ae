"""Clocks from lines of text: rounding, lateness, wrong lines, and what words can mean."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.align.estimate import offset_words, whole_hours
from afterclamp.annotate.align.lines import (
    LEAST_MASS,
    LEAST_ODDS,
    SPOKEN_LATE_S,
    Line,
    LinesFit,
    Moment,
    fit_lines,
)
from afterclamp.annotate.align.words import meanings_of, read_words
from afterclamp.io.errors import FileUnreadable
from hypothesis import given
from hypothesis import strategies as st


def _log(bias: float, times: list[float], wrong: dict[int, float] | None = None) -> list[Line]:
    """Lines in whole minutes for moments, `bias` seconds late."""
    lines = []
    for k, t in enumerate(times):
        stamp = 60.0 * round((t + bias + (wrong or {}).get(k, 0.0)) / 60.0)
        lines.append(Line(stamp, 30.0, f"line {k}", (Moment("m", t, 1.0, "a moment"),)))
    return lines


def _fit(lines: list[Line], **how: bool) -> LinesFit:
    fit = fit_lines(lines, spoken=how.get("spoken", False), prior=how.get("prior", True))
    assert fit is not None
    return fit


def test_whole_minutes_give_the_bias_and_its_interval_covers() -> None:
    # 200 logs of eight lines: whole minutes around a bias, beside 15 s of unevenness.
    rng = np.random.default_rng(5)
    inside, errors = 0, []
    for _ in range(200):
        times = np.sort(rng.uniform(0, 18000, 8))
        bias = float(rng.uniform(-300, 300))
        lines = [
            Line(60.0 * round((t + bias + rng.normal(0, 15)) / 60), 30.0, "", (Moment("m", t, 1.0, ""),))
            for t in times
        ]
        fit = _fit(lines)
        errors.append(abs(fit.offset_s - bias))
        inside += abs(fit.offset_s - bias) <= 1.96 * fit.sd_s
    assert np.median(errors) < 8
    assert 0.90 <= inside / 200 <= 0.99


@given(st.integers(-200, 200))
def test_shifting_all_stamps_shifts_the_offset(minutes: int) -> None:
    times = [600.0, 2000.0, 5100.0, 9000.0, 12345.0]
    lines = [
        Line(line.stamp + 60.0 * minutes, line.half_s, line.text, line.moments) for line in _log(0.0, times)
    ]
    fit = _fit(lines, prior=False)
    base = _fit(_log(0.0, times), prior=False)
    assert fit.offset_s == pytest.approx(base.offset_s + 60.0 * minutes, abs=0.5)


def test_wrong_lines_are_set_apart_and_move_nothing() -> None:
    times = [600.0, 2000.0, 5100.0, 9000.0, 12345.0, 14000.0]
    clean = _fit(_log(125.0, times))
    spoilt = _fit(_log(125.0, times, wrong={2: 600.0}))
    assert [line.text for line in spoilt.lines if not line.used] == ["line 2"]
    assert spoilt.offset_s == pytest.approx(clean.offset_s, abs=12)


def test_a_line_before_what_it_follows_is_wrong() -> None:
    times = [600.0, 2000.0, 5100.0, 9000.0]
    end = Moment("", 9000.0, 2.0, "the end of bypass")
    early = Line(9000.0 + 125.0 - 400.0, 30.0, "protamine", (), (end,))
    late = Line(9000.0 + 125.0 + 400.0, 30.0, "protamine", (), (end,))
    assert [line.text for line in _fit([*_log(125.0, times), early]).lines if not line.used] == ["protamine"]
    assert all(line.used for line in _fit([*_log(125.0, times), late]).lines)


def test_speech_is_late_by_about_two_seconds() -> None:
    times = [600.0, 2000.0, 5100.0, 9000.0, 12345.0]
    lines = [Line(t + SPOKEN_LATE_S - 1212.0, 0.0, "", (Moment("m", t, 0.5, ""),)) for t in times]
    fit = _fit(lines, spoken=True, prior=False)
    assert fit.offset_s == pytest.approx(-1212.0, abs=1.0)
    # One that came ten seconds later is slow speech, and pulls little.
    slow = [*lines[:-1], Line(lines[-1].stamp + 8.0, 0.0, "", lines[-1].moments)]
    assert _fit(slow, spoken=True, prior=False).offset_s == pytest.approx(-1212.0, abs=1.5)


def test_which_of_several_moments_is_meant_comes_out_of_all_lines() -> None:
    arrests = tuple(Moment("circulation_off", t, 1.0, f"arrest at {t:.0f}") for t in (7860.0, 9660.0))
    lines = [
        Line(3600.0 + 120.0, 30.0, "on", (Moment("on", 3600.0, 1.0, ""),)),
        Line(9660.0 + 120.0, 30.0, "circ off", arrests),
        Line(18420.0 + 120.0, 30.0, "off", (Moment("off", 18420.0, 1.0, ""),)),
    ]
    fit = _fit(lines)
    second = fit.lines[1].moment
    assert second is not None
    assert second.t == 9660.0


def test_lines_that_agree_on_nothing_are_not_told() -> None:
    rng = np.random.default_rng(7)
    told = 0
    for _ in range(50):
        moments = rng.uniform(0, 18000, 6)
        lines = [
            Line(float(rng.uniform(0, 18000)), 30.0, "", (Moment("m", float(t), 1.0, ""),)) for t in moments
        ]
        fit = _fit(lines)
        told += fit.agreeing >= 3 and fit.mass >= LEAST_MASS and fit.odds >= LEAST_ODDS
    assert told <= 5  # one in ten at most


def test_lines_without_a_moment_give_nothing() -> None:
    assert fit_lines([Line(0.0, 30.0, "tea", ())], spoken=False, prior=True) is None


@pytest.mark.parametrize(
    ("text", "events"),
    [
        ("Going on.", ["on_bypass"]),
        ("on bypass", ["on_bypass"]),
        ("off bypass", ["off_bypass"]),
        ("We are off.", ["off_bypass"]),
        ("circ. off 1", ["circulation_off"]),
        ("CLAMP-OFF", ["clamp_off"]),
        ("Clamp on", ["clamp_on"]),
        ("Whole body again, full flow please.", ["full_flow", "whole_body"]),
        ("stop the protamine", []),
        ("protamine", ["protamine"]),
        ("heparin", []),
        ("moreover clamped", ["clamp_on"]),
        ("ongoing on-call", []),
    ],
)
def test_words_mean_what_they_say(text: str, events: list[str]) -> None:
    assert [meaning.event for meaning in meanings_of(text)] == events


def test_a_word_list_of_ones_own_is_read(tmp_path: Path) -> None:
    path = tmp_path / "words.toml"
    path.write_text(
        '[clamp_off]\nphrases = ["Klemme auf"]\nedges = [["clamp", "end"]]\nwithout = ["nicht"]\n', "utf-8"
    )
    words = read_words(path)
    assert [meaning.event for meaning in meanings_of("klemme AUF!", words)] == ["clamp_off"]
    assert not meanings_of("Klemme auf, nicht", words)


@pytest.mark.parametrize(
    "text",
    ["phrases = [", "[a]\nedges = []\n", '[a]\nphrases = ["x"]\nedges = [["clamp", "middle"]]\n',
     '[a]\nphrases = ["x"]\ncolour = 1\n', "a = 1\n"],
)  # fmt: skip
def test_a_word_list_that_is_none_is_refused_with_its_place(tmp_path: Path, text: str) -> None:
    path = tmp_path / "words.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(FileUnreadable, match=r"words\.toml"):
        read_words(path)
    with pytest.raises(FileUnreadable):
        read_words(tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("offset", "hours", "words"),
    [
        (-3637.0, -1, "1 h + 37 s behind"),
        (3563.0, 1, "1 h − 37 s ahead"),
        (7200.0, 2, "2 h + 0 s ahead"),
        (94.0, 0, "94.0 s ahead"),
        (-1440.0, 0, "24 min 0 s behind"),
    ],
)
def test_offsets_are_put_in_hours_and_the_rest(offset: float, hours: int, words: str) -> None:
    assert whole_hours(offset) == hours
    assert offset_words(offset, hours) == words

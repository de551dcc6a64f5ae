"""What another arterial line would have said of figures and computed values, held against the lines that are used."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.figure_row import Figure, OtherLine
from afterclamp.annotate.figures import figures
from afterclamp.annotate.overview import computed_values
from afterclamp.annotate.site_changes import changes_words, what_another_site_changes
from afterclamp.annotate.trust import trust_strip
from afterclamp.io.case import Case
from recordings import case_of, recording
from test_site import SITES, line, off_bypass
from test_trust import choose, two  # noqa: F401

# ruff: noqa: F811


@pytest.mark.parametrize(
    ("start", "end", "own_s", "told"),
    [
        # Low for 100 s at the wrist alone; nothing is under 65 mmHg at the groin.
        (450.0, 1000.0, 100, {"femoral": ("throughout instead of femoral, left radial 7:30 to 16:40: ", 0)}),
        (540.0, 700.0, 60, {
            "femoral": ("throughout instead of femoral, left radial 9:00 to 11:40: ", 0),
            "left radial": ("throughout instead of femoral, left radial 9:00 to 11:40: ", 100),
        }),
        (0.0, 1000.0, 100, {"femoral": ("instead of left radial: ", 0)}),
        (0.0, 0.0, 0, {"left radial": ("instead of femoral: ", 100)}),
    ],
)  # fmt: skip
def test_other_lines_are_held_against_those_that_a_figure_goes_by(
    two: Case, start: float, end: float, own_s: int, told: dict[str, tuple[str, int]]
) -> None:
    with two as case:
        if end:
            choose(case, "left_radial", start, end)
        row = off_bypass(figures(case))
    assert row.outside_s == pytest.approx(own_s, abs=3)
    assert {one.line: one.outside_s for one in row.other_lines} == {
        line: pytest.approx(seconds, abs=3) for line, (_, seconds) in told.items()
    }
    for one in row.other_lines:
        assert one.sentence.startswith(f"with {one.line} believed {told[one.line][0]}")
        assert one.sentence in row.note.split("; "), "one sentence of the note, whole"
        assert row.to_dict()["other_lines"][0].keys() == {"line", "outside_s", "area", "sentence"}


@pytest.mark.parametrize(("pulse", "tells"), [(60.0, True), (44.0, False)])
def test_computed_values_say_what_another_line_would_have_said(
    tmp_path: Path, pulse: float, tells: bool
) -> None:
    # A pulse of 40 mmHg at the groin, of 60 (half more) or 44 (a tenth more) at the wrist; a quarter is told.
    lines = [line("fem", np.full(600, 75.0)), line("lrad", np.full(600, 72.0), pulse=pulse)]
    with case_of(tmp_path / "case", recording("monitor", lines), identities=SITES) as case:
        rows = {one.measure: one for one in computed_values(case) if one.section == "pulse"}
    height = rows["pulse_pressure"]
    assert height.value == pytest.approx(40, abs=2)
    assert ("with left radial believed instead of femoral: " in height.note) == tells
    assert ("with left radial believed instead of femoral: " in rows["steepest_rise"].note) == tells
    if tells:
        other, own = re.findall(r"femoral: ([\d.]+) instead of ([\d.]+) mm\[Hg\]", height.note)[0]
        assert (float(other), float(own)) == (pytest.approx(60, abs=2), pytest.approx(40, abs=2))


def test_computed_values_of_a_stretch_that_a_person_chose_are_held_against_both_lines(tmp_path: Path) -> None:
    lines = [line("fem", np.full(600, 75.0)), line("lrad", np.full(600, 72.0), pulse=60.0)]
    with case_of(tmp_path / "case", recording("monitor", lines), identities=SITES) as case:
        choose(case, "left_radial", 200.0, 600.0)
        rows = {one.measure: one for one in computed_values(case) if one.section == "pulse"}
    height, rise = rows["pulse_pressure"], rows["steepest_rise"]
    assert height.value == pytest.approx(60, abs=2)  # of 400 of the 600 s
    assert height.site == rise.site == "femoral; left_radial 3:20 to 10:00, chosen by mara"
    assert "with left radial believed throughout" not in rise.note, "its own upstroke is the wrist's already"
    assert "with femoral believed throughout instead of femoral, left radial 3:20 to 10:00: " in rise.note
    assert "with femoral believed throughout instead of femoral, left radial 3:20 to 10:00: " in height.note


def test_what_another_line_changes_comes_from_the_figures_themselves() -> None:
    sentence = "with left radial believed instead of femoral: 34.0 min and 239 mm[Hg].min instead of 4.7 min"
    found = [
        Figure("a", "post", note="what is written", other_lines=(OtherLine("left radial", 2040.0, 239.0, sentence),)),
        Figure("b", "post", note=f"with care; {sentence}"),
    ]  # fmt: skip
    [change] = what_another_site_changes(None, found)
    assert (change.figure, change.line, change.sentence) == (found[0], "left radial", sentence)
    assert changes_words([change]) == "another line changes 1 figure"
    assert changes_words([change, change]) == "another line changes 1 figure"
    assert changes_words([]) == ""


def test_the_demonstration_changes_after_bypass_from_4_7_to_34_min(demo_folder: Path) -> None:
    # J6.6: LRAD instead of FEM after bypass, 4.7 and 34.0 min (5 s or 3 %); R1 and R3 from the minutes of J6.4.
    with Case.open(demo_folder) as case:
        changes = what_another_site_changes(case)
        spans = trust_strip(case).spans
    [post] = [
        one for one in changes if (one.figure.limit_id, one.line) == ("map-65-off-bypass", "left radial")
        and one.figure.phase == "post"
    ]  # fmt: skip
    minutes = [float(text.split(" min")[0].split()[-1]) for text in post.sentence.split(" and ")[:1]]
    assert minutes == [pytest.approx(34.0, rel=0.03)]
    assert post.figure.outside_s / 60 == pytest.approx(4.7, abs=0.15)
    instead = [one for one in spans if one.standing == "stands in"]
    assert (instead[0].line, instead[0].end_s) == ("left_radial", pytest.approx(17 * 60, abs=5))
    assert any("(R3)" in one.why and one.line == "femoral" and one.start_s >= 306 * 60 for one in spans)


# -- command line ----------------------------------------------------------------------------------

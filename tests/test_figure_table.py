"""Figures as people read them: the largest single area, the bridged numbers, ±, method, set, version and rivals."""

from __future__ import annotations

import math
from dataclasses import replace

from afterclamp.annotate.figure_row import Figure
from afterclamp.annotate.limit_set import STATUS, LimitSet, default_sets
from afterclamp.replay.figure_table import HEADINGS, figures, runs_of
from afterclamp.replay.figure_text import HEADINGS as COPIED
from afterclamp.replay.figure_text import as_text
from afterclamp.replay.paper.figure_section import figure_section, limit_section

# R3.15: both the whole area and the largest single one are reported. The numbers of this row are made up.
GRADIENT = Figure(
    measure="femoral_radial_gradient",
    phase="post",
    value=68.7,
    unit="mm[Hg].min",
    limit=10.0,
    limit_unit="mm[Hg]",
    side="at least",
    limit_source="our unit",
    limit_id="gradient-10",
    limit_set="ours, version 3",
    outside_s=1124.0,
    observed_s=2544.0,
    masked_s=42.0,
    area=68.7,
    nadir=14.4,
    longest_run_s=822.0,
    largest_single_area=49.9,
    bridged_s=42.0,
    bridged_outside_s=1166.0,
    bridged_area=71.5,
    outside_unc_s=9.2,
    site="femoral and left_radial",
    method="hold, one value a second; stretches up to 5 s apart are one",
    note="excluded by design: arrests; with right radial believed instead of femoral: 34.0 min",
    rivals=("at least 5 mm[Hg] (older work)",),
)


def line(text: str, begins: str) -> str:
    return next(one for one in text.splitlines() if one.strip().startswith(begins))


def test_the_table_has_the_largest_single_area_the_bridged_number_and_the_uncertainty() -> None:
    text = figures([GRADIENT])
    row = line(text, "1 ")
    for cell in ("18.7 min", "± 9.2 s", "42.4 min", "68.7 mmHg·min", "49.9 mmHg·min"):
        assert cell in row
    assert "19.4 of 43.1 min, 71.5 mmHg·min" in row  # 1166 s of 2544 + 42 s
    assert {"±", "largest single", "with masked bridged"} <= set(HEADINGS)


def test_method_set_version_and_rivals_stand_beneath_the_table() -> None:
    text = figures([GRADIENT, replace(GRADIENT, phase="record")])
    assert "1, 2  hold, one value a second; stretches up to 5 s apart are one" in text
    assert "at least 10 mmHg (gradient-10, ours, version 3): our unit" in text
    assert "gradient-10 has beside it: at least 5 mmHg (older work)" in text
    assert (
        "1, 2  with right radial believed instead of femoral: 34.0 min; excluded by design: arrests" in text
    )


def test_a_clock_that_nobody_set_leaves_the_minutes_unknown() -> None:
    assert "± unknown" in line(figures([replace(GRADIENT, outside_unc_s=math.inf)]), "1 ")


def test_rows_are_named_in_a_few_signs() -> None:
    assert runs_of([1, 2, 3, 5, 7, 8]) == "1 to 3, 5, 7, 8"


def test_what_is_copied_has_them_too() -> None:
    heading, row = (text.split("\t") for text in as_text([GRADIENT]).split("\n"))
    assert heading == list(COPIED)
    cells = dict(zip(heading, row, strict=True))
    assert cells["Largest single area"] == "49.9"
    assert cells["± of it [s]"] == "9.2"
    assert cells["Outside with masked bridged [min]"] == "19.43"
    assert cells["Area with masked bridged"] == "71.5"
    assert cells["Other limits"] == "at least 5 mmHg (older work)"
    assert cells["Counted"].startswith("hold, one value a second")


def test_the_paper_has_them_and_only_the_edited_limit_says_that_it_is_edited() -> None:
    title = "published, version 1, 1 number edited"
    untouched = replace(GRADIENT, limit_set=title, limit_source="a paper")
    edited = replace(GRADIENT, limit_set=title, limit_source="edited by mara: our protocol; its set has 10")
    outside, sources, *_ = figure_section([untouched, edited]).tables
    assert "hold, one value a second" in outside.caption
    assert "18.7 ± 9.2 s" in outside.rows[0].cells
    assert "68.7 mmHg·min; 49.9 mmHg·min" in outside.rows[0].cells
    told = {row.cells[1].partition(";")[0]: row.cells[2] for row in sources.rows}
    assert told == {"a paper": "published, version 1", "edited by mara: our protocol": title}


def test_the_paper_s_appendix_names_the_rivals_of_each_limit() -> None:
    tables = limit_section([], default_sets()).tables
    published = next(one for one in tables if one.caption.startswith("Limits in force: published"))
    assert published.headings[-1] == "other limits"
    row = next(row for row in published.rows if "Anesthesiology 2022;136:927-39" in row.cells)
    # R6: rivals of 65 mmHg off bypass, as their papers have them.
    for words in ("below 60 mmHg (Sessler", "below 80 mmHg (Wesselink", "below 49 mmHg (Monk"):
        assert words in row.cells[-1]
    assert STATUS["P"] in row.cells


def test_the_paper_s_appendix_shows_both_units() -> None:
    content = {
        "id": "map-off",
        "measure": "mean_arterial_pressure",
        "phase": "off",
        "below": 7.99932,
        "unit": "kPa",
        "status": "U",
        "source": "our unit",
    }
    ours = LimitSet.model_validate({"name": "ours", "version": "3", "limit": [content]})
    [row] = limit_section([], [ours]).tables[-1].rows
    assert "below 60 mmHg (7.99932 kPa)" in row.cells  # UCUM: 133.322 Pa to the mm[Hg]

"""Lines that name something given or done. Expected classes by reading; the lines of the demo are J6.9's."""

from __future__ import annotations

import pytest
from afterclamp.annotate.interventions import dose_of, interventions, kind_of
from afterclamp.io import Case
from afterclamp.replay.strips.lanes import Bar, lanes_of
from afterclamp.sample_traces import tables


@pytest.mark.parametrize(
    ("text", "kind", "dose"),
    [
        ("heparin 28000", "drug", "28000"),
        ("noradrenaline 0.05 mcg/kg/min", "drug", "0.05 mcg/kg/min"),
        ("protamine 250 mg", "drug", "250 mg"),
        ("2 units red cells", "product", "2 units"),
        ("FFP x2", "product", "x2"),
        ("ringer 500 ml", "volume", "500 ml"),
        ("shock x1", "shock", "x1"),
        ("shocked, 20 J", "shock", "20 J"),
        ("pacing 90", "pacing", "90"),
        ("table head down", "table", ""),
        ("femoral line in", "line", ""),
        ("PA catheter floated", "line", ""),
        ("ACT 486", "test", "486"),
    ],
)
def test_class_and_dose_stand_as_written(text: str, kind: str, dose: str) -> None:
    assert (kind_of(text), dose_of(text)) == (kind, dose)


@pytest.mark.parametrize(
    "text",
    ["clamp on", "circ off 1", "on bypass", "saw on", "cooling", "cardiogenic shock", "full flow", "exact"],
)
def test_other_lines_are_no_interventions(text: str) -> None:
    assert kind_of(text) == ""


def test_of_the_demo_s_log_all_22_lines_are_shown_with_their_doubt(demo_case: Case) -> None:
    # J3.6 row 103: 22 log lines of the demo shown with their ±.
    notes = [note for note in demo_case.notes if note.source == "log"]
    lanes = {lane.kind: lane for lane in lanes_of(notes=notes)}
    bars = [bar for lane in lanes.values() for bar in lane.bars]
    assert sorted(bar.label for bar in bars) == sorted(line.text for line in tables.log_lines())
    assert len(bars) == 22
    # Whole minutes leave 17.3 s (30 / sqrt 3), the clock of that log 10 s more.
    assert all(bar.sd_s == pytest.approx((300 + 100) ** 0.5, abs=0.1) for bar in bars)
    given = {bar.label: bar.detail for bar in lanes["given"].bars}
    assert given == {
        "left radial in": "line: left radial in",
        "right radial in": "line: right radial in",
        "induction": "drug: induction",
        "femoral line in": "line: femoral line in",
        "neck line in": "line: neck line in",
        "PA catheter floated": "line: PA catheter floated",
        "heparin": "drug: heparin",
        "ACT 486": "test: ACT 486",
        "shock x1": "shock: shock x1",
        "protamine": "drug: protamine",
    }


def test_an_intervention_keeps_its_words_its_time_and_its_source(demo_case: Case) -> None:
    found = [one for one in interventions(demo_case.notes) if one.source == "log"]
    assert len(found) == 10
    shock = next(one for one in found if one.kind == "shock")
    assert (shock.text, shock.dose, shock.words) == ("shock x1", "x1", "shock: shock x1")


def test_a_case_without_interventions_has_no_such_lane() -> None:
    assert [lane.kind for lane in lanes_of(notes=[Bar(1.0, 1.0, "clamp on")])] == ["note"]

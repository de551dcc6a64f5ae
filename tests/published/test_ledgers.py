"""Cardioplegia and anticoagulation: intervals by subtraction, and what is missing said."""

import itertools
import math

import numpy as np
import pytest
from afterclamp.annotate.measures import (
    CardioplegiaDose,
    ClottingTest,
    anticoagulation_ledger,
    cardioplegia_ledger,
    doses_from_flow,
)
from afterclamp.annotate.series import from_values
from afterclamp.sample_traces import tables

# Six doses of an invented case, in seconds: intervals by hand from one dose's end to the next one's start, as the
# ischaemic interval is defined (from memory). Clamped from 1000 to 8000 and again from 9000 to 9600.
DOSES = [
    CardioplegiaDose(1030, 1270, "root", 1000, 4.0, 80, "log"),
    CardioplegiaDose(2475, 2595, "ostial", 300, 4.0, 70, "log"),
    CardioplegiaDose(3800, 3980, "retrograde", 400, 5.0, 40, "channel"),
    CardioplegiaDose(3900, 3960, "graft", 60, 5.0, 60, "spoken"),
    CardioplegiaDose(5521, 5641, "retrograde", 300, 6.0, 38, "channel"),
    CardioplegiaDose(9060, 9180, "root", 250, 6.0, 75, "log"),
]
CLAMPS = [(1000, 8000), (9000, 9600)]


def test_six_doses_with_intervals_exact_to_the_second():
    found = cardioplegia_ledger(DOSES[::-1], CLAMPS)
    assert [row.dose for row in found.rows] == DOSES
    assert [row.since_clamp_s for row in found.rows] == [30, 1475, 2800, 2900, 4521, 60]
    assert [row.interval_s for row in found.rows] == [30, 1205, 1205, 0, 1541, 60]
    assert found.last_intervals_s == (8000 - 5641, 9600 - 9180)
    assert found.longest_interval_s == 2359
    assert found.clamp_s == 7600


def test_an_interval_over_the_units_own_limit_is_shown_and_not_judged():
    found = cardioplegia_ledger(DOSES, CLAMPS, own_limit_s=1205)
    assert [row.over_own_limit for row in found.rows] == [False, False, False, False, True, False]
    assert all(row.over_own_limit is None for row in cardioplegia_ledger(DOSES, CLAMPS).rows)


def test_ischaemic_time_counts_from_the_clamp_and_from_the_last_dose():
    found = cardioplegia_ledger(DOSES, CLAMPS)
    assert found.ischaemic_at(1010) == (10, 10)
    assert found.ischaemic_at(1100) == (100, 0)  # while a dose runs
    assert found.ischaemic_at(1270) == (270, 0)
    assert found.ischaemic_at(2000) == (1000, 730)
    assert found.ischaemic_at(3970) == (2970, 0)  # the second route has ended, the first runs on
    assert found.ischaemic_at(9000) == (0, 0)  # a new application begins anew
    assert all(math.isnan(one) for one in found.ischaemic_at(8500))


def test_a_dose_off_the_clamp_is_listed_without_intervals():
    (row,) = cardioplegia_ledger([CardioplegiaDose(10, 20)], []).rows
    assert math.isnan(row.interval_s)
    assert row.over_own_limit is None
    assert math.isnan(cardioplegia_ledger([], []).longest_interval_s)
    assert cardioplegia_ledger([], [(0, 600)]).longest_interval_s == 600
    with pytest.raises(ValueError, match="ends after it starts"):
        CardioplegiaDose(20, 10)


def test_doses_read_off_a_channel():
    # 240 s at 250 mL/min are 1000 mL; 60 s at 300 are 300 mL; 5 s of a flush are no dose.
    flow = np.zeros(1200)
    flow[100:340], flow[700:760], flow[900:905] = 250, 300, 400
    temperature = np.where(flow > 0, 4.0, 20.0)
    first, second = doses_from_flow(from_values(0.0, flow), temperature=from_values(0.0, temperature))
    assert (first.start, first.end, first.volume_ml, first.temperature_c) == (100, 340, 1000, 4.0)
    assert (second.start, second.end, second.volume_ml) == (700, 760, 300)
    assert math.isnan(first.delivery_pressure)
    assert first.route == ""
    with pytest.raises(ValueError, match="same seconds"):
        doses_from_flow(from_values(0.0, flow), temperature=from_values(0.0, np.ones(5)))


def test_a_gap_within_a_dose_adds_no_volume():
    flow = np.r_[np.zeros(30), np.full(60, 300.0), np.full(20, np.nan), np.full(60, 300.0), np.zeros(30)]
    (dose,) = doses_from_flow(from_values(0.0, flow))
    assert (dose.start, dose.end, dose.volume_ml) == (30, 170, 600)


# --- anticoagulation ----------------------------------------------------------------------------------

TESTS = [
    ClottingTest(600, 130),
    ClottingTest(2400, 486, 2700),
    ClottingTest(6000, 455),
    ClottingTest(16000, 118),
]
BYPASS = [(3600.0, 14400.0)]


def test_first_before_going_on_and_longest_interval_on_bypass():
    # By subtraction: 2400 s lie between going on and the first draw, 8400 s between it and coming off.
    found = anticoagulation_ledger(TESTS[::-1], BYPASS, heparin_s=[2100], protamine_s=[15000])
    assert [row.test for row in found.rows] == TESTS
    assert [row.part for row in found.rows] == ["before", "before", "on", "after"]
    assert found.first_before == TESTS[1]  # the one at 600 s was drawn before heparin
    assert found.longest_on_bypass_s == 8400
    assert found.longest_on_bypass == (6000, 14400)
    assert found.rows[1].since_last_s == 1800
    assert found.rows[1].result_after_s == 300
    assert math.isnan(found.rows[2].result_after_s)
    assert found.missing == ()


def test_a_target_travels_with_its_source_and_ends_with_protamine():
    # Above 480 s: Shore-Lesserson, Ann Thorac Surg 2018; 400 s or more in a trial of 1,021 patients.
    sources = {
        480: "Ann Thorac Surg 2018, doi 10.1016/j.athoracsur.2017.09.061",
        400: "doi 10.1053/j.jvca.2025.07.001",
    }
    below = {}
    for target, source in sources.items():
        found = anticoagulation_ledger(
            TESTS[1:], BYPASS, heparin_s=[2100], protamine_s=[15000], target_s=target, target_source=source
        )
        below[target] = [row.below_target for row in found.rows]
        assert found.target_source == source
    assert below == {480: [False, True, None], 400: [False, False, None]}
    assert all(row.below_target is None for row in anticoagulation_ledger(TESTS, BYPASS).rows)
    with pytest.raises(ValueError, match="source"):
        anticoagulation_ledger(TESTS, BYPASS, target_s=480)


@pytest.mark.parametrize(
    ("heparin", "tests", "missing"),
    [
        ([2100], [ClottingTest(2400, 486)], ()),
        ([], [ClottingTest(2400, 486)], ("no heparin is written down",)),
        (
            [3700],
            [ClottingTest(2400, 486)],
            ("the first heparin is written down after going on bypass",),
        ),
        ([2100], [], ("no activated clotting time is written down",)),
        (
            [2100],
            [ClottingTest(4000, 486)],
            ("the first activated clotting time was drawn after going on bypass",),
        ),
        (
            [2100],
            [ClottingTest(600, 130)],
            ("no activated clotting time was drawn between heparin and going on bypass",),
        ),
        ([], [], ("no heparin is written down", "no activated clotting time is written down")),
    ],
)
def test_what_should_stand_before_going_on_is_missed_only_where_it_is_missing(heparin, tests, missing):
    assert anticoagulation_ledger(tests, BYPASS, heparin_s=heparin).missing == missing


def test_without_bypass_nothing_is_missing_and_nothing_is_counted():
    found = anticoagulation_ledger([], [])
    assert found.missing == ()
    assert math.isnan(found.longest_on_bypass_s)


def test_a_return_to_bypass_counts_its_own_intervals():
    found = anticoagulation_ledger(TESTS, [(3600, 5000), (9000, 9500)], heparin_s=[2100])
    assert found.longest_on_bypass == (3600, 5000)
    assert [row.part for row in found.rows] == ["before", "before", "after", "after"]


def test_the_log_of_the_demonstration():
    # Its true times: heparin 47:00, a clotting time of 486 s at 52:00, on bypass 60:00 to 307:00, none after that.
    at = {line.text: line.true_s for line in tables.log_lines()}
    found = anticoagulation_ledger(
        [ClottingTest(at["ACT 486"], 486)], [(3600.0, 18420.0)], heparin_s=[at["heparin"]]
    )
    assert found.first_before is not None
    assert found.first_before.drawn_s == 52 * 60
    assert found.longest_on_bypass_s == 247 * 60
    assert found.missing == ()


def test_doses_in_any_order_give_one_ledger():
    ledgers = {
        cardioplegia_ledger(order, CLAMPS) for order in itertools.islice(itertools.permutations(DOSES), 50)
    }
    assert len(ledgers) == 1

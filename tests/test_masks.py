"""Masks are reversible edits, counted in every figure: hidden seconds, seconds that a person believes, and undo.

Expected seconds are counted by hand from the stretches that each test lays: a second is masked when any part of it
is (J4.1). The line of the small case lies open to air from 120 s to 140 s, as `small_case` makes it.
"""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import numpy as np
import pytest
import small_case
from afterclamp.annotate.beats import beats
from afterclamp.annotate.figures import figures
from afterclamp.annotate.masking import HIDDEN
from afterclamp.annotate.quality import (
    ARTEFACT,
    GOOD,
    NO_PULSE,
    artefacts,
    channel_key,
    clean_waves,
    masked_seconds,
    quality_class,
    rule_spans,
    seconds_state,
)
from afterclamp.annotate.series import MASKED, MISSING, OBSERVED
from afterclamp.annotate.view import View
from afterclamp.io import masks, open_case
from afterclamp.io.case import Case
from afterclamp.io.errors import EditRefused, NoSuchChannel
from afterclamp.io.recording import Segment
from afterclamp.io.terms import Identity
from masked_case import case, made, wave_case  # noqa: F401
from recordings import case_of, even, recording

# ruff: noqa: F811


def masked(case: Case, name: str = "femoral") -> list[int]:
    """The seconds that are masked."""
    state = seconds_state(case[name], case.grid)
    return [int(case.grid[i]) for i in np.flatnonzero(state == MASKED)]


OPEN = list(range(119, 140))  # 120 s to 140 s, and the second in which the fall begins


def beyond(seconds: list[int]) -> list[int]:
    """Those of bypass, where the small case plants nothing."""
    return [second for second in seconds if 300 < second < 880]


def before_bypass(seconds: list[int]) -> list[int]:
    """Those among which the small case plants its opening to air."""
    return [second for second in seconds if second < 250]


# -- hide ------------------------------------------------------------------------------------------


def test_a_second_is_masked_when_any_part_of_it_is_hidden(case: Case) -> None:
    masks.mask(case, "reviewer", "hide", "femoral", 400.0, 450.25)
    assert beyond(masked(case)) == list(range(400, 451))
    assert masked(case, "pump_flow") == []


def test_a_hidden_second_is_masked_for_levels_for_beats_and_in_its_class(case: Case) -> None:
    masks.mask(case, "reviewer", "hide", "femoral", 950.0, 960.0)
    channel, seconds = case["femoral"], slice(950, 960)
    assert (seconds_state(channel, case.grid, NO_PULSE)[seconds] == MASKED).all()
    assert (seconds_state(channel, case.grid, (HIDDEN,))[seconds] == MASKED).all()
    assert (seconds_state(channel, case.grid, ())[seconds] == OBSERVED).all()
    assert masked_seconds(channel, case.grid)[seconds].all()
    assert (quality_class(channel, case.grid)[seconds] == ARTEFACT).all()
    assert quality_class(channel, case.grid)[945] == GOOD


def test_hidden_seconds_have_no_beats_and_no_samples_in_clean_waves_but_keep_them_raw(case: Case) -> None:
    # 1.25 beats a second as `small_case` makes them: 12 or 13 within ten seconds.
    before = beats(case["femoral"])
    assert 12 <= int(((before.onset >= 950) & (before.onset < 960)).sum()) <= 13
    masks.mask(case, "reviewer", "hide", "femoral", 950.0, 960.0)
    after = beats(case["femoral"])
    assert not ((after.onset >= 950) & (after.onset < 960)).any()
    [(t0, rate, clean)] = clean_waves(case["femoral"])
    blank = np.isnan(clean[round((950 - t0) * rate) : round((960 - t0) * rate)])
    assert blank.all()
    assert np.isnan(clean).sum() < 4000  # 40 s of 100 Hz: the rest is there
    [(_, _, raw)] = clean_waves(case["femoral"], masked=False)
    assert np.isfinite(raw).all()
    again = beats(case["femoral"], masked=False)
    assert int(((again.onset >= 950) & (again.onset < 960)).sum()) >= 12


def test_every_figure_counts_hidden_seconds_as_masked_and_no_longer_as_observed(case: Case) -> None:
    def rows() -> dict[tuple[str, str, str], tuple[float, float]]:
        return {
            (one.measure, one.phase, str(one.limit)): (one.observed_s, one.masked_s)
            for one in figures(case)
            if one.value is not None and "femoral" in one.site
        }

    before = rows()
    masks.mask(case, "reviewer", "hide", "femoral", 950.0, 980.0)  # 30 s after bypass, which ends at 900 s
    after = rows()
    changed = {key: (after[key][0] - before[key][0], after[key][1] - before[key][1]) for key in before}
    assert {key[1] for key, moved in changed.items() if moved == (-30.0, 30.0)} == {"post", "record"}
    assert {moved for key, moved in changed.items() if key[1] not in ("post", "record")} == {(0.0, 0.0)}


def test_raw_figures_count_hidden_seconds_and_artefacts_as_observed(case: Case) -> None:
    masks.mask(case, "reviewer", "hide", "femoral", 950.0, 980.0)
    [record] = [one for one in figures(case, masked=False) if one.measure == "mean_pressure"]
    assert (record.observed_s, record.masked_s, record.clean) == (1200.0, 0.0, "raw")


def test_the_mean_of_a_record_leaves_hidden_values_out(tmp_path: Path) -> None:
    # 40 for a hundred seconds, then 80: by hand the mean of all is 60, without the first hundred 80.
    wave = np.repeat([400, 800], 100 * 100).astype(np.int16)
    wave += (np.arange(wave.size) % 3 - 1).astype(np.int16)  # a flat line would be called frozen
    channel = even("CVP", wave, [Segment(0.0, 0, wave.size, 100.0, scale=0.1)])
    identity = Identity("central_venous_pressure", statistic="wave")
    with case_of(tmp_path / "c", recording("monitor", [channel]), identities={"cvp": identity}) as case:

        def mean() -> float | None:
            return next(one.value for one in figures(case) if one.measure == "mean_pressure")

        assert mean() == pytest.approx(60.0, abs=0.5)
        masks.mask(case, "reviewer", "hide", case.channels[0].id, 0.0, 100.0)
        assert mean() == pytest.approx(80.0, abs=0.1)


def test_rules_see_no_hidden_second(case: Case) -> None:
    masks.mask(case, "reviewer", "hide", "femoral", 950.0, 960.0)
    view = View.of(case)
    assert np.isnan(view.values["femoral"][950:960]).all()
    assert view.masked["femoral"][950:960].all()


# -- unhide ----------------------------------------------------------------------------------------


def test_what_a_person_believes_is_observed_although_a_rule_calls_it_artefact(case: Case) -> None:
    assert before_bypass(masked(case)) == OPEN
    span = rule_spans(case["femoral"])[0]
    masks.mask(case, "reviewer", "unhide", "femoral", span.start, span.end)
    assert before_bypass(masked(case)) == []
    assert quality_class(case["femoral"], case.grid)[130] == GOOD
    # The small case lies at 0 mmHg while it is open: that is counted now.
    assert View.of(case).values["femoral"][130] == pytest.approx(0.0, abs=1.0)


def test_what_is_left_of_an_artefact_beside_a_believed_stretch_stays_masked(case: Case) -> None:
    masks.mask(case, "reviewer", "unhide", "femoral", 125.0, 130.5)
    # Of the second 130 a half is left, so it is masked.
    assert before_bypass(masked(case)) == [*range(119, 125), *range(130, 140)]


def test_the_artefact_itself_is_still_seen(case: Case) -> None:
    before = artefacts(case["femoral"])
    masks.mask(case, "reviewer", "unhide", "femoral", 100.0, 150.0)
    masks.mask(case, "reviewer", "hide", "femoral", 100.0, 105.0)
    assert artefacts(case["femoral"]) == before
    assert before[0].code == "A1"


def test_a_gap_cannot_be_believed(tmp_path: Path) -> None:
    wave = small_case.pressure()[:30_000]
    there = np.ones(wave.size, bool)
    there[20_000:22_000] = False
    with wave_case(tmp_path / "c", wave, there) as case:
        masks.mask(case, "reviewer", "unhide", "femoral", 190.0, 230.0)
        state = seconds_state(case["femoral"], case.grid)
        assert (state[200:220] == MISSING).all()
        assert (state[221:230] == OBSERVED).all()


def test_a_line_off_scale_cannot_be_believed_and_a_frozen_one_can(tmp_path: Path) -> None:
    wave = small_case.pressure()[:60_000].copy()
    wave[20_000:23_000] = 800  # one value for 30 s
    wave[45_000:49_000] = -32768  # the lowest that sixteen bits hold, for 40 s
    with wave_case(tmp_path / "c", wave) as case:
        before = seconds_state(case["femoral"], case.grid)
        assert (before[201:229] == MISSING).all()
        assert (before[451:489] == MISSING).all()
        masks.mask(case, "reviewer", "unhide", "femoral", 195.0, 495.0)
        after = seconds_state(case["femoral"], case.grid)
        assert (after[200:230] == OBSERVED).all()
        assert (after[451:489] == MISSING).all()


# -- several, undo, authors ------------------------------------------------------------------------


def test_a_later_mask_counts_where_they_overlap(case: Case) -> None:
    masks.mask(case, "reviewer", "hide", "femoral", 400.0, 500.0)
    masks.mask(case, "reviewer", "unhide", "femoral", 440.0, 460.0)
    masks.mask(case, "reviewer", "hide", "femoral", 450.0, 455.0)
    assert beyond(masked(case)) == [*range(400, 440), *range(450, 455), *range(460, 500)]
    assert case["femoral"].hidden == ((400.0, 440.0), (450.0, 455.0), (460.0, 500.0))
    assert case["femoral"].believed == ((440.0, 450.0), (455.0, 460.0))


def test_undo_restores_exactly_and_no_file_of_samples_changes(case: Case) -> None:
    def files() -> list[str]:
        return [
            hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(case.folder.glob("traces/*"))
        ]

    key, state, traces = channel_key(case["femoral"]), seconds_state(case["femoral"], case.grid), files()
    masks.mask(case, "reviewer", "hide", "femoral", 400.0, 500.0)
    masks.mask(case, "reviewer", "unhide", "femoral", 119.0, 140.0)
    assert channel_key(case["femoral"]) != key
    for _ in range(2):
        case.log.undo("reviewer")
    case.refresh()
    assert channel_key(case["femoral"]) == key
    assert np.array_equal(seconds_state(case["femoral"], case.grid), state)
    assert files() == traces
    case.log.redo("reviewer")
    case.refresh()
    assert len(beyond(masked(case))) == 100


def test_a_mask_is_taken_back_by_its_author_alone_and_stays_in_the_log(case: Case) -> None:
    made = masks.mask(case, "mara", "hide", "femoral", 400.0, 410.0, "a cough")
    with pytest.raises(EditRefused, match="mara's"):
        masks.take_back(case, "jon", made.id)
    masks.take_back(case, "mara", made.id)
    assert beyond(masked(case)) == []
    assert [edit.id for edit in case.log if edit.id == made.id] == [made.id]
    with pytest.raises(EditRefused, match="no mask"):
        masks.take_back(case, "mara", made.id)


def test_another_reason_leaves_the_seconds_as_they_are(case: Case) -> None:
    made = masks.mask(case, "mara", "hide", "femoral", 400.0, 410.0)
    masks.say_why(case, "mara", made.id, "a cough")
    [mask] = case["femoral"].masks
    assert (mask.reason, mask.author, mask.start, mask.end) == ("a cough", "mara", 400.0, 410.0)
    assert beyond(masked(case)) == list(range(400, 410))


def test_two_authors_write_two_files_and_the_later_mask_counts(
    case: Case, made: Path, tmp_path: Path
) -> None:
    masks.mask(case, "mara", "hide", "femoral", 400.0, 420.0)
    other = tmp_path / "other"
    shutil.copytree(made, other)
    with open_case(other) as copy:
        shutil.copy(case.folder / "log" / "mara.jsonl", other / "log" / "mara.jsonl")
        copy.log.reload()
        copy.refresh()
        masks.mask(copy, "jon", "unhide", "femoral", 410.0, 430.0)
    shutil.copy(other / "log" / "jon.jsonl", case.folder / "log" / "jon.jsonl")
    case.log.reload()
    case.refresh()
    assert beyond(masked(case)) == list(range(400, 410))
    assert [mask.author for mask in case["femoral"].masks] == ["mara", "jon"]


def test_two_edits_that_replace_one_mask_are_in_dispute_and_the_later_stands(case: Case) -> None:
    first = masks.mask(case, "mara", "hide", "femoral", 400.0, 420.0)
    payload = {**first.payload, "start_s": 405.0}
    payload.pop("anchor")
    case.edit("mara", "hide", payload, supersedes=first.id)
    case.edit("jon", "hide", payload | {"start_s": 410.0}, supersedes=first.id)
    assert [(a.author, b.author) for a, b in case.log.conflicts] == [("mara", "jon")]
    assert beyond(masked(case)) == list(range(410, 420))


# -- time ------------------------------------------------------------------------------------------


def test_a_view_up_to_a_time_obeys_what_lies_before_it(case: Case) -> None:
    masks.mask(case, "reviewer", "hide", "femoral", 400.0, 500.0)
    view = case.until(450.0)
    state = seconds_state(view["femoral"], view.grid)
    assert len(state) == 450
    assert (state[400:450] == MASKED).all()
    assert view["femoral"].hidden == ((400.0, 450.0),)


def test_a_mask_after_the_horizon_changes_nothing_in_a_view(case: Case) -> None:
    before = channel_key(case.until(450.0)["femoral"])
    masks.mask(case, "reviewer", "hide", "femoral", 600.0, 700.0)
    assert channel_key(case.until(450.0)["femoral"]) == before
    assert case.until(450.0)["femoral"].masks == ()


def test_a_mask_moves_with_its_trace_when_the_clock_is_set(case: Case) -> None:
    masks.mask(case, "reviewer", "hide", "pump_flow", 310.0, 330.0)
    under = case["pump_flow"].read(310.0, 330.0).values
    case.edit("reviewer", "clock", {"source": "pump", "pieces": [{"offset_s": 50.0, "sd_s": 0.5}]})
    # The clock was 40 s ahead and is 50 s ahead now: the same stamp stands 10 s earlier.
    [mask] = case["pump_flow"].masks
    assert (mask.start, mask.end) == (pytest.approx(300.0), pytest.approx(320.0))
    assert np.array_equal(case["pump_flow"].read(mask.start, mask.end).values, under)


# -- what is refused -------------------------------------------------------------------------------


@pytest.mark.parametrize(("start", "end"), [(410.0, 410.0), (420.0, 410.0), (float("nan"), 410.0)])
def test_a_stretch_without_length_is_refused(case: Case, start: float, end: float) -> None:
    with pytest.raises(EditRefused, match="no length"):
        masks.mask(case, "reviewer", "hide", "femoral", start, end)
    assert case.log.standing("hide") == []


def test_a_stretch_that_holds_nothing_of_the_channel_is_refused(case: Case) -> None:
    with pytest.raises(EditRefused, match="holds nothing"):
        masks.mask(case, "reviewer", "hide", "femoral", 2000.0, 2010.0)
    with pytest.raises(NoSuchChannel):
        masks.mask(case, "reviewer", "hide", "brachial", 100.0, 110.0)


@pytest.mark.parametrize(
    "payload",
    [
        {"start_s": 1.0, "end_s": 2.0},
        {"channel": "monitor/fem", "start_s": 1.0},
        {"channel": "monitor/fem", "start_s": 2.0, "end_s": 1.0},
        {"channel": "monitor/fem", "start_s": 1.0, "end_s": 1.0},
        {"channel": "monitor/fem", "start_s": 1.0, "end_s": 2.0, "reason": 7},
        {"channel": "monitor/fem", "start_s": 1.0, "end_s": 2.0, "anchor": {"source": "monitor"}},
    ],
)
@pytest.mark.parametrize("verb", ["hide", "unhide"])
def test_a_line_of_another_shape_is_no_mask(case: Case, verb: str, payload: dict[str, object]) -> None:
    with pytest.raises(EditRefused, match="cannot be kept"):
        case.log.append("reviewer", verb, payload)


def test_a_mask_of_an_unknown_channel_is_told_and_passed_over(case: Case) -> None:
    case.edit("reviewer", "hide", {"channel": "monitor/other", "start_s": 1.0, "end_s": 2.0})
    assert any("monitor/other" in one for one in case.refused)
    assert before_bypass(masked(case)) == OPEN

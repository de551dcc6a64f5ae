"""Clocks set by hand after the bring-in: what is typed, what it makes of a clock, how it is kept."""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.align import ClockEstimate
from afterclamp.io.case import Case
from afterclamp.io.clock import ClockMap, ClockPiece
from afterclamp.io.errors import CaseError, EditRefused
from afterclamp.io.recording import Note, Segment
from afterclamp.replay.clock_command import edit_from_text, edits_from_answers, from_command
from afterclamp.replay.clock_setting import by_hand, compared, ends_of, every_run, keep, step_sizes
from afterclamp.replay.clock_typing import length_text, read_clock, read_length, stamp_text
from afterclamp.replay.clock_words import clock_words
from afterclamp.replay.commands import main
from afterclamp.replay.wording import half_width, plus_minus
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from recordings import START, case_of, even, recording


@pytest.fixture
def case(tmp_path: Path) -> Iterator[Case]:
    """An hour: a monitor from 08:00:00; a pump that says 08:01:34 then, set back 30 s after half an hour; captions."""
    hour = np.zeros(3600, np.int16)
    monitor = recording("monitor", [even("FEM", hour, [Segment(0.0, 0, 3600, 1.0)])])
    pump = recording(
        "pump",
        [
            even(
                "flow",
                hour,
                [Segment(0.0, 0, 1800, 1.0), Segment(1770.0, 1800, 1800, 1.0, run=1)],
                unit="L/min",
            )
        ],
        first_stamp=START + timedelta(seconds=94),
    )
    captions = recording(
        "captions", [], first_stamp=None, notes=[Note(3.0, 5.0, "Going on."), Note(60.0, 61.0, "x")]
    )
    made = case_of(tmp_path / "case", monitor, pump, captions)
    made.edit("tester", "reference", {"source": "monitor"})
    with made:
        yield made


def source(case: Case, name: str) -> object:
    return next(one for one in case.sources if one.name == name)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("94", 94.0),
        ("94.5 s", 94.5),
        ("94,5", 94.5),
        ("1:34", 94.0),
        ("1:00:37", 3637.0),
        ("-1:34.5", -94.5),
        ("−30", -30.0),
        ("1 h 37 s", 3637.0),
        ("2 min", 120.0),
    ],
)
def test_a_length_is_read_as_people_write_it(text: str, seconds: float) -> None:
    assert read_length(text) == seconds


@pytest.mark.parametrize("text", ["", "-", "abc", "1:2:3:4", "1:75", "1:75:00", "1;34", ".", "nan"])
def test_what_is_no_length_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(EditRefused, match="1:34"):
        read_length(text)


@given(st.integers(-500_000, 500_000))
def test_a_length_that_is_written_reads_back(tenths: int) -> None:
    assert read_length(length_text(tenths / 10)) == pytest.approx(tenths / 10, abs=1e-9)


@pytest.mark.parametrize("text", ["24:00:00", "8", "08:60:00", "08:00:60", "8:0:0"])
def test_what_is_no_time_of_day_is_refused(text: str) -> None:
    with pytest.raises(EditRefused, match="time of day"):
        read_clock(text, of_day=True)


def test_a_time_of_day_counts_from_midnight() -> None:
    assert read_clock("09:41:05", of_day=True) == 9 * 3600 + 41 * 60 + 5
    assert read_clock("9:41", of_day=True) == 9 * 3600 + 41 * 60
    assert read_clock("20:12", of_day=False) == 20 * 60 + 12, "without a clock it is minutes and seconds"


def test_a_clock_that_was_set_back_is_given_its_step_as_if_no_row_were_lost(case: Case) -> None:
    # 1800 rows of a second, the next one stamped 1770: set back 30 s.
    assert step_sizes(every_run(case, source(case, "pump"))) == (-30.0,)  # type: ignore[arg-type]


def test_an_offset_by_hand_puts_both_ends_where_they_belong(case: Case) -> None:
    pump = source(case, "pump")
    clock = by_hand(every_run(case, pump), 94.0, 2.0)  # type: ignore[arg-type]
    ends = ends_of(case, pump)  # type: ignore[arg-type]
    assert ends is not None
    assert ends.on(clock) == (0.0, 3600.0)
    assert half_width(clock.pieces[0].sd_s) == pytest.approx(2.0), "what a person says is 95 %"


def test_the_drift_turns_around_the_start_of_the_case(case: Case) -> None:
    # 1000 ppm over an hour: 3600 s of the reference are 3603.6 of the source.
    clock = by_hand(ClockMap(0.0), 0.0, 1.0, drift_ppm=1000.0)
    assert float(clock.to_reference(3603.6)) == pytest.approx(3600.0)


@pytest.mark.parametrize(("within", "drift"), [(0.0, None), (-1.0, None), (math.inf, None), (1.0, 50_000.0)])
def test_no_doubt_and_no_such_drift_is_refused(within: float, drift: float | None) -> None:
    with pytest.raises(EditRefused):
        by_hand(ClockMap(0.0), 1.0, within, drift_ppm=drift)


def test_two_readings_of_one_moment_give_the_offset(case: Case) -> None:
    pump = source(case, "pump")
    clock = every_run(case, pump)  # type: ignore[arg-type]
    # At 08:10:00 the pump says 08:11:34: 94 s ahead.
    early = compared(
        case, pump, clock, read_clock("08:11:34", of_day=True), read_clock("08:10:00", of_day=True)
    )  # type: ignore[arg-type]
    assert early == pytest.approx(94.0)
    # At 08:50:00 it says 08:51:04: 64 s ahead by then, so 94 before it was set back 30 s.
    late = compared(
        case, pump, clock, read_clock("08:51:04", of_day=True), read_clock("08:50:00", of_day=True)
    )  # type: ignore[arg-type]
    assert late == pytest.approx(94.0)


def test_readings_across_midnight_are_of_the_same_night(tmp_path: Path) -> None:
    night = START.replace(hour=23, minute=50)
    rows = np.zeros(1800, np.int16)
    monitor = recording("monitor", [even("FEM", rows, [Segment(0.0, 0, 1800, 1.0)])], first_stamp=night)
    pump = recording(
        "pump", [even("flow", rows, [Segment(0.0, 0, 1800, 1.0)])], first_stamp=night + timedelta(seconds=60)
    )
    with case_of(tmp_path / "case", monitor, pump) as case:
        case.edit("tester", "reference", {"source": "monitor"})
        own = next(one for one in case.sources if one.name == "pump")
        offset = compared(
            case, own, own.clock, read_clock("00:00:30", of_day=True), read_clock("23:59:30", of_day=True)
        )
    assert offset == pytest.approx(60.0)


def test_a_source_without_a_clock_is_compared_by_its_own_seconds(case: Case) -> None:
    captions = source(case, "captions")
    # Second 3 of the recording is 08:10:03 of the reference: it began ten minutes after the reference did.
    offset = compared(case, captions, captions.clock, 3.0, read_clock("08:10:03", of_day=True))  # type: ignore[arg-type, attr-defined]
    assert offset == pytest.approx(-600.0)
    assert stamp_text(captions, 75.0) == "1:15"  # type: ignore[arg-type]


@given(st.floats(-40_000, 40_000), st.floats(-500, 500), st.integers(0, 3599))
def test_readings_taken_from_a_clock_give_that_clock_back(offset: float, drift: float, t: int) -> None:
    clock = ClockMap(0.0, (ClockPiece(0.0, drift),))
    stamp = t * (1 + drift * 1e-6) + offset

    class Alone:
        start_clock = None
        channels = ()
        span = type("Whole", (), {"start": 0.0, "end": 3600.0})

    own = type("Own", (), {"first_stamp": None, "name": "own"})
    assert compared(Alone(), own, clock, stamp, float(t)) == pytest.approx(offset, abs=1e-6)  # type: ignore[arg-type]


def test_words_say_ahead_or_behind_with_the_doubt_beside_the_offset() -> None:
    clock = ClockMap(0.0, (ClockPiece(94.0, 60.0), ClockPiece(64.0, 60.0, run=1)), "by hand")
    assert clock_words(clock, "± 2.0 s") == "94.0 s ahead ± 2.0 s, 60 ppm fast, then set back 30.0 s"
    assert clock_words(ClockMap(0.0, (ClockPiece(-3637.0),))) == "1 h + 37 s behind"


def test_the_doubt_of_a_clock_that_nobody_set_is_unknown() -> None:
    assert plus_minus(half_width(math.inf)) == "± unknown"


# -- keeping it --------------------------------------------------------------------------------------


def test_a_clock_that_is_kept_holds_at_once_and_undo_brings_the_old_one_back(case: Case) -> None:
    before = source(case, "pump").clock  # type: ignore[attr-defined]
    keep(case, "perfusionist", [edit_from_text(case, "pump=1:34,60", 2.0)])
    now = source(case, "pump").clock  # type: ignore[attr-defined]
    assert (now.offset_s, now.pieces[0].drift_ppm, now.method) == (94.0, 60.0, "by hand")
    keep(case, "perfusionist", [edit_from_text(case, "pump=-1:34", 2.0)])
    assert source(case, "pump").clock.offset_s == -94.0  # type: ignore[attr-defined]
    assert not case.log.conflicts, "the second replaces the first"
    case.log.undo("perfusionist")
    case.log.undo("perfusionist")
    case.refresh()
    assert source(case, "pump").clock == before  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("pump", "names no source"),
        ("=94", "names no source"),
        ("oximeter=94", "captions, pump"),
        ("monitor=94", "reference"),
        ("pump=soon", "no length"),
        ("pump=94,fast", "no number"),
    ],
)
def test_a_clock_that_cannot_be_set_is_refused_in_words(case: Case, text: str, said: str) -> None:
    with pytest.raises(EditRefused) as refused:
        edit_from_text(case, text, 2.0)
    assert said in refused.value.sentence


def test_nothing_is_written_when_one_of_several_cannot_be(case: Case) -> None:
    many = len(case.log.edits)
    good = edit_from_text(case, "pump=94", 2.0)
    with pytest.raises(EditRefused):
        keep(case, "perfusionist", [good, {**good, "source": "nobody"}])
    assert len(case.log.edits) == many


def test_an_answers_file_sets_clocks_later_too(case: Case, tmp_path: Path) -> None:
    answers = tmp_path / "answers.toml"
    answers.write_text(
        "[clocks.pump]\npieces = [{ offset_s = 94.0, sd_s = 0.5 }, { run = 1, offset_s = 64.0 }]\n"
    )
    keep(case, "perfusionist", edits_from_answers(case, answers))
    pump = source(case, "pump")
    assert ends_of(case, pump).on(pump.clock) == (0.0, 3600.0)  # type: ignore[arg-type, attr-defined, union-attr]


def test_an_answers_file_without_clocks_is_said(case: Case, tmp_path: Path) -> None:
    answers = tmp_path / "answers.toml"
    answers.write_text('[units]\n"pump/flow" = "L/min"\n')
    with pytest.raises(CaseError, match="sets no clock"):
        edits_from_answers(case, answers)


# -- from the command line ---------------------------------------------------------------------------


def test_the_command_line_sets_several_clocks_and_says_so(case: Case) -> None:
    said = from_command(case, "perfusionist", by_offset=["pump=94.0,60", "captions=-600"], within_s=0.5)
    assert said == [
        "pump: set by hand, 94.0 s ahead ± 0.5 s, 60 ppm fast, then set back 30.0 s",
        "captions: set by hand, 10 min 0 s behind ± 0.5 s",
    ]
    assert {edit.author for edit in case.log.standing("clock")} == {"perfusionist"}


def test_what_is_proposed_is_kept_only_when_it_is_accepted(
    case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    hour = ClockEstimate(
        "pump",
        "same pressure",
        (ClockPiece(-3637.0, 0.0, 0.3),),
        94.0,
        offset_sd_s=0.25,
        whole_hours=-1,
        words=("Why.",),
    )
    lost = ClockEstimate("captions", cannot_tell="captions shares nothing.")
    monkeypatch.setattr("afterclamp.annotate.align.estimate", lambda *_, **__: [hour, lost])
    said = from_command(case, "perfusionist", propose=True)
    assert said[:2] == ["pump: proposed by evidence, 1 h + 37 s behind ± 0.5 s", "    Why."]
    assert said[2].startswith("    To be asked: The clock of pump is 1 h + 37 s behind. Is it one hour off")
    assert said[3] == "captions: cannot be told. captions shares nothing."
    assert not case.log.standing("clock")
    from_command(case, "perfusionist", accept_proposals=True)
    assert source(case, "pump").clock.method == "by evidence"  # type: ignore[attr-defined]


def test_a_clock_is_set_from_a_shell_and_the_table_shows_it(case: Case) -> None:
    ran = CliRunner().invoke(
        main, ["clocks", str(case.folder), "--set", "pump=1:34", "--within", "1", "--json"]
    )
    assert ran.exit_code == 0, ran.output
    pump = next(row for row in json.loads(ran.stdout) if row["source"] == "pump")
    assert (pump["offset_s"], pump["method"]) == (94.0, "by hand")
    assert half_width(pump["sd_s"]) == pytest.approx(1.0)
    assert "pump: set by hand, 94.0 s ahead ± 1.0 s" in ran.stderr


def test_a_shell_is_told_in_a_sentence_what_cannot_be_set(case: Case) -> None:
    ran = CliRunner().invoke(main, ["clocks", str(case.folder), "--set", "oximeter=94"])
    assert ran.exit_code == 2
    assert "Name one of: captions, pump" in ran.stderr


def test_three_spoken_anchors_set_the_captions_from_the_command_line(
    demo_folder: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "case"
    shutil.copytree(demo_folder, folder)
    # The true times of three things that the narration says (the demo's log table: 60, 131 and 208 min).
    anchors = [("going on", 3600.0), ("circulation off", 7860.0), ("clamp off", 12480.0)]
    typed = [word for said, at in anchors for word in ("--anchor", "captions", said, str(at))]
    ran = CliRunner().invoke(main, ["clocks", str(folder), *typed, "--accept-proposals", "--json"])
    assert ran.exit_code == 0, ran.output
    rows = {row["source"]: row for row in json.loads(ran.stdout)}
    # The narration's zero is planted 20 min 12 s after the reference's.
    assert rows["captions"]["offset_s"] == pytest.approx(-1212.0, abs=2.0)
    assert rows["captions"]["method"] == "by evidence"
    refused = CliRunner().invoke(main, ["clocks", str(folder), "--anchor", "captions", "going on", "tea"])
    assert refused.exit_code == 2
    wrong = CliRunner().invoke(
        main, ["clocks", str(folder), "--propose", "--anchor", "captions", "going on", "tea"]
    )
    assert wrong.exit_code == 1
    assert "word list" in wrong.output

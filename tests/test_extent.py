"""How long a case may be: wrong stamps are said in a sentence and never make the grid years long."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io import bring_in
from afterclamp.io.errors import CaseError
from afterclamp.io.extent import LONGEST_S, refuse_endless, within_reach
from afterclamp.io.recording import Note, RecordedChannel, Recording, Segment, one_block
from afterclamp.io.window import Span
from hypothesis import given
from hypothesis import strategies as st
from recordings import START, case_of, even, recording

DAY = 86400.0


def rows(*times: float) -> Recording:
    values = np.zeros(len(times), "f4")
    kept = RecordedChannel(
        "hb", "Hb", "g/dL", np.dtype("f4"), len(times), one_block(values), times=np.array(times, float)
    )
    return recording("lab", [kept])


def minute(name: str, *, late: timedelta = timedelta(0), notes: tuple[Note, ...] = ()) -> Recording:
    wave = even("FEM", np.zeros(6000, "i2"), [Segment(0.0, 0, 6000, 100.0)])
    return recording(name, [wave], first_stamp=START + late, notes=notes)


def test_a_source_that_reaches_over_more_than_two_weeks_is_refused_with_its_stamps() -> None:
    refuse_endless([rows(0.0, 14 * DAY)])
    with pytest.raises(CaseError) as refused:
        refuse_endless([rows(0.0, 60.0, 400 * DAY + 3600.0)])
    # The first stamp is 08:00:00; an hour and 400 days later it is 09:00:00 of the 401st day.
    assert (
        "the source lab reach from day 1, 08:00:00 to day 401, 09:00:00, over 400 days"
        in refused.value.sentence
    )
    assert "at most 14 days" in refused.value.sentence


@pytest.mark.parametrize("rate", [1e-300, 1e-9])
def test_a_rate_that_nobody_records_at_is_refused_too(rate: float) -> None:
    slow = even("FEM", np.zeros(10, "i2"), [Segment(0.0, 0, 10, rate)])
    with pytest.raises(CaseError, match="at most 14 days"):
        refuse_endless([recording("monitor", [slow])])


def test_a_bring_in_of_such_a_file_leaves_nothing(tmp_path: Path) -> None:
    table = tmp_path / "pump.csv"
    table.write_text(
        "Time,Flow [L/min]\n"
        + "".join(f"1970-01-01 00:00:{s:02d},4.0\n" for s in range(5))
        + "".join(f"2026-01-01 00:00:{s:02d},4.0\n" for s in range(5))
    )
    with pytest.raises(CaseError, match="days"):  # by the reader already, or by what a case holds
        bring_in([table], tmp_path / "case", accept_proposals=True)
    assert not (tmp_path / "case").exists()


def test_a_line_of_text_far_away_is_kept_and_does_not_stretch_the_case(tmp_path: Path) -> None:
    notes = (Note(10.0, 10.0, "near"), Note(1e13, 1e13 + 5, "far"))
    with case_of(tmp_path / "c", minute("monitor", notes=notes)) as case:
        assert [note.text for note in case.notes] == ["near", "far"]
        assert case.span == Span(0.0, 60.0)
        assert len(case.grid) == 60
        assert case.clock_text(case.notes[1].t)  # no calendar reaches there


def test_lines_of_text_alone_make_no_endless_case_either(tmp_path: Path) -> None:
    notes = (Note(-1e13, -1e13, "far"), Note(10.0, 20.0, "near"), Note(1e300, 1e300, "farther"))
    with case_of(tmp_path / "c", recording("log", [], notes=notes)) as case:
        assert case.span == Span(10.0, 20.0)
        assert len(case.notes) == 3


def test_a_source_whose_clock_stood_years_off_is_in_the_case_and_said_until_it_is_set(tmp_path: Path) -> None:
    off = timedelta(days=-9497)
    with case_of(tmp_path / "c", minute("monitor"), minute("pump", late=off)) as case:
        case.edit("mara", "reference", {"source": "monitor"})
        assert case.span == Span(0.0, 60.0)
        (told,) = case.far_away
        assert told.startswith("pump: ")
        assert "9,497 days before the start of monitor" in told
        assert np.isnan(case["pump/fem"].seconds()).all()
        assert len(case["pump/fem"].read(-np.inf, np.inf).t) == 6000
        case.edit("mara", "clock", {"source": "pump", "pieces": [{"offset_s": off.total_seconds()}]})
        assert case.far_away == ()
        assert case["pump/fem"].span.end == pytest.approx(60.0)


spans = st.tuples(st.floats(-1e9, 1e9), st.floats(0, 1e7)).map(lambda pair: Span(pair[0], sum(pair)))


@given(st.lists(st.tuples(st.sampled_from(["a", "b", "c"]), spans), min_size=1, max_size=6))
def test_what_a_case_covers_is_never_longer_and_leaves_out_nothing_silently(
    found: list[tuple[str, Span]],
) -> None:
    within, far = within_reach(found, "a")
    told = {line.partition(":")[0] for line in far}
    assert within is None or within.duration <= LONGEST_S + 1e-3
    for source, span in found:
        inside = within is not None and within.start <= span.start and span.end <= within.end
        assert inside or source in told


def test_a_source_of_one_row_is_as_long_as_it_is() -> None:
    refuse_endless([rows(5.0), replace(rows(0.0), channels=())])

"""Times that people wrote or said. The sentences are made up here, in the trade's words; expected kinds by reading."""

from __future__ import annotations

import math

import pytest
from afterclamp.annotate.said import (
    Said,
    clotting_time,
    copied_lengths,
    grouped,
    kinds_of,
    said_times,
)
from afterclamp.io.sources import TimedNote
from afterclamp.sample_traces import tables


def note(t: float, text: str, source: str = "log", sd: float = 0.0, written: float = 0.0) -> TimedNote:
    return TimedNote(t=t, t_end=t, text=text, sd_s=sd, source=source, author="", written_sd_s=written)


@pytest.mark.parametrize(
    ("text", "kinds"),
    [
        ("Clamp on.", ("clamp_on",)),
        ("X-clamp: clamp off", ("clamp_off",)),
        ("re-clamped", ("clamp_on",)),
        ("Circ. off, 1", ("circulation_off",)),
        ("circ on", ("circulation_on",)),
        ("going on", ("bypass_on",)),
        ("we are off", ("bypass_off",)),
        ("go on please", ("bypass_asked",)),
        ("head perfusion on", ("head_on",)),
        ("head perfusion off", ("head_off",)),
        ("heparin 28000", ("heparin",)),
        ("protamine started", ("protamine",)),
        ("One shock, pacing is capturing.", ("shock",)),
        ("defibrillated x2", ("shock",)),
        ("rewarming", ("warming",)),
        ("cooling", ("cooling",)),
        ("plegia given", ("cardioplegia",)),
        ("zeroed", ("zero",)),
        ("blood gas sample", ("sample",)),
        ("cuff 126/74 (91)", ("cuff",)),
        ("Clamp off, no bleeding", ("clamp_off",)),
        ("Clamp on. Cooling?", ("clamp_on",)),
    ],
)
def test_what_has_happened_is_told_by_its_words(text: str, kinds: tuple[str, ...]) -> None:
    assert kinds_of(text) == kinds


@pytest.mark.parametrize(
    "text",
    [
        "no clamp",
        "no clamp on",
        "clamp?",
        "clamp on?",
        "not on bypass yet",
        "clamp off in two minutes",
        "ready for clamp on",
        "before clamp off",
        "is the circulation off?",
        "stop the protamine",
        "protamine reaction",
        "cooling stopped",
        "cardiogenic shock",
        "flow at zero",
        "heparin rinse",
        "what is going on",
        "nearly full flow",
        "shall we go, clamp on next",
        "tube clamp off",
        "line pressure high, sorted",
    ],
)
def test_what_is_denied_asked_wished_or_announced_is_left_out(text: str) -> None:
    assert kinds_of(text) == ()


def test_a_clotting_time_has_its_number() -> None:
    assert clotting_time("ACT 486") == 486
    assert clotting_time("act was 512 s") == 512
    assert clotting_time("ACT 12") is None
    assert clotting_time("contact 486") is None
    assert clotting_time("ACT 486?") is None


def test_a_line_keeps_its_doubt_its_source_and_its_number() -> None:
    (one,) = said_times([note(100.0, "ACT 486", sd=20.0, written=17.3)])
    assert (one.kind, one.t, one.value, one.source, one.written_sd_s) == ("act", 100.0, 486.0, "log", 17.3)
    assert one.unc_s == pytest.approx(1.96 * 20.0)


def test_several_sources_of_one_event_are_one_the_surest_first() -> None:
    events = grouped(
        said_times([note(120.0, "clamp on", sd=20.0), note(123.0, "Clamp on.", "captions", sd=1.0)])
    )
    assert [[one.source for one in event.times] for event in events] == [["captions", "log"]]
    assert events[0].differing() == ()


def test_a_log_that_is_ten_minutes_wrong_still_speaks_of_the_same_clamp() -> None:
    (event,) = grouped(
        said_times([note(11_875.0, "clamp off", sd=20.0), note(12_482.0, "Clamp off.", "captions", sd=1.0)])
    )
    assert [one.source for one in event.differing()] == ["log"]


def test_two_clamps_stay_two_though_they_follow_soon() -> None:
    lines = [note(1000.0, "clamp on"), note(1400.0, "clamp on")]
    spoken = [note(1005.0, "Clamp on.", "captions"), note(1395.0, "Clamp on.", "captions")]
    events = grouped(said_times([*lines, *spoken]))
    assert [sorted(one.t for one in event.times) for event in events] == [[1000.0, 1005.0], [1395.0, 1400.0]]


def test_a_source_that_says_it_twice_says_it_once() -> None:
    events = grouped(said_times([note(100.0, "clamp on"), note(110.0, "clamp is on")]))
    assert len(events) == 1


def test_two_lines_of_one_source_do_not_add_its_clock() -> None:
    # J3.2 row 18: the same source's offset does not add.
    one = Said("clamp_on", 0.0, math.hypot(10, 3), source="log", written_sd_s=3.0)
    assert one.apart_s(one) == pytest.approx(1.96 * math.hypot(3, 3))
    elsewhere = Said("clamp_on", 0.0, 4.0, source="captions", written_sd_s=0.0)
    assert one.apart_s(elsewhere) == pytest.approx(1.96 * math.sqrt(10**2 + 3**2 + 4**2))


def test_a_time_whose_clock_nobody_set_stands_last_and_differs_from_nothing() -> None:
    (event,) = grouped(
        said_times([note(100.0, "clamp on", sd=math.inf), note(500.0, "Clamp on.", "captions", sd=1.0)])
    )
    assert [one.source for one in event.times] == ["captions", "log"]
    assert event.differing() == ()


@pytest.mark.parametrize(
    ("text", "name", "seconds", "whole"),
    [
        ("clamp time 80 min", "clamp", 4800.0, True),
        ("Bypass time: 247:30", "bypass", 247 * 60 + 30.0, False),
        ("circ arrest time 39", "no_flow_arrest", 2340.0, True),
        ("head perfusion time was 13:30", "selective_cerebral", 810.0, False),
    ],
)
def test_a_duration_that_was_copied_by_hand_is_read(
    text: str, name: str, seconds: float, whole: bool
) -> None:
    (one,) = copied_lengths([note(0.0, text)])
    assert (one.name, one.seconds, one.whole_minutes) == (name, seconds, whole)


def test_other_numbers_are_no_copied_durations() -> None:
    assert copied_lengths([note(0.0, "ACT 486"), note(1.0, "clamp time?"), note(2.0, "time 12:30")]) == ()


def test_the_invented_log_is_understood() -> None:
    # Expected by reading the 22 lines of J6.9.
    kinds = {row.text: kinds_of(row.text) for row in tables.log_lines()}
    told = {text: found for text, found in kinds.items() if found}
    assert told == {
        "heparin": ("heparin",),
        "on bypass": ("bypass_on",),
        "cooling": ("cooling",),
        "clamp on": ("clamp_on",),
        "circ off 1": ("circulation_off",),
        "circ on": ("circulation_on",),
        "circ off 2": ("circulation_off",),
        "head perfusion on": ("head_on",),
        "full flow": ("full_flow",),
        "clamp off": ("clamp_off",),
        "shock x1": ("shock",),
        "off bypass": ("bypass_off",),
        "protamine": ("protamine",),
    }

"""What is told of masks: why seconds are not to be believed, in the words of lists, paper and footer.

Nothing of it has a source but the words of the project's own design; who hid what is laid by each test.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import small_case
from afterclamp.annotate.mask_reasons import ALONE, DEVICE, NOT_CONNECTED, told_spans
from afterclamp.annotate.masking import HIDDEN, MaskedSpan, in_force
from afterclamp.io import masks
from afterclamp.io.case import Case
from afterclamp.io.recording import Segment
from masked_case import case, made, wave_case  # noqa: F401
from recordings import case_of, even, recording

# ruff: noqa: F811


# -- reasons ---------------------------------------------------------------------------------------


def test_a_gap_of_one_line_and_a_gap_of_a_device_are_told_apart(tmp_path: Path) -> None:
    length = 300
    alone, together = np.ones(length * 100, bool), np.ones(length, bool)
    alone[5000:8000] = False
    together[100:160] = False
    flow = np.full(length, 400, np.int16) + (np.arange(length) % 7).astype(np.int16)

    def row(label: str) -> object:
        return even(label, flow, [Segment(0.0, 0, length, 1.0, 0.01)], unit="L/min", valid=together)

    wave = even("FEM", small_case.pressure()[:30_000], [Segment(0.0, 0, 30_000, 100.0, 0.1)], valid=alone)
    beside = even("CVP", small_case.pressure()[:30_000], [Segment(0.0, 0, 30_000, 100.0, 0.1)])
    pump = recording("pump", [row("flow"), row("second")])  # type: ignore[list-item]
    with case_of(tmp_path / "c", recording("monitor", [wave, beside]), pump) as case:
        words = {
            channel.id: [one.words for one in told_spans(channel) if one.there == "nothing"]
            for channel in case.channels
        }
    assert words["monitor/fem"] == [ALONE]
    assert words["monitor/cvp"] == []
    assert words["pump/flow"] == words["pump/second"] == [DEVICE.format(source="pump")]


def test_what_lies_off_scale_before_a_line_is_in_is_told(tmp_path: Path) -> None:
    wave = small_case.pressure()[:30_000].copy()
    wave[:5000] = -1000  # a lowest value that could be one
    with wave_case(tmp_path / "c", wave) as case:
        told = [
            (one.start, one.end, one.there)
            for one in told_spans(case["femoral"])
            if one.words == NOT_CONNECTED
        ]
    assert told == [(0.0, 50.0, "off scale")]


def test_spans_in_force_are_the_rules_less_what_is_believed_and_what_is_hidden(case: Case) -> None:
    masks.mask(case, "mara", "hide", "femoral", 400.0, 420.0, "a cough")
    masks.mask(case, "jon", "unhide", "femoral", 410.0, 412.0)
    channel = case["femoral"]
    flush = MaskedSpan(411.0, 415.0, "A2", "fast flush")
    gap = MaskedSpan(410.0, 413.0, "A9", "nothing", "nothing")
    found = in_force([gap, flush], channel.masks, channel.believed)
    assert [(one.code, one.start, one.end) for one in found] == [
        (HIDDEN, 400.0, 410.0),
        ("A9", 410.0, 413.0),
        ("A2", 412.0, 415.0),
        (HIDDEN, 412.0, 420.0),
    ]
    assert found[0].reason == "hidden by mara: a cough"
    assert flush.state(raw=False) == "masked: "
    assert flush.state(raw=True) == "left in: "
    assert MaskedSpan(0.0, 1.0, "A4", "damped").state(raw=False) == "pulse masked: "
    assert gap.state(raw=False) == ""


# -- what is told ----------------------------------------------------------------------------------


def test_the_paper_lists_masks_of_people_with_author_and_reason(case: Case) -> None:
    from afterclamp.replay.mask_words import people_words
    from afterclamp.replay.paper.mask_section import mask_section

    assert mask_section(case) == ()
    assert people_words(case) == ""
    masks.mask(case, "mara", "hide", "femoral", 400.0, 460.0, "a cough")
    masks.mask(case, "jon", "unhide", "femoral", 110.0, 150.0)
    [section] = mask_section(case)
    cells = [row.cells for row in section.tables[0].rows]
    assert [(one[0], one[1], one[4], one[5], one[6]) for one in cells] == [
        ("femoral", "given back", "0:40", "jon", "no reason written"),
        ("femoral", "hidden", "1:00", "mara", "a cough"),
    ]
    assert people_words(case) == "people hid 60 s on 1 channel and gave back 40 s on 1 channel"


def test_the_footer_counts_hidden_seconds(case: Case) -> None:
    from afterclamp.replay.footing import export_footing, states_of

    before = export_footing(case, states_of(case), {}, 0).masked_s
    masks.mask(case, "mara", "hide", "femoral", 400.0, 460.0)
    assert export_footing(case, states_of(case), {}, 0).masked_s == before + 60

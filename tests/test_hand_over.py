"""Handing over: what is read back by another library is what the case holds, and every folder carries its note."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import edfio
import numpy as np
import pytest
import wfdb
from afterclamp.annotate.finds import find
from afterclamp.annotate.marks import add_mark, verdict
from afterclamp.io import open_case
from afterclamp.io.case import Case, Span
from afterclamp.io.errors import Cancelled, CannotWrite
from afterclamp.replay.hand_over import hand_over
from recordings import linked_copy

WINDOW = Span(7800.0, 8100.0)


@pytest.fixture(scope="module")
def looked_at(demo_folder: Path) -> Path:
    """The demo case with its finds in its cache, so that no copy has to look for them."""
    with open_case(demo_folder) as opened:
        find(opened)
    return demo_folder


@pytest.fixture
def case(looked_at: Path, tmp_path: Path) -> Iterator[Case]:
    with open_case(linked_copy(looked_at, tmp_path / "case")) as opened:
        add_mark(opened, "kim", kind="point", code="", text="clamp seen", start_s=7900.0)
        yield opened


def test_edf_read_by_edfio_holds_the_samples_the_marks_and_the_finds(case: Case, tmp_path: Path) -> None:
    hand_over(case, tmp_path / "out", "edf", span=WINDOW)
    edf = edfio.read_edf(tmp_path / "out" / "case.edf")
    texts = [one.text for one in edf.annotations]
    assert any("clamp seen (mark by kim)" in text for text in texts)
    assert any("(proposed by rule)" in text for text in texts)
    assert any("not for use in care" in text for text in texts)
    signal = next(one for one in edf.signals if "FEM" in one.label)
    ours = case["femoral"].read(WINDOW.start, WINDOW.end).values
    step = (signal.physical_max - signal.physical_min) / (signal.digital_max - signal.digital_min)
    assert np.allclose(signal.data[: len(ours)], ours, atol=step / 2 + 1e-9)


def test_annotation_files_are_read_by_wfdb(case: Case, tmp_path: Path) -> None:
    hand_over(case, tmp_path / "out", "annotations")
    read = wfdb.rdann(str(tmp_path / "out" / "case"), "marks")
    assert "clamp seen (mark by kim)" in read.aux_note
    place = read.aux_note.index("clamp seen (mark by kim)")
    assert read.sample[place] / read.fs == pytest.approx(7900.0, abs=0.001)


def test_what_was_set_aside_is_not_handed_over_as_a_find(case: Case, tmp_path: Path) -> None:
    first = next(iter(find(case)))
    verdict(case, "kim", first, "set aside")
    hand_over(case, tmp_path / "out", "annotations")
    read = wfdb.rdann(str(tmp_path / "out" / "case"), "finds")
    at = [round(sample / read.fs, 2) for sample in read.sample]
    assert round(first.start_s, 2) not in at


@pytest.mark.parametrize("form", ["samples", "edf", "annotations"])
def test_every_folder_carries_the_note_and_no_date(case: Case, tmp_path: Path, form: str) -> None:
    hand_over(case, tmp_path / "out", form, span=WINDOW)  # type: ignore[arg-type]
    note = (tmp_path / "out" / "NOTE.txt").read_text("utf-8")
    assert "Not a medical device; not for use in care." in note
    assert len(list((tmp_path / "out").iterdir())) >= 2


def test_a_folder_that_holds_something_is_left_alone(case: Case, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("mine", "utf-8")
    with pytest.raises(CannotWrite, match="is there already"):
        hand_over(case, tmp_path / "out", "edf")
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["mine.txt"]


def test_a_stopped_hand_over_leaves_nothing(case: Case, tmp_path: Path) -> None:
    with pytest.raises(Cancelled):
        hand_over(case, tmp_path / "out", "edf", cancelled=lambda: True)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["case"]


def test_an_empty_window_is_said(case: Case, tmp_path: Path) -> None:
    with pytest.raises(CannotWrite, match="there is nothing from"):
        hand_over(case, tmp_path / "out", "samples", span=Span(50.0, 50.0))

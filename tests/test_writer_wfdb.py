"""WFDB annotation files as written: byte by byte against annot(5), by the wfdb library, and read back.

Format: WFDB Applications Guide, annot(5). Order and uniqueness of annotations: WFDB Programmer's Guide.
"""

from __future__ import annotations

from datetime import time
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io.errors import Cancelled, CannotWrite
from afterclamp.io.readers import Claim, wfdb
from afterclamp.io.readers.wfdb_annotations import read_annotation_file
from afterclamp.io.writers import Remark
from afterclamp.io.writers.wfdb_annotations import write_annotations
from hypothesis import given, settings
from hypothesis import strategies as st


def by_library(path: Path) -> tuple[float, list[int], list[str], list[str]]:
    wfdb_library = pytest.importorskip("wfdb")
    found = wfdb_library.rdann(str(path.with_suffix("")), path.suffix[1:])
    # The library gives each byte of a text as one letter.
    texts = [text.rstrip("\0").encode("latin-1").decode("utf-8") for text in found.aux_note]
    return found.fs, found.sample.tolist(), list(found.symbol), texts


def test_the_bytes_are_those_of_annot_5(tmp_path: Path) -> None:
    path = tmp_path / "case.marks"
    assert write_annotations([Remark(1.0, 1.0, "abc"), Remark(2.0, 2.0, "ab")], path) == 2
    words = path.read_bytes()
    # Type 22 (NOTE) is 22 << 10 = 0x5800, AUX 63 << 10 = 0xFC00 plus its length, a SKIP is 59 << 10 = 0xEC00.
    assert words[:4] == b"\x00\x58" + bytes([24, 0xFC])
    assert words[4:28] == b"## time resolution: 1000"
    assert words[28:30] == (22 << 10 | 1000).to_bytes(2, "little")  # up to 1023 ticks fit
    assert words[30:36] == b"\x03\xfcabc\0"  # an odd text is followed by a null that is not counted
    assert words[36:42] == (22 << 10 | 1000).to_bytes(2, "little") + b"\x02\xfcab"
    assert words[42:] == b"\0\0"
    write_annotations([Remark(70.0, 70.0, "ab")], tmp_path / "case.far")
    far = (tmp_path / "case.far").read_bytes()[28:]
    # 70,000 ticks: the high 16 bits first, each pair with its low byte first.
    assert (
        far[:8]
        == b"\x00\xec" + (1).to_bytes(2, "little") + (70_000 - 65_536).to_bytes(2, "little") + b"\0\x58"
    )


def test_the_library_and_our_reader_give_the_same_times_and_texts(tmp_path: Path) -> None:
    path = tmp_path / "case.marks"
    remarks = [
        Remark(3600.25, 3634.5, "E07 flow stop"),
        Remark(12.0, 12.0, "Klemme zu – 36,5 °C"),
        Remark(12.0, 12.0, "said\nat the same tick"),
        Remark(0.0, 0.0, "15 minutes late"),
    ]
    assert write_annotations(remarks, path, note="Not for use in care.") == 6
    ticks = [1, 1, 12_000, 12_000, 3_600_250, 3_634_500]
    texts = [
        "Not for use in care.",
        "15 minutes late",  # at tick 0 it would be taken for the definition of a type
        "Klemme zu – 36,5 °C",
        "said at the same tick",
        "E07 flow stop",
        "end: E07 flow stop",
    ]
    assert by_library(path) == (1000, ticks, ['"'] * 6, texts)
    ours = read_annotation_file(path)
    assert ours.ticks_per_s == 1000
    assert ours.ended
    assert [one.tick for one in ours.annotations] == ticks
    assert [one.text for one in ours.annotations] == texts
    assert wfdb.claims(path, path.read_bytes()[:4096]) is Claim.MINE
    (recording,) = wfdb.read(path, {})
    assert [note.start_s for note in recording.notes] == [tick / 1000 for tick in ticks]
    assert {note.author for note in recording.notes} == {"marks"}


texts = st.text(
    st.characters(min_codepoint=33, max_codepoint=0x2FFF, exclude_categories=("Cs", "Cc", "Zs", "Zl", "Zp")),
    min_size=1,
)


@settings(max_examples=40, deadline=None)
@given(
    moments=st.lists(
        st.tuples(
            st.integers(1, 9_000_000), st.sampled_from([0, 0, 1, 5000]), texts.map(lambda text: text[:40])
        ),
        min_size=1,
        max_size=20,
    ),
    ticks=st.sampled_from([1, 125, 250, 1000]),
)
def test_random_remarks_come_back_equal(
    tmp_path_factory: pytest.TempPathFactory, moments: list[tuple[int, int, str]], ticks: int
) -> None:
    path = tmp_path_factory.mktemp("wfdb") / "case.marks"
    remarks = [Remark(start / ticks, (start + length) / ticks, text) for start, length, text in moments]
    write_annotations(remarks, path, ticks_per_s=ticks)
    expected = sorted(
        [(start, text.strip()) for start, _, text in moments]
        + [(start + length, f"end: {text}".strip()) for start, length, text in moments if length]
    )
    resolution, library_ticks, _, library_texts = by_library(path)
    assert resolution == ticks
    assert sorted(zip(library_ticks, library_texts, strict=True)) == expected
    ours = read_annotation_file(path)
    assert ours.ticks_per_s == ticks
    assert sorted((one.tick, one.text) for one in ours.annotations) == expected
    assert library_ticks == sorted(library_ticks)


def test_no_two_annotations_are_alike_in_time_and_number(tmp_path: Path) -> None:
    wfdb_library = pytest.importorskip("wfdb")
    same = [Remark(5.0, 5.0, f"remark {k}") for k in range(100)]
    write_annotations([*same, Remark(6.0, 6.0, "next")], tmp_path / "case.marks")
    found = wfdb_library.rdann(str(tmp_path / "case"), "marks")
    keys = list(zip(found.sample.tolist(), found.num.tolist(), strict=True))
    assert len(set(keys)) == len(keys) == 101
    assert keys == sorted(keys)


def test_a_long_text_goes_on_at_the_same_tick(tmp_path: Path) -> None:
    text = " ".join(f"wort{k}ä" for k in range(100))
    write_annotations([Remark(1.0, 1.0, text), Remark(2.0, 2.0, "ü" * 400)], tmp_path / "case.marks")
    _, ticks, _, found = by_library(tmp_path / "case.marks")
    assert " ".join(part for tick, part in zip(ticks, found, strict=True) if tick == 1000) == text
    assert "".join(part for tick, part in zip(ticks, found, strict=True) if tick == 2000) == "ü" * 400
    assert all(len(part.encode()) <= 255 for part in found)


def test_times_count_from_the_record_s_first_sample_at_its_rate(tmp_path: Path) -> None:
    write_annotations([Remark(130.0, 130.0, "zero")], tmp_path / "case.marks", start_s=100.0, ticks_per_s=125)
    resolution, ticks, _, _ = by_library(tmp_path / "case.marks")
    assert (resolution, ticks) == (125, [30 * 125])


def test_a_record_header_beside_it_gives_the_start(tmp_path: Path) -> None:
    wfdb_library = pytest.importorskip("wfdb")
    wfdb_library.wrsamp(
        "case",
        fs=500,
        units=["mmHg"],
        sig_name=["ABP"],
        d_signal=np.zeros((1000, 1), int),
        fmt=["16"],
        adc_gain=[100.0],
        baseline=[0],
        base_time=time(8, 15, 30),
        write_dir=str(tmp_path),
    )
    write_annotations([Remark(1.5, 1.5, "zero")], tmp_path / "case.marks")
    (recording,) = wfdb.read(tmp_path / "case.marks", {})
    assert f"{recording.first_stamp:%H:%M:%S}" == "08:15:30"
    assert [note.start_s for note in recording.notes] == [1.5]


def test_what_does_not_fit_is_refused_and_nothing_is_left(tmp_path: Path) -> None:
    for name in ("case", "case.hea", "case.dat", "my case.marks", "case.1"):
        with pytest.raises(CannotWrite):
            write_annotations([Remark(1.0, 1.0, "a")], tmp_path / name)
    with pytest.raises(CannotWrite, match=r"'early' at -1 s lies outside"):
        write_annotations([Remark(-1.0, 0.0, "early")], tmp_path / "case.marks")
    with pytest.raises(CannotWrite, match="lies outside"):
        write_annotations([Remark(3e6, 3e6, "late")], tmp_path / "case.marks")
    with pytest.raises(Cancelled):
        write_annotations([Remark(1.0, 1.0, "a")], tmp_path / "case.marks", cancelled=lambda: True)
    assert list(tmp_path.iterdir()) == []
    write_annotations([Remark(1.0, 1.0, "a")], tmp_path / "case.marks")
    with pytest.raises(CannotWrite, match="is there already"):
        write_annotations([Remark(1.0, 1.0, "a")], tmp_path / "case.marks")


def test_marks_of_a_case_come_back(tmp_path: Path) -> None:
    from afterclamp.annotate.marks import add_mark, marks
    from afterclamp.io import open_case
    from small_case import make

    with open_case(make(tmp_path / "case")) as case:
        add_mark(case, "tester", code="E07", text="flow stop", start_s=880.5, channels=["pump/flow"])
        remarks = [Remark(one.start_s, one.end_s, f"{one.code} {one.text}".strip()) for one in marks(case)]
    write_annotations(remarks, tmp_path / "case.tester")
    assert by_library(tmp_path / "case.tester")[1:] == (
        [600_000, 630_000, 880_500],
        ['"'] * 3,
        ["table <raised>", "end: table <raised>", "E07 flow stop"],
    )

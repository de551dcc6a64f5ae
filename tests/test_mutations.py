"""Damaged files of every format: a small share of what `python tests/mutations.py --count 5000` goes through."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest
from afterclamp.io.readers import layout, spool
from afterclamp.io.readers.registry import READERS, reader_of
from mutation_seeds import Seed, seeds
from mutations import Mutant, Mutants, judge, run

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="limits memory and time by means of Linux")


@pytest.fixture(scope="module")
def sound() -> list[Seed]:
    return seeds()


def test_every_reader_has_files_to_be_damaged(sound: list[Seed], tmp_path: Path) -> None:
    names = set()
    for number, seed in enumerate(sound):
        folder = tmp_path / str(number)
        folder.mkdir()
        for name, data in seed.files.items():
            (folder / name).write_bytes(data)
        reader, _ = reader_of(folder / seed.main)
        assert reader is not None, seed.name
        names.add(reader.name)
    missing = {reader.name for reader in READERS} - names
    if not any(seed.name.startswith("Parquet") for seed in sound):
        missing -= {"Parquet"}  # pyarrow is not installed
    assert missing == set()


def test_an_undamaged_file_is_read_and_brought_in(sound: list[Seed], tmp_path: Path) -> None:
    for number, seed in enumerate(sound):
        folder = tmp_path / str(number)
        folder.mkdir()
        outcome, what = judge(Mutant(seed, "", dict(seed.files)), folder)
        assert outcome == "read", (seed.name, what)


def test_a_case_is_decided_by_its_number() -> None:
    first, again = Mutants("table"), Mutants("table")
    assert [first[n].files for n in range(20)] == [again[n].files for n in range(20)]
    assert len({str(first[n].files) for n in range(20)}) == 20


def test_damaged_files_are_refused_in_a_sentence_or_read_rightly() -> None:
    results = run(count=80)
    assert [line for line in results if line["outcome"] == "find"] == []
    assert len(results) == 80
    assert {"refused", "read"} <= {line["outcome"] for line in results}


# Each was once more than a sentence: ended the process, took too long, lost an exception or wrote a page.
FOUND = (
    ("", 5487), ("HDF5", 35364), ("log", 31253), ("captions", 30891), ("", 4504), ("", 7094), ("WFDB", 31326),
    ("", 1334), ("WFDB", 32122), ("", 4211), ("subtitles", 30515), ("", 31197), ("", 345), ("", 815), ("", 4216),
    ("", 3337), ("", 877), ("", 202435),
)  # fmt: skip


@pytest.mark.parametrize("only", sorted({only for only, _ in FOUND}))
def test_what_was_found_once_stays_mended(tmp_path: Path, only: str) -> None:
    mutants = Mutants(only)
    for number in [number for name, number in FOUND if name == only]:
        folder = tmp_path / str(number)
        folder.mkdir()
        begun = time.monotonic()
        outcome, what = judge(mutants[number], folder)
        assert (outcome == "find", what) == (False, what)
        assert time.monotonic() - begun < 5


def test_samples_that_are_lost_and_units_out_of_nowhere_are_found(
    tmp_path: Path, sound: list[Seed], monkeypatch: pytest.MonkeyPatch
) -> None:
    seed = next(one for one in sound if one.name == "table semicolon")
    column, split = spool.Spool.column, layout.split_unit

    def judged(name: str) -> tuple[str, str]:
        (tmp_path / name).mkdir()
        return judge(Mutant(seed, "", dict(seed.files)), tmp_path / name)

    with monkeypatch.context() as patch:
        patch.setattr(spool.Spool, "column", lambda self, number: iter([next(column(self, number))[1:]]))
        outcome, what = judged("lost")
        assert outcome == "find"
        assert "89 samples in blocks, 90 announced" in what
    with monkeypatch.context() as patch:
        patch.setattr(layout, "split_unit", lambda text, headers=(): (split(text, headers)[0], "kPa"))
        outcome, what = judged("unit")
        assert outcome == "find"
        assert "unit 'kPa' stands nowhere in the file" in what

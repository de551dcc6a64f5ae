"""Written whole or not at all: what is there afterwards, whatever ends the writing."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest
from afterclamp.io.errors import CannotWrite
from afterclamp.io.whole import written_whole


def there(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def test_a_file_has_its_name_only_when_it_is_whole(tmp_path: Path) -> None:
    with written_whole(tmp_path / "paper.pdf") as partial:
        partial.write_bytes(b"all of it")
        assert not (tmp_path / "paper.pdf").exists()
    assert there(tmp_path) == ["paper.pdf"]
    assert (tmp_path / "paper.pdf").read_bytes() == b"all of it"


def test_a_folder_has_its_name_only_when_it_is_whole_and_may_stand_empty_before(tmp_path: Path) -> None:
    (tmp_path / "tables").mkdir()
    with written_whole(tmp_path / "tables") as partial:
        partial.mkdir()
        (partial / "a.csv").write_text("1")
        assert there(tmp_path / "tables") == []
    assert there(tmp_path) == ["tables", "tables/a.csv"]


@pytest.mark.parametrize("ends_it", [KeyboardInterrupt(), ValueError("no"), OSError(errno.ENOSPC, "full")])
def test_whatever_ends_it_leaves_nothing_not_even_the_folders_above(
    tmp_path: Path, ends_it: BaseException
) -> None:
    with pytest.raises((KeyboardInterrupt, ValueError, CannotWrite)):  # noqa: SIM117, PT012
        with written_whole(tmp_path / "new" / "deeper" / "paper.pdf", parents=True) as partial:
            partial.write_bytes(b"half")
            raise ends_it
    assert there(tmp_path) == []


def test_a_full_disk_names_the_place_that_was_given(tmp_path: Path) -> None:
    path = tmp_path / "paper.pdf"
    with pytest.raises(CannotWrite) as refused, written_whole(path) as partial:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(partial))
    assert "partial" not in refused.value.sentence
    assert "paper.pdf" in refused.value.sentence
    assert os.strerror(errno.ENOSPC) in refused.value.sentence


def test_what_is_there_stays_unless_it_may_be_replaced(tmp_path: Path) -> None:
    path = tmp_path / "paper.pdf"
    path.write_bytes(b"old")
    with pytest.raises(CannotWrite, match="there already"), written_whole(path) as partial:
        partial.write_bytes(b"new")
    assert path.read_bytes() == b"old"
    with written_whole(path, replacing=True) as partial:
        partial.write_bytes(b"new")
        assert path.read_bytes() == b"old"
    assert path.read_bytes() == b"new"
    assert there(tmp_path) == ["paper.pdf"]


def test_a_folder_that_holds_something_is_never_replaced(tmp_path: Path) -> None:
    (tmp_path / "tables").mkdir()
    (tmp_path / "tables" / "kept").write_text("x")
    with pytest.raises(CannotWrite, match="holds something"):  # noqa: SIM117
        with written_whole(tmp_path / "tables", replacing=True):
            pytest.fail("not even begun")
    assert there(tmp_path) == ["tables", "tables/kept"]

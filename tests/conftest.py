"""What every test shares: a screen that needs no display, and where the real recordings are."""

from __future__ import annotations

import os
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from afterclamp.io import Case

# Before any Qt import: the same look everywhere, at one pixel per point.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ.setdefault("QT_SCALE_FACTOR", "1")

# The same examples on every run, and no limit on time, which a busy machine would break.
settings.register_profile("afterclamp", derandomize=True, deadline=None)
settings.load_profile("afterclamp")


_settings_folders = count()


@pytest.fixture(autouse=True)
def _own_settings(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """What a bring-in learns goes to a folder of this test alone, never to anybody's home."""
    folder = tmp_path_factory.getbasetemp() / "settings" / str(next(_settings_folders))
    monkeypatch.setenv("AFTERCLAMP_SETTINGS", str(folder))


@pytest.fixture(scope="session")
def real_traces() -> Path:
    """Folder of open recordings, which the project never contains."""
    folder = os.environ.get("AFTERCLAMP_REAL_TRACES", "")
    if not folder or not Path(folder).is_dir():
        pytest.skip("AFTERCLAMP_REAL_TRACES does not name a folder with the real recordings")
    return Path(folder)


@pytest.fixture(scope="session")
def demo_exports(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented demo case as its recorders hand it out: five sources, each on its own clock."""
    from afterclamp.sample_traces.build import build_demo

    folder = tmp_path_factory.mktemp("demo") / "exports"
    build_demo(folder)
    return folder


@pytest.fixture(scope="session")
def demo_folder(demo_exports: Path) -> Path:
    """The demo case, brought in with the clocks that it sets by hand. Tests that add to its log copy it."""
    from afterclamp.io import bring_in

    folder = demo_exports.parent / "case"
    bring_in(demo_exports, folder, answers=demo_exports / "answers.toml").close()
    return folder


@pytest.fixture
def demo_case(demo_folder: Path) -> Iterator[Case]:
    """The demo case, opened."""
    from afterclamp.io import open_case

    with open_case(demo_folder) as case:
        yield case

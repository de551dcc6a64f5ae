"""What every test shares: a screen that needs no display, and where the real recordings are."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from afterclamp.annotate.align import ClockEstimate
    from afterclamp.io import Case

# Before any Qt import: the same look everywhere, at one pixel per point.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ.setdefault("QT_SCALE_FACTOR", "1")

# Before numpy: the matrices here are small, and on two busy cores several threads wait for each other most of the time
# (a clock by evidence takes twelve times as long).
for _library in ("OPENBLAS", "OMP", "MKL"):
    os.environ.setdefault(f"{_library}_NUM_THREADS", "1")

# The suite starts the program in some sixty processes: each would compile the modules anew where the environment
# says that nothing compiled is to be kept, and so would the tests themselves on every run.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

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


@pytest.fixture(scope="session")
def unset_folder(demo_exports: Path) -> Path:
    """The demo case with every clock as its recorder wrote it. Tests that add to its log copy it."""
    from afterclamp.io import bring_in

    folder = demo_exports.parent / "case-without-clocks"
    exports = [path for path in sorted(demo_exports.iterdir()) if path.name != "answers.toml"]
    bring_in(exports, folder).close()
    return folder


@pytest.fixture(scope="session")
def unset_estimates(unset_folder: Path) -> dict[str, ClockEstimate]:
    """What the evidence says of each clock of that case."""
    from afterclamp.annotate import align
    from afterclamp.io import open_case

    with open_case(unset_folder) as case:
        before = time.process_time()
        estimates = align.estimate(case)
        seconds = time.process_time() - before
    assert seconds <= 10, "the whole alignment of the invented case may take 10 s"
    return {one.source: one for one in estimates}


@pytest.fixture
def demo_case(demo_folder: Path) -> Iterator[Case]:
    """The demo case, opened."""
    from afterclamp.io import open_case

    with open_case(demo_folder) as case:
        yield case

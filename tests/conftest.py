"""What every test shares: a screen that needs no display, and where the real recordings are."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

# Before any Qt import: the same look everywhere, at one pixel per point.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ.setdefault("QT_SCALE_FACTOR", "1")


@pytest.fixture(scope="session")
def real_traces() -> Path:
    """Folder of open recordings, which the project never contains."""
    folder = os.environ.get("AFTERCLAMP_REAL_TRACES", "")
    if not folder or not Path(folder).is_dir():
        pytest.skip("AFTERCLAMP_REAL_TRACES does not name a folder with the real recordings")
    return Path(folder)

"""Examples that readers copy run as printed: those in docstrings, and the notebook lines of the README.

Modules are imported by their installed names: collecting them by path would put the folder ``io`` in the place
of the standard module.
"""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
import re
import shutil
from pathlib import Path

import pytest
from afterclamp import annotate, io, replay, sample_traces
from afterclamp.annotate import measures

ROOT = Path(__file__).resolve().parents[1]


def module_names() -> list[str]:
    names = []
    for room in (io, annotate, replay, sample_traces):
        names.append(room.__name__)
        names += [found.name for found in pkgutil.walk_packages(room.__path__, room.__name__ + ".")]
    return sorted(name for name in names if not name.endswith("__main__"))


@pytest.mark.parametrize("name", module_names())
def test_the_examples_in_docstrings_give_what_they_say(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    outcome = doctest.testmod(importlib.import_module(name), optionflags=doctest.NORMALIZE_WHITESPACE)
    assert outcome.failed == 0, capsys.readouterr().out


@pytest.mark.parametrize("name", [name for name in measures.__all__ if name[0].islower()])
def test_every_measure_that_is_offered_to_a_notebook_says_its_units(name: str) -> None:
    said = inspect.getdoc(getattr(measures, name)) or ""
    assert re.search(r"mmHg|mL|L/min|m²|Wood|seconds|fraction|limit|ratio|share", said, re.IGNORECASE), said


def test_the_notebook_lines_of_the_readme_run_as_printed(
    demo_exports: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (printed,) = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text("utf-8"), re.DOTALL)
    shutil.copytree(demo_exports, tmp_path / "exports")
    monkeypatch.chdir(tmp_path)
    exec(printed, {})
    said = capsys.readouterr().out
    assert "Exposure(" in said or "below 65" in said
    # By truth.csv a fall off bypass at 319:04. The falls with the two arrests are no collapses, although the
    # pump's clock is not set here and its stop comes 95 s later by its own.
    assert "E01:femoral:19140" in said
    assert "E02" not in said

"""Examples that readers copy run as printed: those in docstrings, and the notebook lines of the README.

Modules are imported by their installed names: collecting them by path would put the folder ``io`` in the place
of the standard module.
"""

from __future__ import annotations

import doctest
import importlib
import inspect
import re
import shutil
from pathlib import Path

import pytest
from afterclamp import annotate, io, replay, sample_traces
from afterclamp.annotate import measures

ROOT = Path(__file__).resolve().parents[1]


def modules_with_examples() -> list[str]:
    """Modules in whose text an example stands; to look through all the others costs half a minute."""
    found = []
    for room in (io, annotate, replay, sample_traces):
        folder = ROOT / room.__name__.rpartition(".")[2]
        for path in sorted(folder.rglob("*.py")):
            if re.search(r"^ *>>> ", path.read_text("utf-8"), re.MULTILINE):
                inside = path.relative_to(folder).with_suffix("").parts
                found.append(".".join((room.__name__, *inside)).removesuffix(".__init__"))
    return found


@pytest.mark.parametrize("name", modules_with_examples())
def test_the_examples_in_docstrings_give_what_they_say(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    outcome = doctest.testmod(importlib.import_module(name), optionflags=doctest.NORMALIZE_WHITESPACE)
    assert outcome.failed == 0, capsys.readouterr().out
    assert outcome.attempted > 0, "an example that is not found is not run"


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

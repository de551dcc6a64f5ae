"""How the project is put together: what is installed, what may import what, and what the README promises."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
import tomllib
import zipfile
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
ROOMS = ("io", "annotate", "replay", "sample_traces")
LEFT_OUT = {"__pycache__", ".mypy_cache", ".ruff_cache"}


def project() -> dict[str, object]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))


def package_folders() -> dict[str, Path]:
    """Every folder of the four rooms with an ``__init__.py``, by the package name it must have."""
    return {
        ".".join(("afterclamp", *init.parent.relative_to(ROOT).parts)): init.parent
        for room in ROOMS
        for init in sorted((ROOT / room).rglob("__init__.py"))
    }


def run(*arguments: str, cwd: Path = ROOT, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=cwd,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env={**os.environ, **environment},
    )


# --- packages and the wheel ---------------------------------------------------------------------------


def test_every_folder_with_an_init_is_listed_as_a_package() -> None:
    listed = project()["tool"]["setuptools"]["packages"]  # type: ignore[index]
    assert sorted(listed) == sorted(package_folders())


def test_every_folder_with_modules_is_a_package() -> None:
    folders = {
        path.parent
        for room in ROOMS
        for path in (ROOT / room).rglob("*.py")
        if not LEFT_OUT & set(path.parts)
    }
    assert folders == set(package_folders().values())


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> set[str]:
    """Names in a wheel built from a copy, so that nothing is left in the project's own folder."""
    import shutil

    import setuptools

    if int(setuptools.__version__.split(".")[0]) < 77:
        pytest.skip(
            f"setuptools {setuptools.__version__} is too old to build with; .ci/setup installs a newer one"
        )
    copy = tmp_path_factory.mktemp("wheel")
    for room in ROOMS:
        shutil.copytree(ROOT / room, copy / room, ignore=shutil.ignore_patterns(*LEFT_OUT))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, copy / name)
    built = run(
        "-c",
        "import sys; from setuptools import build_meta; print(build_meta.build_wheel(sys.argv[1]))",
        str(copy / "out"),
        cwd=copy,
    )
    assert built.returncode == 0, built.stderr
    (file,) = (copy / "out").glob("*.whl")
    with zipfile.ZipFile(file) as archive:
        return set(archive.namelist())


def test_every_package_and_every_file_in_it_lands_in_the_wheel(wheel: set[str]) -> None:
    inside = {
        "/".join(("afterclamp", *path.relative_to(ROOT).parts))
        for room in ROOMS
        for path in (ROOT / room).rglob("*")
        if path.is_file() and not LEFT_OUT & set(path.parts) and not path.name.startswith(".")
    }
    assert inside - wheel == set()


def test_the_wheel_brings_nothing_but_the_program(wheel: set[str]) -> None:
    tops = {name.split("/")[0] for name in wheel}
    version = project()["project"]["version"]  # type: ignore[index]
    assert tops == {"afterclamp", f"afterclamp-{version}.dist-info"}


# --- what may import what -----------------------------------------------------------------------------


@cache
def imported(path: Path) -> set[str]:
    """Full names of everything a module imports, relative ones resolved, type-checking ones included."""
    package = ("afterclamp", *path.relative_to(ROOT).parent.parts)
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else ()
            module = ".".join((*base, *((node.module or "").split(".") if node.module else ())))
            names |= {f"{module}.{alias.name}" for alias in node.names}
    return names


def modules_of(room: str) -> list[Path]:
    return [path for path in sorted((ROOT / room).rglob("*.py")) if not LEFT_OUT & set(path.parts)]


@pytest.mark.parametrize(
    ("room", "forbidden"),
    [
        ("io", ("afterclamp.annotate", "afterclamp.replay", "afterclamp.sample_traces")),
        ("annotate", ("afterclamp.replay", "afterclamp.sample_traces")),
        ("sample_traces", ("afterclamp.replay",)),
    ],
)
def test_a_room_never_imports_one_above_it(room: str, forbidden: tuple[str, ...]) -> None:
    wrong = {
        f"{path.relative_to(ROOT)}: {name}"
        for path in modules_of(room)
        for name in imported(path)
        if name.startswith(forbidden)
    }
    assert wrong == set()


@pytest.mark.parametrize("room", ["io", "annotate", "sample_traces"])
def test_only_replay_knows_qt(room: str) -> None:
    wrong = {
        f"{path.relative_to(ROOT)}: {name}"
        for path in modules_of(room)
        for name in imported(path)
        if name.split(".")[0] in {"PySide6", "shiboken6", "pyqtgraph"}
    }
    assert wrong == set()


@pytest.mark.parametrize("room", ROOMS)
def test_rooms_are_imported_under_one_name_only(room: str) -> None:
    wrong = {
        f"{path.relative_to(ROOT)}: {name}"
        for folder in (*ROOMS, "tests")
        for path in (ROOT / folder).rglob("*.py")
        if not LEFT_OUT & set(path.parts)
        for name in imported(path)
        if room != "io" and name.split(".")[0] == room
    }
    assert wrong == set()


@pytest.mark.parametrize("room", ["annotate", "replay", "sample_traces"])
def test_a_room_imported_from_the_root_says_its_right_name(room: str) -> None:
    tried = run("-c", f"import {room}")
    assert tried.returncode == 1
    assert f"ImportError: import this as afterclamp.{room}" in tried.stderr


def test_the_standard_io_stays_the_standard_io() -> None:
    tried = run(
        "-c", "import io, afterclamp.io; print(io.BytesIO(b'x').read(), io is afterclamp.io)", PYTHONPATH="."
    )
    assert tried.stdout.split() == ["b'x'", "False"], tried.stderr


def test_no_module_is_loaded_under_two_names() -> None:
    code = """
import sys
import afterclamp.annotate, afterclamp.io, afterclamp.replay, afterclamp.sample_traces
for room in ("annotate", "replay", "sample_traces"):
    try:
        __import__(room)
    except ImportError:
        pass
files = {}
for name, module in list(sys.modules.items()):
    file = getattr(module, "__file__", None)
    if file and name != "__main__":
        files.setdefault(file, set()).add(name)
doubled = {
    file: sorted(names)
    for file, names in files.items()
    if len(names) > 1 and any(name.startswith("afterclamp") for name in names)
}
print(doubled)
"""
    tried = run("-c", code)
    assert tried.stdout.strip() == "{}", tried.stdout + tried.stderr


# --- the machine --------------------------------------------------------------------------------------


def test_qt_calls_keep_their_references_to_none() -> None:
    # PySide6 6.12.0 on Python 3.11 gave one away on every call and ended the process after some thousand.
    from PySide6.QtGui import QPen

    pen = QPen()
    before = sys.getrefcount(None)
    for _ in range(1000):
        pen.setWidthF(1.0)
    assert abs(sys.getrefcount(None) - before) < 100


def test_the_font_of_pages_and_tests_is_there(qapp: object) -> None:
    # Without a font every text is a row of boxes and nothing else complains.
    from PySide6.QtGui import QFontDatabase

    assert "DejaVu Sans" in QFontDatabase.families()


# --- what is promised ---------------------------------------------------------------------------------


def commands_of_the_readme() -> list[str]:
    blocks = re.findall(r"```sh\n(.*?)```", (ROOT / "README.md").read_text("utf-8"), re.DOTALL)
    return [line.strip() for block in blocks for line in block.splitlines() if line.strip()]


def test_the_readme_gives_the_two_commands() -> None:
    assert commands_of_the_readme() == [
        ".ci/setup && .venv/bin/afterclamp demo",
        ".ci/setup && .venv/bin/python -m pytest",
    ]


def test_the_check_runs_the_test_command_of_the_readme() -> None:
    lines = [line.strip() for line in (ROOT / ".ci" / "run").read_text("utf-8").splitlines()]
    assert commands_of_the_readme()[1] in lines


def test_the_scripts_can_be_run() -> None:
    for name in ("setup", "run"):
        path = ROOT / ".ci" / name
        assert os.access(path, os.X_OK)
        assert subprocess.run(["bash", "-n", str(path)], check=False).returncode == 0


def test_the_readme_holds_the_cautions_in_full() -> None:
    from afterclamp.replay.cautions import CAUTIONS, CAUTIONS_TITLE

    quoted = "\n".join(
        line.removeprefix(">").strip()
        for line in (ROOT / "README.md").read_text("utf-8").splitlines()
        if line.startswith(">")
    )
    paragraphs = [text.replace("\n", " ") for text in quoted.split("\n\n")]
    assert paragraphs == [f"**{CAUTIONS_TITLE}** {CAUTIONS[0]}", *CAUTIONS[1:]]


def test_every_picture_and_page_that_the_texts_link_to_exists() -> None:
    for name in ("README.md", "DEVELOPERS.md"):
        for target in re.findall(r"\]\(([^)#]+)\)", (ROOT / name).read_text("utf-8")):
            assert (ROOT / target).exists(), f"{name} links to {target}"


def test_every_file_that_the_developers_text_names_exists() -> None:
    named = re.findall(r"`([\w/.-]+\.(?:py|toml|md))`", (ROOT / "DEVELOPERS.md").read_text("utf-8"))
    assert named
    on_disk_only = {"case-sheet.toml", "__init__.py"}  # of a case; of any folder
    wrong = [name for name in named if Path(name).name not in on_disk_only and not (ROOT / name).exists()]
    assert wrong == []


def text_files() -> list[Path]:
    """What is committed: by git where it is at hand, else every text of the rooms."""
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if listed.returncode == 0:
        paths = [ROOT / line for line in listed.stdout.splitlines()]
    else:
        paths = [path for folder in (*ROOMS, "tests", ".ci") for path in (ROOT / folder).rglob("*")]
        paths += [ROOT / name for name in ("README.md", "DEVELOPERS.md", "pyproject.toml")]
    endings = {".py", ".md", ".toml", ".csv", ".json", ".jinja", ".vtt", ".txt", ".hea", ".yml", ".cfg", ""}
    return [
        path for path in paths if path.is_file() and path.suffix in endings and not LEFT_OUT & set(path.parts)
    ]


def test_no_file_names_a_place_on_somebody_s_machine() -> None:
    machine = re.compile(r"(?<![\w.~-])/(?:home|root|Users|work)/[\w.-]+|(?<![\w.])/tmp/\w|[A-Z]:\\\\?Users")
    wrong = {
        f"{path.relative_to(ROOT)}: {found.group()}"
        for path in text_files()
        if path != Path(__file__).resolve()
        for found in machine.finditer(path.read_text("utf-8", errors="replace"))
    }
    assert wrong == set()


def test_every_module_of_a_room_stands_in_the_map() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    modules = [
        f"{room}/{path.name}"
        for room in ROOMS
        for path in sorted((ROOT / room).glob("*.py"))
        if not path.name.startswith("__")
    ]
    assert [name for name in modules if f"`{name}`" not in text] == []

"""``python -m afterclamp.sample_traces [FOLDER]``: write the recordings of the invented demo case.

``python -m afterclamp.sample_traces vignettes FOLDER`` writes the three vignettes instead.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from afterclamp.io.errors import CaseError

from .build import build_demo, write_excerpt
from .vignette_files import build_vignettes

VIGNETTES = "vignettes"


def main(arguments: list[str] | None = None) -> int:
    """Write the recordings and name them; 1 if that was not possible."""
    given = sys.argv[1:] if arguments is None else arguments
    try:
        paths = _vignettes(given[1:]) if given[:1] == [VIGNETTES] else _demo(given)
    except CaseError as problem:
        print(problem.sentence, file=sys.stderr)
        return 1
    for path in paths:
        print(path)
    return 0


def _demo(arguments: list[str]) -> list[Path]:
    parser = argparse.ArgumentParser(
        prog="python -m afterclamp.sample_traces",
        description="Write the recordings of the invented demo case: five sources and a case sheet.",
        epilog=f"'{VIGNETTES} FOLDER' writes the three vignettes, each with its truth beside it.",
    )
    parser.add_argument("folder", nargs="?", type=Path, default=Path("demo-exports"), help="where to")
    parser.add_argument(
        "--excerpt", action="store_true", help="write the short excerpt of each source instead"
    )
    chosen = parser.parse_args(arguments)
    return write_excerpt(chosen.folder) if chosen.excerpt else build_demo(chosen.folder)


def _vignettes(arguments: list[str]) -> list[Path]:
    parser = argparse.ArgumentParser(
        prog=f"python -m afterclamp.sample_traces {VIGNETTES}",
        description="Write the three invented vignettes: a recording and a case sheet each, the truth beside.",
    )
    parser.add_argument("folder", type=Path, help="where to")
    return build_vignettes(parser.parse_args(arguments).folder)


if __name__ == "__main__":
    sys.exit(main())

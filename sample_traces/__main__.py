"""``python -m afterclamp.sample_traces [FOLDER]``: write the recordings of the invented demo case."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from afterclamp.io.errors import CaseError

from .build import build_demo, write_excerpt


def main(arguments: list[str] | None = None) -> int:
    """Write the demo's recordings and name them; 1 if that was not possible."""
    parser = argparse.ArgumentParser(
        prog="python -m afterclamp.sample_traces",
        description="Write the recordings of the invented demo case: five sources and a case sheet.",
    )
    parser.add_argument("folder", nargs="?", type=Path, default=Path("demo-exports"), help="where to")
    parser.add_argument(
        "--excerpt", action="store_true", help="write the short excerpt of each source instead"
    )
    chosen = parser.parse_args(arguments)
    try:
        paths = write_excerpt(chosen.folder) if chosen.excerpt else build_demo(chosen.folder)
    except CaseError as problem:
        print(problem.sentence, file=sys.stderr)
        return 1
    for path in paths:
        print(path)
    return 0


if __name__ == "__main__":
    sys.exit(main())

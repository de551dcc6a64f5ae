"""How long the demo's recordings take to make, and how much memory.

``python tests/bench/demo_build.py``: one line for the build in this process. Wanted: under 20 s.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

from afterclamp.sample_traces import build_demo


def main() -> int:
    """Build once and print; 1 if it took 20 s or more."""
    before = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        paths = build_demo(Path(folder))
        size = sum(path.stat().st_size for path in paths)
    seconds = time.perf_counter() - before
    unit = 1 if sys.platform == "darwin" else 1024  # macOS counts bytes, Linux kilobytes
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit
    print(f"demo of {size / 1e6:.1f} MB in {seconds:.2f} s, peak memory {peak / 1e6:.0f} MB")
    return int(seconds >= 20)


if __name__ == "__main__":
    sys.exit(main())

"""Long reading in steps: how far it is, and whether to stop."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from ..errors import Cancelled

Step = Callable[[float], None]
"""``step(share)``, from 0 to 1; raises `Cancelled` when asked to stop."""


def step_of(path: Path, options: Mapping[str, Any]) -> Step:
    """The step of a reader's options: ``"progress"`` is told the share, ``"cancelled"`` asked as often."""
    tell, stop = options.get("progress"), options.get("cancelled")

    def step(share: float) -> None:
        if stop is not None and stop():
            raise Cancelled("reading stopped as asked; nothing was kept", path=path)
        if tell is not None:
            tell(share)

    return step

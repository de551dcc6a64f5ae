"""Files and the case: what was recorded, when, and by what. No screens, no opinions.

The small face: `bring_in`, `open_case`, `Case`, `Channel`, `Span`, `CaseError`. Everything else is reached
by its module.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from .case import Case, Channel, Span
from .errors import CaseError

if TYPE_CHECKING:
    from .bring import bring_in

__all__ = ["Case", "CaseError", "Channel", "Span", "bring_in", "open_case"]


def open_case(folder: Path | str) -> Case:
    """Open a case folder; see `Case.open`."""
    return Case.open(folder)


def __getattr__(name: str) -> Any:
    # The readers are loaded at the first bring-in: opening a case doesn't need them.
    if name == "bring_in":
        from .bring import bring_in

        return bring_in
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")

"""What can be said of a case: figures, finds, phases, marks.

The modules are loaded when they are first asked for, so that looking at a case costs no more than it needs::

    from afterclamp.annotate import finds, measures
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if not __name__.startswith("afterclamp."):
    raise ImportError(
        "import this as afterclamp.annotate, not as annotate: two names would load every module twice"
    )

if TYPE_CHECKING:
    from . import figures, finds, marks, measures, phases

__all__ = ["figures", "finds", "marks", "measures", "phases"]


def __getattr__(name: str) -> Any:
    if name in __all__:
        return import_module(f"{__name__}.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)

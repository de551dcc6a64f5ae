"""Beats of a signal, kept in the case's cache: whoever opens a case again need not read its waves for them."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

from afterclamp.io.array_cache import text_of
from numpy.typing import NDArray

from .beats import Beats, beats, joined
from .named import Signal
from .quality import channel_key

if TYPE_CHECKING:
    from afterclamp.io.case import Case


def kept_beats(case: Case, signal: Signal, *, masked: bool = True) -> Beats:
    """Beats of all channels of a signal, in order of time.

    Parameters
    ----------
    case : Case
        The case; of a view of it up to some time nothing is kept.
    signal : Signal
        A wave.
    masked : bool
        Whether beats that touch an artefact are left out.
    """

    def compute() -> dict[str, NDArray[Any]]:
        found = joined([beats(channel, masked) for channel in signal.channels])
        return {field.name: getattr(found, field.name) for field in fields(Beats)}

    if case.horizon is not None:
        return Beats(**compute())
    here = Path(__file__).parent
    parts = (text_of(here, here / "measures"), *(channel_key(one) for one in signal.channels), masked)
    return Beats(**case.cached("beats", parts, compute))

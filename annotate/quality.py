"""What of a channel can be used: its artefacts, and the seconds that they take away.

`own_shapes` holds what a channel shows by itself (A1, A2, A9); what shows only beside the other channels of
its case (A3 to A8, and sensors that were moved) is found by the families in `FAMILIES`. Here both are put
together and laid on the grid of seconds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from .artefact_numbers import (
    CLIPPED,
    CUFF,
    DAMPED,
    FLUSH,
    HEIGHT,
    KINK,
    LOST,
    NOISE,
    OPEN_TO_AIR,
    RAMP,
    RUN_UP,
    SAMPLE,
    UNUSABLE,
)
from .clipped import clipped_beats
from .damping import damped_line
from .height_shift import height_shifts
from .line_seconds import LineSeconds, line_seconds
from .lost_pulse import lost_pulse
from .masking import HIDDEN, NAMES, ROUNDING, MaskedSpan, There, around
from .memory import Memory
from .own_shapes import PRESSURES, compared, ordered, own_shapes, pieces_of
from .parameter import Parameter
from .run_up import run_ups
from .runs import BoolArray, FloatArray
from .same_line import carried_over, waves_of
from .sensor_steps import sensor_steps
from .series import MASKED, MISSING, OBSERVED, StateArray
from .still import Piece, frozen_rows, frozen_wave, gaps_between, off_scale, waves_on_scale
from .wave_artefacts import Artefact
from .wave_noise import wave_noise

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

__all__ = [
    "PRESSURES",
    "Artefact",
    "Piece",
    "artefacts",
    "channel_key",
    "clean_waves",
    "compared",
    "frozen_rows",
    "frozen_wave",
    "gaps_between",
    "masked_seconds",
    "neighbours",
    "off_scale",
    "quality_class",
    "rule_spans",
    "seconds_state",
    "waves_on_scale",
]

NUMBERS: tuple[dict[str, Parameter], ...] = (
    OPEN_TO_AIR,
    FLUSH,
    RAMP,
    UNUSABLE,
    HEIGHT,
    LOST,
    SAMPLE,
    RUN_UP,
    KINK,
    CUFF,
    CLIPPED,
    NOISE,
    DAMPED,
)
"""The numbers that artefacts are looked for by: what was computed with others is not used again."""

Family = Callable[[LineSeconds, tuple[LineSeconds, ...]], list[Artefact]]
FAMILIES: tuple[Family, ...] = (
    height_shifts,
    sensor_steps,
    lost_pulse,
    run_ups,
    damped_line,
    wave_noise,
    clipped_beats,
)
"""Each takes a line and the others of its case whose clocks can be trusted beside it, and gives artefacts of it."""

BESIDE = (*PRESSURES, "pump_flow", "line_pressure", "cerebral_saturation", "temperature")
"""Kinds of channels that a line is held against, and that are themselves looked at in that light."""
CLOCK_DOUBT_S = (
    3.0  # between two sources, beyond which they say nothing of one moment (this project's choice)
)

NO_LEVEL = ("A1", "A2", "A3", "A5", "A6", "A7", "A8", HIDDEN)
"""Artefacts that take away the level of a channel: its mean, and everything made of it."""
NO_PULSE = ("A1", "A2", "A3", "A4", "A5", "A6", "A8", HIDDEN)
"""Artefacts that take away its beats; a shifted transducer (A7) leaves them as they are."""
BOTH = tuple(code for code in NO_LEVEL if code in NO_PULSE)

# -- a channel -------------------------------------------------------------------------------------

_ARTEFACTS: Memory[list[Artefact]] = Memory(64)
_OWN: Memory[list[Artefact]] = Memory(64)
_SECONDS: Memory[LineSeconds] = Memory(64)


def artefacts(channel: Channel) -> list[Artefact]:
    """Artefacts of a channel, in order of time.

    Parameters
    ----------
    channel : Channel
        Any channel. Those of its own shape are looked for on every one, the others on kinds in `BESIDE`.

    Returns
    -------
    list of Artefact
        Nothing before the channel's first usable sample nor after its last: a line that is not in yet,
        or is out, is missing but no artefact (see `seconds_state`). They are looked for in what was recorded:
        what people hide or unhide, of this channel or of another, changes none of them.
    """
    return list(_ARTEFACTS.get(_seen_key(channel), lambda: _find(channel)))


def _find(channel: Channel) -> list[Artefact]:
    found = own_artefacts(channel)
    if FAMILIES and channel.kind in BESIDE:
        line, others = _seconds(channel), tuple(_seconds(other) for other in neighbours(channel))
        found = found + [one for family in FAMILIES for one in family(line, others)]
    return sorted(found, key=lambda one: (one.start, one.code))


def own_artefacts(channel: Channel) -> list[Artefact]:
    """What a channel shows by itself: A1, A2 and A9."""
    key = (_own_key(channel), tuple(_own_key(other) for other in compared(channel)), _numbers())
    return list(_OWN.get(key, lambda: own_shapes(channel)))


def neighbours(channel: Channel) -> tuple[Channel, ...]:
    """The other channels of its case that a channel is held against, where their clocks can be trusted."""
    return tuple(
        other
        for other in channel.beside
        if other.id != channel.id
        and other.kind in BESIDE
        and other.begun
        and ordered(channel, other, CLOCK_DOUBT_S)
    )


def _seconds(channel: Channel) -> LineSeconds:
    """A channel on the grid of its case, from its first to its last second if it has none."""
    grid = channel.grid
    key = (_own_key(channel), tuple(_own_key(other) for other in compared(channel)), _numbers(), grid.size)
    return _SECONDS.get(key, lambda: line_seconds(channel, grid, own_artefacts(channel)))


def _numbers() -> tuple[float, ...]:
    return tuple(parameter.value for table in NUMBERS for parameter in table.values())


def channel_key(channel: Channel) -> tuple[object, ...]:
    """What everything that is computed of a channel depends on.

    Its own content, clock, unit and horizon, those of the channels that its artefacts are held against,
    the numbers that they are looked for by, and what people hide of it and believe; for a recorded mean also what
    its wave depends on.
    """
    waves = tuple((_seen_key(wave), wave.believed) for wave in _waves(channel))
    return (_seen_key(channel), channel.hidden, channel.believed, *waves)


def _seen_key(channel: Channel) -> tuple[object, ...]:
    """What the artefacts of a channel depend on."""
    others = {other.id: other for other in (*compared(channel), *neighbours(channel))}
    return (_own_key(channel), tuple(_own_key(other) for other in others.values()), _numbers())


def _own_key(channel: Channel) -> tuple[object, ...]:
    return (channel.content, channel.id, channel.kind, channel.unit, channel.clock, channel.horizon)


# -- on the grid -----------------------------------------------------------------------------------

_STATES: Memory[StateArray] = Memory(64)
_CARRIED: Memory[list[MaskedSpan]] = Memory(64)


def seconds_state(channel: Channel, grid: FloatArray, codes: tuple[str, ...] = NO_LEVEL) -> StateArray:
    """State of each second of a channel: observed, masked (an artefact, or hidden), or missing (A9, not recorded).

    A person's word goes before a rule's: what is hidden is masked whatever it looks like, and what a person
    believes is observed where anything was recorded on scale.

    Parameters
    ----------
    channel : Channel
        Any channel.
    grid : ndarray
        Whole reference seconds, one apart.
    codes : tuple of str
        Artefacts that are masked: those that take away its level, or `NO_PULSE` for what is made of its beats.
        Either holds `masking.HIDDEN`; an empty one masks nothing, and only what is missing is left out.

    Returns
    -------
    ndarray of uint8
        A second is masked when any part of it is; the second after a flush is masked for its ring, and what
        leads into or out of an opening or a flush without a beat is masked with it. A wave's second is missing
        when less than half of it was recorded on scale.
    """
    bounds = (float(grid[0]), grid.size) if grid.size else (0.0, 0)
    key = (channel_key(channel), bounds, codes)
    return _STATES.get(key, lambda: _state(channel, grid, codes)).copy()


def _state(channel: Channel, grid: FloatArray, codes: tuple[str, ...]) -> StateArray:
    state = np.full(grid.size, OBSERVED, np.uint8)
    if not grid.size:
        return state
    start = float(grid[0])
    if channel.is_wave:
        state[_share_on_scale(channel, start, grid.size) < 0.5] = MISSING
    else:
        state[~np.isfinite(channel.seconds())] = MISSING
    for one in rule_spans(channel):
        if one.code != "A9" and one.code not in codes:
            continue
        for begin, end in one.left_by(channel.believed):
            piece = state[_within(begin - start, end - start)]
            if one.code == "A9":
                piece[:] = MISSING
            else:
                piece[piece == OBSERVED] = MASKED
    for begin, end in channel.hidden if HIDDEN in codes else ():
        piece = state[_within(begin - start, end - start)]
        piece[piece == OBSERVED] = MASKED
    return state


def _within(start: float, end: float) -> slice:
    """The units of an array that begins at zero which a stretch touches."""
    low, high = around(start, end)
    return slice(max(low, 0), max(high, 0))


_THERE: dict[str, There] = {"gap": "nothing", "off scale": "off scale"}


def rule_spans(channel: Channel) -> list[MaskedSpan]:
    """What rules take away from a channel, whatever people say of it, in the order of `artefacts`.

    Parameters
    ----------
    channel : Channel
        Any channel.

    Returns
    -------
    list of MaskedSpan
        One for each artefact, with the ring of a flush and with ramps. Of a recorded mean also those of its wave
        that take away its level (`same_line`), less what a person believes of the wave.
    """
    waves = _waves(channel)
    if not waves:
        return _own_spans(channel)
    key = (_seen_key(channel), *((_seen_key(wave), wave.believed) for wave in waves))
    return list(_CARRIED.get(key, lambda: _with_carried(channel, waves)))


def _waves(channel: Channel) -> list[Channel]:
    may_have = channel.statistic == "mean" and channel.kind in BESIDE
    return waves_of(channel, neighbours(channel)) if may_have else []


def _with_carried(channel: Channel, waves: list[Channel]) -> list[MaskedSpan]:
    found = _own_spans(channel)
    for wave in waves:
        left = [
            replace(one, start=start, end=end)
            for one in _own_spans(wave)
            if one.code in NO_LEVEL
            for start, end in one.left_by(wave.believed)
        ]
        found += carried_over(channel, wave, left, channel.grid)
    return sorted(found, key=lambda one: (one.start, one.code))


def _own_spans(channel: Channel) -> list[MaskedSpan]:
    found = []
    for one in artefacts(channel):
        start, end = (float(edge) for edge in _not_believed(one))
        words = NAMES.get(one.code, one.code)
        there: There = "values"
        if one.code == "A9" or one.evidence.get("what") == "clipped":
            words = str(one.evidence.get("reason", words))
        if one.code == "A9":
            # A value that repeats was recorded, and a person may believe it; in a gap there is none to believe.
            there = _THERE.get(str(one.evidence.get("what")), "values")
        found.append(
            MaskedSpan(start, end, one.code, words, there, artefact_s=(float(one.start), float(one.end)))
        )
    return found


def _not_believed(one: Artefact) -> tuple[float, float]:
    """Start and end of what is masked for an artefact: with the ring of a flush, and with its ramps."""
    if one.code == "A9":
        return one.start, one.end
    ring = FLUSH["ring"].value if one.code == "A2" else 0.0
    before, after = (float(one.evidence.get(name, 0.0)) for name in ("ramp_before_s", "ramp_after_s"))
    return one.start - before, one.end + max(ring, after)


def _share_on_scale(channel: Channel, start: float, count: int) -> FloatArray:
    """Part of each second that was recorded and not off scale."""
    share = np.zeros(count)
    pieces = pieces_of(channel)
    for t0, rate, values, _ in waves_on_scale(pieces, pressure=channel.kind in PRESSURES):
        # First sample of each second: an index for every sample of hours of a fast wave would fill the memory.
        first = (
            np.ceil((np.arange(count + 1) + start - t0 - ROUNDING) * rate)
            .clip(0, values.size)
            .astype(np.intp)
        )
        some = np.flatnonzero(first[1:] > first[:-1])
        if some.size:
            good = np.isfinite(values[: first[some[-1] + 1]])
            share[some] += np.add.reduceat(good, first[some], dtype=np.intp) / rate
    return share


GOOD, MEAN_ONLY, WRONG_LEVEL, ARTEFACT, NOTHING, NOT_JUDGED = 0, 1, 2, 3, 4, 9
"""Classes of a second: the stronger one counts where several hold."""
CLASS_WORDS = {
    GOOD: "good",
    MEAN_ONLY: "usable for its mean only",
    WRONG_LEVEL: "at a wrong level",
    ARTEFACT: "artefact",
    NOTHING: "missing, frozen or withdrawn",
    NOT_JUDGED: "not judged",
}
CLASS_OF = {"A4": MEAN_ONLY, "A7": WRONG_LEVEL, "A9": NOTHING}
"""Class of each artefact code; any other is `ARTEFACT`."""


def quality_class(channel: Channel, grid: FloatArray) -> NDArray[np.uint8]:
    """Class of each second of a channel: ``GOOD`` to ``NOTHING``, or ``NOT_JUDGED``.

    A channel without a known kind is not judged where it was recorded: no shape of it can be called wrong.

    Parameters
    ----------
    channel : Channel
        Any channel.
    grid : ndarray
        Whole reference seconds, one apart.

    Returns
    -------
    ndarray of uint8
        The strongest class that reaches into a second, by `seconds_state` of the codes of each. What a person
        hid is `ARTEFACT`.
    """
    known = channel.kind != "other"
    found = np.full(grid.size, GOOD if known else NOT_JUDGED, np.uint8)
    for code in (*CLASS_OF, *(one for one in NO_LEVEL if one not in CLASS_OF)):
        if code != "A9":
            masked = seconds_state(channel, grid, (code,)) == MASKED
            strength = CLASS_OF.get(code, ARTEFACT)
            if known:
                found[masked] = np.maximum(found[masked], strength)
            elif code == HIDDEN:  # a person judged it
                found[masked] = strength
    found[seconds_state(channel, grid, ()) == MISSING] = NOTHING
    return found


def masked_seconds(channel: Channel, grid: FloatArray, codes: tuple[str, ...] = NO_LEVEL) -> BoolArray:
    """Seconds of the grid in which something was recorded that is not to be believed.

    Artefacts of `codes`, what a person hid where they hold `masking.HIDDEN`, and values off scale or frozen, whether
    inside the record or before a line was connected.
    """
    return np.asarray((seconds_state(channel, grid, codes) != OBSERVED) & np.isfinite(channel.seconds()))


def clean_waves(channel: Channel, masked: bool = True) -> list[Piece]:
    """Pieces of a wave as float64, off-scale samples blank; artefacts, their rings, and what is hidden too.

    What takes away only the pulse (A4) or only the level (A7) stays: its beats have a mean, or a pulse.

    Parameters
    ----------
    channel : Channel
        A wave.
    masked : bool
        Whether artefacts are blanked, less what a person believes, and what a person hid; off-scale samples always
        are, since they are no pressure at all.
    """
    pieces = pieces_of(channel)
    taken = [one for one in rule_spans(channel) if one.code in (*BOTH, "A9")] if masked else []
    blank = [stretch for one in taken for stretch in one.left_by(channel.believed)]
    blank += channel.hidden if masked else ()
    out: list[Piece] = []
    for t0, rate, values, _ in waves_on_scale(pieces, pressure=channel.kind in PRESSURES):
        clean = values
        for begin, end in blank:
            low, high = around((begin - t0) * rate, (end - t0) * rate)
            if high > 0 and low < values.size:
                clean = values.copy() if clean is values else clean
                clean[max(low, 0) : high] = np.nan
        out.append((t0, rate, clean))
    return out

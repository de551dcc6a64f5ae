"""A case read into a `View`: what has to be read from the samples is kept in its cache."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from afterclamp.io.array_cache import text_of
from numpy.typing import NDArray

from .memory import Memory
from .named import signals, under_their_site
from .order import Stretch, stretch_at, stretches
from .runs import FloatArray
from .view import View, facts_of

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel

    from .site import StandIn


def read_view(case: Case, believe: str | None = None) -> View:
    """As `View.of`."""
    from .kept_beats import kept_beats
    from .quality import Artefact
    from .site import believed_signal

    trusted, reason = believed_signal(case, believe)
    by_name = under_their_site(signals(case), trusted)
    named = {name: list(signal.channels) for name, signal in by_name.items()}
    arrays, seen = _arrays(case, named)
    ids = {channel.id: name for name, group in named.items() for channel in group}
    sites = [
        name
        for name, group in named.items()
        if group[0].kind == "arterial_pressure" and group[0].site
        if "/" not in name and not name.endswith("_mean")
    ]
    grid = np.asarray(case.grid, dtype=np.float64)
    clocks = {source.name: stretches(source, case.channels) for source in case.sources}
    sources = {name: signal.sources for name, signal in by_name.items()}
    clocks |= {
        sources[name]: _in_turn(signal.channels, clocks)
        for name, signal in by_name.items()
        if sources[name] not in clocks
    }
    start = float(grid[0]) if len(grid) else 0.0
    believed = ids.get(trusted.first.id, "") if trusted is not None else ""
    chosen = () if believe else _chosen(case, ids, believed, start, len(grid))
    return View(
        start=start,
        values=_of_group(arrays, "value"),
        pulse=_of_group(arrays, "pulse"),
        masked=_of_group(arrays, "mask"),
        quiver=_of_group(arrays, "quiver"),
        low=_of_group(arrays, "low"),
        beats={
            name: kept_beats(case, by_name[name])
            for name, group in named.items()
            if group[0].kind == "arterial_pressure"
            and group[0].is_wave
            and (group[0].site or name == believed)  # a line that a person named counts without a site
        },
        # A line that a person believes counts as arterial, whether or not its site is known.
        arterial=tuple(dict.fromkeys([*sites, *filter(None, [believed]), *(one.name for one in chosen)])),
        believed=believed,
        believed_reason=reason,
        source=sources,
        clock_sd={name: max(stretch.sd_s for stretch in found) for name, found in clocks.items()},
        clocks=clocks,
        interval={
            name: max(1.0, group[0].interval_s) if np.isfinite(group[0].interval_s) else 1.0
            for name, group in named.items()
        },
        facts=facts_of(case),
        artefacts={name: tuple(Artefact(**one) for one in listed) for name, listed in seen.items()},
        chosen=chosen,
    )


def _chosen(
    case: Case, ids: Mapping[str, str], believed: str, start: float, count: int
) -> tuple[StandIn, ...]:
    """The stretches that people chose a line for, on the seconds of the view."""
    from .site import StandIn
    from .site_choices import chosen_pieces, seconds_of, stretch_words

    lines = signals(case)
    found = []
    for piece in chosen_pieces(case):
        first, last = seconds_of(piece.start_s, piece.end_s, start, count)
        name = ids[lines[piece.line].first.id]
        found.append(StandIn(name, first, last, believed, stretch_words(piece), piece.author))
    return tuple(one for one in found if one.start < one.stop)


def _in_turn(channels: tuple[Channel, ...], clocks: Mapping[str, tuple[Stretch, ...]]) -> tuple[Stretch, ...]:
    """The clocks of sources that recorded one signal one after another, each while its recording is used."""
    names = list(dict.fromkeys(channel.source for channel in channels))
    found: list[Stretch] = []
    for number, channel in enumerate(channels):
        begin = max(channel.span.start, channels[number - 1].span.end) if number else -np.inf
        first = stretch_at(clocks[channel.source], begin)
        later = [one for one in clocks[channel.source] if one.from_s > begin]
        found = [one for one in found if one.from_s < begin]
        for one in (first._replace(from_s=begin), *later):
            # Pieces of two sources must not look like one.
            run = one.piece[0] + 10_000 * names.index(channel.source)
            found.append(one._replace(piece=(run, one.piece[1])))
    return tuple(found)


def _arrays(
    case: Case, named: Mapping[str, list[Channel]]
) -> tuple[dict[str, NDArray[Any]], dict[str, list[dict[str, Any]]]]:
    """Everything that has to be read from the samples, and the artefacts of each name.

    Kept in the case's cache name by name, but for a view up to a time: what a person hides of one line leaves the
    others as they were.
    """
    from .quality import channel_key

    arrays: dict[str, NDArray[Any]] = {}
    seen: dict[str, list[dict[str, Any]]] = {}
    code = _code()
    for name, group in named.items():
        parts = (code, name, *(channel_key(one) for one in group))
        compute = partial(_computed, case, name, group)
        if case.horizon is None:
            found = case.cached("view", parts, compute)
        else:  # a view for every place of the playhead would fill the disk
            found = _UP_TO.get((str(case.folder), case.horizon, repr(parts)), compute)
        arrays |= {key: array for key, array in found.items() if key != "artefacts"}
        seen[name] = json.loads(bytes(found["artefacts"]).decode())
    return arrays, seen


_UP_TO: Memory[dict[str, NDArray[Any]]] = Memory(96)  # names of some four views


def _code() -> str:
    """What the arrays depend on besides the case: the text of the modules that compute them."""
    folder = Path(__file__).parent
    return text_of(folder, folder / "measures")


def _computed(case: Case, name: str, group: list[Channel]) -> dict[str, NDArray[Any]]:
    from .quality import artefacts

    grid = np.asarray(case.grid, dtype=np.float64)
    arrays: dict[str, NDArray[Any]] = {}
    for channel in group:
        _lay_behind(arrays, _channel_arrays(channel, name, grid), name)
    seen = [
        {"code": one.code, "start": one.start, "end": one.end, "evidence": one.evidence}
        for channel in group
        for one in artefacts(channel)
    ]
    text = json.dumps(seen, default=lambda value: np.asarray(value).tolist())
    arrays["artefacts"] = np.frombuffer(text.encode(), dtype=np.uint8)
    return arrays


def _lay_behind(arrays: dict[str, NDArray[Any]], more: Mapping[str, NDArray[Any]], name: str) -> None:
    """Add a channel's arrays to those of its name: a second that an earlier channel recorded stays as it is."""
    mask, value = f"mask:{name}", f"value:{name}"
    taken = arrays[mask] | np.isfinite(arrays[value]) if mask in arrays else None
    for key, array in more.items():
        arrays[key] = array if taken is None else np.where(taken, arrays[key], array)


def _channel_arrays(channel: Channel, name: str, grid: FloatArray) -> dict[str, NDArray[Any]]:
    from .beats import pulse_pressure
    from .measures.pressure import mean_arterial_pressure
    from .quality import NO_PULSE, clean_waves, masked_seconds
    from .quiver import fibrillation_ripple

    mask = np.asarray(masked_seconds(channel, grid), dtype=np.bool_)
    arrays: dict[str, NDArray[Any]] = {f"mask:{name}": mask}
    if channel.kind == "arterial_pressure" and channel.is_wave:
        seconds = mean_arterial_pressure(channel, grid).values
        beatless = masked_seconds(channel, grid, NO_PULSE)
        arrays[f"pulse:{name}"] = np.where(beatless, np.nan, pulse_pressure(channel, grid))
        first = float(grid[0]) if grid.size else 0.0
        arrays[f"quiver:{name}"] = fibrillation_ripple(clean_waves(channel), first, grid.size)
    else:
        seconds = np.asarray(channel.seconds(), dtype=np.float64)
    arrays[f"value:{name}"] = np.where(mask, np.nan, seconds)
    if channel.kind == "pulmonary_artery_pressure" and channel.is_wave:
        arrays[f"low:{name}"] = np.where(mask, np.nan, channel.seconds("min"))
    return arrays


def _of_group(arrays: Mapping[str, NDArray[Any]], group: str) -> dict[str, NDArray[Any]]:
    prefix = f"{group}:"
    return {key.removeprefix(prefix): array for key, array in arrays.items() if key.startswith(prefix)}

"""What a reader hands over: one source as it was recorded, on its own clock, nothing altered."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Segment:
    """A run of evenly spaced samples.

    Attributes
    ----------
    start_s : float
        Source seconds (since the source's first stamp) of the first sample.
    first : int
        Index of that sample within the channel.
    count : int
        Number of samples.
    rate_hz : float
        Samples per second on the source's own clock.
    scale, offset : float
        ``value = code * scale + offset`` in the channel's unit as written.
    run : int
        How many times the source's clock was seen to go backwards before this segment.
    """

    start_s: float
    first: int
    count: int
    rate_hz: float
    scale: float = 1.0
    offset: float = 0.0
    run: int = 0

    @property
    def end_s(self) -> float:
        """Source seconds at which the sample after the last would stand."""
        return self.start_s + self.count / self.rate_hz


@dataclass(frozen=True, slots=True)
class Block:
    """A piece of a channel, in order: codes and which of them were really recorded."""

    codes: NDArray[Any]
    valid: NDArray[np.bool_] | None = None  # None: every sample of the block is there


@dataclass(frozen=True)
class RecordedChannel:
    """One channel as recorded; samples are handed over in blocks so that memory stays bounded.

    Attributes
    ----------
    key : str
        Unique in the source, ASCII letters, digits, ``_``; made from the label.
    label : str
        As written in the file.
    unit_as_written : str
        As written in the file; never altered.
    dtype : numpy dtype
        Of the codes: the source's own integer width, else float32.
    count : int
        Samples in all.
    blocks : callable
        A fresh iterator over all samples in order each time it is called.
    segments : tuple of Segment
        For evenly spaced channels; their counts add up to ``count``.
    times : ndarray or None
        For uneven rows instead of segments: source seconds, one per sample, in file order.
    runs : ndarray or None
        With ``times``: how often the clock had gone backwards at each row; None to take it from the times.
    """

    key: str
    label: str
    unit_as_written: str
    dtype: np.dtype[Any]
    count: int
    blocks: Callable[[], Iterator[Block]]
    segments: tuple[Segment, ...] = ()
    times: FloatArray | None = None
    runs: NDArray[np.int32] | None = None

    def __post_init__(self) -> None:
        if (self.times is None) == (not self.segments and self.count > 0):
            raise ValueError(f"channel {self.key}: give either segments or times")


@dataclass(frozen=True, slots=True)
class Note:
    """A line of text with a time on the source's clock: a log line, a caption, an annotation."""

    start_s: float
    end_s: float  # equal to start_s for a point
    text: str
    sd_s: float = 0.0  # what the writing itself leaves open: whole minutes give 17 s (30 / sqrt 3)
    author: str = ""
    run: int = 0


@dataclass(frozen=True)
class Recording:
    """One source: what one device, file or person recorded.

    Attributes
    ----------
    name : str
        Short name of the source, ASCII, unique in a bring-in; from the file name.
    reader : str
        Name of the reader that made it.
    files : tuple of (str, str)
        File name and SHA-256 of everything that was read.
    first_stamp : datetime or None
        What the source's own clock said at source second 0; None where it has only its own zero.
    dated : bool
        Whether the date of ``first_stamp`` was really in the file (else only the time of day counts).
    notes : tuple of Note
        Text lines.
    set_aside : tuple of str
        What could not be read and was left out, each with its place.
    about : mapping
        Anything else the file says of itself (device as typed, record name ...).
    side_by_side : bool
        Whether samples are best taken from all channels in turn, since the file holds them together.
    """

    name: str
    reader: str
    files: tuple[tuple[str, str], ...]
    channels: tuple[RecordedChannel, ...] = ()
    notes: tuple[Note, ...] = ()
    first_stamp: datetime | None = None
    dated: bool = False
    set_aside: tuple[str, ...] = ()
    about: Mapping[str, str] = field(default_factory=dict)
    side_by_side: bool = False


def one_block(codes: NDArray[Any], valid: NDArray[np.bool_] | None = None) -> Callable[[], Iterator[Block]]:
    """Blocks of a channel that is already whole in memory."""

    def blocks() -> Iterator[Block]:
        yield Block(codes, valid)

    return blocks

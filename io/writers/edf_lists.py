"""The annotation signal of an EDF+ file: texts with onset and duration, spread over the data records.

Every data record has the same room for them, so one crowded second would make the whole file large. A list is
bound to its onset and not to the record that it is stored in; those that find no room go into one of the next.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

# Codes that end a text, a list or a number; and what no text needs (the format allows tab and line ends).
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]+")
_LEAST_BYTES = 32


@dataclass(frozen=True, slots=True)
class Listed:
    """A text; times in seconds after the start of the file."""

    onset_s: float
    duration_s: float
    text: str

    def encoded(self, fraction_s: float) -> bytes:
        """As a time-stamped annotations list; none for an empty text."""
        text = _CONTROL.sub(" ", self.text).strip()
        if not text:
            return b""
        duration = f"\x15{number(self.duration_s)}" if self.duration_s > 0 else ""
        sign = "+" if self.onset_s + fraction_s >= 0 else ""
        return f"{sign}{number(self.onset_s + fraction_s)}{duration}\x14{text}\x14\0".encode()


def number(seconds: float) -> str:
    """Seconds to a tenth of a microsecond, without what is not needed."""
    text = f"{seconds:.7f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def lists_of(listed: Sequence[Listed], records: int, record_s: int, fraction_s: float) -> list[bytes]:
    """The bytes of the annotation signal, of one length, for each record.

    Parameters
    ----------
    listed : sequence of Listed
        In any order.
    records, record_s : int
        How many there are and how long each is.
    fraction_s : float
        How much later than the header's start the file starts.
    """
    ordered = sorted(listed, key=lambda one: one.onset_s)
    texts = [(int(one.onset_s // record_s), raw) for one in ordered if (raw := one.encoded(fraction_s))]
    keepers = [f"+{number(fraction_s + k * record_s)}\x14\x14\0".encode() for k in range(records)]
    longest = max((len(raw) for _, raw in texts), default=0)
    room = max(longest, 2 * sum(len(raw) for _, raw in texts) // records, _LEAST_BYTES)
    while (spread := _spread(texts, records, room)) is None:
        room = room * 3 // 2
    out = [keeper + raw for keeper, raw in zip(keepers, spread, strict=True)]
    width = max(map(len, out))
    return [raw.ljust(width + width % 2, b"\0") for raw in out]


def _spread(texts: Sequence[tuple[int, bytes]], records: int, room: int) -> list[bytes] | None:
    waiting = deque(texts)
    out = []
    for record in range(records):
        piece, left = [], room
        while waiting and waiting[0][0] <= record and len(waiting[0][1]) <= left:
            raw = waiting.popleft()[1]
            piece.append(raw)
            left -= len(raw)
        out.append(b"".join(piece))
    # Texts behind the end of the samples: to the last record that has room for them.
    for record in range(records - 1, -1, -1):
        while waiting and len(out[record]) + len(waiting[0][1]) <= room:
            out[record] += waiting.popleft()[1]
    return None if waiting else out

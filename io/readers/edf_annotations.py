"""Annotations of EDF+: lists of texts with a time, one of which keeps the time of each data record.

The time-stamped annotations list is laid down in Kemp and Olivan, Clin Neurophysiol 2003;114:1755-1761,
section 2.2: onset with its sign, if given byte 21 and a duration, then each text between bytes 20, then
byte 0; in seconds after the start that the header gives. The first list of a record begins with an empty
text, and its onset is the time at which the record starts.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_NUMBER = rb"\d{1,12}(?:\.\d{0,12})?"
_LIST = re.compile(rb"([+-]" + _NUMBER + rb")(?:\x15(" + _NUMBER + rb")?)?\x14(.*)\x14", re.DOTALL)
_ONLY_TIME = re.compile(rb"([+-]" + _NUMBER + rb")\x14\x14\0*")
_TOLD = 50  # so many unreadable lists are told one by one, the rest as a count


@dataclass(frozen=True, slots=True)
class Annotation:
    """One text; times in seconds after the start in the header."""

    record: int
    onset_s: float
    duration_s: float
    text: str


@dataclass(frozen=True)
class Annotations:
    """All of a file.

    Attributes
    ----------
    record_onsets : ndarray of float64
        When each record starts, seconds after the start in the header; NaN where a record does not say.
    texts : tuple of Annotation
        In file order.
    set_aside : tuple of str
        What could not be read, with its record.
    """

    record_onsets: NDArray[np.float64]
    texts: tuple[Annotation, ...]
    set_aside: tuple[str, ...]


def read_annotations(records: Iterable[Sequence[bytes]], count: int) -> Annotations:
    """Read the annotation signals.

    Parameters
    ----------
    records : iterable of sequences of bytes
        For each data record the bytes of each annotation signal, in order.
    count : int
        Number of data records.
    """
    onsets = np.full(count, np.nan)
    texts: list[Annotation] = []
    bad: list[str] = []
    for record, signals in enumerate(records):
        if len(signals) == 1 and (kept := _ONLY_TIME.fullmatch(signals[0])):
            onsets[record] = float(kept[1])  # as in nearly all records of a long file
            continue
        for order, raw in enumerate(signals):
            for position, piece in enumerate(raw.rstrip(b"\0").split(b"\0")):
                if not piece:
                    continue
                match = _LIST.fullmatch(piece)
                if match is None:
                    bad.append(
                        f"record {record + 1}: an annotation that reads {_shown(piece)} is not in the form "
                        "of the format and was left out"
                    )
                    continue
                onset = float(match[1])
                duration = float(match[2] or 0)
                words = match[3].split(b"\x14")
                if order == 0 and position == 0 and not words[0]:
                    onsets[record] = onset
                for word in words:
                    if word:
                        texts.append(Annotation(record, onset, duration, _decoded(word, record, bad)))
    if len(bad) > _TOLD:
        bad[_TOLD:] = [f"and {len(bad) - _TOLD} more annotations of that sort"]
    return Annotations(onsets, tuple(texts), tuple(bad))


def _decoded(word: bytes, record: int, bad: list[str]) -> str:
    try:
        return word.decode("utf-8").strip()
    except UnicodeDecodeError:
        bad.append(
            f"record {record + 1}: the annotation {_shown(word)} is not UTF-8; letters that could not be "
            "read stand as \N{REPLACEMENT CHARACTER}"
        )
        return word.decode("utf-8", errors="replace").strip()


def _shown(raw: bytes) -> str:
    text = repr(raw[:40])[1:]
    return text if len(raw) <= 40 else f"{text} ..."

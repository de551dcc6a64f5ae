"""Recordings made in memory, for tests that need a case without a file format."""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from afterclamp.io import casefile
from afterclamp.io.case import Case
from afterclamp.io.recording import Block, Note, RecordedChannel, Recording, Segment
from afterclamp.io.terms import Identity
from numpy.typing import NDArray

START = datetime(2026, 1, 1, 8, 0, 0)


def even(
    label: str,
    codes: NDArray[Any],
    segments: Sequence[Segment],
    *,
    unit: str = "mmHg",
    valid: NDArray[np.bool_] | None = None,
    block: int = 50_000,
) -> RecordedChannel:
    """An evenly sampled channel handed over in blocks of odd length."""

    def blocks() -> Iterator[Block]:
        for start in range(0, len(codes), block):
            stop = start + block
            yield Block(codes[start:stop], None if valid is None else valid[start:stop])

    return RecordedChannel(
        label.lower().replace(" ", "_"), label, unit, codes.dtype, len(codes), blocks, tuple(segments)
    )


def recording(
    name: str,
    channels: Sequence[RecordedChannel],
    *,
    first_stamp: datetime | None = START,
    notes: Sequence[Note] = (),
) -> Recording:
    """A source of that name."""
    digest = hashlib.sha256()  # of the samples, as a file's would be: what was computed of them is kept by it
    for channel in channels:
        digest.update(repr((channel.key, channel.segments)).encode())
        for block in channel.blocks():
            digest.update(np.ascontiguousarray(block.codes).tobytes())
            digest.update(b"" if block.valid is None else np.ascontiguousarray(block.valid).tobytes())
    files = ((f"{name}.mem", digest.hexdigest()),)
    return Recording(name, "memory", files, tuple(channels), tuple(notes), first_stamp, True)


def case_of(folder: Path, *recordings: Recording, identities: dict[str, Identity] | None = None) -> Case:
    """A case folder holding these recordings, opened."""
    (folder / "traces").mkdir(parents=True)
    for one in recordings:
        casefile.write(one, folder / "traces" / f"{one.name}.h5", identities=identities)
    return Case.open(folder)


def linked_copy(folder: Path, into: Path) -> Path:
    """A copy of a case whose traces, which nothing ever changes, are the same files: no copying of megabytes."""
    shutil.copytree(folder, into, ignore=shutil.ignore_patterns("traces"))
    shutil.copytree(folder / "traces", into / "traces", copy_function=os.link)
    return into

"""The rows of a table as bytes, in pieces that end where a row ends.

The file is read once: what is parsed is also what is hashed and looked through. Reading and hashing the next piece
goes on in a thread while this one is taken apart.
"""

from __future__ import annotations

import codecs
import hashlib
import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from ..errors import FileUnreadable

_PIECE = 1 << 20
_MOST_HELD = 1 << 25  # bytes that a cell in quotation marks may run over before it counts as never closed
_LINE_END = re.compile(rb"\r\n|\r|\n")


class QuoteOpen(ValueError):
    """A quotation mark is opened and not closed for a long way."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Whole rows in UTF-8.

    Attributes
    ----------
    data : bytes
    quoted : bool
        Whether a quotation mark occurs in it.
    share : float
        How much of the file has been read at its end, 0 to 1.
    """

    data: bytes
    quoted: bool
    share: float


class RowBytes:
    """Pieces of a file from its first row of data on; afterwards its hash.

    Parameters
    ----------
    path : Path
    encoding : str
        ``"utf-8"``, ``"utf-8-sig"``, ``"utf-16"`` or ``"latin-1"``.
    skip_lines : int
        Lines before the first row.
    """

    def __init__(self, path: Path, encoding: str, skip_lines: int) -> None:
        self.path = path
        self.encoding = encoding
        self.size = path.stat().st_size
        self._skip = skip_lines
        self._digest = hashlib.sha256()

    @property
    def sha256(self) -> str:
        """SHA-256 of the whole file, once all pieces were taken."""
        return self._digest.hexdigest()

    def __iter__(self) -> Iterator[Piece]:
        """Pieces in order. Raises `FileUnreadable`, `QuoteOpen` and `UnicodeDecodeError`."""
        pieces = self._pieces()
        if self.size <= _PIECE:
            yield from pieces
            return
        with ThreadPoolExecutor(1) as worker:
            waiting = worker.submit(next, pieces, None)
            while (piece := waiting.result()) is not None:
                waiting = worker.submit(next, pieces, None)
                yield piece

    def _pieces(self) -> Iterator[Piece]:
        held = b""
        read = 0
        for raw, data in self._decoded():
            read += raw
            # The last row's end is looked for in what is new, so that long pieces are joined once and cut once.
            cut = _end_of_rows(data) if b'"' not in held else 0
            if cut:
                yield self._piece(held + data[:cut], read)
                held = data[cut:]
                continue
            held += data
            cut = _end_of_rows(held)
            if cut:
                yield self._piece(held[:cut], read)
                held = held[cut:]
            elif len(held) > _MOST_HELD:
                raise QuoteOpen
        if held:
            yield self._piece(held, self.size)

    def _piece(self, data: bytes, read: int) -> Piece:
        if b"\0" in data:
            raise FileUnreadable(
                "there is a zero byte in this text",
                path=self.path,
                place=f"before byte {read}",
                todo="Export it again: the file was damaged, or is no text",
            )
        if self.encoding.startswith("utf-8") and not data.isascii():
            data.decode("utf-8")
        return Piece(data, b'"' in data, read / max(self.size, 1))

    def _decoded(self) -> Iterator[tuple[int, bytes]]:
        """Bytes read, and what they are in UTF-8, without mark and header."""
        is_utf8 = self.encoding.startswith("utf-8")
        recode = None if is_utf8 else codecs.getincrementaldecoder(self.encoding)()
        skip = self._skip
        first = True
        pending = b""
        with self.path.open("rb") as file:
            while raw := file.read(_PIECE):
                self._digest.update(raw)
                data = raw if recode is None else recode.decode(raw).encode("utf-8", "surrogatepass")
                if first and data.startswith(codecs.BOM_UTF8):
                    data = data[len(codecs.BOM_UTF8) :]
                first = False
                if skip:
                    pending += data
                    ends = [match.end() for match in _LINE_END.finditer(pending)]
                    # The last line end is passed over: it may be the first half of one.
                    if len(ends) <= skip and len(raw) == _PIECE:
                        continue
                    data = pending[ends[skip - 1] :] if len(ends) >= skip else b""
                    skip, pending = 0, b""
                yield len(raw), data
        if recode is not None:
            recode.decode(b"", final=True)


def _end_of_rows(data: bytes) -> int:
    """Where the last whole row ends: after a line end outside quotation marks; 0 if there is none."""
    end = b"\n" if b"\n" in data else b"\r"
    cut = data.rfind(end) + 1
    if b'"' not in data:
        return cut
    for _ in range(200):
        if not cut or data.count(b'"', 0, cut) % 2 == 0:
            return cut
        cut = data.rfind(end, 0, cut - 1) + 1
    return 0

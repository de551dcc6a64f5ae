"""The structure of a DICOM waveform file: its data set by pydicom, and where the samples of each group lie.

A file holds one or more multiplex groups of channels sampled together (DICOM PS3.3, C.10.9). pydicom would take
all samples into memory with the group that they stand in, so each group is read up to its samples and these are
left in the file. Nothing is set up for a length that an element merely claims.
"""

from __future__ import annotations

import struct
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Final

from ..errors import FileUnreadable
from .dicom_fields import stumbles
from .quoting import quoted, shown

WAVEFORM_STORAGE: Final = "1.2.840.10008.5.1.4.1.1.9."  # PS3.6, annex A: classes of waveforms begin so
_SYNTAXES: Final = {  # PS3.6, annex A: implicit VR?, least significant byte first?
    "1.2.840.10008.1.2": (True, True),
    "1.2.840.10008.1.2.1": (False, True),
    "1.2.840.10008.1.2.2": (False, False),
}
_WAVEFORM_SEQUENCE = 0x54000100
_WAVEFORM_DATA = 0x54001010
_ITEM, _SEQUENCE_END = (0xFFFE, 0xE000), (0xFFFE, 0xE0DD)
_UNDEFINED = 0xFFFFFFFF
_LARGEST = 1 << 20  # bytes; a larger element before the samples is nothing that is needed
_HEAD = 4096  # the file meta information stands in these bytes

_DAMAGED = "Export or copy the file again"


@dataclass(frozen=True)
class Group:
    """One multiplex group: what it says of itself, and where its samples lie in the file."""

    number: int  # from 1, as other parts of the file count
    item: Any  # pydicom.Dataset without the samples
    first_byte: int
    bytes: int


@dataclass(frozen=True)
class DicomFile:
    """A file taken apart: ``dataset`` is a pydicom.Dataset of what stands before the waveforms."""

    dataset: Any
    groups: tuple[Group, ...]
    little_endian: bool


def class_of(head: bytes) -> str:
    """Storage class that the first bytes of a file name, a dotted number; empty where they name none."""
    return _meta_text(head, b"\x02\x00\x02\x00UI")


def _meta_text(head: bytes, element: bytes) -> str:
    # File meta information is always explicit VR, least significant byte first (PS3.10, 7.1).
    at = head.find(element, 132)
    if head[128:132] != b"DICM" or at < 0 or at + 8 > len(head):
        return ""
    length = int.from_bytes(head[at + 6 : at + 8], "little")
    return head[at + 8 : at + 8 + length].strip(b"\0 ").decode("ascii", "replace")


def read_groups(path: Path) -> DicomFile:
    """Take a file apart.

    Raises
    ------
    FileUnreadable
        Not DICOM, no waveforms in it, cut, or not as the standard says.
    """
    try:
        size = path.stat().st_size
        with path.open("rb") as file, warnings.catch_warnings():
            warnings.simplefilter("ignore")  # on values that are not needed here
            head = file.read(_HEAD)
            file.seek(0)
            implicit, little = _syntax(path, head)
            return _taken_apart(path, _Within(file, size), implicit, little)
    except stumbles() as cause:
        reason = getattr(cause, "strerror", None) or shown(cause) or type(cause).__name__
        raise FileUnreadable(f"the data set cannot be read ({reason})", path=path, todo=_DAMAGED) from cause


def _syntax(path: Path, head: bytes) -> tuple[bool, bool]:
    if head[128:132] != b"DICM":
        raise FileUnreadable(
            f"the letters 'DICM' were expected here, found {quoted(head[128:132])}",
            path=path,
            place="byte 128",
            todo="Check what kind of file it is; a data set without its file header cannot be read",
        )
    syntax = _meta_text(head, b"\x02\x00\x10\x00UI")
    if syntax not in _SYNTAXES:
        raise FileUnreadable(
            f"it is stored in transfer syntax {quoted(syntax)}; implicit or explicit VR, not compressed, can be read",
            path=path,
            todo="Export it as Explicit VR Little Endian",
        )
    return _SYNTAXES[syntax]


def _taken_apart(path: Path, file: _Within, implicit: bool, little: bool) -> DicomFile:
    from pydicom.filereader import read_partial

    dataset = read_partial(
        file,  # type: ignore[arg-type]  # all that it asks of a file is there
        stop_when=lambda tag, _vr, _length: tag >= _WAVEFORM_SEQUENCE,
        defer_size=_LARGEST,
    )
    header = file.read(12 if not implicit else 8)
    order = "<" if little else ">"
    expected = struct.pack(order + "HH", _WAVEFORM_SEQUENCE >> 16, _WAVEFORM_SEQUENCE & 0xFFFF)
    if header[:4] != expected or (not implicit and header[4:6] != b"SQ"):
        kind = dataset.get("SOPClassUID")
        raise FileUnreadable(
            "it holds no waveforms"
            + ("" if header else ", or is cut before them")
            + (f" (it is: {shown(getattr(kind, 'name', kind))})" if kind is not None else ""),
            path=path,
            place="" if header else f"byte {file.size}",
            todo="Give the file of the waveforms, or export it again",
        )
    (length,) = struct.unpack(order + "L", header[-4:])
    end = file.size if length == _UNDEFINED else min(file.tell() + length, file.size)
    groups: list[Group] = []
    while file.tell() < end:
        at = file.tell()
        item = file.read(8)
        if len(item) < 8:
            raise _cut(path, at, f"multiplex group {len(groups) + 1}")
        group, element, length = struct.unpack(order + "HHL", item)
        if (group, element) == _SEQUENCE_END:
            break
        if (group, element) != _ITEM:
            raise FileUnreadable(
                f"multiplex group {len(groups) + 1} was expected here, found ({group:04X},{element:04X})",
                path=path,
                place=f"byte {at}",
                todo=_DAMAGED,
            )
        groups.append(_group(path, file, len(groups) + 1, length, dataset, implicit, little))
    if not groups:
        raise FileUnreadable("its sequence of waveforms is empty", path=path, todo=_DAMAGED)
    return DicomFile(dataset, tuple(groups), little)


def _group(
    path: Path, file: _Within, number: int, length: int, dataset: Any, implicit: bool, little: bool
) -> Group:
    from pydicom.filereader import read_dataset

    begins = file.tell()
    found: list[tuple[str | None, int]] = []

    def at_samples(tag: int, vr: str | None, length: int) -> bool:
        if tag == _WAVEFORM_DATA:
            found.append((vr, length))
        return tag == _WAVEFORM_DATA

    def read_on(stop: Callable[[int, str | None, int], bool] | None, bytelength: int | None) -> Any:
        return read_dataset(
            file,  # type: ignore[arg-type]
            implicit,
            little,
            bytelength=bytelength,
            stop_when=stop,
            defer_size=_LARGEST,
            parent_encoding=dataset._character_set,
            at_top_level=False,
        )

    item = read_on(at_samples, None if length == _UNDEFINED else length)
    if not found and (file.tell() >= file.size if length == _UNDEFINED else begins + length > file.size):
        raise _cut(path, file.size, f"multiplex group {number}")
    if not found or (length != _UNDEFINED and file.tell() >= begins + length):
        raise FileUnreadable(
            f"multiplex group {number} holds no samples (5400,1010)",
            path=path,
            place=f"byte {begins}",
            todo=_DAMAGED,
        )
    vr, held = found[-1]
    first = file.tell() + (12 if vr in ("OB", "OW", "UN") else 8)
    if held == _UNDEFINED:
        raise FileUnreadable(
            f"the samples of multiplex group {number} are of undefined length",
            path=path,
            place=f"byte {first}",
            todo="Export it as Explicit VR Little Endian",
        )
    if first + held > file.size:
        raise _cut(path, file.size, f"the {held} bytes of samples of multiplex group {number}")
    if length == _UNDEFINED:
        file.seek(first + held)
        read_on(None, None)  # up to the mark of its end
    else:
        file.seek(begins + length)
    return Group(number, item, first, held)


def _cut(path: Path, at: int, what: str) -> FileUnreadable:
    return FileUnreadable(
        f"the file is cut: it ends within {what}", path=path, place=f"byte {at}", todo=_DAMAGED
    )


class _Within:
    """A file that is never asked for more than is left in it, whatever length an element claims."""

    def __init__(self, file: BinaryIO, size: int) -> None:
        self._file = file
        self.size = size
        self.name = str(file.name)

    def read(self, many: int = -1) -> bytes:
        left = max(self.size - self._file.tell(), 0)
        return self._file.read(left if many < 0 else min(many, left))

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()

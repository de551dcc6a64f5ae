"""Identity out of a recording: what `identity` finds, taken out of every text that a case would keep.

Absolute dates: a recording's clock keeps its time of day. Its date becomes a neutral one, 1 January 2000 for the
first day of the case, and later days keep their distance; the day itself is kept only on the machine that brought
the files in (see `origins`).
"""

from __future__ import annotations

import struct
import warnings
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Final

from .identity import Found, FoundKind, Where, find_identifiers, placed, without, words_of
from .readers.names import slug, unique_keys
from .recording import RecordedChannel, Recording

NEUTRAL_DAY: Final = date(2000, 1, 1)
"""The first day of a case whose dates were taken out."""

DATE_KEY: Final = "date"
"""Where a source says, among what it says of itself, that its date was taken out."""

# What readers themselves say of a file: counts and words of theirs, in which a long number is no person's.
_READERS_OWN: Final = frozenset(
    {
        "separator",
        "decimal sign",
        "encoding",
        "time",
        "rows",
        "clock",
        "clock set back",
        "format",
        "ticks_per_s",
    }
)
_DICOM: Final[Mapping[str, FoundKind]] = {
    "PatientName": "name",
    "PatientID": "number",
    "PatientBirthDate": "date of birth",
    "OtherPatientIDs": "number",
    "PatientTelephoneNumbers": "contact",
    "PatientAddress": "contact",
    "ReferringPhysicianName": "name",
    "PerformingPhysicianName": "name",
    "OperatorsName": "name",
    "AccessionNumber": "number",
    "StudyID": "number",
    "StudyDate": "date",
}
# What pydicom lets through of damaged fields.
_PYDICOM_RAISES: Final = (
    OSError,
    EOFError,
    ValueError,
    ArithmeticError,
    LookupError,
    TypeError,
    AttributeError,
    RuntimeError,
    AssertionError,
    struct.error,
)
_HEAD: Final = 8192
_TEXT_FILES: Final = frozenset({".csv", ".tsv", ".txt", ".log", ".vtt", ".srt", ".hea", ".toml"})


def find_in(recording: Recording) -> tuple[Found, ...]:
    """What a recording would carry into a case: by file name, labels, notes, authors and what it says of itself."""
    found: list[Found] = []
    for place, where, text in dict.fromkeys(_texts(recording)):  # beat annotations repeat a few texts
        found += placed(find_identifiers(text, where=where), place)
    return tuple(found)


def scrub(recording: Recording, *, known: Iterable[str] = ()) -> tuple[Recording, tuple[Found, ...]]:
    """A recording without what says who somebody is.

    Parameters
    ----------
    recording : Recording
    known : iterable of str
        Names and numbers found elsewhere, as in another file of the case.

    Returns
    -------
    Recording
        Its texts scrubbed, and a line in ``set_aside`` for each place that says how many of what was taken out,
        never what it was. Samples, times and SHA-256 are as they were.
    tuple of Found
        What was found, sure or not, to be shown to a person and kept nowhere.
    """
    broom = _Broom(frozenset(known) | words_of(find_in(recording)))
    labels = [
        broom.clean(channel.label, "label", "label of a channel", tidy=True) or f"channel {number}"
        for number, channel in enumerate(recording.channels, 1)
    ]
    keys = _keys(recording.channels, labels)
    files = tuple((_file_name(name, recording.reader, broom), sha) for name, sha in recording.files)
    notes = tuple(
        replace(
            note,
            text=broom.clean(note.text, "text", "note"),
            author=broom.clean(note.author, "author", "author of a note"),
        )
        for note in recording.notes
    )
    about = {
        _about_key(key, keys): value
        if key.startswith("identity:")
        else broom.clean(value, _about_where(key), f"{key} in the header", own_words=key in _READERS_OWN)
        for key, value in recording.about.items()
    }
    # The source's name is made of the file's, and these lines quote what was found above: nothing new in either.
    quiet = _Broom(broom.known)
    name = quiet.clean(recording.name, "file name", "", tidy=True)
    set_aside = tuple(quiet.clean(line, "text", "", own_words=True) for line in recording.set_aside)
    cleaned = replace(
        recording,
        name=_source_name(name, recording),
        files=files,
        channels=tuple(
            replace(channel, label=label, key=keys[channel.key])
            for channel, label in zip(recording.channels, labels, strict=True)
        ),
        notes=notes,
        about=about,
        set_aside=set_aside + told_of(broom.found),
    )
    return cleaned, tuple(broom.found)


def _source_name(left: str, recording: Recording) -> str:
    """What is left of a source's name; with the format before it where only digits are."""
    if left == recording.name or any(sign.isalpha() for sign in left):
        return slug(left, "source")
    return slug(f"{recording.reader.lower()} {left}", "source")


@dataclass
class _Broom:
    """Cleans text after text and keeps what it found."""

    known: frozenset[str]
    found: list[Found] = field(default_factory=list)
    _seen: dict[tuple[str, Where], list[Found]] = field(default_factory=dict)

    def clean(
        self, text: str, where: Where, place: str, *, tidy: bool = False, own_words: bool = False
    ) -> str:
        if (text, where) not in self._seen:
            self._seen[text, where] = find_identifiers(text, where=where, known=self.known)
        some = self._seen[text, where]
        if own_words:  # a reader counts rows and bytes: of the numbers only those known from elsewhere
            some = [one for one in some if one.kind != "number" or one.text in self.known]
        self.found += placed(some, place)
        return without(text, some, tidy=tidy)


def told_of(found: Iterable[Found]) -> tuple[str, ...]:
    """How many of what was taken out where, without what it was."""
    counts = Counter((one.place, one.kind) for one in found if one.sure)
    return tuple(
        f"identity: {'a' if many == 1 else many} {kind}{'' if many == 1 else 's'} "
        f"{'was' if many == 1 else 'were'} kept out ({place})"
        for (place, kind), many in sorted(counts.items())
    )


def _texts(recording: Recording) -> list[tuple[str, Where, str]]:
    rows: list[tuple[str, Where, str]] = [
        ("file name", "file name", Path(name).stem) for name, _ in recording.files
    ]
    rows += [("label of a channel", "label", channel.label) for channel in recording.channels]
    for note in recording.notes:
        rows += [("note", "text", note.text), ("author of a note", "author", note.author)]
    rows += [
        (f"{key} in the header", _about_where(key), value)
        for key, value in recording.about.items()
        if key not in _READERS_OWN and not key.startswith("identity:")
    ]
    return rows


def _about_where(key: str) -> Where:
    return "file name" if key in ("record", "annotator") else "text"


def _file_name(name: str, reader: str, broom: _Broom) -> str:
    path = Path(name)
    stem = broom.clean(path.stem, "file name", "file name", tidy=True)
    return (stem or slug(reader.lower(), "source")) + path.suffix


def clean_file_name(name: str, known: Iterable[str] = ()) -> str:
    """A file's name without identity, as of one that is only mentioned."""
    return _file_name(name, "file", _Broom(frozenset(known)))


def _keys(channels: Sequence[RecordedChannel], labels: Sequence[str]) -> dict[str, str]:
    """New key of each channel by its old one; unchanged where the label is."""
    if all(channel.label == label for channel, label in zip(channels, labels, strict=True)):
        return {channel.key: channel.key for channel in channels}
    return {channel.key: key for channel, key in zip(channels, unique_keys(labels), strict=True)}


def _about_key(key: str, keys: Mapping[str, str]) -> str:
    """The name of something that a source says of itself, where it begins or ends with a channel's key."""
    start, _, rest = key.partition(":")
    if start == "identity" and rest in keys:
        return f"identity:{keys[rest]}"
    first, space, rest = key.partition(" ")
    return f"{keys[first]}{space}{rest}" if space and first in keys else key


def clean_comments(toml: bytes) -> bytes:
    """A TOML file with its comments cleaned; its values are checked by whoever reads it."""
    lines = toml.decode("utf-8", "replace").split("\n")
    for number, line in enumerate(lines):
        start = _comment_at(line)
        lines[number] = line[:start] + without(line[start:], find_identifiers(line[start:]))
    return "\n".join(lines).encode()


def find_in_comments(toml: bytes) -> tuple[Found, ...]:
    """What the comments of a TOML file say of who somebody is: what `clean_comments` takes out, and what it leaves."""
    found: list[Found] = []
    for line in toml.decode("utf-8", "replace").split("\n"):
        found += placed(find_identifiers(line[_comment_at(line) :]), "comment in the case sheet")
    return tuple(found)


def _comment_at(line: str) -> int:
    """Where the comment of a line begins, or its end."""
    signs = (at for at, sign in enumerate(line) if sign == "#" and line[:at].count('"') % 2 == 0)
    return next(signs, len(line))


# -- headers that no reader takes over ---------------------------------------------------------------


def find_in_header(path: Path) -> list[Found]:
    """What stands in a file's header and is not read into a recording: to be listed, and looked for elsewhere.

    Parameters
    ----------
    path : Path
        EDF and BDF: the fields for patient and recording. DICOM: the persons, numbers and days of its patient and
        study. Text: what stands above the numbers.
    """
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD)
    except OSError:
        return []  # told when the file is read
    if head[:8].rstrip() in (b"0", b"\xffBIOSEMI"):
        return placed(_edf_fields(head), "header")
    if head[128:132] == b"DICM":
        return placed(_dicom_fields(path), "header")
    if path.suffix.lower() not in _TEXT_FILES or b"\0" in head[:64]:
        return []
    text = "\n".join(_above_the_numbers(head.decode("utf-8", "replace"), path.suffix.lower()))
    return placed((one for one in find_identifiers(text) if one.sure), "header")


def _dicom_fields(path: Path) -> list[Found]:
    """Persons, numbers and days of a DICOM header (PS3.3, patient and general study modules)."""
    import pydicom  # slow to load, and only this format needs it

    found: list[Found] = []
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what is odd in the file was told when it was read
            told = pydicom.dcmread(path, stop_before_pixels=True, specific_tags=list(_DICOM))
            for keyword, kind in _DICOM.items():
                text = str(told.get(keyword, "") or "").strip()
                found += _whole(kind, text.replace("^", " ").replace("=", " ") if kind == "name" else text)
    except (*_PYDICOM_RAISES, pydicom.errors.InvalidDicomError, pydicom.errors.BytesLengthException):
        pass  # what came before it is listed; the reader takes over none of these fields
    return found


def _above_the_numbers(text: str, suffix: str) -> list[str]:
    lines = text.splitlines()
    if suffix in (".hea", ".toml"):
        return [line.lstrip("#") for line in lines if line.startswith("#")]
    above = []
    for line in lines:
        if sum(sign.isdigit() for sign in line) > sum(sign.isalpha() for sign in line) or "-->" in line:
            break
        above.append(line)
    return above


def _edf_fields(head: bytes) -> list[Found]:
    """Patient and recording of an EDF header: everything there is identity but sex, equipment and ``X``."""
    patient = head[8:88].decode("latin-1").strip().split()
    recording = head[88:168].decode("latin-1").strip().split()
    found: list[Found] = []
    if head[192:197] not in (b"EDF+C", b"EDF+D", b"BDF+C", b"BDF+D"):
        # Plain EDF says nothing of the parts: a field in which nothing else is found is a name.
        for text in (" ".join(patient), " ".join(recording)):
            some = [one for one in find_identifiers(text) if one.sure]
            found += some or _whole("name", text)
        return found
    parts: tuple[tuple[list[str], tuple[FoundKind | None, ...]], ...] = (
        (patient, ("number", None, "date of birth", "name")),
        (recording, (None, "date", "number", "name")),
    )
    for words, kinds in parts:
        for kind, word in zip(kinds, words, strict=False):
            if kind is not None:
                found += _whole(kind, word.replace("_", " "))
    return found


def _whole(kind: FoundKind, text: str) -> list[Found]:
    """All of a field, unless it says that it is unknown."""
    text = text.strip()
    return [Found(kind, text, 0, len(text))] if set(text) - set("Xx .-") else []


# -- dates -------------------------------------------------------------------------------------------


def first_day(recordings: Iterable[Recording]) -> date | None:
    """The earliest day that a recording with a date begins on."""
    days = [r.first_stamp.date() for r in recordings if r.first_stamp is not None and r.dated]
    return min(days, default=None)


def neutral(recording: Recording, day_zero: date | None) -> Recording:
    """The same with a neutral date: the clock of the day stays, and so do the days since `day_zero`.

    Parameters
    ----------
    recording : Recording
    day_zero : date or None
        The day that becomes `NEUTRAL_DAY`. None where it is not known (any more): then only the time of day
        counts, and the source is set on the nearest day.
    """
    stamp = recording.first_stamp
    if stamp is None:
        return recording
    if not recording.dated:  # its day counts for nothing, whatever a reader filled in
        return replace(recording, first_stamp=datetime.combine(NEUTRAL_DAY, stamp.time()))
    days = (stamp.date() - day_zero).days if day_zero is not None else 0
    moved = datetime.combine(NEUTRAL_DAY + timedelta(days=days), stamp.time())
    told = {DATE_KEY: f"taken out; days count from {NEUTRAL_DAY:%Y-%m-%d}"}
    return replace(
        recording, first_stamp=moved, dated=day_zero is not None, about={**recording.about, **told}
    )

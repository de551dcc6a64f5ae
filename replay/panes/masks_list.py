"""Masks: every stretch that is left out of the figures, why and by whom, and what a person gives back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from afterclamp.annotate.masking import MaskedSpan
from PySide6.QtWidgets import QWidget

from .clock_face import ClockFace, length
from .lists import Column, ListPane, Row

if TYPE_CHECKING:
    from afterclamp.io.case import Channel
    from afterclamp.io.masks import Mask

COLUMNS = (
    Column("From", "00:00:00", "When it begins"),
    Column("To", "00:00:00", "When it ends", spare=True),
    Column("Line", "left radial", "On which channel"),
    Column("Length", "12:00 min", "Whole seconds that it touches: these are left out", right=True),
    Column("Why", "", "The artefact that a rule sees, or what a person wrote"),
    Column("By", "rule", "A rule, or who hid or unhid it"),
)

NOT_LOOKED = "Nothing is masked, as far as this case has been looked through."


@dataclass(frozen=True, slots=True)
class Masked:
    """What a row stands for.

    Attributes
    ----------
    channel : str
        Id of the channel.
    name : str
        Its plain name.
    edit : str
        A person's edit, which can be taken back; empty for a rule.
    light : bool
        Whether something of it can be used.
    """

    channel: str
    name: str
    edit: str = ""
    light: bool = False


def span_row(channel: Channel, one: MaskedSpan, face: ClockFace) -> Row:
    """What is masked, or missing, as a row."""
    first, last = one.seconds
    lasting = float(last - first) if one.there == "values" else one.end - one.start
    why = one.reason if not one.by else f"hidden{f': {one.words}' if one.words else ''}"
    if one.light:
        why += f": {one.state(raw=False).removesuffix(': ')}"
    by = one.by or "rule"
    times = (face.text(one.start), face.text(one.end))
    tip = f"{channel.plain_name}, {times[0]} to {times[1]}\n{why}, by {by}\nEnter goes there" + (
        "; Del takes it back" if one.by else "; Shift+H believes it" if one.there == "values" else ""
    )
    return Row(
        key=f"{channel.id} {one.code} {one.start:.3f}",
        start=one.start,
        end=one.end,
        cells=(*times, channel.plain_name, length(lasting), why, by),
        order=(one.start, one.end, channel.plain_name, lasting, why, by),
        tip=tip,
        item=Masked(channel.id, channel.plain_name, one.edit, one.light),
    )


def believed_row(channel: Channel, mask: Mask, face: ClockFace) -> Row:
    """What a person believes although a rule, or somebody before, did not: no second of it is masked."""
    times = (face.text(mask.start), face.text(mask.end))
    why = f"unhidden{f': {mask.reason}' if mask.reason else ''}"
    return Row(
        key=mask.edit,
        start=mask.start,
        end=mask.end,
        cells=(*times, channel.plain_name, length(mask.end - mask.start), why, mask.author),
        order=(mask.start, mask.end, channel.plain_name, mask.end - mask.start, why, mask.author),
        tip=f"{channel.plain_name}, {times[0]} to {times[1]}\n{why}, by {mask.author}: counted in the figures\n"
        "Enter goes there; Del takes it back",
        dim=True,
        item=Masked(channel.id, channel.plain_name, mask.edit),
    )


def masked_words(spans: Mapping[str, Sequence[MaskedSpan]]) -> str:
    """How many seconds of how many lines are masked in figures of levels, each once; gaps aside."""
    seconds = {
        name: {second for one in each if one.takes_level for second in range(*one.seconds)}
        for name, each in spans.items()
    }
    counts = [len(each) for each in seconds.values() if each]
    if not counts:
        return "nothing masked"
    return f"{sum(counts)} s masked on {len(counts)} {'line' if len(counts) == 1 else 'lines'}"


class MasksList(ListPane):
    """The list of masks."""

    def __init__(self, face: ClockFace, parent: QWidget | None = None) -> None:
        super().__init__("Masks", COLUMNS, NOT_LOOKED, parent)
        self._face = face

    def show_masks(self, channels: Iterable[Channel], spans: Mapping[str, Sequence[MaskedSpan]]) -> None:
        """Show what is masked by channel id, and what people believe."""
        rows = []
        for channel in channels:
            rows += [span_row(channel, one, self._face) for one in spans.get(channel.id, ())]
            rows += [believed_row(channel, mask, self._face) for mask in channel.masks if not mask.hidden]
        self.set_rows(rows)

"""Why card: the evidence of the selected find, as sentences and numbers, and the rule that proposed it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from afterclamp.annotate.rules import STATUS, Find, Link, Rule
from PySide6.QtCore import QUrl, Signal
from PySide6.QtWidgets import QTextBrowser, QWidget

from ..strips.theme import plain_unit
from .clock_face import ClockFace, length, number

FIVE_QUESTIONS = (
    "Do independent sites agree?",
    "Does a downstream channel follow (saturation, reservoir) with the right delay?",
    "Is the shape possible (a patient cannot go to 300 mmHg in 0.2 s)?",
    "Is there a human mark (sample, zero, cuff, table)?",
    "Is the time base right (could the two halves be a minute apart)?",
)
"""Asked beside every find (common practice, no source)."""


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return number(value, 0 if math.isfinite(value) and abs(value) >= 100 else 1)
    if isinstance(value, Mapping):
        return ", ".join(f"{_words(key)} {_value(part)}" for key, part in value.items())
    if isinstance(value, Sequence) and not isinstance(value, str):
        return ", ".join(_value(part) for part in value)
    return str(value)


def _words(key: Any) -> str:
    return str(key).replace("_", " ")


_SAID_ELSEWHERE = frozenset({"rule", "crossings", "alternatives", "unit"})


def evidence_html(evidence: Mapping[str, Any]) -> str:
    """Values by name, then what else it could be and what speaks against that."""
    unit = plain_unit(str(evidence.get("unit", "")))
    rows = []
    for key, value in evidence.items():
        if key in _SAID_ELSEWHERE or value is None:
            continue
        name, text = _words(key), _value(value)
        if name.endswith(" s"):
            name, text = name.removesuffix(" s"), f"{text} s"
        elif isinstance(value, (int, float)) and not isinstance(value, bool) and key in _IN_UNIT:
            text = f"{text} {unit}".rstrip()
        rows.append(f"<tr><td>{escape(name)}&nbsp;&nbsp;</td><td><b>{escape(text)}</b></td></tr>")
    html = f"<table>{''.join(rows)}</table>" if rows else ""
    others = [
        f"<li>{escape(str(other['what']))}: {escape(str(other['why_not']))}</li>"
        for other in evidence.get("alternatives", ())
    ]
    if others:
        html += (
            f"<p><i>Could it be something else?</i></p><ul style='margin-left:-24px'>{''.join(others)}</ul>"
        )
    return html


_IN_UNIT = frozenset({"before", "during", "after", "nadir", "peak", "lowest", "highest", "limit", "level"})


class WhyCard(QTextBrowser):
    """A page about one find.

    Signals
    -------
    jumped(t)
        A time in the text was chosen.
    """

    jumped = Signal(float)

    def __init__(self, face: ClockFace, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._face = face
        self.setAccessibleName("Why card")
        self.setOpenLinks(False)
        self.anchorClicked.connect(self._clicked)
        self.show_find(None, "", {})

    def show_find(
        self,
        find: Find | None,
        state: str,
        others: Mapping[str, Find],
        rule: Rule | None = None,
        site: str = "",
    ) -> None:
        """Show a find; None says what the card is for.

        Parameters
        ----------
        find : Find or None
        state : str
            Proposed, accepted, set aside or in dispute.
        others : mapping
            All finds by key, for those that this one is linked to.
        rule : Rule, optional
            The rule that made it.
        site : str
            Why its arterial site is believed.
        """
        if find is None:
            self.setHtml("<p>Choose a find: its evidence is shown here.</p>")
            return
        span = f"{self._time(find.start_s)} to {self._time(find.end_s)}, {length(find.end_s - find.start_s)}"
        html = [f"<p><b>{escape(find.code)} {escape(find.name)}</b> · {escape(state)}<br>{span}</p>"]
        said = find.evidence.get("rule") or (rule.sentence() if rule is not None else "")
        if said:
            status = f" ({STATUS[rule.status]}; {rule.source})" if rule is not None else ""
            html.append(f"<p><i>Rule:</i> {escape(str(said))}{escape(status)}</p>")
        crossings = [self._time(float(t)) for t in find.evidence.get("crossings", ())]
        if crossings:
            html.append(f"<p><i>Crossed at</i> {', '.join(crossings)}</p>")
        html.append(evidence_html(find.evidence))
        if find.linked:
            html.append("<p>" + "<br>".join(self._link(link, others) for link in find.linked) + "</p>")
        if find.site:
            html.append(f"<p><i>Judged at</i> {escape(_words(find.site))}. {escape(site)}</p>")
        asked = "".join(f"<li>{escape(question)}</li>" for question in FIVE_QUESTIONS)
        html.append(f"<p><i>Is it real?</i></p><ol style='margin-left:-24px'>{asked}</ol>")
        self.setHtml("".join(html))

    def _time(self, t: float) -> str:
        return f"<a href='t:{t:.3f}'>{escape(self._face.text(t))}</a>"

    def _link(self, link: Link, others: Mapping[str, Find]) -> str:
        other = others.get(link.key)
        when = ""
        if other is not None:  # what is linked to an arrest is linked to where it ended
            when = f" at {self._time(other.end_s if link.what.endswith('its end') else other.start_s)}"
        lag = (
            f", {length(abs(link.lag_s))} {'before' if link.lag_s >= 0 else 'after'}"
            if link.lag_s is not None
            else ""
        )
        order = "" if link.ordered else "; cannot order: the clocks' ± is longer than that"
        return f"<i>{escape(link.relation)}</i> {escape(' '.join((link.code, link.what)).strip())}{when}{lag}{order}"

    def _clicked(self, url: QUrl) -> None:
        if url.scheme() == "t":
            self.jumped.emit(float(url.path()))

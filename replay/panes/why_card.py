"""Why card: the evidence of the selected find, as sentences and numbers, and the rule that proposed it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from html import escape

from afterclamp.annotate.rules import Find, Link, Rule
from PySide6.QtCore import QLocale, QUrl, Signal
from PySide6.QtWidgets import QTextBrowser, QWidget

from ..evidence_words import Fact, facts_of, lag_words, link_words, other_explanations, rests_on, subtitle
from ..wording import site_words
from .clock_face import ClockFace, length

FIVE_QUESTIONS = (
    "Do independent sites agree?",
    "Does a downstream channel follow (saturation, reservoir) with the right delay?",
    "Is the shape possible (a patient cannot go to 300 mmHg in 0.2 s)?",
    "Is there a human mark (sample, zero, cuff, table)?",
    "Is the time base right (could the two halves be a minute apart)?",
)
"""Asked beside every find (common practice, no source)."""


def _judged(place: str, why: str) -> str:
    """A site and why it is believed; the reason mostly begins with the site itself."""
    return why if why.startswith(place) else f"{place}. {why}".rstrip()


def _own(text: str) -> str:
    """A text with its numbers as the person's own country writes them."""
    return re.sub(r"(?<=\d)\.(?=\d)", QLocale().decimalPoint(), text)


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
        name = ", ".join(part for part in (find.name, subtitle(find)) if part)
        html = [f"<p><b>{escape(find.code)} {escape(name)}</b> · {escape(state)}<br>{span}</p>"]
        said = find.evidence.get("rule") or (rule.sentence() if rule is not None else "")
        if said:
            status = f" ({rests_on(rule)})" if rule is not None else ""
            html.append(f"<p><i>Rule:</i> {escape(str(said))}{escape(status)}</p>")
        html.append(f"<table>{''.join(self._fact(fact) for fact in facts_of(find))}</table>")
        could_be = "".join(f"<li>{escape(_own(text))}</li>" for text in other_explanations(find.evidence))
        if could_be:
            html.append(
                f"<p><i>Could it be something else?</i></p><ul style='margin-left:-24px'>{could_be}</ul>"
            )
        if find.linked:
            html.append("<p>" + "<br>".join(self._link(link, others) for link in find.linked) + "</p>")
        if find.site:
            why = "" if "believed" in find.evidence else site  # the evidence says it already
            html.append(f"<p><i>Judged at</i> {escape(_judged(site_words(find.site), why))}</p>")
        asked = "".join(f"<li>{escape(question)}</li>" for question in FIVE_QUESTIONS)
        html.append(f"<p><i>Is it real?</i></p><ol style='margin-left:-24px'>{asked}</ol>")
        self.setHtml("".join(html))

    def _time(self, t: float) -> str:
        return f"<a href='t:{t:.3f}'>{escape(self._face.text(t))}</a>"

    def _fact(self, fact: Fact) -> str:
        times = ", ".join(self._time(t) for t in fact.times)
        text = " ".join(part for part in (escape(_own(fact.text)), times) if part)
        return f"<tr><td>{escape(fact.label)}&nbsp;&nbsp;</td><td><b>{text}</b></td></tr>"

    def _link(self, link: Link, others: Mapping[str, Find]) -> str:
        at = link.at_s
        if at is None and link.key in others:
            at = others[link.key].start_s
        when = "" if at is None else f" at {self._time(at)}"
        lag = lag_words(link)
        return f"{escape(link_words(link))}{when}{f', {escape(lag)}' if lag else ''}"

    def _clicked(self, url: QUrl) -> None:
        if url.scheme() == "t":
            self.jumped.emit(float(url.path()))

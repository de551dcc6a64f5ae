"""Why card: the evidence of the selected find, as sentences and numbers, and the rule that proposed it."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape

from afterclamp.annotate.five_questions import HUMAN_MARK, QUESTIONS, human_mark_near
from afterclamp.annotate.marks import Mark
from afterclamp.annotate.rules import Find, Link, Rule
from afterclamp.io.case import Case
from PySide6.QtCore import QLocale, QUrl, Signal
from PySide6.QtGui import QImage, QResizeEvent, QTextDocument
from PySide6.QtWidgets import QStyle, QTextBrowser, QWidget

from ..answered import Answered
from ..evidence_words import Fact, facts_of, lag_words, link_words, other_explanations, rests_on, subtitle
from ..find_words import code_words
from ..wording import site_words
from .clock_face import ClockFace, length, within
from .why_picture import AROUND_S, caption, picture_strips, why_picture

PICTURE = QUrl("picture:find")
_RESIZED = 40  # pixels of width from which the picture is painted anew


@dataclass(frozen=True)
class Beside:
    """What is shown beside a find's own evidence.

    Attributes
    ----------
    case : Case or None
        For the picture.
    answered : Answered or None
        What was worked out for it; None until that has come in.
    marks : sequence of Mark
        What people marked since.
    masked : mapping
        Masked stretches by channel id.
    """

    case: Case | None = None
    answered: Answered | None = None
    marks: Sequence[Mark] = ()
    masked: Mapping[str, Sequence[tuple[float, float]]] = field(default_factory=dict)


def _judged(place: str, why: str) -> str:
    """A site and why it is believed; the reason mostly begins with the site itself."""
    return why if why.startswith(place) else f"{place}. {why}".rstrip()


def _own(text: str) -> str:
    """A text with its numbers as the person's own country writes them."""
    return re.sub(r"(?<=\d)\.(?=\d)", QLocale().decimalPoint(), text)


def plain_words(find: Find) -> str:
    """How plain a find is, and what that is made of."""
    words = f"{find.confidence:.2f} of 1, no probability"
    parts = getattr(find.confidence, "parts", None)
    if parts is None:
        return words
    beyond = "1 or more" if parts.margin >= 1 else f"{max(parts.margin, 0.0):.2f}"
    long = "3 times or more" if parts.duration >= 3 else f"{parts.duration:.1f} times"
    return (
        f"{words}. Beyond its limit by {beyond} of what is taken for plain; {long} the shortest length that counts; "
        f"{100 * min(parts.seen, 1.0):.0f} % of its seconds seen; "
        f"{100 * parts.agreement:.0f} % of the other channels asked agree"
    )


def _questions(find: Find, beside: Beside) -> str:
    """The five questions, each with its answer where one was worked out."""
    if beside.answered is None:
        return "".join(f"<li>{escape(question)}</li>" for question in QUESTIONS)
    answers = list(beside.answered.answers)
    if beside.case is not None:  # marks are made while one looks: this one is answered anew
        answers[HUMAN_MARK] = human_mark_near(find, beside.case.notes, beside.marks)
    return "".join(
        f"<li>{escape(question)} <b>{escape(answer.said)}</b>: {escape(_own(answer.words))}</li>"
        for question, answer in zip(QUESTIONS, answers, strict=True)
    )


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
        self._again: Callable[[], None] | None = None
        self._painted_for = self._made_for = 0  # pixels of the picture, and of the card then
        self._shown = ""
        self._kept: tuple[object, QImage | None, str] | None = None
        self.show_find(None, "", {})

    def show_find(
        self,
        find: Find | None,
        state: str,
        others: Mapping[str, Find],
        rule: Rule | None = None,
        site: str = "",
        beside: Beside | None = None,
    ) -> None:
        """Show a find; None says what the card is for.

        Parameters
        ----------
        find : Find or None
        state : str
            Proposed, or what was decided and by whom; in dispute with what each author said.
        others : mapping
            All finds by key, for those that this one is linked to.
        rule : Rule, optional
            The rule that made it.
        site : str
            Why its arterial site is believed.
        beside : Beside, optional
            The case and what was worked out: without it no picture, and the questions without answers.
        """
        self._again = None
        if find is None:
            self.setHtml("<p>Choose a find: its evidence is shown here.</p>")
            return
        beside = beside or Beside()
        at, where = self.verticalScrollBar().value(), self._shown
        doubt = within(find.unc_s)
        span = f"{self._time(find.start_s)} to {self._time(find.end_s)} {escape(doubt)} each"
        span += f", {length(find.end_s - find.start_s)}"
        name = ", ".join(part for part in (find.name, subtitle(find)) if part)
        html = [f"<p><b>{escape(code_words(find))} {escape(name)}</b> · {escape(state)}<br>{span}</p>"]
        html.append(self._picture(find, beside))
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
        html.append(f"<p><i>Is it real?</i></p><ol style='margin-left:-24px'>{_questions(find, beside)}</ol>")
        html.append(f"<p><i>How plain:</i> {escape(_own(plain_words(find)))}</p>")
        said = find.evidence.get("rule") or (rule.sentence() if rule is not None else "")
        if said:
            status = f" ({rests_on(rule)})" if rule is not None else ""
            html.append(f"<p><i>Rule:</i> {escape(str(said))}{escape(status)}</p>")
        self.setHtml("".join(html))
        if where == find.key:
            self.verticalScrollBar().setValue(
                at
            )  # the same find, shown again: the reader stays where they were
        self._shown = find.key
        self._again = lambda: self.show_find(find, state, others, rule, site, beside)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Paint the picture again where there is another width for it."""
        super().resizeEvent(event)
        if self._again is not None and abs(self.width() - self._made_for) > _RESIZED:
            self._again()

    def _picture(self, find: Find, beside: Beside) -> str:
        # With room for a scroll bar, whether or not it is shown yet.
        bar = self.style().pixelMetric(QStyle.PixelMetric.PM_ScrollBarExtent)
        self._made_for = self.width()
        self._painted_for = self.width() - bar - 2 * self.frameWidth()
        if beside.case is None:
            return ""
        limit_on = beside.answered.limit_on if beside.answered is not None else ""
        near = {
            name: [
                one for one in spans if one[1] > find.start_s - AROUND_S and one[0] < find.end_s + AROUND_S
            ]
            for name, spans in beside.masked.items()
        }
        settled = (beside.case, find, limit_on, near, self._face.writer, self._painted_for)
        if self._kept is None or self._kept[0] != settled:  # a mark somewhere else must not paint it again
            strips = picture_strips(beside.case, find, limit_on)
            image = why_picture(
                beside.case,
                find,
                self._painted_for - 16,
                strips,
                masked=near,
                time_text=self._face.writer,
                ratio=self.devicePixelRatioF(),
            )
            self._kept = settled, image, caption(find, strips, limit_on)
        _, image, words = self._kept
        if image is None:
            return "<p>None of its channels was recorded around it.</p>"
        self.document().addResource(QTextDocument.ResourceType.ImageResource, PICTURE, image)
        size = image.deviceIndependentSize()
        return (
            f"<p><img src='{PICTURE.toString()}' width='{size.width():.0f}' height='{size.height():.0f}'><br>"
            f"<small>{escape(_own(words))}</small></p>"
        )

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

"""The case paper: what it must say, that it needs nothing beside it, and that nothing is lost on a page."""

from __future__ import annotations

import errno
import os
import re
import shutil
import subprocess
import unicodedata
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
import small_case
from afterclamp.io import CaseError, Span, open_case
from afterclamp.replay.paper import write_paper
from afterclamp.replay.paper.content import CaseContent, Moment, Picture, Row, Section, Table
from afterclamp.replay.paper.gather import Gathered, gather
from afterclamp.replay.paper.html import to_html
from afterclamp.replay.paper.pdf import BOTTOM, FOOT_TOP, HEADING, PAD, TOP, WIDTH, _breakable, _Paper, to_pdf
from PySide6.QtGui import QFontMetricsF

DAY = date(2026, 1, 2)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_case.make(tmp_path_factory.mktemp("paper") / "small")


@pytest.fixture(scope="module")
def gathered(folder: Path) -> Gathered:
    with open_case(folder) as case:
        return gather(case, day=DAY)


@pytest.fixture(scope="module")
def html(folder: Path, tmp_path_factory: pytest.TempPathFactory, qapp_cls: Any) -> str:
    out = tmp_path_factory.mktemp("html") / "paper.html"
    with open_case(folder) as case:
        write_paper(case, out, day=DAY)
    return out.read_text("utf-8")


class Page(HTMLParser):
    """What a page holds, by tag."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    def of(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


def section(gathered: Gathered, title: str) -> Section:
    return next(part for part in gathered.content.sections if part.title == title)


# --- content ------------------------------------------------------------------------------------------


def test_every_number_outside_a_limit_stands_beside_its_denominator(gathered: Gathered) -> None:
    outside, means = section(gathered, "Minutes and areas").tables
    assert outside.rows
    for table in (outside, means):
        columns = [
            i for i, name in enumerate(table.headings) if name.endswith(" min") and name != "outside min"
        ]
        named = {table.headings[i] for i in columns}
        assert named >= {"of observed min", "left out min", "masked min", "missing min"}
        for row in table.rows:
            assert all(row.cells[i] not in ("", "–") for i in columns if table.headings[i] != "longest min")


def test_seconds_of_the_appendix_add_up_to_the_record(gathered: Gathered) -> None:
    table = next(
        t for t in section(gathered, "Appendix: clocks and quality").tables if t.headings[0] == "channel"
    )
    for row in table.rows:
        parts = [int(m) * 60 + int(s) for m, s in (cell.split(":") for cell in row.cells[-3:])]
        assert sum(parts) == small_case.LENGTH_S


def test_the_open_line_is_found_masked_and_pictured(gathered: Gathered) -> None:
    (moment,) = [one for one in section(gathered, "Finds").moments if one.heading.startswith("A1")]
    assert moment.picture is not None
    assert moment.picture.marked is not None
    assert abs(moment.picture.marked.start - small_case.OPEN_S[0]) <= 1
    assert abs(moment.picture.marked.end - small_case.OPEN_S[1]) <= 1
    assert "monitor/fem" in moment.picture.channels
    masked = re.search(r"masked (\d+) s", gathered.content.footer)
    assert masked is not None
    assert 20 <= int(masked[1]) <= 22  # the seconds that it begins and ends in are masked whole


def test_every_time_of_finds_marks_and_phases_carries_its_doubt(gathered: Gathered) -> None:
    moments = [m for part in gathered.content.sections for m in part.moments]
    assert moments
    assert all("±" in m.when or "as placed" in m.when for m in moments)
    for row in section(gathered, "Phases").tables[0].rows:
        assert row.cells[2].startswith("±")
        assert row.cells[4].startswith("±")


def test_a_mark_has_its_picture(gathered: Gathered) -> None:
    (moment,) = section(gathered, "Marks").moments
    assert moment.heading == "table <raised>"
    assert moment.picture is not None
    assert moment.picture.marked == Span(600.0, 630.0)


def test_pictures_of_events_show_five_minutes_on_both_sides(gathered: Gathered) -> None:
    for moment in section(gathered, "Finds").moments:
        assert moment.picture is not None
        assert moment.picture.marked is not None
        shown, marked = moment.picture.span, moment.picture.marked
        if marked.duration >= 60:
            assert shown.start == max(0.0, marked.start - 300)
            assert shown.end == min(small_case.LENGTH_S, marked.end + 300)


def test_the_footer_names_limits_what_was_seen_and_the_case(gathered: Gathered) -> None:
    footer = gathered.content.footer
    for words in (
        "Not a medical device; not for use in care.",
        "published, version",
        "Data seen 20 of 20 min",
        "Local protocol and licensed judgement prevail.",
        "Contains personal data unless marked de-identified.",
        "afterclamp 0.1.0 · ",
        "2026-01-02",
    ):
        assert words in footer


def test_nothing_after_the_horizon_is_on_the_paper(folder: Path) -> None:
    with open_case(folder) as case:
        view = case.until(250.0)
        early = gather(view, day=DAY)
        for picture in early.content.pictures():
            assert picture.span.end <= 250.0
        words = repr(early.content)
    assert "on bypass" not in words
    assert "table <raised>" not in words


# --- HTML ---------------------------------------------------------------------------------------------


def test_the_page_needs_nothing_beside_it(html: str) -> None:
    page = Page(html)
    assert page.of("img")
    assert all(str(image["src"]).startswith("data:image/png;base64,") for image in page.of("img"))
    assert not page.of("script")
    assert not page.of("link")
    assert all(str(anchor["href"]).startswith("#") for anchor in page.of("a"))
    assert not re.search(r"url\(|@import|https?://", html)


def test_what_people_wrote_is_text_and_never_markup(html: str) -> None:
    assert "zeroing &lt;femoral&gt; &amp; flush" in html
    assert "<raised>" not in html
    assert not Page(html).of("raised")


def test_every_link_of_the_page_has_a_target_and_no_key_stands_twice(html: str) -> None:
    page = Page(html)
    keys = [attributes["id"] for _, attributes in page.tags if "id" in attributes]
    assert len(keys) == len(set(keys))
    assert {str(anchor["href"])[1:] for anchor in page.of("a")} <= set(keys)


def test_every_picture_says_what_it_shows(html: str, gathered: Gathered) -> None:
    images = Page(html).of("img")
    assert len(images) == sum(1 for _ in gathered.content.pictures())
    assert all(len(str(image["alt"])) > 30 for image in images)


def test_tables_name_their_columns(html: str) -> None:
    page = Page(html)
    assert all(heading.get("scope") == "col" for heading in page.of("th"))
    assert len(page.of("caption")) == len(page.of("table"))


def test_the_footer_is_repeated_on_each_printed_page(html: str, gathered: Gathered) -> None:
    assert len(Page(html).of("footer")) == 1
    assert re.search(r"@media print \{.*footer \{ position: fixed;", html, re.DOTALL)
    assert gathered.content.footer in "".join(Page(html).words)


def test_the_same_day_and_case_give_the_same_bytes(
    folder: Path, html: str, tmp_path: Path, qapp: Any
) -> None:
    with open_case(folder) as case:
        write_paper(case, tmp_path / "again.html", day=DAY)
    assert (tmp_path / "again.html").read_text("utf-8") == html


# --- PDF ----------------------------------------------------------------------------------------------


def long_content(rows: int) -> CaseContent:
    note = "A note of some length that needs more than one line on the paper, and another half a line. " * 2
    table = Table(
        caption="Many rows",
        headings=("name", "value"),
        rows=tuple(
            Row((f"row {i} " + "word " * (i % 40), f"{i} mmHg"), note=note if i % 7 == 0 else "")
            for i in range(rows)
        ),
        right="<>",
    )
    picture = Picture(Span(0, 10), None, (), "alt", "caption of a picture")
    return CaseContent(
        title="Case paper: made up",
        facts=(("Record", "many words " * 40), ("Patient", "nobody")),
        sections=(
            Section("First", lead=("A paragraph. " * 80,), tables=(table,)),
            Section(
                "Second",
                moments=tuple(
                    Moment(f"m{i}", f"moment {i}", "when", "state", picture=picture) for i in range(7)
                ),
            ),
        ),
        cautions=("Caution one.", "Caution two. " * 30),
        footer="The footer. " * 30,
    )


class Recorded(_Paper):
    """Notes every text with its page and place."""

    def __init__(self, *arguments: Any) -> None:
        super().__init__(*arguments)
        self.texts: list[tuple[int, str, float, float, float, float]] = []
        self.pictures: list[tuple[int, float, float]] = []

    def _text(self, text: str, size: float, top: float, **more: Any) -> None:
        width = more.get("width", 178.0)
        height = self._height(text, size, width, bold=more.get("bold", False))
        self.texts.append((self._page, text, top, top + height, more.get("left", 16.0), width))
        super()._text(text, size, top, **more)

    def _picture(self, picture: Picture, height: float) -> None:
        super()._picture(picture, height)
        self.pictures.append((self._page, self._y - height, self._y))


@pytest.fixture(scope="module")
def laid_out(qapp_cls: Any) -> Recorded:
    from afterclamp.replay.paper.pictures import application

    application()
    paper = Recorded(long_content(90), None, 0)
    paper.run()
    return paper


def test_every_page_carries_the_footer_and_its_number(laid_out: Recorded) -> None:
    pages = {page for page, *_ in laid_out.texts}
    assert len(pages) >= 4
    for page in pages:
        own = [text for number, text, *_ in laid_out.texts if number == page]
        assert laid_out._content.footer in own
        assert f"page {page} of {page}" in own  # the counting run doesn't know the total yet


def test_nothing_runs_over_the_foot_or_the_edge_of_a_page(laid_out: Recorded) -> None:
    for _, text, top, bottom, left, width in laid_out.texts:
        if text == laid_out._content.footer:
            assert FOOT_TOP < top < bottom < 297.0
        else:
            assert TOP - 7 <= top < bottom <= BOTTOM + 0.5, text
        assert left >= 16.0
        assert left + width <= 194.01
    assert all(bottom <= BOTTOM + 1 for _, _, bottom in laid_out.pictures)


def test_a_table_repeats_its_headings_on_each_page_and_loses_no_row(laid_out: Recorded) -> None:
    pages_with_rows = {page for page, text, *_ in laid_out.texts if text.startswith("row ")}
    pages_with_headings = {page for page, text, *_ in laid_out.texts if text == "value"}
    assert len(pages_with_rows) >= 2
    assert pages_with_rows <= pages_with_headings
    assert {text for _, text, *_ in laid_out.texts if re.fullmatch(r"\d+ mmHg", text)} == {
        f"{i} mmHg" for i in range(90)
    }


def test_the_two_cells_of_a_row_stand_on_one_page(laid_out: Recorded) -> None:
    first = {text.split()[1]: page for page, text, *_ in laid_out.texts if text.startswith("row ")}
    second = {text.split()[0]: page for page, text, *_ in laid_out.texts if re.fullmatch(r"\d+ mmHg", text)}
    assert first == second


def test_no_heading_has_to_be_broken_within_a_word(gathered: Gathered, laid_out: Recorded) -> None:
    for table in (table for part in gathered.content.sections for table in part.tables):
        shares = table.widths or (1.0,) * len(table.headings)
        assert len(shares) == len(table.headings)
        assert all(len(row.cells) == len(table.headings) for row in table.rows)
        for heading, share in zip(table.headings, shares, strict=True):
            metrics = QFontMetricsF(laid_out._font(HEADING, True), laid_out._writer)
            room = (WIDTH * share / sum(shares) - 2 * PAD) * laid_out._mm
            assert _breakable(heading, metrics, room) == heading, table.caption


def test_pages_are_numbered_x_of_y_and_pictures_are_vectors(
    gathered: Gathered, folder: Path, qapp: Any
) -> None:
    from afterclamp.replay.paper.pictures import Painter

    with open_case(folder) as case:
        painter = Painter(
            case, phases=gathered.phases, finds=gathered.finds, marks=gathered.marks, masked=gathered.masked
        )
        data = to_pdf(gathered.content, painter.paint)
    assert data.startswith(b"%PDF-")
    assert len(re.findall(rb"/Type /Page\b", data)) >= 3
    assert b"/Subtype /Image" not in data


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")
def test_the_words_of_the_pdf_can_be_read_out(
    folder: Path, gathered: Gathered, tmp_path: Path, qapp: Any
) -> None:
    with open_case(folder) as case:
        write_paper(case, tmp_path / "paper.pdf", day=DAY)
    read = subprocess.run(
        ["pdftotext", "-layout", str(tmp_path / "paper.pdf"), "-"], capture_output=True, check=True
    ).stdout.decode()
    pages = unicodedata.normalize("NFKC", read).rstrip("\f").split("\f")
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        assert "Not a medical device; not for use in care." in page
        assert "2026-01-02" in page
    assert "zeroing <femoral> & flush" in " ".join(pages)


# --- writing ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EACCES])
def test_a_full_disk_leaves_the_earlier_paper(
    code: int, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, qapp: Any
) -> None:
    out = tmp_path / "paper.html"
    out.write_text("earlier")

    def refuse(handle: int) -> None:
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os, "fsync", refuse)
    with open_case(folder) as case, pytest.raises(CaseError, match=re.escape(os.strerror(code))):
        write_paper(case, out, day=DAY)
    assert out.read_text() == "earlier"
    assert [path.name for path in tmp_path.iterdir()] == ["paper.html"]


def test_content_without_pictures_is_written_too(qapp: Any) -> None:
    content = CaseContent(
        "Case paper: empty",
        (),
        (Section("Summary", lead=("Nothing was recorded.",)),),
        ("Caution.",),
        "Foot.",
    )
    assert "Nothing was recorded." in to_html(content, {})
    assert to_pdf(content, print).startswith(b"%PDF-")

"""What a file says is put into a message on one line, printable, and cut."""

from __future__ import annotations

from afterclamp.io.errors import FileUnreadable
from afterclamp.io.readers.quoting import MOST, quoted, shown
from hypothesis import given
from hypothesis import strategies as st


@given(st.one_of(st.text(), st.binary(), st.integers(), st.text(min_size=MOST, max_size=10_000)))
def test_whatever_is_shown_is_one_printable_line_of_some_length(found: object) -> None:
    text = shown(found)
    assert text.isprintable()
    assert len(text) <= MOST + len("...")


@given(st.text("abc123,.;:-", max_size=MOST))
def test_a_plain_text_is_shown_as_it_is(text: str) -> None:
    assert quoted(text) == f"'{text}'"


def test_what_cannot_be_printed_is_told_as_an_escape() -> None:
    assert quoted(b"RIFF\x00\x01") == r"'RIFF\x00\x01'"
    assert quoted("a\nb") == "'a b'"


@given(st.text(), st.text())
def test_a_message_is_one_line_whatever_is_put_into_it(what: str, place: str) -> None:
    assert FileUnreadable(what, place=place).sentence.isprintable()

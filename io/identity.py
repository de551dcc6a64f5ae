"""Who was operated on, and when: found in what a file says, and kept out of the case.

Names, numbers that stand for a person, dates of birth and other absolute dates are looked for in headers, file
names, labels, notes and their authors. What is *sure* is taken out before anything is written; what only may be
a name is listed, so that a person can look. Words of the trade, drugs, eponyms, values with units and times of
the day are none of it. Lists and patterns are this project's own and cannot know every name: whoever hands a
case on still reads it through.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final, Literal

from .identity_words import (
    BETWEEN_TITLES,
    EPONYM_TAILS,
    GIVEN_NAMES,
    PARTICLES,
    ROLES,
    SPELT_NAMES,
    TITLES,
    VOCABULARY,
    WEAK,
)

FoundKind = Literal["name", "number", "date", "date of birth", "contact"]
Where = Literal["text", "file name", "author", "label"]

_MONTHS: Final = (
    "jan(?:uary|uar|vier)?|feb(?:ruary|ruar)?|mar(?:ch)?|m[aä]r(?:z)?|mrz|apr(?:il)?|may|mai|june?|juni|july?|juli|"
    "aug(?:ust)?|sep(?:t(?:ember)?)?|o[ck]t(?:ober)?|nov(?:ember)?|de[cz](?:ember)?"
)
_YEAR: Final = r"(?:19|20|21)\d\d"
_DATES: Final = tuple(
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        rf"(?<!\d)(?P<y>{_YEAR})(?P<s>[-/._]?)(?P<m>0[1-9]|1[0-2])(?P=s)(?P<d>0[1-9]|[12]\d|3[01])(?!\d)",
        rf"(?<![\d.:/-])(?P<a>\d{{1,2}})(?P<s>[./_-])(?P<b>\d{{1,2}})(?P=s)(?P<y>{_YEAR}|\d\d)(?![\d:]|[./-]\d)",
        rf"(?<![\d.:/-])(?P<d>\d{{1,2}})(?:st|nd|rd|th|\.)?[ ._/-]{{0,4}}\b(?P<n>{_MONTHS})\b[ .,_/'-]{{0,4}}"
        rf"(?P<y>{_YEAR})(?!\d)",
        rf"(?<![\d.:/-])(?P<d>\d{{1,2}})[./-](?P<n>{_MONTHS})[./-](?P<y>\d\d)(?!\d)",
        rf"(?<![a-z])(?P<n>{_MONTHS})[ ._-]{{1,4}}(?P<d>\d{{1,2}})(?:st|nd|rd|th)?,?[ ._-]{{1,4}}(?P<y>{_YEAR})(?!\d)",
        rf"(?<![a-z])(?P<n>{_MONTHS})[ ._-]{{1,4}}(?P<y>{_YEAR})(?!\d)",
    )
)
_BORN: Final = re.compile(
    r"(?:\bd\.?o\.?b\b\.?|date[ _]of[ _]birth|birth[ _]?date|\bborn\b|\bgeb\b\.?|geboren|geburtsdatum|\bn[ée]e? le\b|"
    r"\bnat[oa] il\b|\bnacid[oa]\b)(?:[\s_:=.-]|on|am|the)*$",
    re.IGNORECASE,
)
_BORN_DIGITS: Final = re.compile(
    r"(?:\bd\.?o\.?b\b\.?|date[ _]of[ _]birth|birth[ _]?date|geburtsdatum)[\s_:=.]*(?P<what>\d{6,8})(?!\d)",
    re.IGNORECASE,
)

# A word that says that a number of a person follows.
_LED: Final = re.compile(
    r"(?<![A-Za-z])(?:mrn|uhid|urn|ssn|ahv|cpr|nhs(?:[ _](?:no|number))?|"
    r"(?:patient|pat|hospital|case|record|visit|admission|account|accession|encounter|chart|insurance|fall|study|"
    r"subject|passport)[ ._-]*(?:id|no|nr|num|number|nummer|#)|"
    r"(?:patienten|fall|aufnahme|versicherten)nummer|identification|id)\b\.?[\s:=#._-]*"
    r"(?P<what>(?=(?:[A-Za-z]{0,4}[-/ ]?)(?:\d[-/ .]?){3})[A-Za-z0-9]+(?:[-/.][A-Za-z0-9]+)*(?: \d{2,4}){0,3})",
    re.IGNORECASE,
)
_FORMS: Final = tuple(
    re.compile(pattern)
    for pattern in (
        r"(?<![\w-])\d{3}-\d{2}-\d{4}(?![\w-])",
        r"(?<![\w-])\d{3}[ -]\d{3}[ -]\d{4}(?![\w-])",
        r"(?<![\w.])\d{3}\.\d{4}\.\d{4}\.\d{2}(?![\w.])",
        r"(?<![\w-])\d{6}-\d{4}(?![\w-])",
        # Letters and many digits, or a year and a running number: how departments number their cases.
        r"(?<![A-Za-z0-9])[A-Za-z]{1,4}[-/]?\d{5,}[A-Za-z]?(?![A-Za-z0-9])",
        r"(?<![\w.,:/-])(?:[A-Za-z]{1,4}[-/])?(?:19|20|21)\d\d[-/]\d{3,8}(?![\w/-])",
    )
)
_BARE: Final = re.compile(r"(?<![A-Za-z0-9.,:+])\d{6,}(?![A-Za-z0-9]|[.,:]\d)")
_UNIT_BEHIND: Final = re.compile(
    r"\s?(?:[mµu]?[lL]|IU|IE|I\.U\.|[Uu]nits?|Einheiten|U|E|[mµuk]?g|mcg|mmHg|mm|ms|s|sec|seconds?|min|h|[kM]?Hz|/min|%|"
    r"samples?|rows?|frames?|records?|values?|bytes?|lines?|cells|times?|steps?)\b",
)
_CONTACT: Final = (
    re.compile(r"(?<![\w.+-])[\w.+-]{1,64}@[\w-]{1,63}(?:\.[\w-]{1,63}){1,8}"),
    re.compile(r"(?<![\w+])\+\d[\d ()/.-]{7,18}\d(?!\d)"),
    re.compile(r"(?<!\w)\(\d{2,5}\) ?\d{3,4}[ -]?\d{3,5}(?!\d)"),
    re.compile(
        r"(?<![a-z])(?:tel|phone|mobile|pager|bleep)\b\.?[ :]*(?P<what>\d[\d ()/-]{3,18}\d)(?!\d)",
        re.IGNORECASE,
    ),
)
_PERSON_CARET: Final = re.compile(
    r"(?<![\w^])[^\W\d_]{1,64}(?:[ '’-][^\W\d_]{1,64}){0,5}\^[^\W\d_]{1,64}(?:\^[^\W\d_]{0,64}){0,4}"
)
_TOKEN: Final = re.compile(r"[^\W\d_]+(?:['’-][^\W\d_]+)*")
_LOOSE_GAP: Final = re.compile(r"[ \t._]{1,3}|, ?")
_CUE_GAP: Final = re.compile(r"[ \t]*[:=.]?[ \t_]*")
_LOOKED_BACK: Final = (
    60  # signs before a word or a date that say what it is: so that a long line takes no time
)
_AFTER_SENTENCE: Final = re.compile(r"(?:^|[.!?;:\n(\[\"“])\s*[-–*]?\s*$")


@dataclass(frozen=True, slots=True)
class Found:
    """Something that says who somebody is, or on which day it was.

    Attributes
    ----------
    kind : str
        ``"name"``, ``"number"``, ``"date"``, ``"date of birth"`` or ``"contact"``.
    text : str
        What stands there; to be shown before anything is written, and kept nowhere.
    start, end : int
        Where in the text that was looked through.
    sure : bool
        Whether it is taken out; otherwise it is only listed.
    place : str
        Where that text stands: ``"file name"``, ``"label of a channel"``, ``"header"``.
    """

    kind: FoundKind
    text: str
    start: int
    end: int
    sure: bool = True
    place: str = ""


def find_identifiers(text: str, *, where: Where = "text", known: Iterable[str] = ()) -> list[Found]:
    """What in a text says who somebody is, or on which day it was, in order.

    Parameters
    ----------
    text : str
        A note, a label, a file name, a header.
    where : {"text", "file name", "author", "label"}
        What the text is: capitals say nothing in a file name, and an author is a name unless it is a role.
    known : iterable of str
        Names and numbers that were found elsewhere; found here in any spelling of capitals.

    Examples
    --------
    >>> [(one.kind, one.text) for one in find_identifiers("clamp on, ACT 486, Dr Keller, MRN 0012345")]
    [('name', 'Keller'), ('number', '0012345')]
    """
    found: list[Found] = []
    taken = bytearray(len(text))
    # Dates before numbers: eight digits may be a day. What is surer comes first and keeps its place.
    for some in (
        _known(text, known),
        _contacts(text),
        _dates(text),
        _numbers(text, where),
        _names(text, where),
    ):
        for one in some:
            if taken.find(1, one.start, one.end) < 0:
                taken[one.start : one.end] = b"\1" * (one.end - one.start)
                found.append(one)
    return sorted(found, key=lambda one: one.start)


def without(text: str, found: Sequence[Found], *, tidy: bool = False) -> str:
    """The text with what is sure taken out.

    Parameters
    ----------
    text : str
    found : sequence of Found
        Of this text, in order.
    tidy : bool
        Take it out without a trace, and signs that would then stand alone with it: for labels and file names.
        Otherwise ``[name]``, ``[number]`` and so on stand in its place.
    """
    out, at = "", 0
    for one in found:
        if one.sure:
            out += text[at : one.start] + ("\0" if tidy else f"[{one.kind}]")
            at = one.end
    out += text[at:]
    if not tidy or "\0" not in out:
        return out
    out = re.sub(r"[(\[{][\s\0,;:]*[)\]}]", "\0", out)
    out = re.sub(r"[\s_.,;:/^-]{0,20}\0[\s_.,;:/^\0-]*", "\0", out)
    return re.sub(r"\0+", "_" if "_" in text else " ", out.strip("\0")).strip(" _-,;:")


def words_of(found: Iterable[Found]) -> frozenset[str]:
    """What to look for elsewhere: each name's words and each number of those that are sure."""
    words: set[str] = set()
    for one in found:
        if one.sure and one.kind == "name":
            words |= {
                word for word in _TOKEN.findall(one.text) if len(word) > 2 and word.lower() not in VOCABULARY
            }
        elif one.sure and one.kind == "number" and len(one.text) > 4:
            words.add(one.text)
    return frozenset(words)


# -- dates and numbers ------------------------------------------------------------------------------


def _known(text: str, known: Iterable[str]) -> Iterator[Found]:
    low = text.lower()
    for word in sorted(known, key=len, reverse=True):
        if word.isascii() and word.lower() not in low:
            continue
        for match in re.finditer(rf"(?<![^\W_]){re.escape(word)}(?![^\W_])", text, re.IGNORECASE):
            kind: FoundKind = "number" if any(sign.isdigit() for sign in word) else "name"
            yield Found(kind, match[0], match.start(), match.end())


def _contacts(text: str) -> Iterator[Found]:
    for pattern in _CONTACT:
        for match in pattern.finditer(text):
            part = "what" if "what" in match.groupdict() else 0
            yield Found("contact", match[part], match.start(part), match.end(part))


def _dates(text: str) -> Iterator[Found]:
    for match in _BORN_DIGITS.finditer(text):
        yield Found("date of birth", match["what"], match.start("what"), match.end("what"))
    for pattern in _DATES:
        for match in pattern.finditer(text):
            parts = match.groupdict()
            if "a" in parts and not _is_day(parts["a"], parts["b"], parts["y"]):
                continue
            born = bool(_BORN.search(_before(text, match.start())))
            sure = born or not _may_be_a_time(parts)
            yield Found("date of birth" if born else "date", match[0], match.start(), match.end(), sure)


def _before(text: str, at: int) -> str:
    """The last signs before a place; where more stand before them they do not begin a text."""
    return text[:at] if at <= _LOOKED_BACK else "," + text[at - _LOOKED_BACK : at]


def _is_day(a: str, b: str, year: str) -> bool:
    """Whether day and month, in either order, make a date."""
    whole = int(year) if len(year) == 4 else 2000 + int(year)
    for day, month in ((a, b), (b, a)):
        try:
            date(whole, int(month), int(day))
        except ValueError:
            continue
        return True
    return False


def _may_be_a_time(parts: dict[str, str | None]) -> bool:
    """``08.11.12`` is a date, or a time of day with points."""
    a, b, y = parts.get("a"), parts.get("b"), parts.get("y")
    if a is None or b is None or y is None or len(y) == 4:
        return False
    return parts.get("s") in (".", "-") and int(a) < 24 and int(b) < 60 and int(y) < 60


def _numbers(text: str, where: Where) -> Iterator[Found]:
    for match in _LED.finditer(text):
        yield Found("number", match["what"], match.start("what"), match.end("what"))
    for pattern in _FORMS:
        for match in pattern.finditer(text):
            if not _UNIT_BEHIND.match(text, match.end()):
                yield Found("number", match[0], match.start(), match.end())
    for match in _BARE.finditer(text):
        if _UNIT_BEHIND.match(text, match.end()):
            continue
        digits = match[0]
        clock = len(digits) == 6 and int(digits[:2]) < 24 and int(digits[2:4]) < 60 and int(digits[4:]) < 60
        if clock and where == "file name":
            continue  # 074200: when the export begins
        yield Found("number", digits, match.start(), match.end(), sure=not clock)


# -- names ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Token:
    text: str
    start: int
    end: int

    @property
    def low(self) -> str:
        return self.text.lower()

    @property
    def capital(self) -> bool:
        """Written as names are: a capital and small letters, or three capitals and more."""
        return self.text[0].isupper() and (not self.text.isupper() or len(self.text) > 2)


def _names(text: str, where: Where) -> Iterator[Found]:
    for match in _PERSON_CARET.finditer(text):
        yield Found("name", match[0], match.start(), match.end())
    tokens = [_Token(match[0], match.start(), match.end()) for match in _TOKEN.finditer(text)]
    if where == "author" and _is_somebody(tokens):
        yield Found(
            "name", text.strip(), text.index(text.strip()), text.index(text.strip()) + len(text.strip())
        )
        return
    runs = [run for number in range(len(tokens)) for run in _runs(text, tokens, number, where)]
    runs += [([at], False) for at, token in enumerate(tokens) if _may_be_a_name(text, token, where)]
    taken: set[int] = set()
    for run, sure in sorted(runs, key=lambda one: not one[1]):  # what is sure comes first
        fresh = [at for at in run if at not in taken]
        if fresh:
            taken |= set(fresh)
            start, end = tokens[fresh[0]].start, tokens[fresh[-1]].end
            yield Found("name", text[start:end], start, end, sure)


def _is_somebody(tokens: Sequence[_Token]) -> bool:
    """Whether an author is a person rather than a role: any word with a capital that is not of the trade."""
    return any(token.capital and len(token.text) > 2 and token.low not in VOCABULARY for token in tokens)


def _runs(text: str, tokens: Sequence[_Token], number: int, where: Where) -> Iterator[tuple[list[int], bool]]:
    """Words from this one on that make a name, by what stands before it or by what it is."""
    token = tokens[number]
    low = token.low
    any_capitals = where == "file name"
    if low in TITLES or (low in BETWEEN_TITLES and number and tokens[number - 1].low in TITLES):
        run = _collect(text, tokens, number + 1, any_capitals)
        if run:
            yield run, True
    elif low in ROLES and not any_capitals:
        colon = text[token.end : token.end + 3].strip()[:1] in (":", "=")
        run = _collect(text, tokens, number + 1, low in SPELT_NAMES and colon)
        if run:
            yield run, True
    elif low in WEAK and not any_capitals:
        run = _collect(text, tokens, number + 1, False)
        if run:
            yield run, low == "by"
    elif low in GIVEN_NAMES and (token.capital or any_capitals) and not _names_a_thing(text, tokens, number):
        run = [number, *_collect(text, tokens, number + 1, any_capitals, follows=token)]
        before = number - 1
        if before >= 0 and _is_surname(text, tokens, before, any_capitals):
            run = [before, *run]
        yield run, True


def _collect(
    text: str, tokens: Sequence[_Token], first: int, any_capitals: bool, follows: _Token | None = None
) -> list[int]:
    """Up to four words that can be a name, from this one on."""
    run: list[int] = []
    before = follows or (tokens[first - 1] if first else None)
    for at in range(first, min(first + 5, len(tokens))):
        token = tokens[at]
        gap = text[before.end : token.start] if before else ""
        cue = not run and follows is None
        if not (_CUE_GAP if cue else _LOOSE_GAP).fullmatch(gap):
            break
        if "," in gap and token.low not in GIVEN_NAMES:
            break
        if not cue and "." in gap and before is not None and len(before.text) > 2:
            break  # the end of a sentence, not an initial
        particle = token.low in PARTICLES and at + 1 < len(tokens) and tokens[at + 1].capital
        initial = len(token.text) == 1 and token.text.isupper() and text[token.end : token.end + 1] == "."
        good = (token.capital or any_capitals) and len(token.text) > 1 and token.low not in VOCABULARY
        if not (particle or initial or good):
            break
        run.append(at)
        before = token
    while run and (tokens[run[-1]].low in PARTICLES or (len(run) > 1 and len(tokens[run[-1]].text) == 1)):
        run.pop()
    # An initial alone is no name.
    return run if any(len(tokens[at].text) > 1 and tokens[at].low not in PARTICLES for at in run) else []


def _is_surname(text: str, tokens: Sequence[_Token], at: int, any_capitals: bool) -> bool:
    """Whether the word before a given name goes with it: ``Smith, John``, ``smith_john``."""
    token, given = tokens[at], tokens[at + 1]
    gap = text[token.end : given.start]
    if token.low in VOCABULARY or len(token.text) < 3 or not (token.capital or any_capitals):
        return False
    return bool(re.fullmatch(r", ?|[_ -]" if any_capitals else r", ?", gap))


def _names_a_thing(text: str, tokens: Sequence[_Token], number: int) -> bool:
    """``David operation``; but ``David, operation over`` speaks to somebody."""
    if number + 1 >= len(tokens) or tokens[number + 1].low not in EPONYM_TAILS:
        return False
    return text[tokens[number].end : tokens[number + 1].start] in (" ", "-", "'s ", "’s ")


def _may_be_a_name(text: str, token: _Token, where: Where) -> bool:
    """A capital in the middle of a sentence, or in a file name, that no list knows."""
    if where == "label" or not token.capital or token.text.isupper() or len(token.text) < 4:
        return False
    if token.low in VOCABULARY or not token.text[1:].islower():
        return False
    return where == "file name" or not _AFTER_SENTENCE.search(_before(text, token.start))


def placed(found: Iterable[Found], place: str) -> list[Found]:
    """The same, with where the text stands."""
    return [replace(one, place=place) for one in found]

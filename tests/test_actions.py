"""The table of commands: what a person reads and presses is there once and does something."""

from __future__ import annotations

from collections import Counter
from html import escape

import pytest
from afterclamp.replay.actions import ACTIONS, MENUS, in_menu
from afterclamp.replay.desk_actions import DeskActions
from afterclamp.replay.panes.sheets import keys_html
from PySide6.QtGui import QKeySequence

# Qt.Key names that a typo would turn into nothing: QKeySequence of an unknown name is Key_unknown.
_UNKNOWN = 0x1FFFFFF


def test_every_key_stands_in_one_row_only() -> None:
    keys = Counter(QKeySequence(key).toString() for action in ACTIONS for key in action.keys)
    assert [key for key, times in keys.items() if times > 1] == []


def test_every_key_is_a_key_that_qt_knows() -> None:
    for action in ACTIONS:
        for key in action.keys:
            sequence = QKeySequence(key)
            assert not sequence.isEmpty(), (action.id, key)
            assert sequence[0].key().value != _UNKNOWN, (action.id, key)


def test_every_command_has_a_method_a_menu_and_its_own_name() -> None:
    assert len({action.id for action in ACTIONS}) == len(ACTIONS)
    for action in ACTIONS:
        assert callable(getattr(DeskActions, action.method)), action.id
        assert action.menu in dict(MENUS), action.id
        assert action.tip, action.id


def test_access_letters_of_a_menu_differ() -> None:
    titles = [title[title.index("&") + 1].lower() for _, title in MENUS]
    assert len(set(titles)) == len(titles)
    for menu, _ in MENUS:
        letters = [a.text[a.text.index("&") + 1].lower() for a in in_menu(menu) if "&" in a.text]
        assert len(set(letters)) == len(letters), (menu, letters)


def test_tooltip_tells_the_key() -> None:
    mark = next(action for action in ACTIONS if action.id == "mark")
    assert mark.tooltip == "Mark this moment (M)"


def test_sheet_of_keys_lists_every_command() -> None:
    page = keys_html()
    for action in ACTIONS:
        assert escape(action.tip) in page, action.id


@pytest.mark.parametrize(
    "key", ["Alt+Left", "Alt+Right", "Alt+Up", "Alt+Down", "Alt+PgUp", "Alt+PgDown", "middle button"]
)
def test_sheet_of_keys_lists_what_the_views_themselves_take(key: str) -> None:
    native = QKeySequence(key).toString(QKeySequence.SequenceFormat.NativeText) if "+" in key else key
    assert native in keys_html()


def test_no_command_uses_a_word_that_judges() -> None:
    # Words that this project keeps off its screens where people and care are concerned.
    for action in ACTIONS:
        words = f"{action.text} {action.tip}".lower()
        for word in ("error", "failure", "fault", "alarm", "safe", "normal"):
            assert word not in words, action.id

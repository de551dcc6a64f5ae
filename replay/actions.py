"""Every command of the desk, once: its words, its key, what it does, and its method.

Menus, the toolbar, tooltips and the sheet of keys are all made from this table, so that they cannot
disagree. A key may stand in one row only (held by test).
"""

from __future__ import annotations

from dataclasses import dataclass

MENUS: tuple[tuple[str, str], ...] = (
    ("file", "&File"),
    ("case", "&Case"),
    ("move", "&Move"),
    ("mark", "Ma&rk"),
    ("finds", "Fi&nds"),
    ("view", "&View"),
    ("help", "&Help"),
)


@dataclass(frozen=True, slots=True)
class Action:
    """One command.

    Attributes
    ----------
    id : str
        Stable name, also the object name of its QAction.
    menu : str
        Which of `MENUS` it stands in.
    text : str
        Menu text, with its access letter.
    keys : tuple of str
        In Qt's portable spelling; the first is the one shown.
    tip : str
        What it does, in one sentence without a full stop.
    method : str
        Method of `DeskActions`, called without arguments.
    short : str
        Text on the toolbar; empty: not on the toolbar.
    needs_case : bool
        Greyed while no case is open.
    group : int
        A line is drawn between groups of a menu, and of the toolbar.
    """

    id: str
    menu: str
    text: str
    keys: tuple[str, ...]
    tip: str
    method: str
    short: str = ""
    needs_case: bool = True
    group: int = 0

    @property
    def words(self) -> str:
        """The text without access letter and dots, for lists and spoken names."""
        return self.text.replace("&", "").removesuffix("…")

    @property
    def tooltip(self) -> str:
        """What it does, with the key."""
        key = f" ({' or '.join(self.keys)})" if self.keys else ""
        return f"{self.tip}{key}"


ACTIONS: tuple[Action, ...] = (
    # File
    Action("open", "file", "&Open case…", ("Ctrl+O",), "Open a case folder", "choose_case", "Open", False),
    Action(
        "bring_in",
        "file",
        "&Bring in folder…",
        ("Ctrl+B",),
        "Bring a folder of exports in as a case",
        "choose_exports",
        "Bring in",
        False,
    ),
    Action(
        "bring_in_files",
        "file",
        "Bring in &files…",
        ("Ctrl+Shift+B",),
        "Bring single export files in as a case",
        "choose_export_files",
        needs_case=False,
    ),
    Action(
        "demo",
        "file",
        "Open &demo",
        ("Ctrl+D",),
        "Build the invented demonstration case if need be and open it",
        "open_demo",
        needs_case=False,
    ),
    Action("close", "file", "&Close case", ("Ctrl+W",), "Close the case and show the shelf", "close_case"),
    Action(
        "copy",
        "file",
        "Copy views as &image",
        ("Ctrl+Shift+C",),
        "Copy the phase ladder and the three views as one image",
        "copy_image",
        group=1,
    ),
    Action(
        "print",
        "file",
        "&Print case paper…",
        ("Ctrl+P",),
        "Write the case paper as PDF or as a web page",
        "print_paper",
        "Print paper",
        group=1,
    ),
    Action(
        "hand_over",
        "file",
        "&Hand over…",
        ("Ctrl+E",),
        "Write tables, samples or annotations in open formats, for another program",
        "hand_over",
        group=1,
    ),
    Action(
        "author",
        "file",
        "&Who is marking…",
        ("Ctrl+U",),
        "Choose the name under which marks are kept",
        "choose_author",
        needs_case=False,
        group=2,
    ),
    Action("quit", "file", "&Quit", ("Ctrl+Q",), "Close the program", "close", needs_case=False, group=3),
    # Case
    Action(
        "sources",
        "case",
        "S&ources…",
        ("Ctrl+I",),
        "See what the case was brought in from; take a source out or put it back",
        "show_sources",
    ),
    Action(
        "name_lines",
        "case",
        "&Name the lines…",
        ("Ctrl+L",),
        "See what each line is taken for and in which unit, and settle it",
        "name_lines",
    ),
    Action(
        "set_clocks",
        "case",
        "&Set clocks…",
        ("Ctrl+T",),
        "See every source's clock against the reference clock, and set those that nobody set",
        "set_clocks",
        group=1,
    ),
    Action(
        "align_clocks",
        "case",
        "&Align by evidence…",
        ("Ctrl+Shift+T",),
        "Look for clocks in what the sources share; a person takes or leaves each proposal",
        "align_clocks",
        group=1,
    ),
    Action(
        "clock_bench",
        "case",
        "Clock &bench…",
        ("Ctrl+Alt+T",),
        "Lay one source's trace on another and drag it right",
        "clock_bench",
        group=1,
    ),
    # Move
    Action("play", "move", "&Play or pause", ("Space",), "Play or pause", "play_or_pause", "Play", group=0),
    Action("faster", "move", "&Faster", (">", "F"), "Play faster, up to 120 times", "faster"),
    Action("slower", "move", "S&lower", ("<", "D"), "Play slower, down to a quarter", "slower"),
    Action("back_1s", "move", "1 s back", ("Left",), "Step 1 second back", "back_1s", group=1),
    Action("on_1s", "move", "1 s on", ("Right",), "Step 1 second on", "on_1s", group=1),
    Action("back_10s", "move", "10 s back", ("Shift+Left",), "Step 10 seconds back", "back_10s", group=1),
    Action("on_10s", "move", "10 s on", ("Shift+Right",), "Step 10 seconds on", "on_10s", group=1),
    Action("back_1min", "move", "1 min back", ("Ctrl+Left",), "Step 1 minute back", "back_1min", group=1),
    Action("on_1min", "move", "1 min on", ("Ctrl+Right",), "Step 1 minute on", "on_1min", group=1),
    Action(
        "sound",
        "move",
        "So&und",
        ("Shift+S",),
        "Hear what was recorded in the room while playing at half to double speed, or be silent again",
        "sound",
    ),
    Action(
        "previous_mark",
        "move",
        "Pre&vious mark or find",
        (",", "PgUp"),
        "Go to the mark or find before the playhead",
        "previous_mark",
        "Previous",
        group=2,
    ),
    Action(
        "next_mark",
        "move",
        "Ne&xt mark or find",
        (".", "PgDown"),
        "Go to the next mark or find",
        "next_mark",
        "Next",
        group=2,
    ),
    Action(
        "go_to",
        "move",
        "&Go to a time…",
        ("G",),
        "Go to a clock time, or to minutes from the start",
        "go_to_time",
        group=3,
    ),
    Action(
        "start", "move", "&Start of the case", ("Home",), "Go to the start of the case", "go_home", group=3
    ),
    Action("end", "move", "&End of the case", ("End",), "Go to the end of the case", "go_end", group=3),
    # Mark
    Action("mark", "mark", "&Mark a point", ("M",), "Mark this moment", "mark_point", "Mark"),
    Action(
        "span_start",
        "mark",
        "Span st&arts here",
        ("[", "I"),
        "Start a span at the playhead",
        "span_start",
        "Span start",
    ),
    Action(
        "span_end",
        "mark",
        "Span &ends here",
        ("]", "O"),
        "End the span at the playhead and keep it as a mark",
        "span_end",
        "Span end",
    ),
    Action("note", "mark", "&Note…", ("N",), "Write a note at the playhead", "write_note", "Note"),
    Action(
        "class",
        "mark",
        "&Class of the next mark…",
        ("K",),
        "Choose the class that the next mark is given; it holds for that one",
        "choose_class",
        group=1,
    ),
    Action(
        "reclass",
        "mark",
        "C&hange class of the mark…",
        ("Shift+K",),
        "Give the selected mark another class; the earlier one stays in the log",
        "change_class",
        group=1,
    ),
    Action(
        "delete",
        "mark",
        "&Take the mark back",
        ("Del",),
        "Take the selected mark back; it stays in the log",
        "delete_mark",
        group=1,
    ),
    Action("undo", "mark", "&Undo", ("Ctrl+Z",), "Undo your last edit", "undo", "Undo", group=2),
    Action(
        "redo", "mark", "&Redo", ("Ctrl+Shift+Z", "Ctrl+Y"), "Redo what was undone", "redo", "Redo", group=2
    ),
    # Finds
    Action("accept", "finds", "&Accept find", ("A",), "Accept the selected find as yours", "accept_find"),
    Action("set_aside", "finds", "&Set aside", ("S",), "Set the selected find aside", "set_aside_find"),
    Action(
        "find_again",
        "finds",
        "Look a&gain",
        ("F5",),
        "Look for finds and phases again",
        "look_again",
        group=1,
    ),
    # View
    Action(
        "time",
        "view",
        "&Time display",
        ("T",),
        "Change between the reference clock, minutes from start, and minutes from a chosen moment",
        "change_time_display",
        "Time",
    ),
    Action(
        "count_from",
        "view",
        "&Count times from here",
        ("Shift+T",),
        "Show times as minutes before and after the playhead",
        "count_from_here",
    ),
    Action(
        "zoom_in", "view", "Middle view n&arrower", ("Ctrl+=", "Ctrl++"), "Narrow the Middle view", "zoom_in"
    ),
    Action("zoom_out", "view", "Middle view &wider", ("Ctrl+-",), "Widen the Middle view", "zoom_out"),
    Action(
        "show_playhead",
        "view",
        "Show the &playhead",
        ("V",),
        "Bring the playhead back into every view",
        "show_playhead",
    ),
    Action(
        "zoom_reset",
        "view",
        "Views as at fir&st",
        ("Ctrl+0",),
        "Middle view 30 minutes, Close view 30 seconds",
        "zoom_reset",
    ),
    Action(
        "unselect",
        "view",
        "Show &no stretch",
        ("Esc",),
        "Take the coloured stretch off the views, forget a started span and the class of the next mark",
        "show_no_stretch",
    ),
    Action(
        "to_marks",
        "view",
        "Go to &Marks",
        ("Alt+1",),
        "Put the keyboard in the list of marks",
        "to_marks",
        group=1,
    ),
    Action(
        "to_finds",
        "view",
        "Go to F&inds",
        ("Alt+2",),
        "Put the keyboard in the list of finds",
        "to_finds",
        group=1,
    ),
    Action(
        "to_figures",
        "view",
        "Go to Fi&gures",
        ("Alt+3",),
        "Put the keyboard in the minutes and areas",
        "to_figures",
        group=1,
    ),
    Action(
        "to_said",
        "view",
        "Go to Sai&d and written",
        ("Alt+4",),
        "Put the keyboard in the log lines and captions",
        "to_said",
        group=1,
    ),
    Action(
        "to_loose_ends",
        "view",
        "Go to &Loose ends",
        ("Alt+5",),
        "Put the keyboard in the loose ends",
        "to_loose_ends",
        group=1,
    ),
    Action(
        "to_views",
        "view",
        "Go to the &views",
        ("Alt+0",),
        "Put the keyboard in the Long view",
        "to_views",
        group=1,
    ),
    Action(
        "filter", "view", "Filt&er list…", ("Ctrl+F",), "Filter the list that is shown", "to_filter", group=1
    ),
    # Help
    Action("keys", "help", "&Keys", ("F1",), "Show every key", "show_keys", "Keys", False),
    Action(
        "cautions",
        "help",
        "&Cautions",
        (),
        "Show what this program is not for",
        "show_cautions",
        needs_case=False,
    ),
)


def in_menu(menu: str) -> list[Action]:
    """Commands of one menu, in order."""
    return [action for action in ACTIONS if action.menu == menu]


def on_toolbar() -> list[Action]:
    """Commands of the toolbar, in order."""
    return [action for action in ACTIONS if action.short]

"""Commands that move through the case: the menu Move of `actions.ACTIONS`."""

from __future__ import annotations

from .action import Action

MOVE: tuple[Action, ...] = (
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
)

"""The playhead: the one source of now. It knows a time, a speed and whether it runs; nothing else."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QElapsedTimer, QObject, Qt, QTimer, Signal

SPEEDS: Final = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0, 120.0)
"""How many recorded seconds pass in a real one."""

_TICK_MS: Final = 16


class Playhead(QObject):
    """Now, in reference seconds.

    A timer says only when to look; how far time has come is read from a clock that never goes back, so that
    a late tick or a busy machine makes no drift: the time shown is always where playing began plus what
    really passed, times the speed.

    Signals
    -------
    moved(float)
        The new time.
    state_changed()
        Playing, speed, bounds or curtain are different.

    Attributes
    ----------
    curtain : bool
        Whether what comes after now is to be hidden; whoever reads the case acts on it.
    """

    moved = Signal(float)
    state_changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._time = 0.0
        self._start, self._end = 0.0, 0.0
        self._speed = 1.0
        self._curtain = False
        self._played_from = 0.0  # time at which the clock was started
        self._clock = QElapsedTimer()
        self._ticker = QTimer(self)
        self._ticker.setTimerType(Qt.TimerType.PreciseTimer)
        self._ticker.setInterval(_TICK_MS)
        self._ticker.timeout.connect(self._tick)

    @property
    def time(self) -> float:
        """Now, in reference seconds."""
        return self._time

    @property
    def start(self) -> float:
        """Earliest time that now can be."""
        return self._start

    @property
    def end(self) -> float:
        """Latest time that now can be; playing stops there."""
        return self._end

    @property
    def speed(self) -> float:
        """Recorded seconds that pass in a real one; one of `SPEEDS`."""
        return self._speed

    @property
    def playing(self) -> bool:
        """Whether time runs."""
        return self._ticker.isActive()

    @property
    def curtain(self) -> bool:
        """Whether what comes after now is hidden."""
        return self._curtain

    @curtain.setter
    def curtain(self, down: bool) -> None:
        if down != self._curtain:
            self._curtain = down
            self.state_changed.emit()

    def set_bounds(self, start: float, end: float) -> None:
        """Say where now can be; a time outside is moved to the nearer end."""
        self._start, self._end = start, max(start, end)
        self.seek(self._time)
        self.state_changed.emit()

    def seek(self, t: float) -> None:
        """Go to a time, held within the bounds; playing goes on from there."""
        self._clock.restart()
        self._played_from = self._within(t)
        self._go(self._played_from)

    def step(self, seconds: float) -> None:
        """Go on by so many recorded seconds; back where negative."""
        self.seek(self.time + seconds)

    def play(self) -> None:
        """Let time run from now on; from the start again where it had come to the end."""
        if self.playing or self._end <= self._start:
            return
        self.seek(self._start if self._time >= self._end else self._time)
        self._ticker.start()
        self.state_changed.emit()

    def pause(self) -> None:
        """Let time stand."""
        if not self.playing:
            return
        self._ticker.stop()
        self._go(self._within(self._run_time()))
        self.state_changed.emit()

    def toggle(self) -> None:
        """Play, or pause."""
        if self.playing:
            self.pause()
        else:
            self.play()

    def set_speed(self, speed: float) -> None:
        """Choose one of `SPEEDS`; now stays where it is."""
        if speed not in SPEEDS:
            raise ValueError(f"speed {speed}; expected one of {', '.join(map(str, SPEEDS))}")
        if speed == self._speed:
            return
        if self.playing:
            self.seek(self._run_time())
        self._speed = speed
        self.state_changed.emit()

    def faster(self) -> None:
        """The next higher speed, if there is one."""
        self.set_speed(next((speed for speed in SPEEDS if speed > self._speed), self._speed))

    def slower(self) -> None:
        """The next lower speed, if there is one."""
        self.set_speed(next((speed for speed in reversed(SPEEDS) if speed < self._speed), self._speed))

    def _within(self, t: float) -> float:
        return min(max(t, self._start), self._end)

    def _run_time(self) -> float:
        return self._played_from + self._clock.nsecsElapsed() * 1e-9 * self._speed

    def _tick(self) -> None:
        reached = self._run_time()
        if reached >= self._end:
            self._ticker.stop()
            self._go(self._end)
            self.state_changed.emit()
        else:
            self._go(reached)

    def _go(self, t: float) -> None:
        if t != self._time:
            self._time = t
            self.moved.emit(t)

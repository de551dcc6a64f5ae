"""Three invented vignettes of ten to fourteen minutes, each a single EDF+ file with its truth in a table beside it.

"Letting go", "Which arm do you believe" and "Protamine or the pole": no real person, no real recording, no
hospital, altered for teaching and NOT a reference for good practice. What each holds is in `VIGNETTES`, as
straight lines between points, and its truth in ``vignettes.csv``; `build_vignettes` writes them.

Where the truth of a limit (hypotension and the like) stands in a table, it is where the straight lines cross
that limit.
"""

from __future__ import annotations

from dataclasses import dataclass

from .courses import PULMONARY, VENOUS, Course, Points, Pressure
from .tables import Truth, rows

RATE_HZ = 100


@dataclass(frozen=True, slots=True)
class Slow:
    """A channel that its recorder keeps as single values.

    Attributes
    ----------
    points : tuple of (second, value)
    unit : str
        As written in the file.
    every_s : int
    sd, step : float
        Noise, and the smallest difference that is recorded.
    lowest, highest : float
        What the recorder can write.
    """

    points: Points
    unit: str
    every_s: int
    sd: float
    step: float
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True)
class Laid:
    """An artefact over some of the pressures: a key of `planting.SHAPES`, and where."""

    shape: str
    start_s: float
    length_s: float
    channels: tuple[str, ...]
    depth: float | None = None


@dataclass(frozen=True, slots=True)
class Vignette:
    """One of the three.

    Attributes
    ----------
    name, title, lesson : str
    course : Course
    slow : mapping of str to Slow
    laid : tuple of Laid
    notes : tuple of (second, text)
        What somebody typed into the monitor.
    sheet : tuple of str
        Lines of the case sheet.
    """

    name: str
    title: str
    lesson: str
    course: Course
    slow: dict[str, Slow]
    laid: tuple[Laid, ...]
    notes: tuple[tuple[float, str], ...]
    sheet: tuple[str, ...]

    @property
    def truth(self) -> tuple[Truth, ...]:
        """What is really in it."""
        return _truth_of(self.name)


def _s(text: str) -> float:
    minutes, seconds = text.split(":")
    return 60.0 * int(minutes) + float(seconds)


def _points(text: str) -> Points:
    """``"0:00 59, 3:00 56"`` as seconds and values."""
    return tuple((_s(one.split()[0]), float(one.split()[1])) for one in text.split(","))


def _truth_of(name: str) -> tuple[Truth, ...]:
    return tuple(
        Truth(
            row["code"],
            row["label"],
            _s(row["start"]),
            _s(row["end"]),
            tuple(row["channels"].split()),
            "",
            float(row["onset_tol_s"]),
            row["note"],
        )
        for row in rows("vignettes.csv")
        if row["vignette"] == name
    )


def _flow(points: str) -> Slow:
    return Slow(_points(points), "L/min", 1, 0.02, 0.01, -1, 10)


def _oximetry(points: str) -> Slow:
    return Slow(_points(points), "%", 5, 0.8, 1, 0, 100)


# The rise of the PA while the chest is opened and its fall afterwards, the CVP after the shock and the pulse
# pressures are this project's own. A flush counts as one for ten seconds at the most: twenty are two of them,
# half a second short of that each, with one second of ring between.
LETTING_GO = Vignette(
    "letting-go",
    "Letting go",
    "Two low pressures with a high venous pressure: only one has beats.",
    Course(
        840,
        RATE_HZ,
        {
            "LRAD": Pressure(
                _points("0:00 59, 3:00 56, 5:10 56, 5:50 96, 7:30 96, 7:45 36, 8:40 36, 9:31 78, 14:00 78"),
                _points("0:00 22, 5:10 22, 5:50 52, 7:30 52, 7:32 0, 8:40 0, 8:42 18, 9:31 44"),
            ),
            "CVP": Pressure(
                _points("0:00 21, 3:00 23, 5:10 23, 5:50 9, 7:30 9, 7:45 16, 8:40 16, 9:31 11, 14:00 10"),
                _points("0:00 3, 7:30 3, 7:32 0, 8:40 0, 8:42 2, 9:31 3"),
                VENOUS,
            ),
            "PA": Pressure(
                # 30/21: the mean lies 0.28 of the pulse above the diastolic
                _points("0:00 23.5, 5:10 23.5, 5:50 19, 7:30 19, 7:45 17, 8:40 17, 9:31 20, 14:00 19"),
                _points("0:00 9, 5:10 9, 5:50 17, 7:30 17, 7:32 0, 8:40 0, 8:42 6, 9:31 15"),
                PULMONARY,
            ),
        },
        heart_rate=_points("0:00 112, 5:10 114, 5:50 104, 7:29.9 102, 7:30 0, 8:40 0, 8:40.1 92, 14:00 88"),
        # 18 mmHg of a pulse of 22 as long as the chest is closed.
        variation=_points("0:00 0.82, 5:10 0.82, 5:10.1 0.06"),
        fibrillating=((_s("7:30"), _s("8:40")),),
    ),
    {
        "heart rate": Slow(
            _points("0:00 112, 5:10 114, 5:50 104, 7:30 102, 7:31 0, 8:40 0, 8:42 92, 14:00 88"),
            "/min",
            1,
            0.7,
            1,
            0,
            300,
        )
    },
    (
        Laid("flush", _s("5:50"), 9.5, ("LRAD",)),
        Laid("flush", _s("6:00.5"), 9.5, ("LRAD",)),
    ),
    ((_s("5:10"), "chest opened"), (_s("7:31"), "fibrillating"), (_s("8:40"), "shock")),
    (
        'sex = "male"',
        'age_band = "70-79"',
        "[chest]",
        'opened = "5:10"',
        "[ventilation]",
        "tidal_volume_ml_per_kg = 8",
    ),
)

# The saturations pass through the points where the truth's limits are crossed. Before the second going on the
# heart ejects, and goes on to (pulse 14): nothing is lost then.
WHICH_ARM = Vignette(
    "which-arm",
    "Which arm do you believe",
    "Two sites, one line pressure and a head saturation make a diagnosis; one flat arm does not.",
    Course(
        720,
        RATE_HZ,
        {
            "LRAD": Pressure(
                _points("0:00 72, 3:40 72, 4:10 24, 5:20 24, 5:35 58, 6:40 58, 7:20 60, 7:40 64, 12:00 64"),
                _points("0:00 48, 3:00 48, 3:40 40, 4:10 0, 5:20 0, 5:35 36, 6:40 36, 7:40 14"),
            ),
            "RRAD": Pressure(
                _points("0:00 74, 3:40 74, 4:10 55, 5:20 55, 5:35 58, 6:40 58, 7:20 66, 7:40 82, 12:00 82"),
                _points("0:00 48, 3:00 48, 3:40 40, 4:10 22, 5:20 22, 5:35 36, 6:40 36, 7:40 14"),
            ),
            "FEM": Pressure(
                _points("0:00 71, 3:00 70, 3:40 70, 4:00 131, 5:20 131, 5:35 58, 6:40 58, 7:40 66, 12:00 66"),
                _points("0:00 46, 3:00 46, 3:40 38, 4:10 16, 5:20 16, 5:35 36, 6:40 36, 7:40 14"),
                natural_hz=22.0,
                damping=0.35,
            ),
        },
        heart_rate=_points("0:00 78, 3:00 80, 5:20 88, 6:40 92, 7:40 80, 12:00 76"),
        flow=_points("0:00 0, 3:00 0, 3:40 1.8, 5:20 1.8, 5:25 0, 6:40 0, 7:20 1.8, 7:40 3.9, 12:00 3.9"),
    ),
    {
        "pump flow": _flow(
            "0:00 0, 3:00 0, 3:40 1.8, 5:20 1.8, 5:25 0, 6:40 0, 7:20 1.8, 7:40 3.9, 12:00 3.9"
        ),
        "line pressure": Slow(
            _points(
                "0:00 70, 3:00 72, 3:20 150, 4:00 338, 5:20 338, 5:22 300, 5:25 110, 5:40 62, 6:40 60, "
                "7:20 98, 7:40 190, 12:00 190"
            ),
            "mmHg",
            1,
            0.7,
            1,
            -100,
            600,
        ),
        "NIRS L": _oximetry(
            "0:00 64, 3:40 64, 4:20 54, 4:50 51.2, 6:00 45, 6:40 45, 8:00 50.5, 8:10 51.2, 9:30 64"
        ),
        "NIRS R": _oximetry("0:00 63, 4:20 63, 6:00 58, 6:40 58, 8:00 59.5, 9:30 63"),
    },
    (Laid("cuff", _s("8:40"), 30, ("LRAD",)),),
    (
        (_s("3:00"), "going on, femoral"),
        (_s("5:20"), "flow stopped"),
        (_s("6:40"), "going on, right axillary"),
        (_s("9:12"), "cuff 79/56 (64)"),
    ),
    (
        "height_cm = 163",
        "weight_kg = 66",
        'sex = "female"',
        'age_band = "60-69"',
        "[inflow]",
        'site = "axillary"',
        'side = "right"',
        "[plan]",
        "flow_index = 2.4",
        "[oximetry]",
        'baseline_start = "0:00"',
        'baseline_end = "2:00"',
    ),
)

# The PA mean rises from 22 to 24 before the reaction, so that it goes up by less than 15 in five minutes.
POLE = Vignette(
    "protamine-or-pole",
    "Protamine or the pole",
    "Everything moved together and the pulse stayed: the pole.",
    Course(
        600,
        RATE_HZ,
        {
            "FEM": Pressure(
                _points("0:00 76, 5:00 76, 5:30 75, 6:30 48, 7:00 50, 8:50 60, 9:30 75, 10:00 75"),
                _points("0:00 50, 5:30 50, 6:30 30, 7:00 31, 8:50 38, 9:30 48"),
                natural_hz=22.0,
                damping=0.35,
            ),
            "LRAD": Pressure(
                _points("0:00 73, 5:00 73, 5:30 72, 6:30 46, 7:00 48, 8:50 58, 9:30 72, 10:00 72"),
                _points("0:00 50, 5:30 50, 6:30 30, 7:00 31, 8:50 38, 9:30 48"),
            ),
            "CVP": Pressure(_points("0:00 9, 5:30 9, 7:00 15, 9:30 9"), _points("0:00 3"), VENOUS),
            "PA": Pressure(
                _points("0:00 22, 2:00 24, 5:30 24, 7:00 38, 7:22.6 36.4, 9:30 22"),
                _points("0:00 16, 5:30 16, 7:00 22, 9:30 16"),
                PULMONARY,
            ),
        },
        heart_rate=_points("0:00 84, 5:30 84, 7:00 92, 9:30 86"),
    ),
    {},
    (Laid("height", _s("3:10"), 70, ("FEM", "LRAD", "CVP", "PA"), -14.0),),
    ((_s("2:00"), "protamine"),),
    ('sex = "male"', 'age_band = "60-69"'),
)

VIGNETTES = (LETTING_GO, WHICH_ARM, POLE)

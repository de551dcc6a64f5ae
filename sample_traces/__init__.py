"""The invented demo case, and what makes its recordings.

A planned redo pulmonary endarterectomy of 350 minutes, made up from the tables in this folder and
altered for teaching: no real person, no real recording, no hospital. It is NOT a reference for good
practice, and nothing in it says what should have been done.

============== ==========================================================================
table          what
============== ==========================================================================
keyframes.json the underlying trend of each channel, ``[minute, value]``, straight between
minutes.csv    the same once a minute, computed channels included
truth.csv      every artefact and event laid into the record, with start, end and tolerance
phases.csv     the true phases
log.csv        the handwritten log as written (two lines wrong on purpose)
captions.csv   the spoken notes, with their own zero
vignettes.csv  the truth of the three vignettes
============== ==========================================================================

From them `build_demo` writes five recorders, each in its own format and on its own faulty clock, and
a case sheet. ``tables`` reads the tables, ``trend`` draws the lines between keyframes, ``rhythm``
says when the heart beats, ``waves`` turns both into pressures, ``artefacts`` lays on what spoils
them, ``sources`` is what each recorder saw by its own clock, ``write`` knows the file formats.

Three vignettes, also invented, stand in ``vignettes``; `build_vignettes` writes each as one recording with its
truth beside it. `variations.vary` makes small cases by seed; ``courses`` makes the waves of both, ``planting``
lays artefacts over any wave.

``excerpt/`` holds a short piece of each source for the readers' tests, made by `write_excerpt`.
"""

if not __name__.startswith("afterclamp."):
    raise ImportError("import this as afterclamp.sample_traces, not as sample_traces")

from .build import build_demo, write_excerpt
from .sources import true_clock_maps
from .tables import phases, truth
from .vignette_files import build_vignettes

__all__ = ["build_demo", "build_vignettes", "phases", "true_clock_maps", "truth", "write_excerpt"]

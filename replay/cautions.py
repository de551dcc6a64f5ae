"""What everybody reads before using this, and what stands at the foot of every page that leaves it.

The one place for both texts: the desk shows `CAUTIONS` at first start, the README repeats it, and the
case paper and the exports carry `footer`.
"""

from __future__ import annotations

from datetime import date

CAUTIONS_TITLE = "For looking back, never for looking after."

CAUTIONS: tuple[str, ...] = (
    "This program replays records after the operation is over. It is not a medical device, has not been"
    " assessed as one, and must not be connected to a patient, watched during a case, used to set an alarm,"
    " choose a treatment, or decide a dose.",
    "Limits in the program are copies of published or local numbers chosen by you; a minute outside a limit"
    " is not evidence of poor care, and a minute inside it is not evidence of good care. Published limits"
    " disagree, come mostly from association studies in adults, and change. Follow your own protocol and"
    " licensed practice; where this program and your protocol differ, your protocol wins.",
    "Recorded numbers may be wrong (line site, height, damping, stale haemoglobin) and clocks disagree; every"
    " time carries a ±. Automatic finds are proposals that a qualified person must confirm. “What if” figures"
    " are arithmetic on one formula and do not model a patient. Sequence is not cause.",
    "A record of a case is personal health data and may be disclosable in law. Remove identity before sharing;"
    " ask your governance office what protection, if any, a debrief or M&M record has where you work. Do not"
    " use these pages to rank or discipline people.",
    "The demonstration case and vignettes are invented and altered for teaching; they are not a reference for"
    " good practice.",
)


def cautions_text() -> str:
    """The cautions as plain text: the title joined to the first paragraph, a blank line between."""
    first, *others = CAUTIONS
    return "\n\n".join([f"{CAUTIONS_TITLE} {first}", *others])


def footer(
    *,
    limits: str,
    seen_min: float,
    of_min: float,
    masked_s: float,
    version: str,
    case_hash: str,
    day: date | None = None,
    confirmed_by: str = "____",
) -> str:
    """What stands at the foot of every page of a case paper and in every export.

    Parameters
    ----------
    limits : str
        Set, source and version of the limits in force, ready to print.
    seen_min, of_min : float
        Minutes with data, and minutes of the record.
    masked_s : float
        Seconds taken out as artefact.
    version, case_hash : str
        Of the program, and of the case's content.
    day : date, optional
        When the page was made; left out where no date may be shown.
    confirmed_by : str
        Author ids of those who confirmed finds.
    """
    made = f" · {day.isoformat()}" if day is not None else ""
    return (
        "Retrospective reconstruction for debrief, teaching or research. Not a medical device; not for use in"
        f" care. Times ± as shown; finds proposed by rule and confirmed by: {confirmed_by or '____'}."
        f" Limits in force: {limits}. Data seen {seen_min:.0f} of {of_min:.0f} min; masked {masked_s:.0f} s."
        " Local protocol and licensed judgement prevail. Contains personal data unless marked de-identified."
        f" {version} · {case_hash}{made}"
    )

"""Imported as afterclamp.replay only: a second name would load every module twice."""

if not __name__.startswith("afterclamp."):
    raise ImportError(
        "import this as afterclamp.replay, not as replay: two names would load every module twice"
    )

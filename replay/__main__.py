"""``python -m afterclamp.replay``: the same as the command ``afterclamp``."""

from afterclamp.replay.commands import run

if __name__ == "__main__":
    run()

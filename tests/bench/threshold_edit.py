"""How long after a number of a rule is another one its effect is there.

    python tests/bench/threshold_edit.py CASE_FOLDER [--all]

Works on a copy of the case. In the process that the desk keeps for it, as the desk asks it: the case read beforehand,
then one number of each rule (with --all every free number) tried at 1.1 times its value, to the answer; then
a kept edit, to the finds of all rules and the unexplained changes. The desk waits 0.3 s for typing to rest before it
asks, which comes on top. Aim: 1 s at most.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from afterclamp.annotate.rule_numbers import editing, keep
from afterclamp.annotate.rules import RULES
from afterclamp.io import open_case

AIM_S = 1.0


def main() -> None:
    """Measure."""
    wanted = argparse.ArgumentParser()
    wanted.add_argument("case")
    wanted.add_argument("--all", action="store_true")
    given = wanted.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        case = Path(folder) / "case"
        shutil.copytree(given.case, case)
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", "afterclamp.replay.bringing"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert process.stdin is not None and process.stdout is not None  # noqa: PT018

        def ask(task: str, **what: object) -> float:
            begun = time.perf_counter()
            process.stdin.write(json.dumps({"task": task, "case": str(case), "stay": True, **what}) + "\n")
            process.stdin.flush()
            while True:
                answer = json.loads(process.stdout.readline())
                if "result" in answer or "sentence" in answer:
                    return time.perf_counter() - begun

        print(f"reading the case beforehand: {ask('rule_trial'):.2f} s")
        print(f"all rules once: {ask('look', only=['finds', 'unexplained']):.2f} s")
        took: list[tuple[float, str]] = []
        for rule in RULES:
            free = [name for name, one in rule.parameters.items() if not one.fixed]
            for name in free if given.all else free[:1]:
                value = 1.1 * rule.parameters[name].value
                key = f"{rule.code}.{name}"
                took.append((ask("rule_trial", rule=rule.code, numbers={key: value}), key))
        took.sort(reverse=True)
        print(
            f"{len(took)} numbers tried: median {median(t for t, _ in took):.2f} s, longest (aim {AIM_S:g} s at most)"
        )
        for seconds, key in took[:8]:
            print(f"    {seconds:.2f} s  {key}")
        kept = []
        for key in dict.fromkeys([*(key for _, key in took[:5]), "E13.below"]):
            code, name = key.split(".")
            rule = next(one for one in RULES if one.code == code and name in one.parameters)
            with open_case(case) as opened:
                keep(opened, "bench", [editing(code, name, 1.07 * rule.parameters[name].value, "measured")])
            kept.append((ask("look", only=["finds", "unexplained"]), key))
        print("kept, to all finds and unexplained changes:", ", ".join(f"{key} {t:.2f} s" for t, key in kept))
        process.stdin.close()
        process.wait()


if __name__ == "__main__":
    main()

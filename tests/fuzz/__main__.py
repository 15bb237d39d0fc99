"""``python -m tests.fuzz --hours 1``: every target in turn, and counts of what came of it."""

from __future__ import annotations

import argparse
import random
import sys
import time

from tests.fuzz import command_lines, kills, loops, machines, readers, takes
from tests.fuzz.harness import Counts, Target, bound_memory, fuzz, peak_megabytes

TARGETS: dict[str, Target] = {
    target.name: target for target in (*readers.TARGETS, *takes.TARGETS, *command_lines.TARGETS)
}
PROCESSES = {"loops": loops.fuzz, "kills": kills.fuzz, "machines": machines.fuzz}
"""What is run in processes of its own: (seconds, seed) -> failures, telling counts itself."""
SHARE = {
    "tunes": 4.0,
    "command-lines": 2.0,
    "kills": 4.0,
    "machines": 4.0,
    "recordings": 2.0,
    "loops": 0.5,
    "words": 0.5,
}
"""Of the time, beside 1 for each of the others."""
ROUNDS = 4


def main() -> int:
    """Run; the exit status is 1 where anything failed."""
    known = (*TARGETS, *PROCESSES)
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--hours", type=float, default=0)
    parser.add_argument("--minutes", type=float, default=0)
    parser.add_argument("--cases", type=int, default=10**9, help="at most, of each target")
    parser.add_argument("--seed", type=int, default=time.time_ns() % 10**9)
    parser.add_argument("targets", nargs="*", help=f"of {', '.join(known)}; otherwise all")
    asked = parser.parse_args()
    names = asked.targets or known
    seconds = asked.hours * 3600 + asked.minutes * 60 or 3600
    whole = sum(SHARE.get(name, 1) for name in names)
    print(f"seed {asked.seed}", flush=True)
    counts = {name: Counts() for name in names if name in TARGETS}
    failed = 0
    for name in names:
        if name in PROCESSES:
            failed += PROCESSES[name](seconds * SHARE.get(name, 1) / whole, asked.seed)
    if counts:
        bound_memory()
    for turn in range(ROUNDS):
        for name, count in counts.items():
            rng = random.Random(f"{asked.seed} {turn} {name}")
            share = seconds * SHARE.get(name, 1) / whole / ROUNDS
            fuzz(TARGETS[name], rng, share, asked.cases // ROUNDS + 1, count)
            print(f"{turn + 1} of {ROUNDS}  {name:<14}{count}", flush=True)
    print(f"\n{'target':<14}what became of its cases")
    for name, count in counts.items():
        print(f"{name:<14}{count}")
        for line, times in count.failures.most_common():
            print(f"    {times:,} x {line}")
        failed += count.failures.total()
    print(f"most memory: {peak_megabytes():.0f} MB")
    return int(failed > 0)


if __name__ == "__main__":
    sys.exit(main())

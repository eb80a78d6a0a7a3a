"""Random dialogues by the million: `python -m tests.benchmarks.walk_gates [TURNS] [SEED]`.

Each turn plays an answer or a spoiler through the core and checks the rules of
tests/procedure/test_random_dialogues.py; a broken rule ends the run with its seed.
"""

from __future__ import annotations

import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor

from assistant.procedure import energy
from tests.procedure.test_random_dialogues import deep_walk

TURNS_A_WALK = 500


def main() -> int:
    """Walk; prints progress, the states seen and turns a second."""
    turns = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    walks = -(-turns // TURNS_A_WALK)
    seen: dict[str, int] = dict.fromkeys(energy.ANY, 0)
    began = time.perf_counter()
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        seeds = range(first, first + walks)
        results = pool.map(deep_walk, seeds, [TURNS_A_WALK] * walks, chunksize=8)
        for done, states in enumerate(results, 1):
            for state, count in states.items():
                seen[state] += count
            if done % 200 == 0:
                print(f"{done * TURNS_A_WALK:,} of {walks * TURNS_A_WALK:,} turns", flush=True)
    total = sum(seen.values())
    print(f"{total:,} turns, no step entered against its energy state")
    for state, count in seen.items():
        print(f"  {state:12} {count:>10,}")
    print(f"{total / (time.perf_counter() - began):,.0f} turns a second")
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""How many checks and minutes until the true cause is named: the guide's choice beside others.

    python -m tests.benchmarks.bench_faults [--drawn N]

Plays the cases of tests/faults/cases: by the guide, by the trade list's fixed order with the same
tables and the same threshold, and by the most information a check regardless of time, risk and
danger. With --drawn it also draws N cases from the tables themselves, noise included, and compares
how sure the guide was with how often it was right (calibration).

Cases and tables are from the same hands: the figures show consistency, not accuracy in the field.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from statistics import mean

from assistant.faults.bayes import expected_information
from assistant.faults.door import Door
from assistant.faults.model import Symptom
from tests.faults.cases import (
    Case,
    Result,
    all_cases,
    by_fixed_order,
    by_guide,
    by_order,
    guide,
)
from tests.faults.drawn import draw


def by_information(case: Case) -> Result:
    """The check that tells most of the prior, whatever it costs."""

    def most(door: Door, symptom: Symptom, left: list[str]) -> str:
        chances = door.chances(symptom)
        checks = door.guide.checks
        return max(left, key=lambda n: expected_information(checks[n], chances, door.guide.wrong))

    return by_order(case, most)


def line(name: str, play: Callable[[Case], Result]) -> None:
    begun = time.perf_counter()
    results = [play(case) for case in all_cases()]
    spent_ms = 1000 * (time.perf_counter() - begun)
    checks = sum(result.checks for result in results)
    print(
        f"| {name} | {mean(r.checks for r in results):.2f} | {max(r.checks for r in results)} "
        f"| {mean(r.minutes for r in results):.1f} | {mean(r.first_right for r in results):.3f} "
        f"| {mean(r.right for r in results):.3f} | {spent_ms / max(1, checks):.1f} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--drawn", type=int, default=0, metavar="N")
    arguments = parser.parse_args()
    cases = all_cases()
    wrong = sum(bool(case.wrong) for case in cases)
    gaps = sum(bool(case.unknown or case.cant) for case in cases)
    print(f"{len(cases)} cases, {wrong} with a wrong answer, {gaps} with a gap; "
          f"{len(guide().symptoms)} symptoms\n")  # fmt: skip
    print(
        "| choice | checks, mean | most | minutes, mean | first named right | right | ms a check |"
    )
    print("|---|---|---|---|---|---|---|")
    line("the guide: information per minute and risk, danger first", by_guide)
    line("fixed order of the trade list, same tables", by_fixed_order)
    line("most information of the prior, whatever it costs", by_information)
    if arguments.drawn:
        named = draw(arguments.drawn, seed=1)
        chance, right = mean(p for p, _ in named), mean(good for _, good in named)
        print(f"\ndrawn: {arguments.drawn}, {len(named)} named as sure")
        print(f"mean chance {chance:.3f}, share right {right:.3f}")


if __name__ == "__main__":
    main()

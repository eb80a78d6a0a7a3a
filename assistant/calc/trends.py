"""How a reading went over the visits to a door, and whether that is more than chance.

When a trend is named
---------------------
A change from visit to visit is mostly the meter, the weather and the hand. So:

* fewer than three visits with a value: no trend is named;
* three or four: only if every visit went the same way, and the last value is at least half as much
  again as the first, or at most two thirds of it;
* five or more: only if Mann and Kendall's test finds a trend (exact, two-sided, p at most 0.05)
  and the line through the values (Theil and Sen) changed by a tenth or more.

The factor and the tenth are common practice, no source; the test is [1]_, the line [2]_.

References
----------
.. [1] M. G. Kendall, Rank Correlation Methods (from memory); the counts are worked out here.
.. [2] P. K. Sen, Estimates of the regression coefficient based on Kendall's tau, J. Am. Stat.
   Assoc. 63 (1968) (from memory).
"""

from __future__ import annotations

from functools import cache
from itertools import combinations, pairwise
from math import factorial
from statistics import median

FEWEST = 3  # visits
MANY = 5  # visits from which chance is judged by Mann and Kendall's test
P_MOST = 0.05
FACTOR = 1.5
TENTH = 0.1


def changed(values: list[float]) -> bool:
    """True if a trend is named, by the rule of the module text; values above zero, oldest first."""
    if len(values) < FEWEST or min(values) <= 0:
        return False
    if len(values) < MANY:
        steps = [b - a for a, b in pairwise(values)]
        one_way = all(step > 0 for step in steps) or all(step < 0 for step in steps)
        ratio = values[-1] / values[0]
        return one_way and (ratio >= FACTOR or ratio <= 1 / FACTOR)
    start, end = sen_line(values)
    return kendall_p(values) <= P_MOST and abs(end - start) >= TENTH * max(abs(start), abs(end))


def in_words(values: list[float]) -> str:
    """ "halved", "rose by 30 %": by the values for few visits, by their line for many."""
    start, end = (values[0], values[-1]) if len(values) < MANY else sen_line(values)
    ratio = end / start if start > 0 < end else values[-1] / values[0]
    named = {
        0.5: "halved",
        1 / 3: "fell to a third",
        0.25: "fell to a quarter",
        0.1: "fell tenfold",
    }
    named |= {2.0: "doubled", 3.0: "tripled", 10.0: "rose tenfold"}
    for factor, words in named.items():
        if abs(ratio / factor - 1) <= 0.05:
            return words
    if ratio < 1:
        return f"fell by {100 * (1 - ratio):.0f} %"
    return f"rose by {100 * (ratio - 1):.0f} %" if ratio < 3 else f"rose {ratio:.1f} times"


def kendall_p(values: list[float]) -> float:
    """Two-sided probability that chance alone orders values at least so much one way.

    Mann and Kendall's S against its exact distribution for n values without ties; with ties it
    errs to the side of no trend.
    """
    s = sum((b > a) - (b < a) for a, b in combinations(values, 2))
    n = len(values)
    pairs = n * (n - 1) // 2
    # S = pairs - 2 * inversions
    beyond = sum(_inversions(n)[: (pairs - abs(s)) // 2 + 1])
    return min(1.0, 2 * beyond / factorial(n))


@cache
def _inversions(n: int) -> tuple[int, ...]:
    """How many orders of n values have 0, 1, 2 ... inversions."""
    counts = [1]
    for size in range(2, n + 1):
        longer = [0] * (len(counts) + size - 1)
        for place, count in enumerate(counts):
            for more in range(size):
                longer[place + more] += count
        counts = longer
    return tuple(counts)


def sen_line(values: list[float]) -> tuple[float, float]:
    """First and last value of Theil and Sen's line through values at equal steps."""
    places = range(len(values))
    slope = median((values[j] - values[i]) / (j - i) for i, j in combinations(places, 2))
    base = median(value - slope * place for place, value in zip(places, values, strict=True))
    return base, base + slope * (len(values) - 1)

"""The rules by which small numbers do not shout. Standard library only.

* :func:`sign_test`: are there more flats than sharps than a coin would give? Exact, two-sided
  (Conover, *Practical Nonparametric Statistics*; from memory).
* :func:`t_test`: does their mean differ from nothing? Student's, two-sided (Student 1908; from
  memory). It sees a habit in fewer days than signs alone can, and asks that the days scatter
  alike upwards and downwards.
* :func:`trend_test`: do values rise or fall in the order they came? Kendall's tau of value against
  place (Mann 1945, Kendall 1938; from memory): exact without ties up to :data:`EXACT_UP_TO`
  values, beyond that, or with ties, by the normal distribution with the variance for ties.
* :func:`fisher_test`: is one share larger than another? Exact, two-sided (Fisher 1935; from
  memory): the sum over all tables that are no more likely than the one found.
* :func:`holm`: of many notes looked at, some stand out by chance; the step-down rule holds the
  chance that any one does at the level asked for, however they hang together, and lets some
  questions have a larger share of it than others (Holm 1979, "A simple sequentially rejective
  multiple test procedure", with its weights; from memory).
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence
from functools import lru_cache
from itertools import accumulate
from statistics import NormalDist
from typing import Final

EXACT_UP_TO: Final = 30
"""Values up to which a trend is tested exactly; beyond, the normal distribution is close."""

_EXACT_SIGNS: Final = 1000


def sign_test(below: int, above: int) -> float:
    """Return the two-sided p that a fair coin gives numbers at least as uneven, 0 to 1."""
    n, few = below + above, min(below, above)
    if n == 0:
        return 1.0
    if n <= _EXACT_SIGNS:
        return min(1.0, sum(math.comb(n, k) for k in range(few + 1)) / (1 << (n - 1)))
    # The same sum; its terms are too large for a float and are taken against the largest.
    log_last = _log_comb(n, few)
    ratio, term = 1.0, 1.0
    for k in range(few, 0, -1):
        term *= k / (n - k + 1)
        ratio += term
        if term < 1e-17 * ratio:
            break
    return min(1.0, 2 * math.exp(log_last - n * math.log(2)) * ratio)


def t_test(values: Sequence[float], least_deviation: float) -> float:
    """Return the two-sided p that values around 0 have a mean as far from it, 0 to 1.

    Args:
        values: two at least, else nothing can be said and p is 1.
        least_deviation: the standard deviation is taken to be no smaller; above 0, in the unit of
            the values.
    """
    n = len(values)
    if n < 2:
        return 1.0
    mean = math.fsum(values) / n
    variance = math.fsum((value - mean) ** 2 for value in values) / (n - 1)
    t_squared = n * mean**2 / max(variance, least_deviation**2)
    return _beta_share((n - 1) / (n - 1 + t_squared), (n - 1) / 2, 0.5)


def trend_test(values: Sequence[float]) -> tuple[float, float]:
    """Return Kendall's tau-b of the values against their order, and its two-sided p.

    Tau is from -1 (they fall all the way) to 1 (they rise); 0 with p 1 where nothing can be said.
    """
    n = len(values)
    score, pairs = _score(values), n * (n - 1) // 2
    ties = [count for count in Counter(values).values() if count > 1]
    comparable = pairs - sum(t * (t - 1) // 2 for t in ties)
    if comparable == 0:
        return 0.0, 1.0
    tau = score / math.sqrt(pairs * comparable)
    if not ties and n <= EXACT_UP_TO:
        counts = _score_counts(n)
        discordant = (pairs - abs(score)) // 2
        tail = counts[discordant] / math.factorial(n)
        return tau, min(1.0, 2 * tail)
    variance = (n * (n - 1) * (2 * n + 5) - sum(t * (t - 1) * (2 * t + 5) for t in ties)) / 18
    p: float = 2 * NormalDist().cdf(-abs(score) / math.sqrt(variance))
    return tau, p


def fisher_test(hits: int, of: int, other_hits: int, other_of: int) -> float:
    """Return the two-sided p that two equal shares come out at least as unevenly, 0 to 1."""
    total_hits, total = hits + other_hits, of + other_of

    def log_chance(here: int) -> float:
        return (
            _log_comb(of, here)
            + _log_comb(other_of, total_hits - here)
            - _log_comb(total, total_hits)
        )

    # Equal chances differ in their last digits.
    limit = log_chance(hits) + 1e-7
    possible = range(max(0, total_hits - other_of), min(of, total_hits) + 1)
    chances = (log_chance(here) for here in possible)
    return min(1.0, math.fsum(math.exp(one) for one in chances if one <= limit))


def holm(p_values: Sequence[float], weights: Sequence[float] | None = None) -> tuple[float, ...]:
    """Return each p as adjusted for all that were looked at, in the order given.

    Args:
        p_values: 0 to 1.
        weights: the share each has of the level, above 0; only their ratios count. Default: all
            the same.
    """
    shares = [1.0] * len(p_values) if weights is None else weights
    order = sorted(range(len(p_values)), key=lambda place: p_values[place] / shares[place])
    adjusted = [1.0] * len(p_values)
    left, highest = math.fsum(shares), 0.0
    for place in order:
        highest = max(highest, min(1.0, left / shares[place] * p_values[place]))
        adjusted[place] = highest
        left -= shares[place]
    return tuple(adjusted)


def _log_comb(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)


def _beta_share(x: float, a: float, b: float) -> float:
    """Return the regularized incomplete beta function, 0 to 1.

    By its continued fraction (NIST Digital Library of Mathematical Functions, 8.17.22, and its
    mirror image 8.17.4 where that converges faster; from memory).
    """
    if x <= 0.0 or x >= 1.0:
        return min(1.0, max(0.0, x))
    if x > (a + 1) / (a + b + 2):
        return 1.0 - _beta_share(1.0 - x, b, a)
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    log_front += a * math.log(x) + b * math.log1p(-x)
    # The fraction from its first term on, as Lentz does: value, and ratios of what is above and
    # below the line to what they were a term before.
    value, above, below = 1.0, 1.0, 0.0
    for term in range(300):
        m = term // 2
        if term == 0:
            part = 1.0
        elif term % 2 == 0:
            part = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        else:
            part = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        below = 1.0 / ((1.0 + part * below) or 1e-30)
        above = (1.0 + part / above) or 1e-30
        change = above * below
        value *= change
        if abs(change - 1.0) < 1e-15:
            break
    return math.exp(log_front) * (value - 1.0) / a


def _score(values: Sequence[float]) -> int:
    """Pairs that rise less pairs that fall."""
    before: list[float] = []
    score = 0
    for count, value in enumerate(values):
        smaller = bisect_left(before, value)
        # The larger ones begin where those that are equal end.
        equal_end = smaller
        while equal_end < count and before[equal_end] == value:
            equal_end += 1
        score += smaller - (count - equal_end)
        before.insert(smaller, value)
    return score


@lru_cache(maxsize=EXACT_UP_TO + 1)
def _score_counts(n: int) -> tuple[int, ...]:
    """How many orders of n values have at most so many falling pairs."""
    counts = [1]
    for size in range(2, n + 1):
        longer = [0] * (len(counts) + size - 1)
        for place, count in enumerate(counts):
            for more in range(size):
                longer[place + more] += count
        counts = longer
    return tuple(accumulate(counts))

"""How sure a chance is: ranges of the beta distribution.

One chance out of a Dirichlet distribution with parameters a1 … an, of sum A, follows the beta
distribution with the parameters ai and A - ai (Gelman et al., Bayesian Data Analysis, appendix A).
Its distribution function is the regularised incomplete beta function, here by the continued
fraction 8.17.22 and the symmetry 8.17.4 of the NIST Digital Library of Mathematical Functions.
"""

from __future__ import annotations

import math
from typing import Final

#: Halvings of 0 to 1, until two numbers that follow one another are left of any range.
_HALVINGS: Final = 60


def share_below(x: float, a: float, b: float) -> float:
    """Return the probability that a beta variate with parameters `a` and `b` above 0 is below `x`.

    >>> round(share_below(0.5, 2, 2), 12)
    0.5
    """
    if x <= 0 or x >= 1:
        return 0.0 if x <= 0 else 1.0
    if x > (a + 1) / (a + b + 2):
        return 1 - share_below(1 - x, b, a)
    log_beta = math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)
    front = math.exp(a * math.log(x) + b * math.log1p(-x) - log_beta) / a
    return front / _fraction(x, a, b)


def _fraction(x: float, a: float, b: float) -> float:
    """Return the continued fraction 1 + d1/(1 + d2/(1 + …)), from its far end."""
    value = 1.0
    # It converges within some multiple of the root of the larger parameter.
    for m in range(50 + 5 * math.isqrt(int(a + b) + 1), -1, -1):
        even = (m + 1) * (b - m - 1) * x / ((a + 2 * m + 1) * (a + 2 * m + 2))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        value = 1 + odd / (1 + even / value)
    return value


def middle_range(a: float, b: float, share: float = 0.9) -> tuple[float, float]:
    """Return the range that holds the middle `share` of a beta distribution, from 0 to 1.

    Without a second parameter all of it is at 1.
    """
    if b <= 0:
        return 1.0, 1.0
    tail = (1 - share) / 2
    return _quantile(tail, a, b), _quantile(1 - tail, a, b)


def _quantile(share: float, a: float, b: float) -> float:
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if share_below(middle, a, b) < share:
            low = middle
        else:
            high = middle
    return (low + high) / 2

"""Fitting one certificate: calib beside `numpy.polynomial.Polynomial.fit` of the same degrees, in one run.

Run: python tests/benchmarks/curve_fits.py
Promise: the four candidates of a certificate of 10 points within 2 ms. The fits are compared before anything is timed. What
`choose` adds to the fits (outliers, leave-one-out, lack of fit, the choice) is timed with it and printed apart.
"""

import math
import time
from collections.abc import Callable

import numpy as np
from machine import describe

from calib.curves.choice import Comparisons, choose
from calib.curves.generalised import distance_regression
from calib.curves.regression import Polynomial, unweighted, weighted

DEGREES = range(4)


def certificate(*, stated: bool) -> Comparisons:
    """Comparisons of an invented vane anemometer at 10 indications."""
    random = np.random.default_rng(20260305)
    reference = np.array([0.6, 1.0, 1.6, 2.5, 4.0, 6.0, 9.0, 12.0, 16.0, 20.0])
    d = 0.01 + 0.003 * reference
    indication = 0.97 * reference + 0.05 + d * random.normal(size=reference.size)
    return Comparisons(reference, indication, (0.015 + 0.008 * reference) / 2, d if stated else None)


def with_calib(points: Comparisons) -> list[Polynomial]:
    """The candidates' fits, with covariance, residuals and chi-squared."""
    x, y, d = points.indication, points.correction, points.independent_uncertainty
    return [unweighted(x, y, degree) if d is None else weighted(x, y, d, degree) for degree in DEGREES]


def with_numpy(points: Comparisons) -> list[np.polynomial.Polynomial]:
    """The same coefficients alone."""
    d = points.independent_uncertainty
    weight = None if d is None else 1.0 / d
    return [np.polynomial.Polynomial.fit(points.indication, points.correction, degree, w=weight) for degree in DEGREES]


def milliseconds(call: Callable[[], object], rounds: int = 300) -> float:
    """Shortest of several rounds."""
    best = math.inf
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        best = min(best, time.perf_counter() - start)
    return 1e3 * best


def compare(points: Comparisons) -> float:
    """Largest difference of the fitted corrections, relative to the largest correction."""
    x = points.indication
    pairs = zip(with_calib(points), with_numpy(points), strict=True)
    return float(
        max(np.max(np.abs(own.value(x) - their(x))) for own, their in pairs) / np.max(np.abs(points.correction))
    )


def report(*, stated: bool) -> None:
    """Compare, then time both."""
    points = certificate(stated=stated)
    print(f"repeatability {'stated' if stated else 'not stated'}: largest relative difference {compare(points):.1e}")
    theirs, ours = milliseconds(lambda: with_numpy(points)), milliseconds(lambda: with_calib(points))
    chosen = milliseconds(lambda: choose(points))
    print(f"  numpy, degrees 0 to 3: {theirs:6.3f} ms")
    print(f"  calib, degrees 0 to 3: {ours:6.3f} ms   ratio {ours / theirs:.2f}")
    print(f"  calib, choose():       {chosen:6.3f} ms   ratio {chosen / theirs:.2f}   (promised: below 2 ms)")


def main() -> None:
    """Both kinds of certificate, and a line with uncertainty in both variables."""
    print(describe("numpy", "scipy"))
    for stated in (True, False):
        report(stated=stated)
    points = certificate(stated=True)
    u_x, u_y = points.independent_uncertainty, points.reference_uncertainty
    both = milliseconds(lambda: distance_regression(points.indication, points.reference, u_x, u_y, 1), 100)
    print(f"line with uncertainty in x and y: {both:.3f} ms")


if __name__ == "__main__":
    main()

"""A method judged by pairs against a reference method: bias, scatter, and the standard uncertainty to declare (GUM 4.2, F.2.4.5).

Each pair measures one flow by both methods; its relative difference is d = q_method/q_reference - 1.

The method is used without a correction for its mean difference. A recognised bias ought to be corrected (GUM 3.2.4); where it is
not, it must stay within the uncertainty (F.2.4.5 shows what that costs). So the proposed relative standard uncertainty is the
root mean square of d about 0, the value that the uncorrected method takes for granted; s about the mean leaves the bias out:

    u^2 = sum(d^2)/n = mean(d)^2 + s^2 (n-1)/n,      n degrees of freedom: no mean was estimated

The differences hold the errors of the instruments of both methods too; nothing is taken off for them, so on average u errs high.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri, stdtr, stdtrit

from calib.arrays import Floats
from calib.errors import CalibError
from calib.uncertainty.estimate import type_a
from calib.uncertainty.propagation import welch_satterthwaite

BIAS_SIGNIFICANCE = 0.05
FEW = 6  # below it a caution: a judgement, no source


@dataclass(frozen=True)
class PairedComparison:
    """What n pairs say of a method; all differences and uncertainties relative [1]."""

    differences: Floats  # (n,) d of each pair
    mean: float  # bias of the method against the reference method
    standard_uncertainty_of_mean: float  # s/sqrt(n), n - 1 degrees of freedom
    standard_deviation: float  # s of one difference, n - 1 degrees of freedom
    root_mean_square: float  # about 0: the proposed standard uncertainty, n degrees of freedom
    upper_limit: float  # 95 % upper confidence limit of the root mean square
    t: float  # mean over its standard uncertainty
    probability: float  # of a |t| at least as large, were there no bias
    explained: float  # root mean square of what the instruments explain
    outliers: tuple[int, ...]  # places of pairs that stand out, from 0; they are kept

    @property
    def count(self) -> int:
        """Number of pairs n: the degrees of freedom of the root mean square."""
        return int(self.differences.size)

    @property
    def unexplained(self) -> float:
        """What is left of the root mean square beside what the instruments explain; 0 where they explain all of it."""
        return float(np.sqrt(max(self.root_mean_square**2 - self.explained**2, 0.0)))


def paired(differences: ArrayLike, explained: ArrayLike) -> PairedComparison:
    """Judge a method by its relative differences (n,) from a reference method.

    `explained` (n,): the relative standard uncertainty of each difference that the instruments explain, without the method's own;
    an error that both sides share (one instrument for both) cancels and is no part of it. The pairs are taken for independent.

    The upper limit is rms sqrt(n/chi^2_0.05(n)): the chi-squared limit of a variance (NIST/SEMATECH e-Handbook 1.3.5.8), here
    about a known mean with n degrees of freedom; with a bias it errs on the high side.
    Raises CalibError for fewer than two pairs, for arrays of unlike length, and for values that are not finite or negative u.
    """
    d, u = np.asarray(differences, dtype=float), np.asarray(explained, dtype=float)
    _check(d, u)
    n = d.size
    mean = type_a(d.tolist())
    rms = _root_mean_square(d)
    t = _t_statistic(mean.value, mean.standard_uncertainty)
    return PairedComparison(
        differences=d,
        mean=mean.value,
        standard_uncertainty_of_mean=mean.standard_uncertainty,
        standard_deviation=mean.standard_uncertainty * float(np.sqrt(n)),
        root_mean_square=rms,
        upper_limit=rms * upper_factor(n),
        t=t,
        probability=float(2.0 * stdtr(n - 1, -abs(t))),
        explained=_root_mean_square(u),
        outliers=outlying_differences(d),
    )


@dataclass(frozen=True)
class CommonAndOwn:
    """What readings by a method share, and what each has by itself: relative standard uncertainties [1]."""

    common: float  # of a method that is used without a correction for its mean difference
    common_degrees_of_freedom: float
    corrected: float  # the same, were it corrected
    own: float
    own_degrees_of_freedom: float
    mean: float  # over the jobs of their mean differences
    jobs: int


def common_and_own(differences: ArrayLike, jobs: ArrayLike, independent: ArrayLike, shared: ArrayLike) -> CommonAndOwn:
    """What a method's relative differences (n,) from a reference method say of its common and of its own part (GUM 4.2, H.5).

    d_ij of pair j in job i, in J jobs; s_w^2 the variance within jobs, pooled (GUM 4.2.4), s_b^2 that of the J means of jobs:

        own^2    = max(0, s_w^2 - u_r^2),                  n - J degrees of freedom
        common^2 = mean^2 + s_b^2 (1 + 1/J) + u_R^2,       J - 1 degrees of freedom for the second term
        common^2 = mean^2 + s_w^2/n + u_R^2                in one job, n - 1 for the second; it holds for that job

    `jobs` (n,) tells to which job a pair belongs; `independent` (n,) is u_r, what the budgets of a pair explain of its difference
    by what no other pair shares; `shared` (n,) u_R, what all may share. mean^2 stays as long as the method is used without a
    correction (F.2.4.5). Raises CalibError for arrays of unlike length, values that are not finite or negative u, and where no job
    has two pairs: the two parts cannot be told apart then.
    """
    d, job = np.asarray(differences, dtype=float), np.unique(np.asarray(jobs), return_inverse=True)[1]
    own, all_share = np.asarray(independent, dtype=float), np.asarray(shared, dtype=float)
    _check(d, own)
    _check(d, all_share)
    if job.shape != d.shape:
        raise CalibError(f"differences {d.shape}, jobs {job.shape}: give the job of each pair")
    count = np.bincount(job)
    dof = int(d.size - count.size)
    if dof == 0:
        raise CalibError(
            f"{d.size} pairs in {count.size} jobs: add a second pair in a job, which tells what is each one's own"
        )
    means = np.bincount(job, d) / count
    within = float(np.sum((d - means[job]) ** 2)) / dof
    mean = float(np.mean(means))
    if count.size == 1:
        scatter, of_scatter = within / d.size, dof
    else:
        scatter, of_scatter = float(np.var(means, ddof=1)) * (1.0 + 1.0 / count.size), count.size - 1
    beside = _root_mean_square(all_share)
    terms = np.array([scatter**0.5, beside, mean])
    return CommonAndOwn(
        common=float(np.linalg.norm(terms)),
        common_degrees_of_freedom=float(welch_satterthwaite(terms, [of_scatter, np.inf, np.inf])),
        corrected=float(np.linalg.norm(terms[:2])),
        own=max(within - _root_mean_square(own) ** 2, 0.0) ** 0.5,
        own_degrees_of_freedom=float(dof),
        mean=mean,
        jobs=int(count.size),
    )


def _check(differences: Floats, explained: Floats) -> None:
    if differences.ndim != 1 or differences.shape != explained.shape:
        raise CalibError(f"differences {differences.shape}, u explained {explained.shape}: give one u for each pair")
    if differences.size < 2:
        raise CalibError(f"{differences.size} pair(s): a method is judged by at least 2; add pairs")
    bad = ~np.isfinite(differences) | ~np.isfinite(explained) | (explained < 0)
    if np.any(bad):
        place = int(np.argmax(bad))
        raise CalibError(
            f"pair {place + 1}: difference {differences[place]}, u explained {explained[place]}: "
            "both must be finite, and u not negative"
        )


def _root_mean_square(values: Floats) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def _t_statistic(mean: float, standard_uncertainty: float) -> float:
    if standard_uncertainty > 0:
        return mean / standard_uncertainty
    return 0.0 if mean == 0 else float(np.copysign(np.inf, mean))


def upper_factor(pairs: int) -> float:
    """Upper 95 % confidence limit of a root mean square over the root mean square: sqrt(n/chi^2_0.05(n)); 4.4 for 2, 1.6 for 10."""
    return float(np.sqrt(pairs / chdtri(pairs, 1.0 - BIAS_SIGNIFICANCE)))


def grubbs_limit(observations: int) -> float:
    """Two-sided 5 % critical value of Grubbs' G = max|x - mean|/s for n >= 3 observations.

        (n-1)/sqrt(n) sqrt(t^2/(n - 2 + t^2)),      t of n - 2 degrees of freedom at 1 - 0.05/(2n): Bonferroni's share

    Source: NIST/SEMATECH e-Handbook 1.3.5.17.1.
    """
    n = observations
    squared = float(stdtrit(n - 2, 1.0 - BIAS_SIGNIFICANCE / (2 * n))) ** 2
    return float((n - 1) / np.sqrt(n) * np.sqrt(squared / (n - 2 + squared)))


def outlying_differences(differences: ArrayLike) -> tuple[int, ...]:
    """Places of differences that stand out at 5 % by Grubbs' test: named for a person to judge, never dropped.

    One after the other, the one that stands out most first, as long as three are left.
    """
    d = np.asarray(differences, dtype=float)
    left = list(range(d.size))
    named: list[int] = []
    while len(left) >= 3:
        away = np.abs(d[left] - np.mean(d[left]))
        place = int(np.argmax(away))
        if away[place] <= grubbs_limit(len(left)) * np.std(d[left], ddof=1):
            break
        named.append(left.pop(place))
    return tuple(sorted(named))


def cautions_about(comparison: PairedComparison) -> tuple[str, ...]:
    """What to bear in mind about a comparison, in plain words; none where there is nothing to say."""
    return (*_few(comparison), *_bias(comparison), *_standing_out(comparison), *_instruments_alone(comparison))


def _few(comparison: PairedComparison) -> Iterable[str]:
    if comparison.count < FEW:
        yield (
            f"{comparison.count} pairs tell little: the root mean square of {_percent(comparison.root_mean_square)} may truly be "
            f"up to {_percent(comparison.upper_limit)} (95 %); fewer than {FEW} pairs are called few by judgement: add pairs"
        )


def _bias(comparison: PairedComparison) -> Iterable[str]:
    if comparison.probability < BIAS_SIGNIFICANCE:
        yield (
            f"the mean difference of {_percent(comparison.mean, '+')} is more than the scatter explains "
            f"(p = {comparison.probability:.2g}): find its cause and correct it; uncorrected it stays within the root mean square"
        )


def _standing_out(comparison: PairedComparison) -> Iterable[str]:
    for place in comparison.outliers:
        yield (
            f"pair {place + 1} ({_percent(comparison.differences[place], '+')}) stands out from the others (Grubbs, 5 %): "
            "look for its cause; it is kept"
        )


def _instruments_alone(comparison: PairedComparison) -> Iterable[str]:
    if comparison.explained >= comparison.root_mean_square:
        yield (
            f"the instruments alone explain {_percent(comparison.explained)}, no less than the root mean square of "
            f"{_percent(comparison.root_mean_square)}: the pairs do not show the method's own uncertainty"
        )


def _percent(relative: float, sign: str = "") -> str:
    return f"{100.0 * relative:{sign}.3g} %"

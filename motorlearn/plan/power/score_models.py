"""A linear mixed model with a random intercept, fitted to many studies at once.

``score ~ group x test`` as cell means with ``1 | person``: V_i = sigma² (I + theta² 11'), so that
everything follows from sums over a person's tests; one bounded search over theta, side by side.
"""

import numpy as np

from motorlearn.plan.power.simulated_scores import Batch

_GOLDEN = (np.sqrt(5) - 1) / 2
_RANGE = (-7.0, 4.0)
_STEPS = 30


def fit_scores(
    scores: np.ndarray, batch: Batch, contrast: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Contrast of groups in the change from baseline to the primary test.

    Fitted by restricted maximum likelihood; degrees of freedom by containment: observations less
    people less the changes of the group means, which is exact where nobody is missing.

    Parameters
    ----------
    scores : ndarray, shape (studies, people, tests)
        NaN where a test was missed.
    batch : Batch
        Groups and the places of the tests.
    contrast : ndarray, shape (groups,)
        Weights of the groups.

    Returns
    -------
    estimate, std_error, df : ndarray, shape (studies,)
    """
    sums = _Sums(scores, batch.groups, len(contrast))
    log_theta = _search(sums, len(scores))
    rss, cross, beta = sums.solve(log_theta)
    n_obs, people = sums.present.sum(axis=(1, 2)), sums.present.any(axis=2).sum(axis=1)
    cells = cross.shape[1] * cross.shape[2]
    sigma2 = rss / (n_obs - cells)
    change = np.zeros(scores.shape[2])
    change[batch.primary], change[batch.baseline] = 1.0, -1.0
    estimate = np.einsum("g,t,sgt->s", contrast, change, beta)
    spread = np.einsum("t,sgtu,u->sg", change, np.linalg.inv(cross), change)
    std_error = np.sqrt(sigma2 * (spread @ contrast**2))
    df = (n_obs - people - (cells - cross.shape[1])).astype(float)
    return estimate, np.where(std_error > 0, std_error, np.nan), np.where(df > 0, df, np.nan)


class _Sums:
    """Sums over people that the profiled likelihood needs."""

    def __init__(self, scores: np.ndarray, groups: np.ndarray, n_groups: int) -> None:
        self.present = ~np.isnan(scores)
        self.y = np.where(self.present, scores, 0.0)
        self.member = (groups == np.arange(n_groups)[:, None]).astype(float)
        self.count = self.present.sum(axis=2)
        self.total = self.y.sum(axis=2)
        self.cells = np.einsum("gn,snt->sgt", self.member, self.present)
        self.cell_sums = np.einsum("gn,snt->sgt", self.member, self.y)
        self.squares = (self.y**2).sum(axis=(1, 2))
        self.df = self.present.sum(axis=(1, 2)) - n_groups * scores.shape[2]

    def solve(self, log_theta: np.ndarray):
        """Residual sum of squares, cross products by group and cell means at theta."""
        theta2 = np.exp(2 * log_theta)[:, None]
        c = theta2 / (1 + self.count * theta2)
        both = self.present * np.sqrt(c)[:, :, None]
        cross = -np.einsum("gn,snt,snu->sgtu", self.member, both, both, optimize=True)
        place = np.arange(cross.shape[-1])
        cross[..., place, place] += self.cells
        moment = self.cell_sums - np.einsum(
            "gn,sn,snt->sgt", self.member, c * self.total, self.present, optimize=True
        )
        beta = np.linalg.solve(cross, moment[..., None])[..., 0]
        rss = self.squares - (c * self.total**2).sum(axis=1) - (moment * beta).sum(axis=(1, 2))
        return rss, cross, beta

    def deviance(self, log_theta: np.ndarray) -> np.ndarray:
        """Restricted deviance, constants left out."""
        rss, cross, _ = self.solve(log_theta)
        spread = np.log1p(self.count * np.exp(2 * log_theta)[:, None]).sum(axis=1)
        turned = np.linalg.slogdet(cross)[1].sum(axis=1)
        return spread + turned + self.df * np.log(rss)


def _search(sums: _Sums, studies: int) -> np.ndarray:
    """Minimise each deviance over log theta by golden sections."""
    low, high = np.full(studies, _RANGE[0]), np.full(studies, _RANGE[1])
    for _ in range(_STEPS):
        inner = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        left_better = sums.deviance(inner[0]) < sums.deviance(inner[1])
        high = np.where(left_better, inner[1], high)
        low = np.where(left_better, low, inner[0])
    return (low + high) / 2

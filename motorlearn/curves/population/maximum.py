"""Maximum of the population likelihood: starts and re-checks."""

from dataclasses import dataclass, replace

import numpy as np

from motorlearn.curves.population.arrays import starting_points
from motorlearn.curves.population.ascent import Summit, approach, climb, inverse_of, settle
from motorlearn.curves.population.grid import GridMarginal
from motorlearn.curves.population.layout import RATE, Layout
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.population.likelihoods import likelihood_of
from motorlearn.curves.population.marginal import Marginal
from motorlearn.curves.population.rivals import Asked, progress_at, worn
from motorlearn.curves.status import LEAST_PROGRESS
from motorlearn.exceptions import FitError

SETTLED_GAP, MOST_NODES, GRID_MOST = 1e-4, 110, 9
COARSE, COARSE_GAP = 7, 0.1
CLOSE, CLOSE_HITS = 1e-3, 1e-5
"""Standard errors from the top at which a climb ends and Newton's steps begin."""
SAME = 1e-3
"""Difference of log-likelihoods below which two starts ended at one maximum."""
LEAST_RISE = 1e-6
"""Rise of the log-likelihood from which a maximum that long steps found is told instead."""
FIRM_BEND = 1e-4
"""Least eigenvalue of the information, its diagonal being 1, of a maximum that is clear."""
MOST_PROGRESS = 50.0
"""Log drop of the basis from where a curve is a step."""
EDGE = 0.02
"""Share of an SD between learners left on its own below which they are looked at again, freed."""
LEAST_LIFT, SHRUNK = 0.2, 0.8
"""Least SD of a parameter that is freed, as a share of the largest; SDs of the start after that."""
SMALL_GAP = 0.02
"""Change of the log-likelihood with twice the nodes above which the quadrature is doubted."""


LEAST_LOG_SIGMA = -11.0
"""Log residual SD, in SDs of the scores, below which there is no noise to speak of."""
LAWS = {"lognormal": "lognormal", "t": "Student t"}
NO_MAXIMUM = (
    "the likelihood of this population curve has no maximum that can be found; let fewer "
    "parameters vary between learners, or fit each learner with fit_curves"
)
NO_NOISE = (
    "the scores lie on curves without any noise, so the likelihood of a population has no "
    "maximum; fit each learner with fit_curves"
)


@dataclass(frozen=True)
class PopulationFit:
    """The maximum, on the scale of the fit, with what the re-checks said."""

    layout: Layout
    summit: Summit
    covariance: np.ndarray
    learners: np.ndarray
    laplace: float
    gap: float
    rows: int
    nodes: int
    engine: str
    message: str
    warnings: tuple[str, ...]
    agree: bool


def fit_population(data: Learners, layout: Layout, nodes: int) -> PopulationFit:
    """Climb, look again from another start and with more nodes, and describe the maximum.

    Raises
    ------
    FitError
        If no start leads to a maximum, or there is no noise to speak of.
    """
    with np.errstate(all="ignore"):
        return _fitted(data, layout, nodes)


def _fitted(data: Learners, layout: Layout, nodes: int) -> PopulationFit:
    exact = data.closed and RATE not in layout.vary
    found = _searched(data, layout, nodes)
    best, gap, there = found.summit, found.gap, found.there
    nodes = there.nodes
    laplace = best.loglik if exact else loglik_at(data, layout, 1, best.point, there.peak)
    covariance, singular = _covariance(best)
    return PopulationFit(
        layout=layout,
        summit=best,
        covariance=covariance,
        learners=there.learners(best.point),
        laplace=laplace,
        gap=gap,
        rows=int(data.used.sum()),
        nodes=nodes,
        engine=_engine(data, exact, nodes),
        message=(
            f"{found.agree} of {found.tried} starts ended at this maximum; one more step would "
            f"gain {best.slack:.1e}; twice the nodes change the log-likelihood by {gap:.1e}."
        ),
        warnings=_warnings(best, layout, gap, found.agree > 1, singular),
        agree=found.agree > 1,
    )


@dataclass(frozen=True)
class Found:
    """A maximum whose nodes are settled, and how many of the starts tried ended there."""

    summit: Summit
    gap: float
    there: Marginal | GridMarginal
    agree: int
    tried: int


def _searched(data: Learners, layout: Layout, nodes: int) -> Found:
    """The highest maximum.

    Long steps are enough where they lead from two starts to one clear maximum. Elsewhere all is
    climbed with small steps as well, and what long steps found is kept only where it is higher.
    """
    start, other = starting_points(data, layout)
    quick = _attempt(data, layout, nodes, start, careful=False) if data.closed else None
    if quick is not None and _clear(data, layout, quick):
        quick, agree, tried, line = _looked_again(data, layout, nodes, quick, other)
        if agree > 1 and not line and _clear(data, layout, quick):
            return _settled(data, layout, nodes, quick, (agree, tried), careful=False)
    best = _attempt(data, layout, nodes, start)
    best, agree, tried, line = _looked_again(data, layout, nodes, best, other)
    if not line:
        best, agree, tried = _lifted(data, layout, nodes, best, (agree, tried))
    sure = _settled(data, layout, nodes, best, (agree, tried), enough=line)
    if line or quick is None or not quick.loglik > best.loglik + LEAST_RISE:
        return sure
    try:
        if abs(quick.loglik - best.loglik) >= SAME:
            quick = _lifted(data, layout, nodes, quick, (1, 1))[0]
        rival = _settled(data, layout, nodes, quick, (1, sure.tried + 1))
    except (np.linalg.LinAlgError, FitError):
        return sure
    higher = rival.summit.loglik - sure.summit.loglik
    same = int(abs(higher) < SAME)
    spiked = not rival.gap <= max(sure.gap, SMALL_GAP)
    if spiked or not higher > (LEAST_RISE if sure.summit.converged else 0.0):
        return replace(sure, agree=sure.agree + same, tried=rival.tried)
    return replace(rival, agree=rival.agree + same * sure.agree)


def _settled(
    data: Learners,
    layout: Layout,
    nodes: int,
    best: Summit,
    count: tuple[int, int],
    *,
    enough: bool = False,
    careful: bool = True,
) -> Found:
    """A summit with its nodes settled, if it is a maximum of a population with noise."""
    if not np.isfinite(best.loglik):
        raise FitError(NO_MAXIMUM)
    if layout.residual and layout.log_sigma(best.point) < LEAST_LOG_SIGMA:
        raise FitError(NO_NOISE)
    found = _settle_nodes(data, layout, nodes, best, enough=enough, careful=careful)
    return Found(*found, *count)


def _clear(data: Learners, layout: Layout, summit: Summit) -> bool:
    """Whether a summit is confirmed, bends in all directions, and lies on no edge or bound."""
    if not summit.converged or _on_an_edge(layout, summit):
        return False
    matrix = summit.information
    root = np.sqrt(np.maximum(np.abs(np.diag(matrix)), 1e-12))
    if not np.linalg.eigvalsh(matrix / np.outer(root, root))[0] > FIRM_BEND:
        return False
    return LEAST_PROGRESS <= progress_at(data, layout, summit.point) < MOST_PROGRESS


def _attempt(
    data: Learners, layout: Layout, nodes: int, start: np.ndarray, *, careful: bool = True
) -> Summit:
    """Climb from a start; a summit of no height where the climb breaks down."""
    try:
        return _maximise(data, layout, nodes, start, careful=careful)
    except np.linalg.LinAlgError:
        size = len(start)
        return Summit(np.asarray(start, float), -np.inf, np.eye(size), np.inf)


def _looked_again(
    data: Learners, layout: Layout, nodes: int, best: Summit, start: np.ndarray
) -> tuple[Summit, int, int, bool]:
    """Look from a second start, and from a third between both where they disagree.

    Where both end on what straight lines describe as well, no number will be told and the search
    is over; the last of what is given says so.
    """
    try:
        found, agree = _second_look(data, layout, nodes, best, start)
    except np.linalg.LinAlgError:
        found, agree = best, False
    line = _on_a_line(data, layout, found)
    if agree or line:
        return found, 1 + int(agree), 2, line
    lower = found.loglik > best.loglik
    third = 0.5 * (best.point + start) if lower else 0.5 * (found.point + start)
    again = _attempt(data, layout, nodes, third)
    heights = np.array([found.loglik, again.loglik])
    top = found if heights[0] >= heights[1] else again
    return top, 1 + int(abs(heights[0] - heights[1]) < SAME), 3, False


def _on_a_line(data: Learners, layout: Layout, best: Summit) -> bool:
    """Whether a summit is nearly straight, and straight lines are not rejected against it."""
    if not best.converged or not np.isfinite(best.loglik):
        return False
    if not progress_at(data, layout, best.point) < LEAST_PROGRESS:
        return False
    return Asked(worn(data, layout, best.point), layout, best.loglik).straight()


def _lifted(
    data: Learners, layout: Layout, nodes: int, best: Summit, count: tuple[int, int]
) -> tuple[Summit, int, int]:
    """Look from the other side where learners' parameters are tied to each other without freedom.

    On that edge the likelihood is level in all directions, also where it is not highest.
    """
    agree, tried = count
    if layout.diagonal or len(layout.vary) < 2 or not np.isfinite(best.loglik):
        return best, agree, tried
    if not _on_an_edge(layout, best):
        return best, agree, tried
    sd = _spreads(layout, best)
    free = np.diag(np.maximum(sd, LEAST_LIFT * sd.max()))
    start = best.point.copy()
    start[layout.fixed : layout.fixed + len(layout.triangle[0])] = free[layout.triangle]
    again = _attempt(data, layout, nodes, start)
    if abs(again.loglik - best.loglik) < SAME:
        return best, agree + 1, tried + 1
    if again.loglik <= best.loglik:
        return best, agree, tried + 1
    # What was left on the edge was no maximum; the new one is looked at from a start of its own.
    sd = SHRUNK * _spreads(layout, again)
    start = again.point.copy()
    start[layout.fixed : layout.fixed + len(layout.triangle[0])] = np.diag(sd)[layout.triangle]
    found, agreed = _second_look(data, layout, nodes, again, start)
    return found, 1 + int(agreed), tried + 2


def _spreads(layout: Layout, summit: Summit) -> np.ndarray:
    """SDs between learners of what varies, log rate first."""
    found: np.ndarray = np.sqrt((layout.root(summit.point)[list(layout.order)] ** 2).sum(axis=1))
    return found


def _on_an_edge(layout: Layout, summit: Summit) -> bool:
    """Whether an SD between learners has nothing, or all but nothing, of its own."""
    own = np.abs(np.diag(layout.root(summit.point)[list(layout.order)]))
    return not (own > EDGE * np.maximum(_spreads(layout, summit), EDGE)).all()


def _settle_nodes(
    data: Learners, layout: Layout, nodes: int, best: Summit, *, enough: bool, careful: bool
) -> tuple[Summit, float, Marginal | GridMarginal]:
    """Take more nodes until twice as many change nothing; hits stay with what was asked for.

    So does a search with ``enough`` of it, and errors that are not normal beyond some nodes.

    Gives the maximum, the change with twice the nodes, and the likelihood placed at the maximum.
    """
    exact = data.closed and RATE not in layout.vary
    while True:
        there = likelihood_of(data, layout, 1 if exact else nodes, best.peak)
        there.adapt(best.point)
        if exact:
            return best, 0.0, there
        more = loglik_at(data, layout, 2 * nodes - 1, best.point, there.peak)
        gap = abs(more - best.loglik)
        least, most = (SETTLED_GAP, MOST_NODES) if data.closed else (SMALL_GAP, GRID_MOST)
        if gap < least or nodes >= most or enough or data.trials is not None:
            return best, gap, there
        nodes = 2 * nodes - 1
        best = _maximise(data, layout, nodes, best.point, careful=careful)


def _engine(data: Learners, exact: bool, nodes: int) -> str:
    if exact:
        return "exact maximum likelihood"
    if data.closed:
        return f"maximum likelihood, exact but for the rate: {nodes} adaptive quadrature nodes"
    law = "binomial" if data.trials is not None else LAWS[data.law]
    return f"{law} maximum likelihood, {nodes} adaptive quadrature nodes per dimension"


def _maximise(
    data: Learners, layout: Layout, nodes: int, start: np.ndarray, *, careful: bool = True
) -> Summit:
    closed = data.closed
    rough = likelihood_of(data, layout, min(nodes, COARSE) if closed else nodes)
    point, inverse = approach(rough, start, rounds=1 if closed else 12, careful=careful)
    there = likelihood_of(data, layout, nodes, rough.peak)
    close = CLOSE if closed else CLOSE_HITS
    summit = settle(there, point, inverse, close, careful=careful)
    return replace(summit, peak=there.peak)


def _second_look(
    data: Learners, layout: Layout, nodes: int, best: Summit, start: np.ndarray
) -> tuple[Summit, bool]:
    """Climb from another start with few nodes; go all the way only if it leads elsewhere."""
    few = likelihood_of(data, layout, min(nodes, 5 if data.closed else 3))
    few.adapt(start)
    few.release()
    enough = best.loglik - 0.5 * COARSE_GAP
    reached = climb(few.value, start, inverse_of(best.information), 0.2, enough)[0]
    height = loglik_at(data, layout, nodes, reached, few.peak)
    if abs(height - best.loglik) < COARSE_GAP:
        return best, True
    other = _attempt(data, layout, nodes, reached)
    if abs(other.loglik - best.loglik) < SAME:
        return best, True
    return max(best, other, key=lambda summit: summit.loglik), False


def loglik_at(
    data: Learners, layout: Layout, nodes: int, point: np.ndarray, peak: np.ndarray | None = None
) -> float:
    """Log-likelihood with some number of nodes; 1 is Laplace's approximation."""
    likelihood = likelihood_of(data, layout, nodes, peak)
    likelihood.adapt(point)
    return likelihood.value(point)[0]


def _covariance(summit: Summit) -> tuple[np.ndarray, bool]:
    """Inverse information; directions along which a vanished variance is flat are held."""
    matrix = summit.information
    scale = np.sqrt(np.maximum(np.abs(np.diag(matrix)), 1e-12))
    values, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    firm = values > 1e-8
    inverse = (vectors[:, firm] / values[firm]) @ vectors[:, firm].T / np.outer(scale, scale)
    return inverse, not firm.all()


def sandwich(data: Learners, fit: PopulationFit) -> np.ndarray:
    """Covariance from how the slopes of learners differ (Huber and White, learners as clusters)."""
    likelihood = likelihood_of(data, fit.layout, fit.nodes)
    likelihood.adapt(fit.summit.point)
    each = likelihood.scores(fit.summit.point)[1]
    count = len(each)
    bread = fit.covariance
    found: np.ndarray = bread @ (each.T @ each) @ bread * count / max(count - 1, 1)
    return found


def _warnings(
    summit: Summit, layout: Layout, gap: float, agree: bool, singular: bool
) -> tuple[str, ...]:
    said = []
    if not summit.converged:
        said.append("The maximum was not confirmed; treat these numbers with caution.")
    if not agree:
        said.append("The starts ended at different maxima; the highest one is reported.")
    if not gap <= SMALL_GAP:
        said.append("The integral over learners is not settled; give more quadrature nodes.")
    root = layout.root(summit.point)
    cover = root @ root.T
    sd = np.sqrt(np.diag(cover))[list(layout.vary)]
    small = sd < 1e-3
    if small.any() or singular:
        said.append("A variance between learners is estimated as zero; let fewer parameters vary.")
    elif len(sd) > 1:
        inner = cover[np.ix_(layout.vary, layout.vary)] / np.outer(sd, sd)
        if np.max(np.abs(inner - np.eye(len(sd)))) > 0.99:
            said.append(
                "Two parameters are all but perfectly correlated between learners; let fewer vary."
            )
    return tuple(said)

"""The learning curves of many learners: the public fit, its result, where the work runs."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict, astuple, dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any, cast

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from motorlearn.curves.batch.chunks import (
    DAMAGED_PARQUET,
    Columns,
    Names,
    Piece,
    chosen_columns,
    hits_and_misses,
    parquet_pieces,
    refuse_absent,
    table_pieces,
)
from motorlearn.curves.batch.closely import Closely
from motorlearn.curves.batch.frames import best_forms, learner_rows
from motorlearn.curves.batch.one_batch import Batch, fit_batch
from motorlearn.curves.batch.pooling import pooled_people
from motorlearn.curves.batch.running import Done, here, on_cluster
from motorlearn.curves.batch.storing import write_rows
from motorlearn.curves.forms import named_form
from motorlearn.curves.options import RESTARTS, check_column, one_of
from motorlearn.curves.single.learner import fit_curve
from motorlearn.curves.single.noise import check_noise
from motorlearn.curves.status import STATUSES
from motorlearn.exceptions import FileError, InputError
from motorlearn.files import refuse_over_input
from motorlearn.results import Recipe, Result, nobody_left_out, register_record
from motorlearn.tables import Column, Table
from motorlearn.trials.counted import set_aside_void


@register_record
@dataclass(frozen=True)
class CurveFits(Result):
    """Curves of many learners.

    ``table`` has one row per learner and form; ``preferred`` one row per learner: the form with
    the lowest AICc, its lead over the next one, its weight, and ``no preference`` where the lead
    is below 2. The same with ``_bic`` for BIC. What ``status`` says is not estimated is missing
    from ``table``. ``pooled`` says what shows that these are not learners; empty if nothing does.
    """

    table: pd.DataFrame
    preferred: pd.DataFrame
    by: tuple[str, ...]
    forms: tuple[str, ...]
    family: str
    first: float
    pooled: str = ""
    warnings: tuple[str, ...] = ()
    recipe: Recipe = field(default_factory=lambda: Recipe("fit_curves"), repr=False)

    def line(
        self, row: pd.Series, n: np.ndarray, practice: ArrayLike, outcome: ArrayLike
    ) -> np.ndarray:
        """Curve of a row of ``table`` at the practice counts ``n``.

        What the table leaves out because it is not estimated still has a line: the form is fitted
        again to the learner's ``practice`` and ``outcome``.
        """
        form = named_form(row["form"])
        if row["status"] == "no change":
            return np.full(n.shape, row["asymptote"])
        rates = [row[rate] for rate in form.rates]
        if np.isfinite([row["asymptote"], row["gain"], *rates]).all():
            return form.curve(n, row["asymptote"], row["gain"], rates, self.first)
        again = fit_curve(practice, outcome, form=form.name, first=self.first, repeated="allow")
        return again.predict(n)

    def counts(self) -> pd.DataFrame:
        """Learners by form and status, in the order of the forms and of :data:`STATUSES`."""
        shown = self.table.groupby(["form", "status"]).size().rename("learners")
        order = pd.MultiIndex.from_product([self.forms, STATUSES], names=["form", "status"])
        return shown.reindex(order).dropna().astype("int64").reset_index()

    def too_few_for_aicc(self) -> tuple[int, bool]:
        """Learners whose scores are too few for AICc, and whether it compares forms for nobody."""
        least = self.table.groupby(list(self.by))["aicc"].min()
        unknown = int(np.isposinf(least).sum())
        return unknown, bool(unknown) and not np.isfinite(least).any()

    def tables(self) -> Sequence[Table]:
        """How many learners prefer each form, and the status of the fits."""
        best = self.preferred["form"].value_counts().rename("learners").reset_index()
        names = [Column("form"), Column("learners", kind="count")]
        words = [Column("form"), Column("status"), Column("learners", kind="count")]
        total = f"{len(self.preferred)} learners"
        return (
            Table("preferred", f"Form preferred by AICc, {total}", names, best, self.warnings),
            Table("status", "What the fits can claim", words, self.counts()),
        )


@dataclass(frozen=True)
class StoredCurveFits(Result):
    """Curves that were written to a Parquet file because there are too many to hold.

    ``path`` holds the rows of ``CurveFits.table``; ``status`` counts learners by form and status,
    ``preferred`` by preferred form.
    """

    path: str
    learners: int
    status: pd.DataFrame
    preferred: pd.DataFrame
    recipe: Recipe = field(default_factory=lambda: Recipe("fit_curves"), repr=False)

    def read(self, columns: Sequence[str] | None = None) -> pd.DataFrame:
        """Read the stored rows, or some of their columns.

        Raises
        ------
        FileError
            If the file is gone or damaged.
        """
        try:
            return pd.read_parquet(self.path, columns=list(columns) if columns else None)
        except DAMAGED_PARQUET as problem:
            raise FileError(
                "the stored curves cannot be read", [self.path], "fit them again"
            ) from problem

    def tables(self) -> Sequence[Table]:
        """Counts of preferred forms and of statuses."""
        names = [Column("form"), Column("learners", kind="count")]
        words = [Column("form"), Column("status"), Column("learners", kind="count")]
        return (
            Table(
                "preferred",
                f"Form preferred by AICc, {self.learners} learners",
                names,
                self.preferred,
            ),
            Table("status", "What the fits can claim", words, self.status),
        )


def fit_curves(
    table: pd.DataFrame | str | Path,
    outcome: str,
    *,
    practice: str,
    by: str | Sequence[str],
    forms: Sequence[str] = ("exponential", "power"),
    attempts: str | None = None,
    cluster: Any = None,
    first: float = 1.0,
    weights: str | None = None,
    repeated: str = "refuse",
    into: str | Path | None = None,
    session: str | None = None,
    restart: str = "warm-up",
    errors: str = "normal",
    variance: str = "equal",
    correlation: str = "none",
    interval: str = "wald",
) -> CurveFits | StoredCurveFits:
    r"""Fit every form to every learner, hundreds of times faster than one by one.

    Given the rate, asymptote and gain follow from a straight-line regression (variable
    projection), so only the rate is searched; learners who share their practice counts share the
    work. Every learner gets the best curve over the whole range of the rate.

    Parameters
    ----------
    table : DataFrame or path
        One row per trial or block; or a Parquet file or folder, sorted by learner, which is read
        in pieces of fixed size.
    outcome : str
        Column of scores or hits; all 0 and 1 means hits and misses.
    practice : str
        Column of practice counts.
    by : str or sequence of str
        Columns that tell learners apart.
    forms : sequence of str
        Forms to fit.
    attempts : str, optional
        Column of attempts behind the hits; asks for the binomial likelihood, logit scale.
    cluster : dask.distributed.Client, optional
        Runs the batches there. The result does not depend on the workers, to the last bit.
    first : float
        Practice count of the first trial, where ``start`` is taken.
    weights : str, optional
        Column of precision weights of Gaussian outcomes.
    repeated : {"refuse", "allow"}
        What to do where single practice counts of a learner occur more than once.
    into : path, optional
        Parquet file to write the rows to as they are made, instead of holding them; not the
        data that are read, and no file of another kind.
    session : str, optional
        Column of sessions; with ``restart`` as in :func:`fit_curve`. The table shows the mean over
        the sessions after the first of ``restart``, ``loss`` and ``savings``.
    restart, errors, variance, correlation : str
        As in :func:`fit_curve`. What goes beyond plain curves is fitted learner by learner, some
        thousand times slower, with the same numbers as the single fit.
    interval : {"wald", "sandwich"}
        Where standard errors come from: the model, or the residuals.

    Returns
    -------
    CurveFits or StoredCurveFits
        The latter with ``into``. Missing outcomes are set aside and counted in ``n``.

    Raises
    ------
    InputError, ColumnError, FileError
        For rows that cannot be used; the message names learner, values and remedy.

    References
    ----------
    Golub, G. H., & Pereyra, V. (1973). SIAM Journal on Numerical Analysis, 10, 413-432.
    https://doi.org/10.1137/0710036

    Burnham, K. P., & Anderson, D. R. (2004). Sociological Methods & Research, 33, 261-304.
    https://doi.org/10.1177/0049124104268644

    Examples
    --------
    >>> import numpy as np, pandas as pd
    >>> trial = np.tile(np.arange(1, 41), 3)
    >>> rows = pd.DataFrame({"participant": np.repeat(["p1", "p2", "p3"], 40), "trial": trial})
    >>> rows["error"] = 20 + 12 * np.exp(-0.1 * trial) + np.sin(7.0 * np.arange(120))
    >>> fits = fit_curves(rows, "error", practice="trial", by="participant")
    >>> fits.preferred["form"].tolist()
    ['exponential', 'exponential', 'exponential']
    """
    columns = chosen_columns(outcome, practice, by, forms, attempts, weights, first, repeated)
    one_of(interval, ("wald", "sandwich"), "interval")
    one_of(restart, RESTARTS, "restart")
    if session is not None:
        check_column(session, "session")
    noise = check_noise(errors, variance, correlation, binomial=attempts is not None)
    asked = Closely(session, restart, noise, interval == "sandwich")
    return _fit(table, replace(columns, asked=asked), cluster=cluster, into=into)


def best_curves(
    table: pd.DataFrame,
    outcome: str,
    *,
    practice: str,
    by: Names,
    forms: Sequence[str],
    attempts: str | None,
    first: float,
) -> CurveFits:
    """Fits whose table holds the best curve even where parameters are not estimated."""
    columns = chosen_columns(outcome, practice, by, forms, attempts, None, first, "refuse")
    return cast(CurveFits, _fit(table, columns, visible=False))


def _fit(
    table: Any, columns: Columns, *, cluster: Any = None, into: Any = None, visible: bool = True
) -> CurveFits | StoredCurveFits:
    if isinstance(table, pd.DataFrame):
        refuse_absent(table, columns)
        table, void = set_aside_void(table, participant=columns.by)
        columns = replace(columns, binomial=hits_and_misses(table, columns))
        pieces: Iterator[Piece] = table_pieces(table, columns)
        pooled = pooled_people(table, columns.by, columns.practice, columns.outcome)
    elif isinstance(table, str | Path):
        if into is not None:
            refuse_over_input(into, table)
        pieces, columns = parquet_pieces(Path(table), columns)
        pooled, void = "", nobody_left_out()
    else:
        raise InputError(
            "the table must be a DataFrame or the path of a Parquet data set",
            [type(table).__name__],
        )
    if columns.binomial and not columns.asked.noise.plain:
        check_noise(*astuple(columns.asked.noise), binomial=True)
    work = partial(fit_batch, forms=columns.forms, first=columns.first, asked=columns.asked)
    done = on_cluster(pieces, work, cluster) if cluster is not None else here(pieces, work)
    if into is not None:
        return _store(done, columns, Path(into))
    return _gather(done, columns, pooled, void, visible=visible)


def _gather(
    done: Done, columns: Columns, pooled: str, void: pd.DataFrame, *, visible: bool
) -> CurveFits:
    keys, found, left = [], [], [void] if len(void) else []
    for part, batch, result in done:
        keys.append(part)
        found.append(result)
        if not np.isfinite(batch.y).all():
            left.append(_left_out(part, batch))
    key = pd.concat(keys, ignore_index=True)
    values = {name: np.concatenate([part[name] for part in found]) for name in found[0]}
    table = learner_rows(key, values, columns.forms, visible=visible)
    out = pd.concat(left, ignore_index=True) if left else nobody_left_out()
    family = "binomial" if columns.binomial or columns.attempts else "gaussian"
    return CurveFits(
        table,
        best_forms(key, values, columns.forms),
        columns.by,
        columns.forms,
        family,
        columns.first,
        pooled,
        _warnings(pooled, values["converged"]),
        _recipe(columns, int(values["n"][:, 0].sum()), out),
    )


def _left_out(keys: pd.DataFrame, batch: Batch) -> pd.DataFrame:
    gone = np.add.reduceat(~np.isfinite(batch.y), np.r_[0, batch.ends[:-1]])
    some = np.flatnonzero(gone)
    who = keys.iloc[some].astype(str).agg(", ".join, axis=1)
    return pd.DataFrame(
        {
            "participant": who.to_numpy(),
            "group": "",
            "reason": "missing outcome",
            "rows": gone[some],
        }
    )


def _recipe(columns: Columns, n: int, left_out: pd.DataFrame) -> Recipe:
    parts = {"outcome": columns.outcome, "practice": columns.practice, "by": ", ".join(columns.by)}
    if columns.attempts:
        parts["attempts"] = columns.attempts
    if columns.weights:
        parts["weights"] = columns.weights
    return Recipe(
        "fit_curves",
        columns=parts,
        options=_options(columns),
        n=n,
        left_out=left_out,
        engine="batched variable projection",
    )


def _options(columns: Columns) -> dict[str, Any]:
    asked = columns.asked
    options = {"forms": columns.forms, "first": columns.first, "repeated": columns.repeated}
    if asked.plain:
        return options
    interval = "sandwich" if asked.sandwich else "wald"
    more = {"session": asked.session, "restart": asked.restart, "interval": interval}
    return options | more | asdict(asked.noise)


def _store(done: Done, columns: Columns, target: Path) -> StoredCurveFits:
    tally = write_rows(done, columns.forms, target)
    return StoredCurveFits(
        str(target),
        tally.learners,
        tally.status(),
        tally.preferred(),
        _recipe(columns, tally.rows, nobody_left_out()),
    )


def _warnings(pooled: str, converged: np.ndarray) -> tuple[str, ...]:
    """Say so where learners are pools of several people, and where a search did not settle."""
    said = []
    if pooled:
        said.append(
            "These are curves of averages or pools over people, not of learners "
            f"({pooled}): the average of exponential curves is not exponential, so neither form "
            "nor rate carries over to a learner. Fit by the column that names people, or use "
            "fit_population_curve."
        )
    unsettled = int(np.sum(~converged))
    if unsettled:
        said.append(
            f"{unsettled} fits did not settle or were not made; the column converged says which."
        )
    return tuple(said)

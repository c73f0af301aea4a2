"""Scores as a table for a reader: names, units and counts, as their definition cards say."""

from collections.abc import Iterator, Mapping

import pandas as pd

from motorlearn.measures.cards import CARDS, own_card
from motorlearn.tables import Column, Table


def score_table(scores: pd.DataFrame, units: Mapping[str, str] | None = None) -> Table:
    """Write scores with the name and the unit of each measure over its column.

    Parameters
    ----------
    scores : DataFrame
        What :func:`motorlearn.score_trials` gave.
    units : mapping of str to str, optional
        Units of the study by quantity (``length``, ``time``) or column, as
        ``study.trials.units`` holds them.

    Returns
    -------
    Table
        All columns of ``scores``, raw values beneath; :func:`motorlearn.tables.to_text`,
        ``to_html`` and ``to_csv`` write it.

    Examples
    --------
    >>> from motorlearn.measures import score_trials
    >>> trials = pd.DataFrame({"participant": ["a", "a"], "error": [1.0, 3.0]})
    >>> table = score_table(score_trials(trials, "participant"), {"error": "cm"})
    >>> table.headings[4:6], table.cells()[0][4:6]
    (['constant error (cm)', 'absolute constant error (cm)'], ['2', '2'])
    """
    columns = tuple(_column(name, scores[name], units or {}) for name in scores.columns)
    counts = "n counts rows; each n of a measure counts the values that its scores rest on."
    notes = (counts, *_uneven(scores))
    return Table("scores", "Scores", columns, scores, notes)


def _uneven(scores: pd.DataFrame) -> Iterator[str]:
    """Cautions where scores are not comparable as they stand."""
    for n, score in (("n_error", "variable_error"), ("n_landing", "bivariate_variable_error")):
        if n in scores and score in scores and scores.loc[scores[n] > 1, n].nunique() > 1:
            low, high = scores.loc[scores[n] > 1, n].min(), scores[n].max()
            yield (
                f"Numbers of trials differ ({low} to {high}): a {CARDS[score].label} from few "
                "trials falls short; compare the corrected one."
            )
    if "n_contradicting" in scores:
        yield (
            "Rows whose radial error is not the distance of x and y from the target: "
            f"{int(scores['n_contradicting'].sum())}; x and y were taken."
        )
    if "hit_low" in scores and (scores["hit_low"].isna() & (scores["attempts"] > 0)).any():
        yield "No interval of a hit rate that pools several people: attempts are not independent."


def _column(name: str, values: pd.Series, units: Mapping[str, str]) -> Column:
    own = own_card(name)
    if own is not None:
        return Column(name, own.label, "whole", units.get(own.unit, own.unit), 3)
    card = CARDS.get(name)
    if card is not None:
        return Column(name, card.label, "whole", _unit(card.unit, units), 3)
    if not pd.api.types.is_numeric_dtype(values):
        return Column(name)
    whole = pd.api.types.is_integer_dtype(values)
    return Column(name, kind="count" if whole else "whole", decimals=3)


def _unit(quantity: str, units: Mapping[str, str]) -> str:
    """Unit of a measure; a one-dimensional error is a length unless the study says otherwise."""
    if quantity == "error":
        return units.get("error", units.get("length", ""))
    return units.get(quantity, "")

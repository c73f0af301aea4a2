"""A result that is a handful of series and a handful of estimates."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from motorlearn import digits
from motorlearn.measures.hits import wilson_interval
from motorlearn.tables import Table
from motorlearn.teaching.demonstrations.demonstration import Demonstration
from motorlearn.teaching.demonstrations.two_groups import estimate_columns


@dataclass(frozen=True)
class Illustration(Demonstration):
    """Series to draw and estimates to read.

    Parameters
    ----------
    series : DataFrame
        ``series, x, y, low, high``: coordinates by name of the series; ``low`` and ``high`` are
        missing where there is no interval.
    estimates : DataFrame
        ``what, estimate, conf_low, conf_high``, 95 % intervals.
    unit : str
        Unit of the estimates.
    """

    series: pd.DataFrame
    estimates: pd.DataFrame
    unit: str

    def tables(self) -> list[Table]:
        """The estimates."""
        columns = estimate_columns("what", "estimate", self.unit, 3)
        return [Table("estimates", "Estimates", columns, self.estimates, (self.conclusion,))]

    def named(self, name: str) -> pd.DataFrame:
        """Rows of one series."""
        return self.series[self.series["series"] == name]


def series_of(
    name: str, x: object, y: object, low: object = None, high: object = None
) -> pd.DataFrame:
    """Give one series as rows."""
    return pd.DataFrame({"series": name, "x": x, "y": y, "low": low, "high": high})


def estimates_of(rows: Sequence[tuple[str, float, float, float]]) -> pd.DataFrame:
    """Give estimates as a table."""
    return pd.DataFrame(rows, columns=["what", "estimate", "conf_low", "conf_high"])


def share_of(name: str, count: int, of: int) -> tuple[str, float, float, float]:
    """Give a share with its Wilson 95 % interval.

    Examples
    --------
    >>> name, share, low, high = share_of("found", 12, 20)
    >>> round(share, 2), round(low, 3), round(high, 3)
    (0.6, 0.387, 0.781)
    """
    low, high = wilson_interval(count, of)
    return name, count / of, float(low), float(high)


def share_words(row: pd.Series) -> str:
    """Give a share in words, with its interval."""
    low, high = 100 * row["conf_low"], 100 * row["conf_high"]
    return (
        f"{digits.percent(row['estimate'], 1)} (95 % CI {digits.number(low, 1)} to "
        f"{digits.number(high, 1)} %)"
    )


def number_words(row: pd.Series, unit: str = "", decimals: int = 1) -> str:
    """Give an estimate in words, with its interval."""
    span = digits.interval(row["conf_low"], row["conf_high"], decimals)
    written = digits.number(row["estimate"], decimals)
    return f"{written}{' ' + unit if unit else ''} (95 % CI {span})"

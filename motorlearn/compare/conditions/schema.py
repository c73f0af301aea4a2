"""Rows on periods and on what an order leaves behind."""

from motorlearn.rows import Schema
from motorlearn.tables import Column

_NUMBER = 4
PERIODS = Schema(
    (
        Column("phase"),
        Column("term"),
        Column("later"),
        Column("earlier"),
        Column("n", kind="count"),
        Column("estimate", "estimate", "significant", decimals=_NUMBER),
        Column("std_error", "standard error", "significant", decimals=3),
        Column("df", "df", "df"),
        Column("statistic", "t", "number"),
        Column("p", "p", "p"),
        Column("conf_low", "lower", "significant", decimals=_NUMBER),
        Column("conf_high", "upper", "significant", decimals=_NUMBER),
        Column("method"),
        Column("reason"),
    ),
    shown=(
        "phase", "term", "later", "earlier", "n", "estimate", "conf_low", "conf_high", "df",
        "statistic", "p",
    ),
)  # fmt: skip

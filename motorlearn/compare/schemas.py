"""Columns of the results of comparisons that more than one of them has, of effects, of periods."""

from motorlearn.rows import Schema
from motorlearn.tables import Column

INTERVAL = (
    Column("conf_low", "lower", "significant", decimals=4),
    Column("conf_high", "upper", "significant", decimals=4),
)
P = Column("p", "p", "p")
DF = Column("df", "df", "df")
STATISTIC = Column("statistic", "t", "number")
T = (DF, STATISTIC, P)
ESTIMATE = Column("estimate", "estimate", "significant", decimals=4)
ERROR = Column("std_error", "standard error", "significant", decimals=3)
G = (
    Column("g", "Hedges g", "number"),
    Column("g_low", "g lower", "number"),
    Column("g_high", "g upper", "number"),
)
SIZES = (Column("n_group", "n", "count"), Column("n_reference", "n reference", "count"))
PAIR = (Column("group"), Column("reference"), Column("effect"))
STEP = (Column("from_phase", "from"), Column("to_phase", "to"))
ETA = Column("partial_eta2", "partial η²", "share")


def pair_in_words(group: object, reference: object, effect: object) -> str:
    """A contrast as a reader writes it: a ratio with a stroke, a difference with a minus.

    Examples
    --------
    >>> [pair_in_words("random", "blocked", effect) for effect in ("ratio", "difference")]
    ['random / blocked', 'random − blocked']
    """
    return f"{group} {'/' if effect == 'ratio' else '−'} {reference}"


EFFECT = Schema(
    (
        Column("phase"),
        Column("kind"),
        Column("term"),
        Column("group", "level"),
        Column("reference"),
        Column("factor", "other factor"),
        Column("at"),
        Column("at_reference", "at, reference"),
        Column("effect"),
        Column("adjusted", kind="flag"),
        ESTIMATE,
        ERROR,
        *T,
        Column("p_adjusted", "p (Holm)", "p"),
        *INTERVAL,
        *G,
        *SIZES,
        Column("method"),
        Column("reason"),
    ),
    shown=(
        "phase",
        "kind",
        "term",
        "group",
        "reference",
        "at",
        "at_reference",
        "adjusted",
        "estimate",
        "conf_low",
        "conf_high",
        "df",
        "statistic",
        "p",
        "p_adjusted",
        "g",
        "n_group",
        "n_reference",
        "method",
    ),
)
MARGINAL = Schema(
    (
        Column("phase"),
        Column("factor"),
        Column("level"),
        Column("adjusted", kind="flag"),
        Column("n", kind="count"),
        ESTIMATE,
        ERROR,
        DF,
        *INTERVAL,
    )
)
SLOPE = Schema(
    (
        Column("phase"),
        Column("covariate"),
        Column("level"),
        ESTIMATE,
        ERROR,
        *T,
        *INTERVAL,
        Column("r2", "R²", "share"),
        Column("adjusted_r2", "adjusted R²", "share"),
        Column("n", kind="count"),
        Column("method"),
    )
)
VERDICT = Schema(
    (
        Column("phase"),
        Column("aim"),
        Column("kind"),
        Column("term"),
        Column("group"),
        Column("reference"),
        Column("at"),
        Column("at_reference", "at, reference"),
        Column("effect"),
        Column("adjusted", kind="flag"),
        ESTIMATE,
        Column("bound_low", "lower bound", "significant", decimals=4),
        Column("bound_high", "upper bound", "significant", decimals=4),
        Column("bound_unit", "unit of the bound"),
        Column("sd", "SD of the bound", "significant", decimals=4),
        *INTERVAL,
        Column("level", kind="number"),
        P,
        Column("shown", kind="flag"),
        Column("method"),
        Column("reason"),
    ),
    shown=(
        "phase",
        "aim",
        "term",
        "group",
        "reference",
        "at",
        "adjusted",
        "estimate",
        "bound_low",
        "bound_high",
        "bound_unit",
        "conf_low",
        "conf_high",
        "level",
        "p",
        "shown",
        "reason",
    ),
)
EQUIVALENCE = Schema(
    (
        Column("phase"),
        *PAIR,
        Column("adjusted", kind="flag"),
        ESTIMATE,
        Column("bound_low", "bound", "significant", decimals=4),
        Column("bound_high", "bound", "significant", decimals=4),
        Column("p_low", "p (lower bound)", "p"),
        Column("p_high", "p (upper bound)", "p"),
        P,
        *INTERVAL,
        Column("equivalent", kind="flag"),
        Column("method"),
    ),
    shown=(
        "phase",
        "group",
        "reference",
        "adjusted",
        "estimate",
        "conf_low",
        "conf_high",
        "bound_low",
        "bound_high",
        "p",
        "equivalent",
        "method",
    ),
)
POSTHOC = Schema(
    (
        *STEP,
        Column("effect"),
        Column("n", kind="count"),
        ESTIMATE,
        ERROR,
        *T,
        Column("p_adjusted", "p (Holm)", "p"),
        *INTERVAL,
    )
)
BLOCK_POSTHOC = POSTHOC.renamed(from_phase="from_block", to_phase="to_block")
TRENDS = Schema(
    (
        Column("trend"),
        Column("n", kind="count"),
        ESTIMATE,
        ERROR,
        *T,
        *INTERVAL,
        Column("f_groups", "F of groups", "number"),
        Column("df1", "df 1", "df"),
        Column("df2", "df 2", "df"),
        Column("p_groups", "p of groups", "p"),
    )
)

PERIODS = Schema(
    (
        Column("phase"),
        Column("term"),
        Column("later"),
        Column("earlier"),
        Column("n", kind="count"),
        ESTIMATE,
        ERROR,
        *T,
        *INTERVAL,
        Column("method"),
        Column("reason"),
    ),
    shown=(
        "phase", "term", "later", "earlier", "n", "estimate", "conf_low", "conf_high", "df",
        "statistic", "p",
    ),
)  # fmt: skip

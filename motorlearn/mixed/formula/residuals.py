"""Which variances and correlations of residuals fit together, and with what else."""

from collections.abc import Mapping

from motorlearn.exceptions import InputError
from motorlearn.mixed.formula.designs import NOTHING, SERIAL, RandomTerms
from motorlearn.mixed.formula.outcomes import Roles
from motorlearn.mixed.responses import LINEAR


def check_residuals(roles: Roles, family: str, random: RandomTerms) -> None:
    """Refuse residuals that do not fit together."""
    _known(roles)
    if roles.correlation == SERIAL:
        _check_serial(roles, family, random)
        return
    free = roles.correlation != "none"
    nothing = isinstance(random, Mapping) and NOTHING in random.values()
    if free != (roles.within is not None):
        raise InputError(
            "correlated residuals and the column that tells them apart go together",
            [roles.correlation, roles.within],
            "give correlation='unstructured' and within='phase', or neither",
        )
    if free and roles.variance not in ("equal", roles.within):
        raise InputError(
            "correlated residuals can have one variance, or one for each level of within",
            [roles.variance],
            f"use variance='equal' or variance={roles.within!r}",
        )
    if free and (not nothing or len(random) > 1):
        raise InputError(
            "correlated residuals hold all that a participant's rows have in common",
            [str(dict(random))],
            "give the participant alone and no random term, random={'participant': '0'}",
        )
    if nothing and not free:
        raise InputError(
            "a grouping column has no random term", [NOTHING], "write '1' for an intercept"
        )
    if roles.residual_column is not None and family not in LINEAR:
        raise InputError(
            "variance and correlation of residuals belong to a linear model",
            [family],
            "leave variance= and correlation= out",
        )
    if free and roles.weights is not None:
        raise InputError(
            "correlated residuals and weights do not go together", [roles.weights], "use one"
        )


def _known(roles: Roles) -> None:
    if roles.correlation not in ("none", "unstructured", SERIAL):
        raise InputError(
            "the correlation of residuals is not known",
            [roles.correlation],
            "use 'none', 'unstructured' or 'ar1'",
        )


def _check_serial(roles: Roles, family: str, random: RandomTerms) -> None:
    """Refuse neighbours that are alike where nothing says who they are."""
    if not roles.order:
        raise InputError(
            "residuals of neighbours need the column that says where a row stands",
            [roles.within],
            "give within='trial', or within='session/trial'",
        )
    if family not in LINEAR:
        raise InputError(
            "correlated residuals belong to a linear model", [family], "leave correlation= out"
        )
    if roles.weights is not None:
        raise InputError(
            "correlated residuals and weights do not go together", [roles.weights], "use one"
        )
    if isinstance(random, Mapping) and NOTHING in random.values() and len(random) > 1:
        raise InputError(
            "a grouping column has no random term", [NOTHING], "write '1' for an intercept"
        )

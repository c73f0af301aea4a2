"""Which fit a question can be asked of: a mixed model, or one part of a model of spread."""

from motorlearn.exceptions import InputError
from motorlearn.results import Recipe

OF_SPREAD = "fit_variability"
_ITS_OWN = (
    "ask its own spreads(), ratios(), differences(), anova(), simulate(), influence and aic, or "
    "give it to bootstrap_tests or prediction_intervals"
)


def require_mixed(fit: object) -> None:
    """Refuse what is not one mixed model, such as a model of spread that holds two.

    Raises
    ------
    InputError
        With the remedy.
    """
    if call_of(fit) == OF_SPREAD and hasattr(fit, "of_spread"):
        raise InputError(
            "this is asked of one linear predictor, and a model of level and spread has two",
            [type(fit).__name__],
            f"{_ITS_OWN}; means and contrasts can be asked of fit.of_level and fit.of_spread",
        )
    if not hasattr(fit, "design"):
        raise InputError(
            "this is asked of a model that fit_mixed made", [type(fit).__name__], "fit one"
        )


def require_whole(fit: object) -> None:
    """Refuse what is not a mixed model fitted as a whole, such as one part of a model of spread.

    Raises
    ------
    InputError
        With the remedy.
    """
    require_mixed(fit)
    _refuse_part(call_of(fit), type(fit).__name__)


def refuse_part(recipe: Recipe) -> None:
    """Refuse to draw or fit outcomes by one part of a model of level and spread.

    Raises
    ------
    InputError
        With the remedy.
    """
    _refuse_part(recipe.call, recipe.columns.get("outcome", ""))


def _refuse_part(call: str, given: str) -> None:
    if call == OF_SPREAD:
        raise InputError(
            "the level or the spread of a model of both is no model of outcomes by itself",
            [given],
            _ITS_OWN,
        )


def call_of(fit: object) -> str:
    """The function that made a result, empty for anything else."""
    recipe = getattr(fit, "recipe", None)
    return recipe.call if isinstance(recipe, Recipe) else ""

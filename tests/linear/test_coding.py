import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from statsmodels.stats.anova import anova_lm

from motorlearn.exceptions import InputError
from motorlearn.linear import product_columns, sum_columns, sums_of_squares


@pytest.fixture
def unbalanced():
    rng = np.random.default_rng(9)
    a = np.repeat([0, 1, 2], [5, 9, 14])
    b = np.tile([0, 1, 1], 10)[: a.size]
    return pd.DataFrame({"a": a, "b": b, "y": rng.normal(a * 0.5 + b, 1)})


@pytest.mark.parametrize("kind", ["II", "III"])
def test_sums_of_squares_agree_with_an_independent_fit(unbalanced, kind):
    a, b = sum_columns(unbalanced["a"].to_numpy(), 3), sum_columns(unbalanced["b"].to_numpy(), 2)
    tests, fit = sums_of_squares(
        {"a": a, "b": b, "a:b": product_columns(a, b)}, unbalanced["y"], kind=kind
    )
    other = anova_lm(
        smf.ols("y ~ C(a, Sum) * C(b, Sum)", unbalanced).fit(), typ=2 if kind == "II" else 3
    )
    for name, row in {"a": "C(a, Sum)", "b": "C(b, Sum)", "a:b": "C(a, Sum):C(b, Sum)"}.items():
        assert tests[name].sum_sq == pytest.approx(other.loc[row, "sum_sq"], rel=1e-9)
        assert tests[name].statistic == pytest.approx(other.loc[row, "F"], rel=1e-9)
        assert tests[name].p == pytest.approx(other.loc[row, "PR(>F)"], rel=1e-9)
    assert fit.df == other.loc["Residual", "df"]


def test_types_agree_where_groups_are_equal():
    rng = np.random.default_rng(1)
    a, b = np.repeat([0, 1], 6), np.tile([0, 1, 2], 4)
    terms = {"a": sum_columns(a, 2), "b": sum_columns(b, 3)}
    y = rng.normal(size=12)
    two, three = (sums_of_squares(terms, y, kind=kind)[0] for kind in ("II", "III"))
    for name in terms:
        assert two[name].statistic == pytest.approx(three[name].statistic)


def test_unknown_type_is_refused():
    with pytest.raises(InputError, match="II or III"):
        sums_of_squares({"a": np.ones((3, 1))}, [1, 2, 3], kind="I")

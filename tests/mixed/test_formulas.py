"""A formula may hold what is on the list and nothing else; it never runs code."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.exceptions import ColumnError, FormulaError, InputError
from motorlearn.mixed.formula import matrices
from motorlearn.mixed.formula.formulas import evaluate_response, read_formula
from motorlearn.mixed.formula.matrices import make_matrix

ALLOWED = {
    "y ~ group * phase": ("group", "phase"),
    "log(y + 1) ~ center(x):g + (a + b)^2 - 1": ("x", "g", "a", "b"),
    "y ~ 0 + C(g, Treatment('b')) + C(h, Sum) + poly(x, 2)": ("g", "h", "x"),
    "y ~ C(g, Treatment(reference='b'))": ("g",),
    "y ~ C(day, Treatment('7:00 [late]'))": ("day",),
    "y ~ 1": (),
    "`in` ~ `class` * `reaction time` + C(`a-b`, Sum)": ("class", "reaction time", "a-b"),
    "sqrt(y) ~ log(x / 2) + scale(w)": ("x", "w"),
}
REFUSED = (
    "y ~ __import__('os').system('touch /tmp/x')",
    "y ~ I(mean(x))",
    "y ~ x.real",
    "y ~ x[0]",
    "y ~ {x}",
    "y ~ `a b",
    "y ~ (1|id)",
    "y ~ group^phase",
    "y ~ x**z",
    "y ~ x^2",
    "y ~ log(open('x'))",
    "y ~ lambda: 1",
    "y ~ (x:=3)",
    "y ~ C(g, contr.poly)",
    "exp(y) ~ x",
    "y ~ a//b",
    "y ~ f'{x}'",
    "y ~ 'a'",
    "y ~ x if y else z",
    "y ~ center(x)(y)",
    "y ~ log(x, y)",
    "y ~ log(*x)",
    "y ~ C(g, Treatment(__class__))",
    "y ~ poly(x, 20)",
    "y ~ a ^ 9",
    "y ~ x; z",
    "y ~ x\n@z",
    "y ~ C(g, Treatment('b' + 'c'))",
    "y = x ~ z",
    "y ~ x == z",
    "y ~ f(x=1)",
    "y",
    "y ~ x ~ z",
    "~ x",
    "y ~ 0",
    "y ~ " + "(" * 3000 + "x" + ")" * 3000,
)


@pytest.mark.parametrize("text", ALLOWED)
def test_allowed(text):
    assert read_formula(text).names == ALLOWED[text]


@pytest.mark.parametrize("text", REFUSED)
def test_refused(text):
    with pytest.raises(FormulaError):
        read_formula(text)


def test_nothing_reaches_the_formula_library_unchecked(monkeypatch, small_study):
    reached = []
    monkeypatch.setattr(
        "motorlearn.mixed.formula.matrices.formulaic.Formula", lambda text: reached.append(text)
    )
    for text in REFUSED:
        with pytest.raises(InputError):
            ml.fit_mixed(text, small_study, random={"participant": "1"})
    assert reached == []


@pytest.mark.parametrize("terms", ["__import__('os')", "1 + phase.str", "y ~ 1", ""])
def test_random_terms_are_checked_too(small_study, terms):
    with pytest.raises(FormulaError):
        ml.fit_mixed("hits ~ phase", small_study, random={"participant": terms})


def test_precedence_of_interaction():
    table = pd.DataFrame({"y": 1.0, "a": [1.0, 2, 3], "b": [2.0, 1, 4], "c": [5.0, 6, 9]})
    for text in ("y ~ a * b:c", "y ~ a + b:c + a:b:c"):
        _, plan = make_matrix(read_formula(text), table)
        assert set(plan.columns) == {"Intercept", "a", "b:c", "a:b:c"}


@pytest.mark.parametrize("text", ["y ~ a - 1", "y ~ 0 + a", "y ~ -1 + a", "y ~ a + 0"])
def test_no_intercept(text):
    table = pd.DataFrame({"y": 1.0, "a": [1.0, 2, 3]})
    _, plan = make_matrix(read_formula(text), table)
    assert plan.columns == ("a",)


def test_codings_by_hand():
    table = pd.DataFrame({"y": 1.0, "g": ["a", "b", "c"]})
    x, plan = make_matrix(read_formula("y ~ C(g, Treatment('b'))"), table)
    assert x.tolist() == [[1, 1, 0], [1, 0, 0], [1, 0, 1]]
    assert plan.columns[1].endswith("[T.a]")
    x, _ = make_matrix(read_formula("y ~ C(g, Sum)"), table)
    assert x.tolist() == [[1, 1, 0], [1, 0, 1], [1, -1, -1]]


def test_the_order_of_a_categorical_column_gives_the_reference(small_study):
    order = ["pretest", "posttest", "retention"]
    table = small_study.assign(phase=pd.Categorical(small_study["phase"], order))
    fit = ml.fit_mixed("radial_error ~ phase", table, random={"participant": "1"})
    assert fit.fixed_names == ("Intercept", "phase[T.posttest]", "phase[T.retention]")


def test_stateful_terms_keep_what_they_learned():
    rng = np.random.default_rng(1)
    table = pd.DataFrame(
        {"y": rng.normal(size=60), "x": rng.normal(5, 2, 60), "p": np.arange(60) % 12}
    )
    for term in ("center(x)", "scale(x)", "poly(x, 2)", "log(x + 20)"):
        x, plan = make_matrix(read_formula(f"y ~ {term}"), table)
        assert np.allclose(plan.apply(table.head(7)), x[:7])
    fit = ml.fit_mixed("y ~ center(x)", table, random={"p": "1"})
    plain = ml.fit_mixed("y ~ x", table, random={"p": "1"})
    assert np.allclose(fit.beta[0], plain.beta @ [1, table["x"].mean()])


def test_the_outcome_is_computed_by_hand_not_run():
    formula = read_formula("log(y + 1) ~ x")
    assert np.allclose(evaluate_response(formula, {"y": np.array([0.0, np.e - 1])}), [0, 1])


def test_unknown_column(small_study):
    with pytest.raises(ColumnError, match="distance"):
        ml.fit_mixed("hits ~ distance", small_study, random={"participant": "1"})


@pytest.mark.parametrize("random", [{}, "participant", ["1"], None])
def test_random_terms_are_a_mapping(small_study, random):
    told = r"not a mapping from a grouping column to terms.*write random=\{'participant': '1'\}"
    with pytest.raises(FormulaError, match=told):
        ml.fit_mixed("hits ~ phase", small_study, random=random)


def test_arithmetic_on_categories(small_study):
    with pytest.raises(FormulaError, match="phase"):
        ml.fit_mixed("hits ~ log(phase)", small_study, random={"participant": "1"})
    with pytest.raises(FormulaError, match="throws"):
        ml.fit_mixed("hits ~ C(throws) + throws", small_study, random={"participant": "1"})


def test_names_in_backticks_may_hold_anything(small_study):
    names = {"group": "class", "phase": "Messung (Tag)", "radial_error": "radial error-mm"}
    table = small_study.rename(columns=names)
    plain = ml.fit_mixed(
        "log(radial_error) ~ group * phase", small_study, random={"participant": "1"}
    )
    fit = ml.fit_mixed(
        "log(`radial error-mm`) ~ `class` * `Messung (Tag)`", table, random={"participant": "1"}
    )
    assert fit.fixed_names[1] == "class[T.random]"
    assert np.allclose(fit.beta, plain.beta)
    assert fit.test("`Messung (Tag)`:`class`").p == pytest.approx(plain.test("group:phase").p)
    means = ml.marginal_means(fit, "Messung (Tag)", within="class")
    assert len(means) == 6
    assert ml.contrasts(fit, "class", scale="ratio")["estimate"].item() > 0
    coded = ml.fit_mixed(
        "`yield` ~ C(`in`, Sum)",
        table.rename(columns={"radial error-mm": "yield", "class": "in"}),
        random={"participant": "1 "},
    )
    assert coded.fixed_names == ("Intercept", "C(in, contr.sum)[S.blocked]")
    assert coded.test("C(`in`, Sum)").df1 == 1


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("y ~ group^phase", "group:phase"),
        ("y ~ x**z", "group:phase"),
        ("y ~ x^2", r"poly\(name, 2\)"),
        ("y ~ group + (1|id)", "random="),
        ("y ~ class", "backticks"),
        ("y ~ reaction.time", "backticks"),
    ],
)
def test_habits_of_other_programs_are_told_the_way(text, words):
    with pytest.raises(FormulaError, match=words):
        read_formula(text)


def test_infinite_values_are_not_blamed_on_a_logarithm(small_study):
    table = small_study.copy()
    table.loc[3, "radial_error"] = np.inf
    for formula in ("radial_error ~ phase", "log(radial_error) ~ phase", "hits ~ radial_error"):
        with pytest.raises(InputError, match=r"not finite.*radial_error") as problem:
            ml.fit_mixed(formula, table, random={"participant": "1"})
        assert "logarithm" not in str(problem.value)


def test_only_a_plain_logarithm_gives_a_ratio(small_study):
    for outcome, good in (
        ("log(radial_error)", True),
        ("log(radial_error / 10)", True),
        ("log(radial_error + 1)", False),
        ("log(radial_error) - 2 * hits", False),
    ):
        fit = ml.fit_mixed(f"{outcome} ~ phase", small_study, random={"participant": "1"})
        if good:
            found = ml.contrasts(fit, "phase", scale="ratio")
            assert set(found["quantity"]) == {"ratio of geometric means"}
            logs = ml.contrasts(fit, "phase")["estimate"]
            assert np.allclose(found["estimate"], np.exp(logs))
        else:
            with pytest.raises(InputError, match="logarithm of a column"):
                ml.contrasts(fit, "phase", scale="ratio")


def test_splines_products_and_nesting(small_study):
    table = small_study.assign(block=np.arange(72) % 9 + 1.0)
    cubed = ml.fit_mixed("radial_error ~ block + I(block^2)", table, random={"participant": "1"})
    poly = ml.fit_mixed(
        "radial_error ~ poly(block, 2)", table, random={"participant": "1"}, reml=False
    )
    plain = ml.fit_mixed(
        "radial_error ~ block + I(block * block)", table, random={"participant": "1"}, reml=False
    )
    assert cubed.fixed_names[2] == "I(block ** 2)"
    assert np.isclose(poly.loglik, plain.loglik)
    slope = ml.marginal_means(plain, (), slope="block", at={"block": 4.0})["estimate"].item()
    assert np.isclose(slope, plain.beta[1] + 8 * plain.beta[2])

    spline = ml.fit_mixed(
        "radial_error ~ bs(block, df=4) + group", table, random={"participant": "1"}
    )
    assert len(spline.fixed_names) == 6 and spline.test("bs(block, df=4)").df1 == 4
    assert list(spline.anova(type=2)["term"]) == ["bs(block, df=4)", "group"]
    again = spline.predict(table, participants="population")
    assert np.allclose(again, spline.fitted(participants="population"))
    with pytest.raises(InputError, match="splines of 'block' end"):
        ml.marginal_means(spline, "group", at={"block": 12.0})
    with pytest.raises(InputError, match="type III is not made"):
        spline.anova()

    nested = ml.fit_mixed("radial_error ~ group / phase", table, random={"participant": "1"})
    crossed = ml.fit_mixed("radial_error ~ group * phase", table, random={"participant": "1"})
    assert np.isclose(nested.loglik, crossed.loglik)
    assert sum("phase" in name for name in nested.fixed_names) == 4


@pytest.mark.parametrize(
    "formula",
    [
        "radial_error ~ bs(block, df=2)",
        "radial_error ~ bs(block, df=99)",
        "radial_error ~ bs(block, knots=(1, 2))",
        "radial_error ~ bs(log(block), df=4)",
        "radial_error ~ I(block.mean())",
        "radial_error ~ I(__import__('os'))",
        "radial_error ~ I(block ** 99)",
        "radial_error ~ I(group)",
    ],
)
def test_splines_and_products_run_nothing(small_study, formula):
    table = small_study.assign(block=np.arange(72) % 9 + 1.0)
    with pytest.raises(FormulaError):
        ml.fit_mixed(formula, table, random={"participant": "1"})


@pytest.mark.parametrize(
    "terms",
    [
        "g", "g * phase", "x * g", "g + phase", "g * x * phase", "(g * phase) + x",
        "`my col` * phase", "phase * g * `my col`", "x + g", "n * g",
    ],
)  # fmt: skip
def test_crossed_columns_are_what_formulaic_gives(terms, monkeypatch):
    """formulaic builds the same matrix, names, terms and levels from the same formula."""
    table = pd.DataFrame(
        {
            "g": list("abab") * 6,
            "phase": ["p", "p", "q", "q", "r", "r"] * 4,
            "x": np.arange(24.0) % 5,
            "n": pd.Categorical([3, 1, 2, 3] * 6, categories=[3, 2, 1]),
            "my col": np.arange(24) % 3 == 0,
        }
    )
    formula = read_formula(f"y ~ {terms}")
    matrix, plan = matrices.make_matrix(formula, table)
    assert matrices.crossed_terms(formula) is not None
    monkeypatch.setattr(matrices, "crossed_terms", lambda formula: None)
    other, expected = matrices.make_matrix(formula, table)
    assert plan == expected
    np.testing.assert_array_equal(matrix, other)


@pytest.mark.parametrize(
    "terms", ["0 + g", "g / phase", "g:phase", "g + log(x)", "(g + x) * phase", "g * x + x"]
)
def test_other_formulas_are_read_by_formulaic(terms):
    assert matrices.crossed_terms(read_formula(f"y ~ {terms}")) is None

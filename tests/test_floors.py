"""Imports only go down: floors, siblings, in-function imports, and what each floor may know."""

import ast
import sys
from functools import cache
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "motorlearn"

FLOORS = {
    "__main__": 11,
    "__init__": 10,
    "commands": 10,
    "teaching_commands": 9.5,
    "import_command": 9.5,
    "teaching": 9,
    "report": 8,
    "figures": 7,
    "wording": 7,
    "analysis": 6,
    "audit": 5,
    "plan": 4,
    "compare": 4,
    "curves": 3,
    "mixed": 3,
    "linear": 2,
    "trials": 2,
    "measures": 2,
    "results": 1,
    "rows": 1,
    "tables": 1,
    "design": 1,
    "files": 1,
    "doors": 0,
    "command_parts": 0.5,
    "vocabulary": 0,
    "exceptions": 0,
    "digits": 0,
}
# Inside floor 1 and floor 0 the order is fixed too: the later may use the earlier.
WITHIN_FLOOR = {
    "vocabulary": ("doors",),
    "files": (),
    "tables": ("files",),
    "rows": ("tables", "files"),
    "results": ("rows", "tables", "files"),
    "design": ("tables", "files"),
}
# Which rows count is said once, and scores need it as much as whoever reads trials.
SHARED_WITH = {"measures": ("motorlearn.trials.counted",)}
DRAWING = {"matplotlib", "seaborn"}
# A result holds values: above the rooms that read files and formulas, regular expressions are for
# markup, file names, plurals and the check of what a text claims, never for what a result says.
READS_TEXT = {
    "figures.drawing.drawn",
    "report.learners.pages",
    "report.writers.contents",
    "wording.claims",
    "wording.voice",
}
# The only modules of the numerical rooms that face tables; all others know arrays only.
TABLE_FACING = {
    "measures": {
        "agreement.agreement",
        "agreement.coefficients",
        "agreement.frames",
        "agreement.names",
        "agreement.planning",
        "agreement.table",
        "agreement.totals",
        "individual_changes",
        "landmarks.checklist",
        "landmarks.headings",
        "landmarks.posture",
        "landmarks.tracks",
        "questionnaires.answers",
        "questionnaires.result",
        "questionnaires.scoring",
        "registry",
        "score_table",
        "scores",
    },
    "curves": {
        "averages",
        "batch.chunks",
        "batch.frames",
        "batch.learners",
        "batch.pooling",
        "batch.running",
        "batch.storing",
        "forgetting",
        "groups",
        "held_out",
        "population.bands",
        "population.claims",
        "population.curve",
        "population.likelihood_ratios",
        "population.population",
        "population.told",
        "population.table",
        "population.terms",
        "quantities",
        "recall",
        "single.curve_fit",
        "single.estimates",
        "single.learner",
    },
    "mixed": {
        "inference.bootstrapped",
        "partial_odds",
        "variability",
        "variability_result",
        "variability_views",
        "estimates",
        "fit",
        "formula.crossed",
        "formula.designs",
        "formula.matrices",
        "formula.outcomes",
        "frames",
        "habits",
        "grids",
        "inference.anova",
        "inference.hypotheses",
        "inference.intervals",
        "inference.profiled_effects",
        "predictive",
        "means",
        "prediction",
        "refitting",
        "result",
        "structures",
    },
    "linear": set(),
}
NUMERICAL = set(TABLE_FACING)
FORBIDDEN_NAMES = {"utils", "helpers", "common", "errors", "misc"}

MODULES = sorted(PACKAGE.rglob("*.py"))


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported(tree: ast.AST) -> list[tuple[ast.stmt, str]]:
    found: list[tuple[ast.stmt, str]] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [(node, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written in full"
            whole = [f"{node.module}.{alias.name}" for alias in node.names]
            found += [
                (node, name) for name in (whole if node.module == "motorlearn" else [node.module])
            ]
    return found


def violations(source: str, here: str) -> list[str]:
    """Name every import of ours that does not go down."""
    wrong = []
    for node, name in imported(ast.parse(source)):
        parts = name.split(".")
        if parts[0] != "motorlearn" or len(parts) == 1:
            continue
        there = parts[1]
        allowed_beside = there == here or there in WITHIN_FLOOR.get(here, ())
        allowed_beside |= name in SHARED_WITH.get(here, ())
        if FLOORS[there] >= FLOORS[here] and not allowed_beside:
            wrong.append(f"line {node.lineno}: {here} imports {there}")
    return wrong


def in_function_imports(source: str) -> list[int]:
    tree = ast.parse(source)
    functions = [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)]
    return sorted(
        {
            node.lineno
            for function in functions
            for node in ast.walk(function)
            if isinstance(node, ast.Import | ast.ImportFrom)
        }
    )


def named(path: Path) -> str:
    return str(path.relative_to(PACKAGE))


@cache
def source(path: Path) -> str:
    return path.read_text(encoding="utf-8")


@cache
def packages(path: Path) -> frozenset[str]:
    return frozenset(name.split(".")[0] for _, name in imported(ast.parse(source(path))))


def test_imports_go_down():
    wrong = {named(path): violations(source(path), room(path)) for path in MODULES}
    assert {name: found for name, found in wrong.items() if found} == {}


def test_no_import_inside_a_function_below_the_front_door():
    below = [path for path in MODULES if FLOORS[room(path)] < 10]
    wrong = {named(path): in_function_imports(source(path)) for path in below}
    assert {name: lines for name, lines in wrong.items() if lines} == {}


def test_only_the_upper_floors_draw():
    below = [path for path in MODULES if FLOORS[room(path)] < 7]
    assert [named(path) for path in below if packages(path) & DRAWING] == []


def test_numerical_kernels_know_no_pandas():
    def faces_tables(path):
        inside = ".".join(path.relative_to(PACKAGE).with_suffix("").parts[1:])
        return inside in TABLE_FACING[room(path)] | {"__init__"}

    kernels = [path for path in MODULES if room(path) in NUMERICAL and not faces_tables(path)]
    assert len(kernels) > 50
    assert [named(path) for path in kernels if "pandas" in packages(path)] == []


def test_nothing_takes_the_words_of_a_result_apart():
    rooms = ("compare", "audit", "analysis", "figures", "wording", "report")
    users = {
        ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
        for path in MODULES
        if room(path) in rooms and "re" in packages(path)
    }
    assert users <= READS_TEXT


def test_no_drawer_of_leftovers():
    assert not {path.stem for path in MODULES} & FORBIDDEN_NAMES


def test_modules_stay_readable():
    long = {
        str(p.relative_to(PACKAGE)): n
        for p in MODULES
        if (n := len(p.read_text(encoding="utf-8").splitlines())) > 400
    }
    assert long == {}


def test_functions_stay_short_and_take_few_arguments():
    bad = []
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef):
                arguments = node.args
                body = [
                    s
                    for s in node.body
                    if not (isinstance(s, ast.Expr) and isinstance(s.value, ast.Constant))
                ]
                length = (body[-1].end_lineno - body[0].lineno + 1) if body else 0
                positional = len(arguments.posonlyargs) + len(arguments.args)
                if length > 40:
                    bad.append(
                        f"{path.relative_to(PACKAGE)}:{node.lineno} {node.name}: {length} lines"
                    )
                if positional > 8:
                    bad.append(
                        f"{path.relative_to(PACKAGE)}:{node.lineno} {node.name}: "
                        f"{positional} positional arguments"
                    )
    assert bad == []


def test_every_module_has_a_known_floor():
    assert {room(path) for path in MODULES} <= set(FLOORS)


def test_the_checks_can_fail():
    assert violations("from motorlearn.report import write_report", "measures") != []
    assert violations("from motorlearn.measures import hits", "trials") != []
    assert violations("from motorlearn import figures", "audit") != []
    assert violations("import motorlearn.exceptions", "trials") == []
    assert in_function_imports("def f():\n    import os\n") == [2]


def test_no_module_shadows_the_standard_library_at_top_level():
    assert not {p.stem for p in PACKAGE.glob("*.py")} & set(sys.stdlib_module_names) - {"__init__"}


def test_the_top_level_holds_what_was_agreed_and_nothing_else():
    files = {path.name for path in PACKAGE.parent.iterdir() if path.is_file()}
    agreed = {"README.md", "DEVELOPERS.md", "LICENSE", "CITATION.cff", "pyproject.toml"}
    assert {name for name in files if not name.startswith(".")} <= agreed

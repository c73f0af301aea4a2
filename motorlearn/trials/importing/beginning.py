"""Propose how gathered files are read, and begin a plan from them where a study has none."""

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from motorlearn.design import Design, ImportRecipe, design_from_mapping
from motorlearn.exceptions import InputError
from motorlearn.trials.checking.restarts import begins_anew
from motorlearn.trials.checking.rules import trial_key
from motorlearn.trials.importing.blocks import blocks_of, number_blocks, size_by_tests
from motorlearn.trials.importing.crossed import crossed
from motorlearn.trials.importing.gathering import Gathered, guess_name_parts
from motorlearn.trials.importing.many_files import Joined, join_files
from motorlearn.trials.importing.pieces import RAGGED
from motorlearn.trials.importing.proposing import (
    Proposal,
    heading_line,
    proposal_for,
    propose_recipe,
)
from motorlearn.trials.importing.recipe_text import recipe_text
from motorlearn.trials.importing.replay import replay, replay_joined
from motorlearn.trials.importing.said_questionnaires import started_questionnaires
from motorlearn.trials.importing.said_rules import said_rules
from motorlearn.trials.importing.sources import sum_of
from motorlearn.trials.importing.started_outcomes import outcome_of, suggested
from motorlearn.trials.importing.started_rules import Ask, rules_text
from motorlearn.trials.importing.starting import Asked, guess_phases, started_plan
from motorlearn.trials.reading.sheet import cell_codes
from motorlearn.trials.reading.standard import Standard
from motorlearn.vocabulary import PHASES


def sums_of(gathered: Gathered) -> dict[str, Any]:
    """Number of files and their sum, as a recipe keeps them."""
    return {"sha256": sum_of(gathered.files), "count": len(gathered.files)}


def propose_gathered(
    gathered: Gathered, design: Design | None, sheet: str | None, parts: str = ""
) -> Proposal:
    """Propose how one file, or many together, are read."""
    if not gathered.many:
        return propose_recipe(gathered.files[gathered.source], design=design, sheet=sheet)
    sheets = ({"name": sheet},) if sheet else ()
    pattern = parts or guess_name_parts(list(gathered.files))
    opening = ImportRecipe.model_validate(
        {"file": gathered.source, "name_parts": pattern, "sheets": sheets}
    )
    joined = join_files(gathered.files, opening, heading_line=heading_line)
    source = {"file": gathered.source, "name_parts": pattern, "sheets": sheets}
    found = proposal_for(joined.grid, {**source, **sums_of(gathered)}, design)
    return _with_short_rows(found, joined)


def _with_short_rows(proposal: Proposal, joined: Joined) -> Proposal:
    """Rows with too few fields, and none with too many, lack their last values."""
    marks = joined.problems[joined.problems["rule"] == RAGGED]
    if marks.empty:
        return proposal
    recipe = proposal.recipe.model_copy(update={"short_rows": "empty"})
    asked = (
        f"{len(marks)} rows have fewer fields than others: they were read as rows without their "
        "last values. Is that right? (short_rows)"
    )
    return replace(proposal, recipe=recipe, questions=(*proposal.questions, asked))


def start(
    gathered: Gathered, sheet: str | None, parts: str, asked: Asked, ask: Ask | None
) -> tuple[str, Proposal]:
    """Begin a plan: its text without the recipe, and the proposal with the recipe.

    Raises
    ------
    DesignError
        If what was answered makes no plan.
    """
    proposal = propose_gathered(gathered, None, sheet, parts)
    recipe = proposal.recipe
    table = _read(gathered, recipe).sheet.table
    told = crossed(asked.groups or {})
    levels, said = _levels(table, replace(asked, groups=told.names), ask)
    recipe = recipe.model_copy(update={"levels": {**recipe.levels, **levels}})
    standard = _read(gathered, recipe)
    recipe, standard, anew = _blocks(recipe, standard)
    table = standard.sheet.table
    asked = _answered(asked, table, ask)
    added = started_questionnaires(asked.questionnaires, ask)
    rules = rules_text(
        table, suggested(table), ask, said_rules(asked.leave_out, asked.replace, table)
    )
    text, open_questions = started_plan(table, asked, told, f"{rules}\n{added.text}")
    open_questions = (*said, *anew, *open_questions, *added.questions)
    questions = (*proposal.questions, *open_questions)
    shown = "".join(f"# ? {question}\n" for question in open_questions)
    head, _, rest = text.partition("\n")
    whole = f"{head}\n{shown}{rest}"
    design_from_mapping(tomllib.loads(f"{whole}\n{recipe_text(recipe)}"), place="study.toml")
    return whole, replace(proposal, recipe=recipe, questions=questions)


def _read(gathered: Gathered, recipe: ImportRecipe) -> Standard:
    if gathered.many:
        return replay_joined(gathered.files, recipe)
    return replay(Path(gathered.files[gathered.source]), recipe)


def _levels(
    table: pd.DataFrame, asked: Asked, ask: Ask | None
) -> tuple[dict[str, dict[str, str | int]], tuple[str, ...]]:
    """Names of codes of groups and phases: as said, else guessed, and then asked about."""
    levels: dict[str, dict[str, str | int]] = {}
    if asked.groups:
        levels["group"] = dict(asked.groups)
    if asked.phases:
        return {**levels, "phase": dict(asked.phases)}, ()
    if "phase" not in table:
        return levels, ()
    codes = table["phase"].dropna().astype("str")
    if set(codes) <= set(PHASES):
        return levels, ()
    guess = guess_phases(codes, table.loc[codes.index, "participant"])
    if ask is not None:
        told = {code: ask(f"Part of the study with code {code}", guess.get(code, "")) for code in
                sorted(set(codes))}  # fmt: skip
        return {**levels, "phase": {c: name for c, name in told.items() if name}}, ()
    if not guess:
        return levels, ()
    read = ", ".join(f"{code} = {name}" for code, name in guess.items())
    question = f"Parts of the study were read as {read}: is that right? (--phases, import.levels)"
    return {**levels, "phase": dict(guess)}, (question,)


def _blocks(
    recipe: ImportRecipe, standard: Standard
) -> tuple[ImportRecipe, Standard, tuple[str, ...]]:
    """Number blocks where the numbers of trials begin anew and no column numbers them."""
    table = standard.sheet.table
    cells = cell_codes(table, trial_key(table))
    again = pd.Series(cells).duplicated().to_numpy().nonzero()[0]
    size = 0 if len(again) else size_by_tests(table)
    if size:
        question = (
            f"Nothing numbers blocks of practice; they were taken to hold {size} trials, as many "
            "as a test: did they? (trials_per_block of [[practice]])"
        )
        recipe = recipe.model_copy(update={"blocks": "planned"})
        return recipe, blocks_of(standard, size), (question,)
    if not len(again) or not begins_anew(table, again):
        return recipe, standard, ()
    question = (
        "The numbers of trials begin anew, so each run was read as a block: is that right? "
        "(blocks = 'restarts')"
    )
    recipe = recipe.model_copy(update={"blocks": "restarts"})
    return recipe, number_blocks(standard, "restarts"), (question,)


def _answered(asked: Asked, table: pd.DataFrame, ask: Ask | None) -> Asked:
    if ask is None:
        return asked
    if not asked.outcome:
        outcome = ask("Outcome (a column, or radial_error from x and y)", outcome_of(table))
        better = ask("Which is better, lower or higher", asked.better or "lower")
        asked = replace(asked, outcome=outcome, better=better, unit=asked.unit or ask("Unit", ""))
    late = {"retention", "transfer"} & set(table["phase"].dropna() if "phase" in table else ())
    if late and asked.retention_days is None:
        days = _days(ask("Days from the last practice to the retention or transfer test", ""))
        asked = replace(asked, retention_days=days)
    if "group" in table and not asked.primary:
        asked = replace(asked, primary=ask("Test that was declared as the primary one", ""))
    if "group" in table and not asked.smallest_effect:
        wanted = "Smallest effect of interest that was declared (2.5, 0.5 sd; nothing where none)"
        asked = replace(asked, smallest_effect=ask(wanted, ""))
    return asked


def _days(said: str) -> float | None:
    try:
        return float(said) if said.strip() else None
    except ValueError:
        raise InputError(
            "days to the delayed tests are a number", [said], "for example 1, or nothing"
        ) from None

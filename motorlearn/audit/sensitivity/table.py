"""The same conclusion reached in other defensible ways: one table, one figure."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.audit.comparison.groups import focused
from motorlearn.audit.comparison.phase_model import PhaseModel, effects_of, phase_model
from motorlearn.audit.context import Context
from motorlearn.audit.report import Conclusion
from motorlearn.audit.sensitivity.chained import chained_variants
from motorlearn.audit.sensitivity.leave_one_out import without_each
from motorlearn.audit.sensitivity.mixed import mixed_variants
from motorlearn.audit.sensitivity.phases import (
    ORIGINAL,
    SHIFTED,
    TIPPING,
    Allocation,
    Variant,
    hit_variants,
    phase_variants,
    tipping_points,
)
from motorlearn.audit.sensitivity.within_people import within_variants
from motorlearn.compare import PhaseComparison
from motorlearn.digits import count, plural
from motorlearn.exceptions import InputError
from motorlearn.mixed import MixedFit
from motorlearn.results import Recipe, Result, register_record
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table
from motorlearn.trials import Study
from motorlearn.vocabulary import DELAYED_PHASES

VARIANTS = Schema(
    (
        Column("variant"),
        Column("contrast"),
        Column("n", kind="count"),
        Column("estimate", kind="significant", decimals=3),
        Column("conf_low", "lower", "significant", decimals=3),
        Column("conf_high", "upper", "significant", decimals=3),
        Column("p", "p", "p"),
        Column("changes", "conclusion changes", "flag"),
        Column("note"),
        Column("null", kind="number"),
    ),
    ("variant", "contrast", "n", "estimate", "conf_low", "conf_high", "p", "changes", "note"),
)


@register_record
@dataclass(frozen=True)
class Sensitivity(Result):
    """Conclusions of one comparison under other defensible choices.

    Attributes
    ----------
    table : DataFrame
        ``variant, contrast, n, estimate, conf_low, conf_high, p, changes, note, null``; the first
        rows are the original. A variant that could not be run is a row whose ``note`` says why.
        ``null`` is the value that stands for no effect, 1 for a ratio.
    leave_one_out : DataFrame
        ``participant, group, contrast, estimate, conf_low, conf_high, p, changes``.
    shifts : DataFrame
        ``contrast, shift, estimate, conf_low, conf_high, p``: missing scores of the first group of
        the contrast (of the second where only it lacks scores) moved by ``shift`` residual SDs.
    tipping : DataFrame
        ``contrast, missing, shift, shift_in_unit, null``: smallest move that changes the
        conclusion.
    analysis : str
        What was tried.
    recipe : Recipe
        Options and seed.
    """

    table: pd.DataFrame
    leave_one_out: pd.DataFrame = field(repr=False)
    shifts: pd.DataFrame = field(repr=False)
    tipping: pd.DataFrame
    analysis: str
    recipe: Recipe

    @property
    def original(self) -> str:
        """Name of the variant that is the analysis as planned."""
        return ORIGINAL

    @property
    def verdict(self) -> str:
        """The whole in one sentence."""
        run = self.table[self.table["p"].notna() & (self.table["variant"] != ORIGINAL)]
        changed = run.loc[run["changes"], "variant"].unique()
        ways = count(run["variant"].nunique(), "other way")
        text = f"The analysis ({self.analysis}) was run in {ways}."
        if len(changed):
            return f"{text} The conclusion changes in: {'; '.join(changed)}."
        return f"{text} No variant changes the conclusion."

    def tables(self) -> Sequence[Table]:
        """Variants first, then the tipping points."""
        title = f"Sensitivity: {self.analysis}"
        first = VARIANTS.table("sensitivity", title, self.table, (self.verdict,))
        if self.tipping.empty:
            return (first,)
        note = "A dash: no shift up to four residual SDs changes the conclusion."
        heading = "Shift of missing scores that changes the conclusion"
        return (first, TIPPING.table("tipping", heading, self.tipping, (note,)))


def sensitivity(
    result: PhaseComparison | MixedFit,
    *,
    study: Study | None = None,
    phase: Hashable | None = None,
    per_protocol: Sequence[Hashable] | None = None,
    permutations: int = 4999,
    imputations: int = 0,
    seed: int = 0,
) -> Sensitivity:
    """Reach the same conclusion in every other defensible way.

    Leave one participant out, with and without flagged outliers, the other scale, robust and
    resampled intervals, complete cases against imputed scores, shifted missing scores, per
    protocol, and a permutation test that moves labels only where the allocation could have.

    Parameters
    ----------
    result : PhaseComparison or MixedFit
        What was analysed.
    study : Study, optional
        The study: its strata are honoured by the permutation test, its ``status`` column tells who
        kept to the protocol.
    phase : hashable, optional
        Test to try; by default the planned one, else the first delayed one.
    per_protocol : sequence, optional
        Participants who kept to the protocol, where the study does not say it.
    permutations : int
        Permutations of the allocation.
    imputations : int
        Data sets in which missing scores are imputed from all tests by chained equations, beside
        the imputation from the baseline that is always shown; 0 for none, 20 is usual.
    seed : int
        Seed of everything that is drawn.

    Returns
    -------
    Sensitivity

    Raises
    ------
    InputError
        If the kind of result, the phase or a participant is unknown.

    Examples
    --------
    >>> import numpy as np, pandas as pd, motorlearn as ml
    >>> rng = np.random.default_rng(1)
    >>> scores = pd.DataFrame({
    ...     "participant": np.repeat(np.arange(40), 2),
    ...     "group": np.repeat(["random", "blocked"] * 20, 2),
    ...     "phase": ["pretest", "retention"] * 40,
    ...     "radial_error": rng.normal(30, 4, 80),
    ... })
    >>> found = ml.compare_phases(scores, "radial_error", group="group", baseline="pretest")
    >>> sensitivity(found, permutations=99).table["variant"].iloc[0]
    'as analysed'
    """
    if isinstance(result, MixedFit):
        return _of_mixed(result, seed)
    if not isinstance(result, PhaseComparison):
        raise InputError(
            "sensitivity needs a comparison of phases or a mixed model", [type(result).__name__]
        )
    design = study.design if study is not None else None
    context = Context(design=design, study=study, seed=seed)
    chosen = phase if phase is not None else _default_phase(result, context)
    if result.recipe.options.get("within"):
        return _within_people(result, context, chosen, seed)
    model = focused(phase_model(result, chosen), context, effects_of(result))
    if not model.pairs:
        raise InputError("this test has no contrast between groups", [chosen])
    allocation = _allocation(model, study)
    removed = without_each(model)
    variants = phase_variants(
        model, removed, allocation, _keepers(model, study, per_protocol), permutations, seed
    )
    variants += chained_variants(result, model, imputations=imputations, seed=seed)
    variants += hit_variants(result, model)
    shifts, tipping = tipping_points(model, seed)
    recipe = Recipe(
        call="sensitivity",
        columns=dict(result.recipe.columns),
        options={
            "phase": chosen,
            "permutations": permutations,
            "imputations": imputations,
            "allocation": allocation.words,
        },
        n=len(model.complete.y),
        left_out=result.recipe.left_out,
        seed=seed,
        engine="studentised bootstrap; imputation by Rubin's rules; permutation of labels",
    )
    table = _table(variants, model.conclusions())
    adjusted = ", adjusted for the baseline" if model.adjusted else ""
    named = f"{context.name_of(model.phase)}{adjusted}"
    return Sensitivity(table, removed, shifts, tipping, named, recipe)


def _within_people(
    result: PhaseComparison, context: Context, phase: Hashable, seed: int
) -> Sensitivity:
    """Variants of conditions within people: of the planned pair, else of the first one."""
    rows = result.contrasts[(result.contrasts["phase"] == phase) & result.contrasts["p"].notna()]
    primary = context.primary
    if primary is not None and len(primary.groups) > 1:
        named = rows["group"].isin(primary.groups[:2]) & rows["reference"].isin(primary.groups[:2])
        rows = rows[named]
    if rows.empty:
        raise InputError("this test has no contrast between conditions", [phase])
    pair = (str(rows["group"].iloc[0]), str(rows["reference"].iloc[0]))
    variants, removed = within_variants(result, context.study, phase, pair, seed)
    adjusted = ", adjusted for the baseline" if bool(rows["adjusted"].any()) else ""
    recipe = replace(
        result.recipe,
        call="sensitivity",
        options={"phase": phase, "within": result.recipe.options["within"]},
        n=variants[0].n,
        seed=seed,
        engine="least squares of people's differences; orders drawn again",
    )
    table = _table(variants, variants[0].conclusions)
    about = f"{context.name_of(phase)}{adjusted}"
    return Sensitivity(table, removed, SHIFTED.frame(), TIPPING.frame(), about, recipe)


def _table(variants: list[Variant], original: tuple[Conclusion, ...]) -> pd.DataFrame:
    found = []
    for variant in variants:
        name, n, note = variant.name, variant.n, variant.note
        for before, one in zip(original, variant.conclusions):
            changes = name != ORIGINAL and one.direction != before.direction
            found.append(
                VARIANTS.row(
                    variant=name, contrast=one.label, n=n, estimate=one.estimate,
                    conf_low=one.conf_low, conf_high=one.conf_high, p=one.p, changes=changes,
                    note=note, null=one.null,
                )
            )  # fmt: skip
        if not variant.conclusions:
            found.append(VARIANTS.row(variant=name, n=n, note=note))
    return VARIANTS.frame(found)


def _default_phase(result: PhaseComparison, context: Context) -> Hashable:
    phases: Sequence[Hashable] = result.recipe.options["phases"]
    primary = context.primary
    if primary is not None and primary.phase in phases:
        return primary.phase
    delayed = [phase for phase in phases if phase in DELAYED_PHASES]
    return delayed[0] if delayed else phases[-1]


def _keepers(
    model: PhaseModel, study: Study | None, per_protocol: Sequence[Hashable] | None
) -> NDArray[np.bool_] | None:
    if per_protocol is not None:
        unknown = [name for name in per_protocol if name not in set(model.participants)]
        if unknown:
            raise InputError("participants are not in the comparison", unknown)
        return np.isin(model.participants, np.asarray(list(per_protocol)))
    people = study.participants if study is not None else None
    if model.unit != "participant" or people is None or "status" not in people:
        return None
    status = people.drop_duplicates("participant").set_index("participant")["status"]
    return np.asarray(status.reindex(model.participants) == "completed", dtype=bool)


def _allocation(model: PhaseModel, study: Study | None) -> Allocation:
    everywhere = Allocation(None, f"labels moved among all {plural(model.unit)}")
    if study is None:
        return everywhere
    if study.design.allocation.method == "none":
        return Allocation(None, "not run: groups were not drawn by lot", by_lot=False)
    people = study.participants
    if model.unit != "participant":
        return Allocation(None, f"labels moved, each {model.unit} as a whole")
    if people is None:
        return everywhere
    known = people.drop_duplicates("participant").set_index("participant")
    names = [name for name in (*study.design.allocation.strata, "block") if name in known]
    if not names:
        return everywhere
    keys = known.reindex(model.participants)[names].astype(str).agg(" / ".join, axis=1)
    return Allocation(keys.to_numpy(), f"labels moved only inside {' and '.join(names)}")


def _of_mixed(fit: MixedFit, seed: int) -> Sensitivity:
    variants, removed = mixed_variants(fit)
    recipe = replace(fit.recipe, call="sensitivity", seed=seed)
    return Sensitivity(
        _table(variants, variants[0].conclusions),
        removed,
        SHIFTED.frame(),
        TIPPING.frame(),
        f"the mixed model {fit.formula}",
        recipe,
    )

"""The method paragraphs: people, programme, tests, outcomes and analysis, from the plan."""

from collections.abc import Iterator, Sequence
from itertools import groupby

from motorlearn.curves import named_form
from motorlearn.design import (
    CurvePlan,
    Design,
    Group,
    Outcome,
    Practice,
    Test,
    hits_declared_of,
    primary_words,
    smallest_effect_of,
    stages_of,
    standard_stage,
)
from motorlearn.digits import count, lapse, plain, plural
from motorlearn.vocabulary import capitalised
from motorlearn.wording.single_case import analysis_of_cases, design_paragraph
from motorlearn.wording.tense import told, was, were
from motorlearn.wording.times import time_rules_of
from motorlearn.wording.variability import spread_rules_of
from motorlearn.wording.voice import listed

ALLOCATION = {
    "blocks": "in permuted blocks",
    "minimisation": "by minimisation",
    "cluster": "as a whole",
    "simple": "by simple randomisation",
    "own": "by the study's own procedure",
}
_SCHEDULES = {
    "blocked": "blocked order (one task finished before the next)",
    "serial": "serial order (tasks in a fixed rotation)",
    "random": "random order",
    "constant": "constant practice",
    "variable": "variable practice",
    "increasing": "a schedule of increasing interference",
    "own": "its own schedule",
    "none": "no practice",
}


def participants_paragraph(design: Design, allocated: dict[str, int]) -> str:
    """Who took part and how they came to their groups."""
    total = sum(allocated.values())
    people = f"In all, {count(total, 'participant')}"
    if design.single_case is not None:
        if total == 1:
            return "One participant took part and was compared with their own sessions."
        return f"{people} took part; each was compared with their own sessions."
    if design.within is not None:
        return within_paragraph(design, max(allocated.values()))
    if len(allocated) == 1:
        return (
            f"{people} followed one programme ({next(iter(allocated))}); there was "
            "no comparison group."
        )
    sizes = listed([f"{name} n = {n}" for name, n in allocated.items()])
    way = design.allocation
    if way.method == "none":
        return f"{people} practised in groups that were not allocated at random ({sizes})."
    strata = f", stratified by {listed(list(way.strata))}" if way.strata else ""
    size = f" of {_sizes(way.block_size)}" if way.method == "blocks" and way.block_size else ""
    whole = f"as whole {plural(way.unit)}"
    how = whole if way.method == "cluster" else ALLOCATION[way.method]
    unit = "" if way.unit == "participant" else f" The unit of allocation was the {way.unit}."
    return (
        f"{people} were allocated {how}{size}{strata} to "
        f"{count(len(allocated), 'group', spelt=True)} ({sizes}).{unit}"
    )


def within_paragraph(design: Design, people: int) -> str:
    """That everybody met every condition, in which orders, with what between."""
    assert design.within is not None
    way = design.within
    orders = listed([" then ".join(order) for order in design.sequences])
    what = "in different periods" if way.by == "period" else f"each with another {way.by}"
    pause = (
        f", with {count(way.washout_days, 'day')} between periods"
        if way.by == "period" and way.washout_days is not None
        else ""
    )
    drawn = (
        "the order was not drawn by lot"
        if design.allocation.method in ("none", "own")
        else "the order was drawn by lot"
    )
    return (
        f"In all, {count(people, 'participant')} practised under every condition "
        f"({listed(list(design.group_names))}), {what}{pause}; {drawn}. Orders planned: {orders}."
    )


def _compared_within(design: Design) -> str:
    assert design.within is not None
    return (
        f"Conditions {were()} compared at each test by the differences within participants, with "
        f"the {design.within.by} and, where a baseline is named, the difference at the baseline "
        "taken out; the difference between sequences (carry-over) is stated and "
        f"{told('chose', 'chooses')} no analysis"
    )


def _sizes(block_size: int | tuple[int, ...]) -> str:
    if isinstance(block_size, int):
        return str(block_size)
    return f"{listed([str(size) for size in block_size])}, drawn for each block,"


def task_paragraph(design: Design) -> str:
    """What was practised."""
    skill, unit = design.skill, design.units.get("length", "")
    parts = []
    if skill.name:
        kind = [word for word in (skill.timing, skill.environment, skill.movement) if word]
        said = f", a {listed(kind)} skill" if kind else ""
        parts.append(f"The skill {was()} {skill.name}{said}.")
    if design.tasks:
        names = [
            task.name + (f" ({task.description})" if task.description else "")
            for task in design.tasks
        ]
        number = capitalised(count(len(names), "task", spelt=True))
        parts.append(f"{number} {_was(names)} practised: {listed(names)}.")
    if design.target:
        length = f" {unit}" if unit else ""
        parts.append(f"The target {was()} a disc of {plain(design.target.radius)}{length} radius.")
    return " ".join(parts)


def _was(names: list[str]) -> str:
    return was() if len(names) == 1 else were()


def programme_paragraph(design: Design) -> str:
    """What each group practised, how much, and with which feedback."""
    groups = [_condition(group) for group in design.groups]
    several = any(";" in told_group for told_group in groups)
    said = "; ".join(groups) if several else listed(groups)
    text = f"Practice conditions {were()} {said}."
    if len(design.groups) == 1:
        only = design.groups[0]
        own = only.schedule == "own"
        said = only.description if own else _told(only)
        text = f"Everybody {told('practised', 'will practise')} the same: {said}." if said else ""
    took = told("took", "will take")
    if design.practice and design.practice_is_shared:
        text += f" Practice {took} {_dose(design.practice)}."
    elif design.practice:
        for name in design.group_names:
            mine = design.practice_of(name)
            dose = (
                f"{took} {_dose(mine)}" if mine else f"{was()} none: this group {was()} tested only"
            )
            text += f" Practice of {name} {dose}."
    return text.strip()


def _told(group: Group) -> str:
    """The order of practice; explained in general only where the plan does not describe it."""
    order = _SCHEDULES[group.schedule]
    if not group.description:
        return order
    return f"{order.partition(' (')[0]}, {group.description}"


def _condition(group: Group) -> str:
    """A group with its practice, ``blocked (one task finished before the next)``."""
    if group.schedule == "own" and not group.description:
        return group.name
    said = _told(group) if group.schedule != "own" else group.description
    same = f"{group.schedule} order"
    if group.name == group.schedule and said.startswith(same):
        said = said.removeprefix(same).strip(" ,()")
    return f"{group.name} ({said})" if said else group.name


def _dose(practice: Sequence[Practice]) -> str:
    """How many sessions and trials, and what each session held."""
    total = sum(session.trials for session in practice)
    alike = groupby(practice, key=_content)
    sessions = "; ".join(f"{_when(list(run))}: {content}" for content, run in alike)
    return (
        f"{count(len(practice), 'session')} and {count(total, 'trial')} per participant "
        f"({sessions})"
    )


def _when(sessions: list[Practice]) -> str:
    """Number and day of a session, or of a run of sessions alike."""
    first, last = sessions[0], sessions[-1]
    if len(sessions) == 1:
        return f"session {first.session} on day {plain(first.day)}"
    span = (
        f"sessions {first.session} to {last.session}, days {plain(first.day)} to {plain(last.day)}"
    )
    return f"{span}, each"


def _content(session: Practice) -> str:
    """What a session holds and with which feedback."""
    text = f"{count(session.blocks, 'block')} of {count(session.trials_per_block, 'trial')}"
    if session.schedule:
        text += f" in {session.schedule} order"
    every = session.feedback_every
    if session.feedback and every:
        often = "every trial" if every == 1 else f"every {every} trials"
        text += f", {session.feedback}, after {often}"
    elif session.feedback:
        text += f", {session.feedback}"
    return text


def tests_paragraph(design: Design) -> str:
    """Which tests were given, when, and whether with feedback; of a single case its design."""
    if design.single_case is not None:
        said = design_paragraph(design.single_case)
        tests = f" Tests {were()}: {_tests(design)}."
        return said + (tests if design.tests else "")
    return f"Tests {were()}: {_tests(design)}."


def _tests(design: Design) -> str:
    stages = stages_of(design)
    return "; ".join(_test(stage.told, stage.test) for stage in stages if stage.test is not None)


def _test(told: str, test: Test) -> str:
    label, gap = told.removeprefix("the "), ""
    if test.interval_days:
        gap = f", {lapse(test.interval_days)} after the last practice"
    feedback = "with feedback" if test.feedback else "without feedback"
    more = f", {test.description}" if test.description else ""
    return f"{label} ({count(test.trials, 'trial')}{gap}, {feedback}{more})"


def outcome_paragraph(design: Design) -> str:
    """What was scored and which comparison was declared primary."""
    many = f"Outcomes {were()}" if len(design.outcomes) > 1 else f"The outcome {was()}"
    parts = [f"{many} {listed([_outcome(entry) for entry in design.outcomes])}."]
    if design.primary:
        primary, outcome = design.primary, design.outcome(design.primary.outcome)
        name = outcome.words if outcome else primary.outcome.replace("_", " ")
        groups = f" ({listed(list(primary.groups), 'against')})" if primary.groups else ""
        groups = f" ({primary_words(design)})" if primary.factors else groups
        known = len(design.groups) > 1 and primary.baseline in design.phases
        beside = [f"the {primary.baseline}"] if known else []
        beside += [name.replace("_", " ") for name in primary.covariates]
        adjusted = f", adjusted for {listed(beside)}" if beside else ""
        parts.append(
            f"The primary comparison, declared beforehand, {was()} {name} at "
            f"{_primary_test(design)}{groups}, as a {primary.effect}{adjusted}."
        )
    if design.smallest_effect:
        why = f"; reason: {design.smallest_effect.reason}" if design.smallest_effect.reason else ""
        value = plain(design.smallest_effect.value) + design.smallest_effect.kind_of_sd
        parts.append(
            f"The smallest effect of interest {told('was', 'is')} {value}{_bound_unit(design)}"
            f"{why}."
        )
    parts += _planned_parts(design)
    if design.exclusions:
        rules = "; ".join(
            entry.rule + (f" ({entry.reason})" if entry.reason else "")
            for entry in design.exclusions
        )
        parts.append(f"Exclusions decided beforehand: {rules}.")
    parts += time_rules_of(design)
    parts += spread_rules_of(design)
    if design.replacements:
        rules = "; ".join(f"{entry.told} ({entry.reason})" for entry in design.replacements)
        parts.append(f"Values replaced by rules decided beforehand: {rules}.")
    return " ".join(parts)


def _primary_test(design: Design) -> str:
    """The test of the primary comparison as a sentence names it, ``the delayed retention test``."""
    primary = design.primary
    assert primary is not None
    mine = [stage for stage in stages_of(design) if stage.phase == primary.phase]
    named = [one for one in mine if one.test is not None and one.test.name == primary.test]
    at = (named if primary.test else mine) or [standard_stage(primary.phase)]
    return at[-1].spoken


def _bound_unit(design: Design) -> str:
    """Unit of the smallest effect of interest, none where it is a ratio; hits with their rate."""
    primary, trials = design.primary, hits_declared_of(design)
    if trials:
        return f" hits of {trials} (a rate of {plain(smallest_effect_of(design) or 0.0)})"
    in_sd = design.smallest_effect is not None and design.smallest_effect.in_sd
    if in_sd or (primary is not None and primary.effect == "ratio"):
        return ""
    outcome = design.outcome(primary.outcome) if primary else design.outcomes[0]
    return f" {outcome.unit}" if outcome and outcome.unit else ""


def _planned_parts(design: Design) -> Iterator[str]:
    """What the plan says of the analysis of variance and of the curve of practice."""
    if design.anova.parts == "tests":
        yield (
            f"The analysis of variance over parts of the study {told('took', 'takes')} the tests "
            "without practice."
        )
    if design.curve != CurvePlan():
        one = " for all groups together" if design.curve.groups == "together" else ""
        varies = listed(list(design.curve.vary))
        if design.curve.form != CurvePlan().form:
            one += f" ({named_form(design.curve.form).title})"
        yield (
            f"The curve of practice{one} {told('let', 'lets')} {varies} vary from person to person."
        )


def _outcome(outcome: Outcome) -> str:
    unit = f" in {outcome.unit}" if outcome.unit else ""
    return f"{outcome.words}{unit} ({outcome.better} is better{_target_words(outcome)})"


def _target_words(outcome: Outcome) -> str:
    """The target of an error, and the targets of other phases, tests or tasks."""
    if not outcome.has_target:
        return ""
    measure = (outcome.measure or "absolute_error").replace("_", " ")
    unit = f" {outcome.unit}" if outcome.unit else ""
    common = [f"{outcome.target:g}{unit}"] if outcome.target is not None else []
    other = [f"in {place} {value:g}{unit}" for place, value in outcome.targets.items()]
    return f"; {measure}, target {', '.join([*common, *other])}"


def _compared(design: Design) -> str:
    if design.within is not None:
        return _compared_within(design)
    unit = design.allocation.clusters
    means = "scores" if any(entry.is_variability for entry in design.outcomes) else "mean scores"
    scores = f"{unit} means" if unit else f"participants' {means}"
    return (
        f"Groups {were()} compared at each test by analysis of covariance of {scores} with "
        f"{_beside_groups(design)}{_crossed(design)}"
    )


def _beside_groups(design: Design) -> str:
    """Covariates of the comparison in words."""
    more = design.primary.covariates if design.primary is not None else ()
    if not more:
        return "the baseline score as covariate"
    return f"the baseline score as covariate, that of the primary outcome with {listed(more)} too"


def _crossed(design: Design) -> str:
    """How the effects of two factors are made from the cells."""
    if not design.factors:
        return ""
    names = listed([factor.words for factor in design.factors])
    return (
        f"; effects of {names} are contrasts of the cells, which count alike however many people "
        "they hold (type III)"
    )


def analysis_paragraph(design: Design, versions: dict[str, str]) -> str:
    """How the numbers were made."""
    if design.single_case is not None:
        return analysis_of_cases(versions)
    tools = listed([f"{name} {version}" for name, version in versions.items()])
    several = len(design.groups) > 1
    compared = (
        _compared(design) if several else f"Tests {were()} compared within participants, in pairs"
    )
    size = (
        "Hedges g is the (adjusted) mean difference over the pooled standard deviation"
        if several
        else "The standardised change g is the mean change over the standard deviation of the tests"
    )
    families = (
        ", families of contrasts are shown with raw and Holm-adjusted p values" if several else ""
    )
    ratio = design.primary is not None and design.primary.effect == "ratio"
    logs = "; ratios come from the logarithm of the scores" if ratio else ""
    if design.primary is not None and design.primary.variance == "by group" and several:
        compared += ", a residual variance for each group and Satterthwaite's degrees of freedom"
    unit = design.allocation.clusters
    whole = (
        "participant" if unit is None else f"{unit}, which {was()} allocated as a whole: its mean"
    )
    standard = "" if several and unit else f" {size}, corrected for small samples."
    return (
        f"The unit of analysis {was()} the {whole}; trials "
        f"{told('were never', 'will never be')} pooled as if independent. "
        f"{compared}{logs}. Intervals are 95 % confidence intervals based on t, "
        f"p values are two-sided{families}.{standard} "
        f"{told('Computed', 'To be computed')} with {tools}."
    )

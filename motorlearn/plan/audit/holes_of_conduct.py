"""Holes in how a plan is to be carried out: dose, feedback, load, rules, blinding, ethics."""

from collections.abc import Iterator

from motorlearn.design import Design, Practice
from motorlearn.plan.audit.hole import Hole
from motorlearn.plan.load import throw_load

_TIDIER = "TIDieR: Hoffmann et al. 2014, BMJ 348:g1687, doi:10.1136/bmj.g1687 (items read)"
_ADULT = 18


def dose(design: Design) -> Iterator[Hole]:
    """Look for the dose of practice."""
    if not design.practice:
        yield Hole(
            "no dose",
            "act",
            "practice",
            "neither practice sessions nor a programme with drills is given",
            "nobody can repeat the programme, or say how much practice made the effect",
            "list the sessions, or the programme's weeks with its drills and trials per session",
            _TIDIER,
        )
    for drill in design.drills:
        lacking = [
            what
            for what, given in (
                ("purpose", drill.purpose),
                ("trials per session", drill.trials_per_session),
                ("feedback", drill.feedback or drill.feedback_from),
            )
            if not given and not (what == "trials per session" and design.programme is None)
        ]
        if lacking:
            yield Hole(
                "drill not described",
                "look",
                f"drills: {drill.name}",
                f"it lacks {', '.join(lacking)}",
                "another coach could not run it",
                "complete the drill",
                _TIDIER,
            )


def progression(design: Design) -> Iterator[Hole]:
    """Look for drills whose order and weeks disagree, and for weeks without practice."""
    if design.programme is None:
        return
    weeks = set(range(1, design.programme.weeks + 1))
    beyond = [drill.name for drill in design.drills if set(drill.weeks) - weeks]
    if beyond:
        yield Hole(
            "drill outside the programme",
            "act",
            "drills.weeks",
            f"weeks after week {design.programme.weeks} are named for {', '.join(beyond)}",
            "those sessions do not exist",
            "mend the weeks",
        )
    empty = [week for week in sorted(weeks) if not design.drills_in(week)]
    if empty and design.drills:
        yield Hole(
            "week without practice",
            "look",
            "drills.weeks",
            f"no drill is planned for week {', '.join(map(str, empty))}",
            "a gap inside the programme can affect every later test",
            "plan the week, or say that it is a rest",
        )
    parts = {drill.part for drill in design.drills}
    if "part" in parts and "whole" not in parts:
        yield Hole(
            "whole skill not practised",
            "look",
            "drills.part",
            "all drills practise parts",
            "nothing shows that the parts come together",
            "add a drill of the whole skill",
        )


def feedback_schedule(design: Design) -> Iterator[Hole]:
    """Look for when feedback is given in practice."""
    silent = [s for s in design.practice if s.feedback_every is None and not _by_drill(s)]
    if silent:
        yield Hole(
            "feedback schedule not stated",
            "look",
            "practice.feedback_every",
            f"in {len(silent)} of {len(design.practice)} sessions nothing says how often feedback "
            "is given",
            "frequent feedback lifts practice and may lower retention; the groups may differ in it",
            "give feedback and feedback_every (0 for none), the same for all groups",
            "Salmoni, Schmidt & Walter 1984, Psychol Bull 95:355-386, "
            "doi:10.1037/0033-2909.95.3.355 (from memory)",
        )


def _by_drill(session: Practice) -> bool:
    return bool(session.parts) and all(part.feedback_every is not None for part in session.parts)


def load(design: Design) -> Iterator[Hole]:
    """Look for limits of load and whether the plan keeps to them."""
    if not design.load.limits:
        yield Hole(
            "no load limit",
            "look",
            "load.limits",
            "no limit of trials is given",
            "nobody checks the load of drills, warm-up and tests together",
            "enter the limit of your own sport body or school, with its source; the toolkit knows "
            "no safe number",
        )
    over = throw_load(design).breaches
    if len(over):
        first = over.iloc[0]
        yield Hole(
            "load above the limit",
            "act",
            "load.limits",
            f"{len(over)} times the plan goes above a limit, first in {first['period']}: "
            f"{first['trials']} trials against {first['limit']} ({first['source']})",
            "the plan breaks a rule you entered",
            "take trials out, or spread them",
        )
    if not design.stopping:
        yield Hole(
            "no stopping rule",
            "look",
            "stopping",
            "nothing says when a session or the study stops",
            "pain, fatigue or loss of control are dealt with differently by each tester",
            "write the rule and what happens then; pain goes to a health professional",
        )


def decisions_beforehand(design: Design) -> Iterator[Hole]:
    """Look for rules that must be fixed before the data are seen."""
    if not design.exclusions:
        yield Hole(
            "no exclusion rules",
            "look",
            "exclusions",
            "nothing says which data will be left out",
            "leaving data out after seeing them can make any result",
            "write the rules now, for example 'trials with a void reason are not scored'",
        )
    if all(test.blinded is None for test in design.tests):
        yield Hole(
            "blinding not stated",
            "look",
            "tests.blinded",
            "nothing says whether testers and raters know the groups",
            "a tester who knows the group can help or judge differently",
            "let somebody test who does not know the groups, or say that it is not possible",
        )
    elif not any(test.blinded for test in design.tests):
        yield Hole(
            "testers know the groups",
            "look",
            "tests.blinded",
            "no test is given by somebody who does not know the groups",
            "help, cheering and judging can differ between the groups without anybody meaning it",
            "let somebody else give at least the primary test, or have it filmed and rated blind; "
            "where that cannot be done, say so in the report",
            "CONSORT 2010, Schulz et al., BMJ 340:c332, doi:10.1136/bmj.c332 (from memory)",
        )
    skill = design.skill
    if not (skill.timing and skill.environment and skill.movement):
        yield Hole(
            "skill not classified",
            "look",
            "skill",
            "timing, environment or movement is left open",
            "readers cannot tell to which skills the result may apply",
            "say discrete, serial or continuous; open or closed; gross or fine",
        )


def ethics(design: Design) -> Iterator[Hole]:
    """Look for approval and for permission of minors."""
    if not design.study.ethics_approval:
        yield Hole(
            "no ethics approval",
            "act",
            "study.ethics_approval",
            "no approval is named",
            "data of persons must not be collected for research without it",
            "enter the committee and number; ask before the first person is enrolled",
        )
    young = design.sample.age_low is not None and design.sample.age_low < _ADULT
    if young and design.sample.minors is None:
        yield Hole(
            "minors",
            "act",
            "sample.minors",
            "people under 18 may take part and nothing says how permission is given",
            "a guardian's permission and the child's own assent are needed",
            "set minors = true and plan both, with the safeguarding officer",
        )


RULES = (
    dose,
    progression,
    feedback_schedule,
    load,
    decisions_beforehand,
    ethics,
)

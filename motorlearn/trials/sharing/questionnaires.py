"""Answers of questionnaires as they are given away: person, time and items of scales alone."""

import pandas as pd

from motorlearn.design import QuestionnairePlan
from motorlearn.digits import count
from motorlearn.trials.study import Study


def shared_answers(study: Study) -> tuple[dict[str, pd.DataFrame], dict[str, str], list[str]]:
    """Tables of answers, the table of each questionnaire, and what is not in them.

    Kept are the person, the time and the answers to items of the plan's scales, where these are
    numbers. Everything else of the file, such as remarks, addresses or items in free text, stays.

    Returns
    -------
    tables : dict of str to DataFrame
        By a name without a meaning, ``questionnaire1``.
    places : dict of str to str
        Name of the table, by the name of the questionnaire in the plan.
    left_out : list of str
        One sentence each.
    """
    tables: dict[str, pd.DataFrame] = {}
    places: dict[str, str] = {}
    left_out: list[str] = []
    for number, plan in enumerate(study.design.questionnaires, start=1):
        table = study.questionnaires.get(plan.name)
        if table is None:
            continue
        kept, told = _kept(table, plan)
        left_out += [f"questionnaire {plan.name!r}: {entry}" for entry in told]
        if kept is not None:
            tables[f"questionnaire{number}"] = kept
            places[plan.name] = f"questionnaire{number}"
    return tables, places, left_out


def _kept(table: pd.DataFrame, plan: QuestionnairePlan) -> tuple[pd.DataFrame | None, list[str]]:
    items = [item for own in plan.scales.values() for item in own]
    answers = [plan.item, plan.response] if plan.item else items
    columns = ["participant", *([plan.time] if plan.time else []), *answers]
    lacking = [name for name in columns if name not in table]
    if lacking:
        return None, [f"not packed, since its file has no column {', '.join(map(repr, lacking))}"]
    there = pd.Series(True, index=table.index)
    told: list[str] = []
    for name, known, what in (
        (plan.item, items, "for items of no scale"),
        (plan.time, plan.times, "at times that the plan does not name"),
    ):
        if name and known:
            mine = table[name].astype("str").isin([str(entry) for entry in known])
            others = int((there & ~mine).sum())
            told += [f"{count(others, 'row')} {what}"] if others else []
            there &= mine
    kept, words = table.loc[there, columns], []
    for name in answers[1:] if plan.item else answers:
        numbers = pd.to_numeric(kept[name], errors="coerce")
        words += [name] if (numbers.isna() & kept[name].notna()).any() else []
        kept = kept.assign(**{name: numbers})
    told += [f"answers that are no numbers ({', '.join(words)})"] if words else []
    strange = [str(name) for name in table if name not in columns]
    told += [f"columns that no scale needs ({', '.join(strange)})"] if strange else []
    return kept.reset_index(drop=True), told

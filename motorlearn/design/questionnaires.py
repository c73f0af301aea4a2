"""Questionnaires of a study: the file, its columns, the scales and how they are scored."""

from typing import Literal, Self

from pydantic import Field, model_validator

from motorlearn.design.base import Name, Section


class QuestionnairePlan(Section):
    """A questionnaire that people answered, once or at several times.

    ``file`` lies in the folder of the study. In long form ``item`` and ``response`` name the
    columns of the item and of the answer; ``item = ""`` says that every item is a column. ``time``
    names the column of the time; ``times`` gives its values in order. Where headings hold the time
    of an answer, ``headings`` says how (``t{time}_{item}``): they are taken apart into the column
    ``time`` and one for each item. A scale whose scores were made elsewhere has itself as its only
    item. ``score`` says whether the answers of a scale are averaged or summed; a sum of fewer
    answers than items is their mean times the number of items.
    """

    name: Name
    file: Name = "questionnaire.csv"
    participant: Name = "participant"
    item: str = "item"
    response: Name = "response"
    time: str = ""
    times: tuple[str | int, ...] = ()
    headings: str = ""
    answers: tuple[float, float]
    scales: dict[str, tuple[Name, ...]] = Field(min_length=1)
    reversed: tuple[str, ...] = ()
    score: Literal["mean", "sum"] = "mean"
    minimum_answered: int | dict[str, int] | None = None
    adjusted: bool = False

    @model_validator(mode="after")
    def _holds_together(self) -> Self:
        low, high = self.answers
        if not low < high:
            raise ValueError(f"{self.name!r}: answers run from a lower to a higher number")
        if self.headings:
            self._headings_are_read()
        items = [item for named in self.scales.values() for item in named]
        twice = sorted({item for item in items if items.count(item) > 1})
        if twice:
            raise ValueError(f"{self.name!r}: item in two scales: {', '.join(twice)}")
        strange = sorted(set(self.reversed) - set(items))
        if strange:
            raise ValueError(f"{self.name!r}: reversed items in no scale: {', '.join(strange)}")
        return self

    def _headings_are_read(self) -> None:
        if any(self.headings.count(part) != 1 for part in ("{time}", "{item}")):
            raise ValueError(
                f"{self.name!r}: headings hold {{time}} and {{item}} once each, as in "
                "'t{time}_{item}'"
            )
        if self.item or not self.time or not self.times:
            raise ValueError(
                f"{self.name!r}: headings that hold the time go with item = '', the name of the "
                "column that they make (time = 'time') and the times in order"
            )

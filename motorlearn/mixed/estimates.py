"""Means and contrasts of a model as a result that can be used like its frame."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from motorlearn.results import Recipe, Result, register_record
from motorlearn.tables import Table, estimates_table

TITLES = {"marginal_means": "Marginal means", "contrasts": "Contrasts of marginal means"}


@register_record
@dataclass(frozen=True)
class Estimates(Result):
    """Estimates that act as their frame: ``means["estimate"]`` and ``means.query(...)`` work.

    Parameters
    ----------
    frame : DataFrame
        One row per estimate.
    scale : str
        What scale the estimates are on, in words.
    note : str
        How typical participants and averages differ, where the model has a curved link.
    recipe : Recipe
        How it was made.
    """

    frame: pd.DataFrame
    scale: str
    note: str
    recipe: Recipe = field(repr=False)

    def __getitem__(self, key: Any) -> Any:
        return self.frame[key]

    def __len__(self) -> int:
        return len(self.frame)

    def __bool__(self) -> bool:
        return True

    def __iter__(self) -> Iterator[Any]:
        return iter(self.frame)

    def __contains__(self, name: object) -> bool:
        return name in self.frame

    def __getattr__(self, name: str) -> Any:
        """Whatever a frame can do."""
        if name.startswith("_") or name == "frame":
            raise AttributeError(name)
        return getattr(self.frame, name)

    def tables(self) -> Sequence[Table]:
        """The estimates with what they are."""
        notes = tuple(note for note in (f"Estimates {self.scale}.", self.note) if note)
        return (
            estimates_table(self.recipe.call, TITLES[self.recipe.call], self.frame, notes=notes),
        )

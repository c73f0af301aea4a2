"""Every writer of the package, with an earlier state to write over and a later one to reach."""

import base64
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

import motorlearn as ml
import motorlearn.files.writing
from motorlearn import files
from motorlearn.analysis import study as analysis
from motorlearn.analysis.beside import Beside
from motorlearn.design import design_from_mapping
from motorlearn.figures import Drawing
from motorlearn.plan import Answers, write_plan, write_sheets
from motorlearn.results import Refused
from motorlearn.teaching import class_data_sets, merge_class, write_class_study
from motorlearn.teaching.aiming import save_sitting
from motorlearn.teaching.aiming.rehearsal import rehearse_class, rehearse_sitting
from motorlearn.trials import Study, share_study, take_in

ROOT = Path(__file__).parents[2]
ANSWERS = Answers(size=4, sessions=1, blocks=1, trials=6, test_trials=6)


@dataclass(frozen=True)
class Writer:
    """A writer: its outputs, and how a version of them is written into a folder.

    ``prepare`` makes what is read and the earlier state; ``write(folder, 2)`` the later one.
    ``again`` says whether it writes over the later state, or refuses because nothing may be lost;
    ``gap`` whether a kill can leave nothing at the place until the next run; ``quick`` whether a
    run takes well below a second.
    """

    units: tuple[str, ...]
    write: Callable[[Path, int], object]
    inputs: Callable[[Path], object] = lambda folder: None
    earlier: bool = True
    again: bool = True
    gap: bool = False
    quick: bool = True

    def prepare(self, folder: Path) -> None:
        self.inputs(folder)
        if self.earlier:
            self.write(folder, 1)


def _file(folder: Path, version: int) -> None:
    files.write_text(folder / "a.txt", str(version) * 100_000)


def _folder(folder: Path, version: int) -> None:
    with files.new_folder(folder / "out", mark="mark.txt") as work:
        for name in "abcd":
            (work / name).write_text(str(version) * 2_000)


def _folder_in_two_steps(folder: Path, version: int) -> None:
    files.writing._exchanged = lambda work, target: False
    _folder(folder, version)


def _plan(folder: Path) -> None:
    write_plan(folder / "study", ANSWERS)


def _new(folder: Path, version: int) -> None:
    notebooks = sorted((ROOT / "notebooks").glob("0[12]_*.ipynb"))
    write_plan(folder / "study", ANSWERS, notebooks=notebooks)


def _sheets(folder: Path, version: int) -> None:
    design = ml.read_design(folder / "study")
    # An earlier draw is kept, so a version differs by its items.
    write_sheets(design, folder / "sheets", seed=1, items=("stance", "release")[:version])


def _data(folder: Path) -> None:
    """Make a study with data."""
    _plan(folder)
    design = ml.read_design(folder / "study")
    study = ml.simulate_study(design, seed=1, missing=False)
    study.trials.table.assign(note="calm").to_csv(folder / "study" / "trials.csv", index=False)
    if study.participants is not None:
        study.participants.to_csv(folder / "study" / "participants.csv", index=False)


def _share(folder: Path, version: int) -> None:
    share_study(folder / "study", folder / "pack", include=["note"] * (version - 1))


def _share_with_key(folder: Path, version: int) -> None:
    key = folder / "safe" / f"key-{version}.csv"
    key.parent.mkdir(exist_ok=True)
    share_study(folder / "study", folder / "pack", key_file=key, seed=version)


def _logs(folder: Path) -> None:
    """Make a study and two foreign files to take in, one after the other."""
    _data(folder)
    table = pd.read_csv(folder / "study" / "trials.csv")
    for version, kept in ((1, 40), (2, len(table))):
        table.head(kept).to_csv(folder / f"log-{version}.csv", index=False, sep=";", decimal=",")


def _import(folder: Path, version: int) -> None:
    take_in(folder / f"log-{version}.csv", folder / "study")


def _sets(folder: Path, version: int) -> None:
    class_data_sets(
        folder / "study", folder / "class", folder / "keys", students=2, class_seed=version
    )


def _sitting(folder: Path, version: int) -> None:
    made = rehearse_sitting(1, class_seed=1, seed=1)
    save_sitting(
        made if version == 2 else type(made)(made.programme, True, 0.0, made.landings[:9]), folder
    )


def _class(folder: Path) -> None:
    (folder / "seats").mkdir()
    rehearse_class(folder / "seats", seats=2, class_seed=1)


def _class_study(folder: Path, version: int) -> None:
    if version == 2:
        rehearse_class(folder / "seats", seats=4, class_seed=1)
    write_class_study(merge_class(folder / "seats", class_seed=1), folder / "out")


def _rows(folder: Path) -> None:
    trial = np.tile(np.arange(1, 21), 40)
    rows = pd.DataFrame({"participant": np.repeat(np.arange(40), 20), "trial": trial})
    rows["error"] = 20 + 12 * np.exp(-0.1 * trial) + np.sin(7.0 * np.arange(800))
    rows.to_parquet(folder / "rows.parquet")


def _fits(folder: Path, version: int) -> None:
    ml.fit_curves(
        folder / "rows.parquet", "error", practice="trial", by="participant",
        forms=("exponential", "power")[:version], into=folder / "fits.parquet",
    )  # fmt: skip


PILOT = {
    "study": {"title": "Ring push: pilot with two people"},
    "groups": [{"name": name, "schedule": name} for name in ("blocked", "random")],
    "tasks": [{"name": "straight"}, {"name": "bank"}],
    "practice": [{"session": 1, "day": 0, "blocks": 3, "trials_per_block": 6}],
    "tests": [
        {"phase": "pretest", "trials": 6},
        {"phase": "retention", "trials": 6, "interval_days": 1},
    ],
    "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    "units": {"length": "cm"},
    "target": {"radius": 20},
}  # fmt: skip


def _study(seed: int, size: int = 4) -> Study:
    sized = [group | {"size": size} for group in PILOT["groups"]]
    return ml.simulate_study(
        design_from_mapping(PILOT | {"groups": sized}), seed=seed, missing=False
    )


PNG = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)


def _without_pictures() -> None:
    """Leave out drawing and side results, which take seconds and touch no disk."""
    Drawing._bytes = lambda self, form, **more: PNG if form == "png" else self.name.encode()
    beside = dict.fromkeys(Beside.__annotations__) | {"mixed": Refused("left out")}
    analysis.beside_of = lambda *arguments: beside
    analysis.judged = lambda *arguments: {"audit": Refused("left out"), "sensitivity": None}


def _report(folder: Path, version: int) -> None:
    _without_pictures()
    ml.write_report(_study(version), folder / "out", quiet=True)


def _reports(folder: Path, version: int) -> None:
    _without_pictures()
    studies = {"north": _study(version, 6), "south": _study(version + 2, 6)}
    ml.write_reports(studies, folder / "out", quiet=True)


IMPORTED = ("study.toml", "log-2.csv", "import_changes.csv", "import_problems.html")

WRITERS = {
    "file": Writer(("a.txt",), _file),
    "folder": Writer(("out",), _folder),
    "folder in two steps": Writer(("out",), _folder_in_two_steps, gap=True),
    "new study": Writer(
        ("study/study.toml", "study/notebooks/01_plan.ipynb"), _new, earlier=False, again=False,
    ),
    "sheets": Writer(("sheets",), _sheets, _plan),
    "share": Writer(("pack",), _share, _data),
    "share with key": Writer(("pack", "safe/key-2.csv"), _share_with_key, _data, again=False),
    "import": Writer(tuple(f"study/{name}" for name in IMPORTED), _import, _logs),
    "class data sets": Writer(("class", "keys"), _sets, _plan),
    "sitting": Writer(("class-experiment-S001.csv",), _sitting),
    "class study": Writer(("out",), _class_study, _class),
    "curve fits": Writer(("fits.parquet",), _fits, _rows),
    "report": Writer(("out",), _report, quick=False),
    "several reports": Writer(("out",), _reports, quick=False),
}  # fmt: skip

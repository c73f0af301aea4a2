"""Make the files of the ring-push study again, byte for byte: python make.py [FOLDER].

The seed is the one in study.toml. It was fixed before any test statistic of these data was seen.
"""

import hashlib
import json
import shutil
import sys
from pathlib import Path

import motorlearn as ml
from motorlearn.files import write_bytes, write_text
from motorlearn.trials.sharing.data_package import data_package, table_bytes

HERE = Path(__file__).parent
MADE = "2026-11-25T09:00:00Z"
MEANINGS = {
    "void": "reason why the trial does not count; empty where it does",
    "date": "date of the trial, ISO 8601, invented",
    "age": "age at enrolment",
    "experience": "regular experience with target sports, yes or no: the stratum of the allocation",
    "handedness": "hand that leads the paddle",
    "task_order": "order in which blocked and serial practice took the tasks",
    "test_order": "which half of the retention test came first",
    "status": "what became of the participant",
    "clip": "number of the video clip, shuffled, without meaning",
    "position": "place of the clip in this rater's work",
    "item": "item of the technique checklist",
    "rater": "rater A rated every clip, rater B a fifth of them",
    "score": "0 absent, 1 partly, 2 fully shown",
}
CARD = """# Data card: ring push

**Origin: invented.** A computer made these data. No person, place or event in them is real, and
no number in them is an estimate of anything. They exist so that every step of the toolkit can be
tried.

Adults push a soft rubber ring along a smooth floor with a long padded paddle, to come to rest on a
disc of 20 cm radius, 4 m away. Three tasks: straight, bank (off a board at the side), lob (over a
low bar). {people} adults in three groups practise 216 pushes on two days in blocked, serial or
random order. Tests without feedback: before practice, 10 minutes after it, and 7 days later
(retention, and transfer from 5 m). Of {scheduled} scheduled rows {present} are present.

| what | value |
| --- | --- |
| script | `make.py` in this folder (calls `motorlearn.simulate_study`) |
| seed | {seed}, fixed before any test statistic of these data was seen |
| preset | `laboratory`: random practice is worse in practice and better in the delayed tests |
| licence | CC0-1.0 |
| descriptor | `datapackage.json` (Data Package, version 2), with types, units and checksums |

## What is missing, and why

| status | people |
| --- | --- |
{status}

{void} trials are void: they keep their row, their outcome is empty and `void` gives the reason. One
person did the first session in the order of another group. A few delayed tests fell two days late.
Rater B skipped some clips. One third of those who missed the delayed tests were drawn from the
poorer performers, so complete cases look a little better than everybody would have.

## Codebook

{codebook}

## Checksums (SHA-256)

{sums}
"""


def main(folder: Path) -> None:
    """Write every file of the study into a folder."""
    plan = HERE / "study.toml"
    if folder.resolve() != HERE.resolve():
        shutil.copyfile(plan, folder / "study.toml")
    design = ml.read_design(plan)
    study = ml.simulate_study(design, seed=design.study.seed)
    frames = {
        "trials": study.trials.table,
        "participants": study.participants,
        "ratings": study.ratings,
    }
    for name, frame in frames.items():
        write_bytes(folder / f"{name}.csv", table_bytes(frame))
    package = data_package(
        frames,
        name="ring-push",
        title=design.study.title,
        description="Invented data of a practice-schedule study; no real persons.",
        units={**study.trials.units, "age": "years"},
        meanings=MEANINGS,
        licence="CC0-1.0",
        created=MADE,
        folder=folder,
    )
    write_text(
        folder / "datapackage.json", json.dumps(package, indent=1, ensure_ascii=False) + "\n"
    )
    write_text(folder / "README.md", card(design, study, package, folder))


def card(design, study, package, folder: Path) -> str:
    """Write the data card."""
    people = sum(group.size for group in design.groups)
    per_person = sum(test.trials for test in design.tests) + sum(
        entry.blocks * entry.trials_per_block for entry in design.practice
    )
    table = study.trials.table
    status = study.participants["status"].value_counts().sort_index()
    files = ["study.toml", *(resource["path"] for resource in package["resources"])]
    return CARD.format(
        people=people,
        scheduled=f"{people * per_person:,}",
        present=f"{len(table):,}",
        seed=design.study.seed,
        status="\n".join(f"| {name} | {count} |" for name, count in status.items()),
        void=int(table["void"].notna().sum()),
        codebook="\n\n".join(codebook(resource) for resource in package["resources"]),
        sums="\n".join(f"- `{name}` {checksum(folder / name)}" for name in files),
    )


def codebook(resource: dict) -> str:
    """Write the columns of one file."""
    lines = [
        f"**{resource['path']}**",
        "",
        "| column | meaning | type | unit |",
        "| --- | --- | --- | --- |",
    ]
    for field in resource["schema"]["fields"]:
        unit = field.get("unit", "")
        lines.append(
            f"| {field['name']} | {field.get('description', '')} | {field['type']} | {unit} |"
        )
    return "\n".join(lines)


def checksum(file: Path) -> str:
    """Give the SHA-256 sum of a file."""
    return hashlib.sha256(file.read_bytes()).hexdigest()


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)

"""What a user installs: the shipped study is found, and is inside the wheel with all it needs."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import motorlearn as ml
from motorlearn.trials import folder

ROOT = Path(__file__).parents[1]
STUDY = ("study.toml", "trials.csv", "participants.csv", "ratings.csv", "README.md")


def test_the_shipped_study_is_found_and_reads_without_errors():
    place = ml.trials.shipped_study()
    assert all((place / name).is_file() for name in STUDY)
    assert not (ml.read_study(place).problems["severity"] == "error").any()


def test_the_study_inside_an_installed_package_is_preferred(tmp_path, monkeypatch):
    package = tmp_path / "motorlearn"
    for root in (package / "shipped", tmp_path):
        (root / "data" / "ring-push").mkdir(parents=True)
        (root / "data" / "ring-push" / "study.toml").touch()
    monkeypatch.setattr(folder, "_PACKAGE", package)
    assert folder.shipped_study() == package / "shipped" / "data" / "ring-push"


def test_a_copy_without_the_study_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(folder, "_PACKAGE", tmp_path / "motorlearn")
    with pytest.raises(ml.exceptions.FileError, match="did not come with this copy"):
        folder.shipped_study()


def pip(*arguments: str) -> None:
    subprocess.run([sys.executable, "-m", "pip", *arguments], check=True, capture_output=True)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """Build the wheel as an installer would."""
    place = tmp_path_factory.mktemp("wheel")
    pip("wheel", "--quiet", "--no-deps", "--wheel-dir", str(place), str(ROOT))
    return next(place.glob("*.whl"))


@pytest.mark.slow
def test_the_wheel_holds_everything_but_python_that_the_package_reads(wheel):
    inside = set(zipfile.ZipFile(wheel).namelist())
    wanted = {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / "motorlearn").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    wanted |= {f"motorlearn/shipped/data/ring-push/{name}" for name in STUDY}
    wanted |= {
        f"motorlearn/shipped/notebooks/{path.name}" for path in (ROOT / "notebooks").glob("*.ipynb")
    }
    assert "motorlearn/py.typed" in wanted
    assert sorted(wanted - inside) == []


@pytest.mark.slow
def test_an_unpacked_wheel_reports_its_own_study(wheel, tmp_path):
    zipfile.ZipFile(wheel).extractall(tmp_path / "installed")
    script = (
        "import sys, motorlearn as ml; from motorlearn.commands import main; "
        "place = ml.trials.shipped_study(); print(place); "
        "sys.argv = ['motorlearn', 'report', str(place), '--out', 'report']; main()"
    )
    told = subprocess.run(
        [sys.executable, "-c", script],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(tmp_path / "installed")},
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    inside = tmp_path / "installed" / "motorlearn" / "shipped" / "data" / "ring-push"
    assert told.splitlines()[0] == str(inside)
    assert (tmp_path / "report" / "report.html").stat().st_size > 100_000

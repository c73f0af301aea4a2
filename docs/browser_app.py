"""Build the notebooks as an application that runs in the browser.

    python docs/browser_app.py APP --distribution FOLDER [--wheels FOLDER]

``--distribution`` names an unpacked distribution of Pyodide (its interpreter, its lock file and
whatever wheels lie beside it); ``--wheels`` a folder of more wheels (pip download). JupyterLite
(``jupyterlite-core`` and ``jupyterlite-pyodide-kernel``) must be installed. What of motorlearn's
dependencies the application holds, and what it lacks, is printed and kept in ``packages.csv``.
"""

import argparse
import csv
import hashlib
import json
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
import zipfile
from email.parser import Parser
from pathlib import Path

ROOT = Path(__file__).parents[1]
LOCK = "pyodide-lock.json"
INTERPRETER = ("pyodide.mjs", "pyodide.asm.mjs", "pyodide.asm.wasm", "python_stdlib.zip")
KERNEL = "@jupyterlite/pyodide-kernel-extension:kernel"
SETTINGS = {
    "jupyter-lite-schema-version": 0,
    "jupyter-config-data": {
        "appName": "motorlearn in the browser",
        "litePluginSettings": {KERNEL: {"disablePyPIFallback": True}},
    },
}


def normal(name: str) -> str:
    """Name of a package as locks and indexes compare it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def checksum(file: Path) -> str:
    """SHA-256 of a file; a wheel that is not the one its lock names is left out."""
    return hashlib.sha256(file.read_bytes()).hexdigest()


def entry_of(wheel: Path) -> dict[str, object]:
    """What the lock says of a wheel: version, checksum, imports, and what it needs."""
    with zipfile.ZipFile(wheel) as packed:
        names = packed.namelist()
        told = next(name for name in names if name.endswith(".dist-info/METADATA"))
        head = Parser().parsestr(packed.read(told).decode("utf-8"))
    needed = [text for text in head.get_all("Requires-Dist") or () if "extra ==" not in text]
    tops = {name.split("/")[0].removesuffix(".py") for name in names if ".dist-info" not in name}
    return {
        "name": head["Name"],
        "version": head["Version"],
        "file_name": wheel.name,
        "install_dir": "site",
        "sha256": checksum(wheel),
        "package_type": "package",
        "imports": sorted(top for top in tops if top.isidentifier()),
        "depends": [normal(re.split(r"[^\w.-]", text)[0]) for text in needed],
        "unvendored_tests": False,
    }


def assemble(place: Path, distribution: Path, wheels: list[Path]) -> dict[str, dict[str, object]]:
    """Put interpreter, wheels and a lock of what is really there into a folder."""
    place.mkdir(parents=True)
    for name in INTERPRETER:
        shutil.copyfile(distribution / name, place / name)
    lock = json.loads((distribution / LOCK).read_text(encoding="utf-8"))
    held: dict[str, dict[str, object]] = {}
    for name, entry in lock["packages"].items():
        wheel = distribution / entry["file_name"]
        if wheel.is_file() and checksum(wheel) == entry["sha256"]:
            shutil.copyfile(wheel, place / wheel.name)
            held[normal(name)] = entry
    for wheel in wheels:
        entry = entry_of(wheel)
        shutil.copyfile(wheel, place / wheel.name)
        held[normal(str(entry["name"]))] = entry
    for entry in held.values():
        entry["depends"] = [name for name in map(normal, entry["depends"]) if name in held]
    lock["packages"] = held
    (place / LOCK).write_text(json.dumps(lock), encoding="utf-8")
    return held


def wanted() -> dict[str, str]:
    """Run-time dependencies of motorlearn and the lowest version of each."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return dict(text.split(">=") for text in project["dependencies"])


def parts(version: str) -> list[int]:
    """Numbers of a version."""
    return [int(number) for number in re.findall(r"\d+", version)]


def tell(held: dict[str, dict[str, object]], file: Path) -> list[str]:
    """Write which dependencies are held, too old or missing; give those that are not held."""
    rows, absent = [], []
    for name, floor in wanted().items():
        version = str(held.get(normal(name), {}).get("version", ""))
        enough = bool(version) and parts(version) >= parts(floor)
        state = "held" if enough else "too old" if version else "missing"
        rows.append({"package": name, "lowest": floor, "held": version, "state": state})
        absent += [] if enough else [f"{name} {version}".strip()]
    with file.open("w", newline="", encoding="utf-8") as opened:
        writer = csv.DictWriter(opened, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return absent


def main() -> None:
    """Build the application."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("app", type=Path)
    asked.add_argument("--distribution", type=Path, required=True)
    asked.add_argument("--wheels", type=Path)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as place:
        lite, own = Path(place) / "lite", Path(place) / "own"
        pip = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps"]
        subprocess.run([*pip, "--wheel-dir", str(own), str(ROOT)], check=True)
        wheels = [*own.glob("*.whl"), *(given.wheels.glob("*.whl") if given.wheels else ())]
        held = assemble(lite / "static" / "pyodide", given.distribution, wheels)
        shutil.copytree(ROOT / "notebooks", lite / "files" / "notebooks")
        shutil.copytree(ROOT / "data", lite / "files" / "data")
        (lite / "jupyter-lite.json").write_text(json.dumps(SETTINGS), encoding="utf-8")
        command = [sys.executable, "-m", "jupyterlite_core", "build", "--lite-dir", str(lite)]
        options = ["--contents", str(lite / "files"), "--output-dir", str(given.app.resolve())]
        subprocess.run([*command, *options, "--no-sourcemaps"], check=True, cwd=lite)
    absent = tell(held, given.app / "packages.csv")
    sys.stdout.write(f"Application written: {given.app}, {len(held)} packages in it.\n")
    if absent:
        sys.stdout.write(f"Not in it; what stands on them does not run: {', '.join(absent)}.\n")


if __name__ == "__main__":
    main()

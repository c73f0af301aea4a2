"""Change the library place by place, and see which default test notices.

    python tests/benchmarks/changed_places.py FOLDER [ROOM ...]

``changed_places.csv`` keeps the changes that were drawn: a comparison at its edge, a sign, a number
one further, a condition turned round, who is left out, a word of a message. They are found again
by what they say (file, function, kind, text, which of those alike); where the place is gone
another is drawn, half of each room in proportion to what it holds and half evenly over the kinds.
One process holds the libraries; every change is a fork of it, whose functions get the changed code.

Each test file runs once, and it is noted which test reaches which place (``sys.monitoring``: Python
3.12 or later; FOLDER keeps what was seen). Those tests then run with the change, the quickest
first, until one fails: ``killed_by``. What its own room does not notice meets all other tests. What
nothing notices gets a test, or a reason in ``note`` why no result can differ; to run a row
again, empty its ``killed_by``.
"""

import csv
import gc
import importlib
import json
import os
import random
import re
import resource
import shutil
import sys
import time
import types
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path

import pytest
from places import Place, places

ROOT = Path(__file__).parents[2]
KEPT = Path(__file__).with_suffix(".csv")
SEED = 26
PAGES = [
    "report/learners", "report/supervisor.py", "report/study_page.py", "report/kept_page.py",
    "report/prints.py", "report/registration.py", "report/writers/sheet.py",
    "report/writers/sheet_pdf.py", "plan/sheets", "teaching/site", "teaching/classroom",
]  # fmt: skip
# How many changes each room gets, where it lies, and where its tests do.
ROOMS = {
    "measures": (20, ["measures"], ["measures"]),
    "linear": (12, ["linear"], ["linear"]),
    "curves": (26, ["curves"], ["curves"]),
    "mixed": (30, ["mixed"], ["mixed"]),
    "compare": (16, ["compare"], ["compare"]),
    "wording": (28, ["wording"], ["wording", "report"]),
    "analysis": (30, ["analysis"], ["analysis", "report"]),
    "pages": (34, PAGES, ["report", "teaching", "plan/*sheet*"]),
    "report": (24, ["report"], ["report"]),
}
HEAVY = ("hypothesis.strategies", "statsmodels.api", "statsmodels.formula.api")
OPTIONS = [
    "-q", "-x", "--tb=line", "-p", "no:cacheprovider",
    "-o", "addopts=--import-mode=importlib --doctest-modules -m 'not slow and not browser'",
]  # fmt: skip
# Started as programs of their own, these reach the library in other processes.
ALONE = {"test_wheel", "test_floors"}
SAME = "no result differs: "
SHARED = re.compile("scope=|cache")
FREE, SURVIVED = 60, (0, 5)


@dataclass(frozen=True)
class Change:
    """One place that is changed, and what noticed it."""

    room: str
    file: str
    where: str
    kind: str
    before: str
    after: str
    nth: int
    killed_by: str = ""
    note: str = ""

    @property
    def settled(self) -> bool:
        """Whether a test notices it, or none can."""
        return bool(self.killed_by) or self.note.startswith(SAME)

    @property
    def key(self) -> tuple[str, ...]:
        """What it says, by which it is found again."""
        return (self.file, self.where, self.kind, self.before, self.after, str(self.nth))


def offered(room: str) -> dict[Change, Place]:
    """Every change that could be drawn in a room."""
    taken = [ROOT / "motorlearn" / part for part in ROOMS[room][1]]
    pages = [] if room == "pages" else [ROOT / "motorlearn" / part for part in PAGES]
    found: dict[Change, Place] = {}
    for path in sorted(
        p for part in taken for p in ([part] if part.suffix else part.rglob("*.py"))
    ):
        if any(path.is_relative_to(part) for part in pages):
            continue
        alike: Counter[tuple[str, ...]] = Counter()
        for place in places(path):
            said = (place.where, place.kind, place.before, place.after)
            found[Change(room, str(path.relative_to(ROOT)), *said, alike[said])] = place
            alike[said] += 1
    return found


def drawn() -> dict[Change, Place]:
    """The changes that are kept and still there, and new ones for those that are not."""
    kept = []
    if KEPT.exists():
        with KEPT.open(newline="", encoding="utf-8") as handle:
            kept = [Change(**{**row, "nth": int(row["nth"])}) for row in csv.DictReader(handle)]
    chosen: dict[Change, Place] = {}
    for room, (wanted, _, _) in ROOMS.items():
        pool = {change.key: (change, place) for change, place in offered(room).items()}
        own = {c: pool[c.key][1] for c in kept if c.room == room and c.key in pool}
        kinds: dict[str, list[Change]] = {}
        for change, _ in pool.values():
            kinds.setdefault(change.kind, []).append(change)
        rng, everything = random.Random(f"{SEED} {room} {len(own)}"), [c for c, _ in pool.values()]
        lines = {(change.file, place.line) for change, place in own.items()}
        while len(own) < min(wanted, len(everything)):
            change = rng.choice(kinds[rng.choice(sorted(kinds))] if len(own) % 2 else everything)
            place = pool[change.key][1]
            if (change.file, place.line) not in lines and compiles(change, place):
                own[change] = place
                lines.add((change.file, place.line))
        chosen |= own
    return chosen


def changed(change: Change, place: Place) -> bytes:
    """The file with the change."""
    raw = (ROOT / change.file).read_bytes()
    return raw[: place.start] + change.after.encode() + raw[place.end :]


def compiles(change: Change, place: Place) -> bool:
    """Whether the changed file is Python at all."""
    try:
        compile(changed(change, place), change.file, "exec")
    except SyntaxError:
        return False
    return True


def write(rows: list[Change]) -> None:
    """Keep the changes with what noticed them."""
    with KEPT.open("w", newline="", encoding="utf-8") as handle:
        writer = csv.DictWriter(handle, [f.name for f in fields(Change)], lineterminator="\n")
        writer.writeheader()
        writer.writerows(asdict(row) for row in rows)


def loaded() -> list[types.FunctionType]:
    """Every function of the library, all of it imported, with what tests load beside it."""
    for name in HEAVY:
        importlib.import_module(name)
    for path in sorted((ROOT / "motorlearn").rglob("*.py")):
        if path.stem != "__main__":
            name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
            importlib.import_module(name.removesuffix(".__init__"))
    home = str(ROOT / "motorlearn")
    functions = [f for f in gc.get_objects() if type(f) is types.FunctionType]
    gc.collect()
    gc.freeze()
    return [f for f in functions if f.__code__.co_filename.startswith(home)]


def inside(code: types.CodeType) -> Iterator[types.CodeType]:
    """A piece of code and those that lie in it."""
    yield code
    for part in code.co_consts:
        if isinstance(part, types.CodeType):
            yield from inside(part)


class Watch:
    """Notes which test reaches which place."""

    def __init__(self, functions: list[types.FunctionType], chosen: dict[Change, Place]) -> None:
        self.ids: dict[tuple[str, int], list[int]] = {}
        self.now: set[int] = set()
        self.seen: dict[str, list] = {}
        self.failed: list[str] = []
        for number, (change, place) in enumerate(chosen.items()):
            for line in range(place.line, place.last + 1):
                self.ids.setdefault((str(ROOT / change.file), line), []).append(number)
        files = {file for file, _ in self.ids}
        sys.monitoring.use_tool_id(3, "changes")
        sys.monitoring.register_callback(3, sys.monitoring.events.LINE, self.line)
        for function in functions:
            if function.__code__.co_filename in files:
                for code in inside(function.__code__):
                    sys.monitoring.set_local_events(3, code, sys.monitoring.events.LINE)

    def line(self, code: types.CodeType, number: int) -> object:
        """A line that is reached for the first time in a test."""
        self.now.update(self.ids.get((code.co_filename, number), ()))
        return sys.monitoring.DISABLE

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """One test with its fixtures."""
        self.now = set()
        sys.monitoring.restart_events()
        begun = time.process_time()
        done = yield
        self.seen[item.nodeid] = [round(time.process_time() - begun, 3), sorted(self.now)]
        return done

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """A test that fails without a change can notice none."""
        if report.failed:
            self.failed.append(report.nodeid)


def forked(work: Callable[[], int], folder: Path, seconds: int) -> tuple[int, str]:
    """What a fork ended with and printed; a signal counts as an end."""
    out = folder / "out.txt"
    child = os.fork()
    if child == 0:
        try:
            resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
            handle = os.open(out, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(handle, 1), os.dup2(handle, 2)
            os._exit(int(work()))
        finally:
            os._exit(99)
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    shutil.rmtree(folder / "tmp", ignore_errors=True)
    return code, out.read_text(encoding="utf-8", errors="replace")


class Reach:
    """Which tests reach which change, as FOLDER remembers it."""

    def __init__(self, folder: Path, chosen: dict[Change, Place]) -> None:
        self.folder, self.chosen, self.functions = folder, chosen, loaded()
        self.kept, self.keys = folder / "reach.json", [list(change.key) for change in chosen]
        told = json.loads(self.kept.read_text()) if self.kept.exists() else {}
        self.seen: dict[str, dict] = told["seen"] if told.get("changes") == self.keys else {}

    def options(self) -> list[str]:
        """Options of pytest, without the tests that fail as it is."""
        failing = [
            n for tests in self.seen.values() for n, (_, ids) in tests.items() if ids is None
        ]
        left_out = [option for node in failing for option in ("--deselect", node)]
        return [*OPTIONS, f"--basetemp={self.folder / 'tmp'}", *left_out]

    def look(self, files: list[str]) -> None:
        """Run tests once, in one fork, and note what they reach."""
        new = [file for file in files if file not in self.seen]
        if not new:
            return
        told = self.folder / "seen.json"
        told.unlink(missing_ok=True)

        def work() -> int:
            watch = Watch(self.functions, self.chosen)
            # No check of ours: what passes is watched, and what fails is noted by the watch.
            pytest.main([*self.options(), "--maxfail=99", *new], [watch])
            told.write_text(json.dumps(watch.seen | {node: [0, None] for node in watch.failed}))
            return 0

        forked(work, self.folder, 1800)
        tests = json.loads(told.read_text()) if told.exists() else {}
        for file in new:
            self.seen[file] = {n: seen for n, seen in tests.items() if n.split("::")[0] == file}
        self.kept.write_text(json.dumps({"changes": self.keys, "seen": self.seen}))
        failed = [node for node, (_, ids) in tests.items() if ids is None]
        print(new[0], len(new), f"{sum(s for s, _ in tests.values()):.1f} s", *failed, flush=True)

    def killer(self, number: int, change: Change, files: list[str]) -> str:
        """Which test of some files notices a change: its name, or nothing."""
        reach = {
            node: seconds
            for file in files
            for node, (seconds, ids) in self.seen[file].items()
            if ids and number in ids
        }
        if not reach:
            return ""
        path, place = str(ROOT / change.file), self.chosen[change]
        codes = inside(compile(changed(change, place), path, "exec"))
        new = {(code.co_qualname, code.co_firstlineno): code for code in codes}
        # What one test reaches and a fixture or a cache keeps, others of its file may look at.
        shared = [file for file in files if SHARED.search(read(file))]
        asked = [*sorted(reach, key=reach.__getitem__), *shared]
        shared_seconds = sum(s for file in shared for s, _ in self.seen[file].values())

        def work() -> int:
            for function in self.functions:
                code = function.__code__
                if code.co_filename == path:
                    function.__code__ = new.get((code.co_qualname, code.co_firstlineno), code)
            return int(pytest.main([*self.options(), *asked]))

        limit = FREE + int(4 * (sum(reach.values()) + shared_seconds))
        code, text = forked(work, self.folder, limit)
        hit = re.findall(r"^(?:FAILED|ERROR) (.+?)(?: - .*)?$", text, re.M)
        return "" if code in SURVIVED else hit[0] if hit else f"{asked[0]} (ended with {code})"


def named(path: Path) -> str:
    """A file of the repository as tests are named."""
    return str(path.relative_to(ROOT))


def read(file: str) -> str:
    """Text of a file of the repository."""
    return (ROOT / file).read_text(encoding="utf-8")


def tests_of(pattern: str) -> list[list[str]]:
    """Test files of a folder, short ones first; the docstrings of a room come together."""
    tests = [
        *(ROOT / "tests").glob(f"{pattern}/test_*.py"),
        *(ROOT / "tests").glob(f"{pattern}.py"),
    ]
    files = [path for path in tests if path.stem not in ALONE]
    modules = sorted(map(named, (ROOT / "motorlearn").glob(f"{pattern}/**/*.py")))
    examples = [file for file in modules if pattern != "." and ">>> " in read(file)]
    return [examples, *([named(path)] for path in sorted(files, key=lambda p: p.stat().st_size))]


def run(rooms: list[str], folder: Path) -> None:
    """Try the changes of each room with its own tests, then what is left with all others."""
    chosen = drawn()
    rows = list(chosen)
    write(rows)
    reach = Reach(folder, chosen)
    for asked, patterns in [*(([room], ROOMS[room][2]) for room in rooms), (rooms, ["*", "."])]:
        for files in (files for pattern in patterns for files in tests_of(pattern)):
            left = [n for n, r in enumerate(rows) if r.room in asked and not r.settled]
            if not left:
                break
            reach.look(files)
            for number in left:
                change = rows[number]
                by = reach.killer(number, list(chosen)[number], files)
                if by:
                    rows[number] = replace(change, killed_by=by)
                    print(number, change.file, change.kind, by, flush=True)
                    write(rows)
        print(*asked, "left:", [n for n, r in enumerate(rows) if r.room in asked and not r.settled])


if __name__ == "__main__":
    os.chdir(ROOT)
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    sys.path.insert(0, str(ROOT))
    home = Path(sys.argv[1]).resolve()
    home.mkdir(parents=True, exist_ok=True)
    run(sys.argv[2:] or list(ROOMS), home)

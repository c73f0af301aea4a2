"""Change sound files where their structure is, and read each change in a process of its own.

    python tests/robustness/mutants.py COUNT SEED FOLDER [FIRST]

Cells, lines, elements, attributes, parts of an archive, keys of a plan and fields of a result are
taken out, doubled, moved, nested and filled with what readers stumble over; some bytes besides.
Each case gets ten seconds of processor time and one gibibyte more than the reader needs to start.
One that only waited is tried again alone. Prints one line of JSON: how many were read, refused and
tried again, what went wrong, the most memory it took beside the libraries.
"""

import gzip
import io
import json
import os
import random
import re
import resource
import signal
import sys
import time
import traceback
import zipfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import tomlkit

import motorlearn as ml
from motorlearn.compare import PhaseComparison
from motorlearn.exceptions import MotorlearnError
from motorlearn.plan import Answers, plan_text
from motorlearn.report import audit_study, read_page
from motorlearn.teaching import merge_class
from motorlearn.teaching.aiming import save_sitting
from motorlearn.teaching.aiming.rehearsal import rehearse_sitting
from motorlearn.trials import propose_recipe
from motorlearn.trials.importing.recipe_text import write_recipe

HERE = Path(__file__).parent
Job = tuple[Callable[[Path], object], Path]
SECONDS, MEMORY, MOST_MEMORY = 10, 1 << 30, 400  # seconds, bytes, MiB beside the libraries'
LARGEST, BATCH = 4 << 20, 30
WAITED = f"stopped by signal {int(signal.SIGALRM)}"
MOST_GROWN = 8 << 20  # letters
HEADINGS = ["participant", "phase", "trial", "x", "date", "note"]
WORDS = [
    "", " ", "0", "-1", "1e999", "1e20", "nan", "inf", "9007199254740993", "9" * 400, "1,234",
    "1.234,5", "12/20", "60 %", "=1+1", " ＝1", "\ufeff", "\x00", "\x1b[31m", "\u202e", "\ud800",
    "a" * 30_000, "(" * 2000, " " * 5000 + "(", '"', "'", "a\nb", "a\r\nb", "2026-02-31",
    "03/04/26", "45000",
    "1:2:3", "TRUE", "#DIV/0!", "participant", "Mean", "p1", "P01", "pretest", "é", "\x85",
    "A1", "XFD1048576", "ZZZZ99999999", "A1:XFD1048576", "$A$1:$B$2", "-5", "4294967296",
    "number-rows-repeated", "../../etc/passwd", "xl/worksheets/sheet1.xml", "file:///etc/passwd",
]  # fmt: skip
NUMBERS = [0, -1, 1, 2**31, 2**53 + 1, -(2**63), 10**30, 1e308, float("inf"), float("nan"), 0.5]
SNIPPETS = [
    "<!DOCTYPE a [<!ENTITY b 'c'>]>", "<c r='A1' t='s'><v>99</v></c>", "<row r='9'><c/></row>",
    '<mergeCell ref="A1:B2"/>', "<mergeCells>", "<f>A1</f>", "<![CDATA[x]]>", "<!-- -->", "&#0;",
    "<table:table-row table:number-rows-repeated='9999'><table:table-cell/></table:table-row>",
    "<table:table-cell table:number-columns-repeated='9999'/>", "</sheetData>", "<is><t>x</t></is>",
]  # fmt: skip


def rows(count: int) -> list[list[Any]]:
    return [
        [f"p{i}", "pretest", 1, 1.5 * i, f"2026-03-{i:02d}", "calm"] for i in range(1, count + 1)
    ]


def sound(folder: Path) -> dict[str, bytes]:
    """A sound file of every kind."""
    table = pd.DataFrame(rows(12), columns=HEADINGS)
    text = table.to_csv(index=False)
    book = openpyxl.Workbook()
    for row in [HEADINGS, *rows(6)]:
        book.active.append(row)
    book.active["D3"] = "=D2*2"
    book.active.merge_cells("B4:B6")
    book.active.column_dimensions["C"].hidden = True
    book.create_sheet("Other").append(["a"])
    book.save(folder / "seed.xlsx")
    table.to_parquet(folder / "seed.parquet")
    plan = plan_text(Answers(size=4, sessions=1, blocks=1, trials=6, test_trials=6))
    (folder / "study.toml").write_text(plan)
    study = ml.simulate_study(ml.read_design(folder / "study.toml"), seed=1, missing=False)
    compared = ml.compare_phases(study.trials.table, "radial_error", group="group")
    made = rehearse_sitting(1, class_seed=1, seed=1)
    sitting = save_sitting(made, folder)
    return {
        "csv": text.encode(),
        "utf16.csv": text.replace(",", ";").encode("utf-16"),
        "csv.gz": gzip.compress(text.encode()),
        "xlsx": (folder / "seed.xlsx").read_bytes(),
        "ods": (HERE / "files" / "seed.ods").read_bytes(),
        "xls": (HERE / "files" / "seed.xls").read_bytes(),
        "parquet": (folder / "seed.parquet").read_bytes(),
        "toml": plan.encode(),
        "page.json": audit_study(study).to_json().encode(),
        "result.json": compared.to_json().encode(),
        "class.csv": sitting.read_bytes(),
    }


def readers(folder: Path) -> dict[str, Callable[[Path], object]]:
    """What reads each kind of file."""

    def table(path: Path) -> None:
        ml.read_trials(path)
        propose_recipe(path)

    def plan(path: Path) -> None:
        ml.audit_design(ml.read_design(path))
        write_recipe(path, RECIPE)
        ml.plan.throw_load(ml.read_design(path))

    def seats(path: Path) -> None:
        place = folder / "seats"
        place.mkdir(exist_ok=True)
        (place / "class-experiment-S001.csv").write_bytes(path.read_bytes())
        merge_class(place, class_seed=1)

    def result(path: Path) -> None:
        PhaseComparison.from_json(path.read_text("utf-8", "replace"))

    own = {"toml": plan, "page.json": read_page, "result.json": result, "class.csv": seats}
    return {kind: own.get(kind, table) for kind in sound_kinds}


RECIPE = ml.design.ImportRecipe(file="week.csv", columns={"ID": "participant"})
sound_kinds = (
    "csv", "utf16.csv", "csv.gz", "xlsx", "ods", "xls", "parquet", "toml", "page.json",
    "result.json", "class.csv",
)  # fmt: skip


def bytes_changed(content: bytes, luck: random.Random) -> bytes:
    """Change some bytes: the last resort, for what has no structure we know."""
    data = bytearray(content)
    for _ in range(luck.randint(1, 4)):
        at = luck.randrange(len(data) + 1)
        match luck.randrange(6):
            case 0:
                data[at : at + 1] = bytes([luck.randrange(256)])
            case 1:
                del data[at : at + luck.randint(1, 60)]
            case 2:
                data[at:at] = luck.choice(WORDS).encode("utf-8", "surrogatepass")[:50]
            case 3:
                data[at:at] = data[at : at + luck.randint(1, 300)] * luck.choice([1, 2, 50])
            case 4:
                width = luck.choice([1, 2, 4, 8])
                edge = luck.choice([0, 1, 255, 2**15, 2**16 - 1, 2**31 - 1, 2**32 - 1, 2**63])
                data[at : at + width] = (edge % 2 ** (8 * width)).to_bytes(width, "little")
            case 5:
                del data[at:]
    return bytes(data)


def cells_changed(content: bytes, luck: random.Random, encoding: str = "utf-8") -> bytes:
    """Change cells, lines and columns of a text table, its separators or its encoding."""
    text = content.decode(encoding)
    mark = ";" if ";" in text else ","
    table = [line.split(mark) for line in text.splitlines()]
    for _ in range(luck.randint(1, 5)):
        line = luck.randrange(len(table))
        match luck.randrange(8):
            case 0 | 1 | 2:
                place = luck.randrange(len(table[line]) or 1)
                table[line][place : place + 1] = [luck.choice(WORDS)]
            case 3:
                most = MOST_GROWN // (1 + sum(map(len, table[line])))
                table[line] *= min(luck.choice([0, 2, 3, 400]), most)
            case 4:
                table[line:line] = [table[line]] * luck.choice([1, 2, 3000])
            case 5:
                column = luck.randrange(len(table[0]) or 1)
                table = [row[:column] + row[column + 1 :] for row in table]
            case 6:
                column, word = luck.randrange(len(table[0]) or 1), luck.choice(WORDS)
                table = [[*row[:column], word, *row[column + 1 :]] for row in table]
            case 7:
                table[line] = ['"' + cell + luck.choice(['"', "", '""']) for cell in table[line]]
    end, lines, size = luck.choice(["\n", "\n", "\r\n", "\r"]), [], 0
    for row in table:
        lines.append(luck.choice([mark, mark, mark, "\t", "|"]).join(row))
        size += len(lines[-1])
        if size > MOST_GROWN:
            break
    text = end.join(lines)
    coded = luck.choice([encoding] * 4 + ["utf-8-sig", "utf-16-le", "cp1252", "utf-32"])
    return text.encode(coded, "replace" if coded == "cp1252" else "surrogatepass")


def markup_changed(content: bytes, luck: random.Random) -> bytes:
    """Change elements and attributes of markup."""
    parts = re.findall(r"<[^>]*>|[^<]+", content.decode("utf-8", "replace"))
    for _ in range(luck.randint(1, 4)):
        at = luck.randrange(len(parts) or 1)
        upto = at + luck.randint(1, 6)
        match luck.randrange(8):
            case 0:
                del parts[at:upto]
            case 1:
                parts[at:at] = parts[at:upto] * luck.choice([1, 2, 40, 5000])
            case 2:
                parts[at:at] = [luck.choice(SNIPPETS)] * luck.choice([1, 1, 1000])
            case 3 | 4 | 5:
                tags = [n for n, part in enumerate(parts) if "=" in part and part[:1] == "<"]
                if tags:
                    at = luck.choice(tags)
                    word, quote = luck.choice([*WORDS, *map(str, NUMBERS)]), luck.choice("\"'")
                    values = list(re.finditer(r"=(\"[^\"]*\"|'[^']*')", parts[at]))
                    if values:
                        found = luck.choice(values)
                        new = f"={quote}{word}{quote}"
                        parts[at] = parts[at][: found.start()] + new + parts[at][found.end() :]
            case 6:
                texts = [n for n, part in enumerate(parts) if part[:1] != "<"]
                if texts:
                    parts[luck.choice(texts)] = luck.choice(WORDS)
            case 7:
                parts[at:at] = ["<a>"] * luck.choice([5, 3000])
    return "".join(parts).encode("utf-8", "surrogatepass")


def archive_changed(content: bytes, luck: random.Random) -> bytes:
    """Change parts inside an archive: what they say, what they are called, whether they are in."""
    with zipfile.ZipFile(io.BytesIO(content)) as source:
        parts = {name: source.read(name) for name in source.namelist()}
    named = [name for name in parts if "sheet" in name or name == "content.xml"]
    chosen = luck.choice([luck.choice(list(parts)), *named])
    match luck.randrange(10):
        case 0:
            del parts[chosen]
        case 1:
            parts[luck.choice(["xl/evil.xml", "../../evil", "xl/workbook.bin", "/a"])] = parts.pop(
                chosen
            )
        case 2:
            parts[chosen] = bytes_changed(parts[chosen], luck)
        case 3:
            other = luck.choice(list(parts))
            parts[chosen], parts[other] = parts[other], parts[chosen]
        case _:
            parts[chosen] = markup_changed(parts[chosen], luck)
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as copy:
        for name, part in parts.items():
            copy.writestr(name, part)
    return target.getvalue()


def tree_changed(thing: Any, luck: random.Random) -> Any:
    """Change values, keys and nesting of dictionaries and lists."""
    if isinstance(thing, dict) and thing and luck.random() < 0.85:
        key = luck.choice(list(thing))
        match luck.randrange(6):
            case 0:
                return {name: value for name, value in thing.items() if name != key}
            case 1:
                return thing | {luck.choice([*WORDS, "weeks", "import", "seed"]): thing[key]}
            case _:
                return thing | {key: tree_changed(thing[key], luck)}
    if isinstance(thing, list) and thing and luck.random() < 0.85:
        at = luck.randrange(len(thing))
        match luck.randrange(5):
            case 0:
                return thing[:at] + thing[at + 1 :]
            case 1:
                return thing[:at] + [thing[at]] * luck.choice([2, 300]) + thing[at + 1 :]
            case _:
                return [*thing[:at], tree_changed(thing[at], luck), *thing[at + 1 :]]
    made: Any = [luck.choice(WORDS), luck.choice(NUMBERS), {}, [], True, [thing], {"a": thing}]
    return luck.choice([*made, luck.choice(WORDS), luck.choice(NUMBERS)])


def plan_changed(content: bytes, luck: random.Random) -> bytes:
    tree = tomlkit.parse(content.decode()).unwrap()
    for _ in range(luck.randint(1, 3)):
        tree = tree_changed(tree, luck)
    try:
        return tomlkit.dumps(tree).encode("utf-8", "surrogatepass")
    except (ValueError, TypeError, AttributeError):  # no TOML can say that
        return markup_changed(content, luck)


def result_changed(content: bytes, luck: random.Random) -> bytes:
    tree = json.loads(content)
    for _ in range(luck.randint(1, 3)):
        tree = tree_changed(tree, luck)
    return json.dumps(tree).encode()


def parquet_changed(content: bytes, luck: random.Random) -> bytes:
    """Change columns of a Parquet file: names, types, values and how they are packed."""
    table = pq.read_table(io.BytesIO(content))
    size = luck.choice([0, 1, 12, 12, 5000])
    made = {
        "texts": pa.array([luck.choice(WORDS[:-6]).encode("utf-8", "replace").decode()] * size),
        "numbers": pa.array([luck.choice(NUMBERS[:6])] * size, pa.int64()),
        "floats": pa.array([float(luck.choice(NUMBERS))] * size),
        "moments": pa.array([luck.choice([0, 2**40, -(2**62)])] * size, pa.timestamp("ns", "UTC")),
        "days": pa.array([luck.choice([0, -(2**31), 2**31 - 1])] * size, pa.date32()),
        "spans": pa.array([1] * size, pa.duration("us")),
        "times": pa.array([1] * size, pa.time64("us")),
        "flags": pa.array([True] * size),
        "nested": pa.array([[1]] * size),
        "bytes": pa.array([b"x"] * size),
        "none": pa.nulls(size),
        "codes": pa.array(["a"] * size).dictionary_encode(),
        "exact": pa.array([10**20] * size, pa.decimal128(38, 2)),
        "large": pa.array(["a"] * size, pa.large_string()),
        "small": pa.array([1.5] * size, pa.float32()).cast(pa.float16()),
    }
    names = luck.sample(list(made), luck.randint(1, 5))
    shown = [luck.choice([*WORDS[:8], *HEADINGS, name, "x"]) for name in names]
    columns = [made[name] for name in names]
    if size == 12 and luck.random() < 0.7:
        columns, shown = [*table.columns, *columns], [*table.column_names, *shown]
    target = io.BytesIO()
    pq.write_table(
        pa.Table.from_arrays(columns, names=shown),
        target,
        row_group_size=luck.choice([1, 7, 5000]),
        compression=luck.choice(["snappy", "none", "zstd", "gzip"]),
        data_page_version=luck.choice(["1.0", "2.0"]),
    )
    return target.getvalue()


def mutant(kind: str, content: bytes, luck: random.Random) -> bytes:
    """One change of a sound file; one in five knows nothing of its structure."""
    if luck.random() < 0.2:
        return bytes_changed(content, luck)
    match kind:
        case "csv" | "class.csv":
            return cells_changed(content, luck)
        case "utf16.csv":
            return cells_changed(content, luck, "utf-16")
        case "csv.gz":
            return gzip.compress(cells_changed(gzip.decompress(content), luck))
        case "xlsx" | "ods":
            return archive_changed(content, luck)
        case "parquet":
            return parquet_changed(content, luck)
        case "toml":
            return plan_changed(content, luck)
        case "page.json" | "result.json":
            return result_changed(content, luck)
    return bytes_changed(content, luck)


def apart(read: Callable[[Path], object], path: Path) -> tuple[str, int]:
    """Read a file in a process of its own: what came of it, and the most memory it took."""
    ((said, memory, _),) = all_apart([(read, path)])
    return said, memory


def all_apart(jobs: list[Job]) -> list[tuple[str, int, float]]:
    """Read files in a process of its own, a new one where it dies: outcome, KiB and seconds."""
    told: list[tuple[str, int, float]] = []
    while len(told) < len(jobs):
        out, into = os.pipe()
        process = os.fork()
        if not process:
            os.close(out)
            for read, path in jobs[len(told) :]:
                line = json.dumps(limited(read, path)) + "\n"
                os.write(into, line.encode("ascii", "replace"))
            os._exit(0)
        os.close(into)
        with os.fdopen(out, "rb") as pipe:
            told += [tuple(json.loads(line)) for line in pipe]
        _, status, usage = os.wait4(process, 0)
        if os.WIFSIGNALED(status):
            told.append((f"stopped by signal {os.WTERMSIG(status)}", usage.ru_maxrss, 0.0))
    return told


def limited(read: Callable[[Path], object], path: Path) -> tuple[str, int, float]:
    """Read a file within limits on what this one file may take."""
    before = time.perf_counter()
    signal.setitimer(signal.ITIMER_REAL, 6 * SECONDS)  # waiting counts too
    spent = resource.getrusage(resource.RUSAGE_SELF)
    most = int(spent.ru_utime + spent.ru_stime) + SECONDS + 1
    resource.setrlimit(resource.RLIMIT_CPU, (most, resource.RLIM_INFINITY))
    used = int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    resource.setrlimit(resource.RLIMIT_AS, (used + MEMORY, resource.RLIM_INFINITY))
    Path("/proc/self/clear_refs").write_text("5")  # the most memory counts from here
    held = _kibibytes("VmRSS")
    said = outcome(read, path)[:3000]
    return said, _kibibytes("VmHWM") - held, time.perf_counter() - before


def _kibibytes(name: str) -> int:
    lines = Path("/proc/self/status").read_text().splitlines()
    return int(next(line for line in lines if line.startswith(name)).split()[1])


def outcome(read: Callable[[Path], object], path: Path) -> str:
    try:
        read(path)
    except MotorlearnError as problem:
        sound = 20 < len(str(problem)) <= 500 and str(problem).isprintable()
        return "refused" if sound else f"a bad message: {str(problem)[:300]!r}"
    except BaseException as problem:  # noqa: BLE001 - told
        last = traceback.extract_tb(problem.__traceback__)[-1]
        return f"{type(problem).__name__}: {str(problem)[:200]} ({last.filename}:{last.lineno})"
    return "read"


def survive(count: int, seed: int, folder: Path, first: int = 0) -> dict[str, Any]:
    """Read so many mutants, the kinds in turn; keeps in the folder what went wrong."""
    made, reader = sound(folder), readers(folder)
    counts: Counter[str] = Counter()
    wrong, peak, slowest = [], 0, 0.0
    for begin in range(first, first + count, BATCH):
        jobs = []
        for case in range(begin, min(begin + BATCH, first + count)):
            kind = sound_kinds[case % len(sound_kinds)]
            if kind == "xls" and count < 1000 and case // len(sound_kinds) % 4:
                kind = "toml"  # each old workbook starts a process of its own
            path = folder / f"mutant-{case}.{kind}"
            path.write_bytes(mutant(kind, made[kind], random.Random(f"{seed} {case}"))[:LARGEST])
            jobs.append((reader[kind], path))
        for job, (said, memory, seconds) in zip(jobs, all_apart(jobs), strict=True):
            path = job[1]
            if said == WAITED:  # a lock of another thread at the fork, or a machine that is busy
                counts["waited"] += 1
                ((said, memory, seconds),) = all_apart([job])
            slowest, peak = max(slowest, seconds), max(peak, memory)
            if memory >> 10 > MOST_MEMORY and said in ("read", "refused"):
                said += f" with {memory >> 10} MiB"
            if said in ("read", "refused"):
                counts.update([said, path.name.partition(".")[2] + " " + said])
                path.unlink()
            else:
                wrong.append(f"{path.name}: {said}")
    return {**counts, "wrong": wrong, "peak MiB": peak >> 10, "slowest s": round(slowest, 1)}


if __name__ == "__main__":
    numbers = [int(part) for part in (*sys.argv[1:3], *sys.argv[4:])]
    print(json.dumps(survive(*numbers[:2], Path(sys.argv[3]), *numbers[2:])))

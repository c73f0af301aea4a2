"""Damaged files of every kind: an error of ours or a table, never a crash, never a hang."""

import contextlib
import gzip
import io
import signal
import zipfile

import numpy as np
import openpyxl
import pandas as pd
import pytest
from workbook_makers import HEADINGS, good_rows, write_ods

import motorlearn as ml
from motorlearn.exceptions import MotorlearnError
from motorlearn.trials import propose_recipe

SECONDS = 10
FEW, MANY = 60, 10_000
TOKENS = [b'"', b",", b";", b"\n", b"\r", b"\x00", b"\xff\xfe", b"=", b"1e999", b"nan", b"\xc3"]
TOKENS += [b"<", b">", b"&", b"r=", b"A1048576", b"99999999999", b"-1", b"</c>", b"<c>", b"t="]


class HangError(Exception):
    """A file took too long."""


@contextlib.contextmanager
def time_limit(seconds):
    def stop(signum, frame):
        raise HangError

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def seeds(folder):
    text = "\n".join(",".join(map(str, row)) for row in [HEADINGS, *good_rows(30)])
    book = openpyxl.Workbook()
    for row in [HEADINGS, *good_rows(8)]:
        book.active.append(row)
    book.active["D3"] = "=D2*2"
    book.active.merge_cells("B4:B6")
    book.save(folder / "seed.xlsx")
    write_ods(folder / "seed.ods", [HEADINGS, *good_rows(5)])
    table = pd.DataFrame(good_rows(20), columns=HEADINGS)
    table.to_parquet(folder / "seed.parquet")
    return {
        "csv": text.encode(),
        "utf16.csv": text.replace(",", ";").encode("utf-16"),
        "csv.gz": gzip.compress(text.encode()),
        "xlsx": (folder / "seed.xlsx").read_bytes(),
        "ods": (folder / "seed.ods").read_bytes(),
        "parquet": (folder / "seed.parquet").read_bytes(),
    }


def mutated(content, rng):
    data = bytearray(content)
    for _ in range(int(rng.integers(1, 6))):
        if not data:
            break
        place = int(rng.integers(len(data)))
        match int(rng.integers(6)):
            case 0:
                data[place] = int(rng.integers(256))
            case 1:
                del data[place : place + int(rng.integers(1, 40))]
            case 2:
                data[place:place] = TOKENS[int(rng.integers(len(TOKENS)))]
            case 3:
                data[place:place] = data[place : place + int(rng.integers(1, 200))]
            case 4:
                del data[place:]
            case 5:
                data[place] ^= 1 << int(rng.integers(8))
    return bytes(data)


def mutated_part(content, rng):
    """Change one part inside an archive, so that the archive itself stays whole."""
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as source:
        names = source.namelist()
        chosen = names[int(rng.integers(len(names)))]
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as copy:
            for name in names:
                part = source.read(name)
                copy.writestr(name, mutated(part, rng) if name == chosen else part)
    return target.getvalue()


def survive(folder, count, seed):
    rng = np.random.default_rng(seed)
    kinds = seeds(folder)
    outcomes = {"read": 0, "refused": 0}
    for turn in range(count):
        kind = list(kinds)[turn % len(kinds)]
        archive = kind in ("xlsx", "ods") and rng.random() < 0.8
        content = (mutated_part if archive else mutated)(kinds[kind], rng)
        file = folder / f"fuzzed.{kind}"
        file.write_bytes(content)
        try:
            with time_limit(SECONDS):
                ml.read_trials(file)
                if turn % 10 == 0:
                    propose_recipe(file)
            outcomes["read"] += 1
        except MotorlearnError:
            outcomes["refused"] += 1
        except BaseException:
            (folder / f"crash-{turn}.{kind}").write_bytes(content)
            raise
    return outcomes


def test_a_few_hundred_damaged_files(tmp_path):
    outcomes = survive(tmp_path, FEW, seed=11)
    assert min(outcomes.values()) > FEW / 20


@pytest.mark.slow
def test_ten_thousand_damaged_files(tmp_path):
    outcomes = survive(tmp_path, MANY, seed=2)
    assert min(outcomes.values()) > MANY / 20

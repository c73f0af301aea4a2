"""Small files that ask for any time or memory: each is read or refused within a second of work."""

import io
import json
import resource
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from mutants import apart, rows

import motorlearn as ml
from motorlearn.report import read_page

SECONDS, MEBIBYTES = 3, 500  # a second of work, with room for a machine that is busy

pytestmark = pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="limits need /proc")
PLAN = """
[study]
title = "t"
[[groups]]
name = "a"
[[tests]]
phase = "pretest"
trials = 6
[[outcomes]]
name = "hits"
better = "higher"
"""
DRILLS = '[programme]\nweeks = {}\nsessions_per_week = 2\n[[drills]]\nname = "d"\n'


def workbook(sheet=b"", name="xl/worksheets/sheet1.xml", before=b"</sheetData>"):
    """A workbook with something put behind its rows, and its sheet perhaps at another place."""
    book = openpyxl.Workbook()
    for row in rows(3):
        book.active.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    target = io.BytesIO()
    with (
        zipfile.ZipFile(buffer) as source,
        zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as copy,
    ):
        for part in source.namelist():
            content = source.read(part)
            if part == "xl/worksheets/sheet1.xml":
                content, part = content.replace(before, before + sheet), name
            content = content.replace(b"xl/worksheets/sheet1.xml", name.encode())
            content = content.replace(b"/xl/worksheets/sheet1.xml", b"/" + name.encode())
            copy.writestr(part, content)
    return target.getvalue()


def merged(text, count=1, name="xl/worksheets/sheet1.xml"):
    return workbook(b"<mergeCells>" + text * count + b"</mergeCells>", name)


def open_document(text):
    seed = Path(__file__).parent / "files" / "seed.ods"
    target = io.BytesIO()
    with zipfile.ZipFile(seed) as source, zipfile.ZipFile(target, "w", 8) as copy:
        for part in source.namelist():
            content = source.read(part)
            if part == "content.xml":
                content = content.replace(b"</table:table>", text + b"</table:table>", 1)
            copy.writestr(part, content)
    return target.getvalue()


def parquet(millions):
    """Many million rows of one text, in a few kilobytes."""
    made, target = pa.table({"participant": pa.array(["p1"] * 1_000_000)}), io.BytesIO()
    with pq.ParquetWriter(target, made.schema) as writer:
        for _ in range(millions):
            writer.write_table(made)
    return target.getvalue()


def long_texts():
    """A million rows of one text of a mebibyte."""
    target = io.BytesIO()
    codes = pa.DictionaryArray.from_arrays(np.zeros(1_000_000, dtype=np.int32), ["p" * (1 << 20)])
    pq.write_table(pa.table({"participant": codes}), target)
    return target.getvalue()


def far_cell():
    """One cell that makes a sheet of just below five million."""
    cell = b'<row r="49000"><c r="CV49000"><v>1</v></c></row>'
    return workbook(cell, before=b"<sheetData>")


def stray_cell():
    """Two columns, and one cell ten thousand columns away."""
    book = openpyxl.Workbook()
    for row in (["participant", "hit"], *(["p1", 1] for _ in range(20))):
        book.active.append(row)
    book.active.cell(5, 10_000, "a")
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


WHOLE = b"<mergeCell ref='A9:XFD1048576'/>"
BOMBS = {
    "merged, single quotes": ("xlsx", lambda: merged(WHOLE)),
    "merged, elsewhere": ("xlsx", lambda: merged(WHOLE, name="xl/evil.dat")),
    "400,000 merged": ("xlsx", lambda: merged(b'<mergeCell ref="A1:B2"/>', 400_000)),
    "400,000 half merged": ("xlsx", lambda: merged(b"<mergeCell ", 400_000)),
    "300,000 half rows": ("ods", lambda: open_document(b"<table:table-row " * 300_000)),
    "300,000 rows": ("ods", lambda: open_document(b"<table:table-row />" * 300_000)),
    "far cell": ("xlsx", far_cell),
    "nested markup": ("xlsx", lambda: workbook(b"<a>" * 1_000_000)),
    "weeks": ("toml", lambda: (PLAN + DRILLS.format(10**9)).encode()),
    "million weeks": ("toml", lambda: (PLAN + DRILLS.format(10**6)).encode()),
    "unknown keys": ("toml", lambda: "".join(f"k{i} = 1\n" for i in range(100_000)).encode()),
    "nested plan": ("toml", lambda: b"a = " + b"[" * 100_000),
    "long identifier": ("csv", lambda: b"participant,hit\n" + b"a" * 30_000 + b",1\nb,1\n"),
    "many long ones": ("csv", lambda: b"participant,hit\n" + b"".join(
        b"%c" % (97 + i) * 30_000 + b",1\n" for i in range(20))),
    "wide line": ("csv", lambda: b"participant," + b"," * 1_000_000 + b"\np1,1\n"),
    "ragged": ("csv", lambda: b"participant,hit\n" + b"," * 1900 + b"\n" + b"p1,1\n" * 100_000),
    "long words": ("csv", lambda: b"participant,hit\n\xfc,1\n" + (b"a" * 30_000 + b",1\n") * 8),
    "many columns": ("xlsx", stray_cell),
    "open quote": ("csv", lambda: b'participant,hit\n"' + b"p1,1\n" * 500_000),
    "long heading": ("csv", lambda: b"participant,hit" + b" " * 100_000 + b"(\np1,1\n"),
    "51 million rows": ("parquet", lambda: parquet(51)),
    "200 million rows": ("parquet", lambda: parquet(200)),
    "long texts": ("parquet", long_texts),
    "nested JSON": ("json", lambda: b'{"result": "StudyAudit", "facts": ' + b"[" * 1_000_000),
    "vast number": ("json", lambda: b"9" * 1_000_000),
}  # fmt: skip


def read(path):
    {".toml": ml.read_design, ".json": read_page}.get(path.suffix, ml.read_trials)(path)


SLOW = {"200 million rows"}


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=[pytest.mark.slow] * (n in SLOW)) for n in BOMBS]
)
def test_a_bomb_does_not_go_off(tmp_path, name):
    ending, make = BOMBS[name]
    path = tmp_path / f"bomb.{ending}"
    path.write_bytes(make())
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    said, _ = apart(measured, path)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert said in ("read", "refused"), said
    assert after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime < SECONDS
    grown = json.loads(path.with_suffix(".grown").read_text())
    assert grown >> 10 < MEBIBYTES


def measured(path):
    """Read a file, and note by how much the most memory this process had has grown."""
    Path("/proc/self/clear_refs").write_text("5")
    before = resource_now()
    try:
        read(path)
    finally:
        path.with_suffix(".grown").write_text(json.dumps(resource_now() - before))


def resource_now():
    """The most memory this process has had, in KiB, since it was last cleared."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return int(next(line for line in lines if line.startswith("VmHWM")).split()[1])

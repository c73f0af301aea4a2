"""Parquet in fixed memory, and a real cluster: same rows to the last bit, nothing lost or twice."""

import os
import signal
import threading
import time

import numpy as np
import pandas as pd
import pytest
from distributed import Client, LocalCluster

import motorlearn as ml
from motorlearn.curves.batch import chunks as batches
from motorlearn.curves.batch import learners
from motorlearn.exceptions import ColumnError, FileError

TRIALS = np.arange(1, 31)


def table_of(count, seed=1):
    rng = np.random.default_rng(seed)
    r = np.exp(rng.normal(np.log(0.1), 0.5, count))
    y = 20 + 15 * np.exp(-r[:, None] * (TRIALS - 1)) + rng.normal(0, 3, (count, TRIALS.size))
    y[5, 3] = np.nan
    return pd.DataFrame(
        {
            "participant": np.repeat([f"p{i:05d}" for i in range(count)], TRIALS.size),
            "trial": np.tile(TRIALS, count),
            "radial_error": y.ravel(),
        }
    )


def fit(source, **options):
    return ml.fit_curves(source, "radial_error", practice="trial", by="participant", **options)


@pytest.fixture
def small_pieces(monkeypatch):
    """Make batches small, so that learners and pieces straddle each other."""
    monkeypatch.setattr(batches, "ROWS_AT_ONCE", 1000)
    monkeypatch.setattr(batches, "LEARNERS_AT_ONCE", 50)


@pytest.mark.parametrize(
    "names",
    [["p1", "p2", "p2", "p3"], ["a", "a", "bc", "bc"], ["ä1", "ä2", "b12", "b12"], [3, 3, 1, 1]],
)
def test_where_one_learner_follows_another(names):
    column = pd.Series(names * 2)
    wanted = [a != b for a, b in zip(names * 2, (names * 2)[1:])]
    assert batches.changes(column).tolist() == wanted
    assert batches.changes(column.iloc[1:]).tolist() == wanted[1:]


def test_a_learner_who_lies_across_many_pieces_is_one(tmp_path, monkeypatch):
    monkeypatch.setattr(batches, "ROWS_AT_ONCE", 7)
    table = table_of(7)
    table.to_parquet(tmp_path / "rows.parquet")
    read = fit(tmp_path / "rows.parquet").table
    pd.testing.assert_frame_equal(fit(table).table, read, rtol=1e-6, check_exact=False)


def test_parquet_equals_the_table(tmp_path, small_pieces):
    table = table_of(300)
    table.to_parquet(tmp_path / "rows.parquet", row_group_size=700)
    held = fit(table)
    read = fit(tmp_path / "rows.parquet")
    assert len(read.table) == 600
    pd.testing.assert_frame_equal(held.table, read.table, rtol=1e-6, check_exact=False)
    assert read.preferred["participant"].tolist() == held.preferred["participant"].tolist()


def test_pieces_of_any_size_give_the_same_rows_to_the_last_bit(monkeypatch):
    table = table_of(700)
    whole = fit(table).table
    for size in (300, 50, 7):
        monkeypatch.setattr(batches, "LEARNERS_AT_ONCE", size)
        pd.testing.assert_frame_equal(whole, fit(table).table, check_exact=True)


def test_a_folder_of_parquet_files_is_one_data_set(tmp_path, small_pieces):
    table = table_of(90)
    (tmp_path / "set").mkdir()
    table.iloc[:1010].to_parquet(tmp_path / "set" / "a.parquet")
    table.iloc[1010:].to_parquet(tmp_path / "set" / "b.parquet")
    assert fit(tmp_path / "set").preferred["participant"].is_unique
    assert len(fit(tmp_path / "set").preferred) == 90


def test_results_are_written_as_they_come(tmp_path, small_pieces):
    table = table_of(300)
    table.to_parquet(tmp_path / "rows.parquet")
    stored = fit(tmp_path / "rows.parquet", into=tmp_path / "fits.parquet")
    assert stored.learners == 300
    assert stored.status["learners"].sum() == 600
    assert stored.preferred["learners"].sum() == 300
    pd.testing.assert_frame_equal(stored.read(), fit(tmp_path / "rows.parquet").table)
    assert [path.name for path in sorted(tmp_path.iterdir())] == ["fits.parquet", "rows.parquet"]


def test_a_failed_run_leaves_no_half_file(tmp_path, small_pieces):
    table = table_of(300)
    table.loc[8000, "radial_error"] = np.inf
    table.to_parquet(tmp_path / "rows.parquet")
    with pytest.raises(ml.exceptions.InputError, match="infinite"):
        fit(tmp_path / "rows.parquet", into=tmp_path / "fits.parquet")
    assert [path.name for path in tmp_path.iterdir()] == ["rows.parquet"]


def test_rows_of_a_learner_that_lie_apart_are_refused(tmp_path, small_pieces):
    table = table_of(200)
    apart = pd.concat([table.iloc[30:], table.iloc[:30]])
    apart = pd.concat([apart.iloc[:15], apart.iloc[30:], apart.iloc[15:30]])
    apart.to_parquet(tmp_path / "rows.parquet")
    with pytest.raises(FileError, match=r"lie apart.*sort it by learner"):
        fit(tmp_path / "rows.parquet")


def test_files_that_are_not_there_or_not_parquet_are_refused(tmp_path):
    with pytest.raises(FileError, match="no Parquet"):
        fit(tmp_path / "none.parquet")
    (tmp_path / "text.parquet").write_text("participant,trial")
    with pytest.raises(FileError, match="not a Parquet"):
        fit(tmp_path / "text.parquet")
    table_of(10).drop(columns="trial").to_parquet(tmp_path / "short.parquet")
    with pytest.raises(ColumnError, match="trial"):
        fit(tmp_path / "short.parquet")


@pytest.fixture(scope="module")
def cluster():
    with (
        LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as local,
        Client(local) as client,
    ):
        yield client


def test_a_cluster_gives_the_same_rows_to_the_last_bit(cluster, small_pieces):
    table = table_of(400)
    pd.testing.assert_frame_equal(
        fit(table).table, fit(table, cluster=cluster).table, check_exact=True
    )


def test_a_killed_worker_loses_nothing_and_repeats_nothing(cluster, small_pieces, monkeypatch):
    table = table_of(1500)
    victim = next(iter(cluster.run(os.getpid).values()))
    slow = learners.fit_batch
    killed = threading.Event()

    def shoot() -> None:
        time.sleep(0.3)
        os.kill(victim, signal.SIGKILL)
        killed.set()

    monkeypatch.setattr(learners, "fit_batch", SlowBatch(slow))
    shooter = threading.Thread(target=shoot)
    shooter.start()
    found = fit(table, cluster=cluster).table
    shooter.join()
    assert killed.is_set()
    monkeypatch.undo()
    assert found.groupby("participant").size().eq(2).all()
    assert len(found) == 3000
    monkeypatch.setattr(batches, "LEARNERS_AT_ONCE", 50)
    pd.testing.assert_frame_equal(found, fit(table).table, check_exact=True)


class SlowBatch:
    """The batch fit with a pause, so that a worker dies with work in hand."""

    def __init__(self, work):
        self.work = work

    def __call__(self, batch, **options):
        time.sleep(0.1)
        return self.work(batch, **options)

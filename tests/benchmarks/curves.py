"""Timings of learning curves, side by side in one run: medians of processor time on both sides.

Beside every median stands that by the clock. Many learners are fitted in one thread: their arrays
stay in the cache, so that two threads would wait for each other (tried: hits a twentieth faster by
the clock for half more processor time, S-shaped curves a third slower).

    python tests/benchmarks/curves.py [fits] [hits] [forms] [population] [parquet]

Without a name all run, in less than three minutes on a quiet machine (half of it ``parquet``).
A cluster whose worker is killed is a matter of tests: ``pytest tests/curves/test_streaming.py``.

``fits``: 20,000 learners x 60 trials, exponential and power with standard errors, against a loop
of ``scipy.optimize.curve_fit`` started at the truth, of which only fits that succeed count.
``hits``: 5,000 learners x 60 trials of 10 attempts. ``forms``: the S-shaped and the two-process
form against the same loop twice: from starts that a user would read off the scores, of which only
fits that reach the best loss count, and from the truth, which no user knows. ``population``:
36 learners x 24 blocks, three random effects and a group effect, against R nlme where R is
installed. ``parquet``: 1,000,000 learners x 60 trials from a Parquet file, with peak memory, wanted
in at most 25 times what ``import pandas`` takes here. Processor time (all threads and children) is
what other work on the machine lengthens least; set OMP_NUM_THREADS=1 so that neither side waits in
busy threads.
"""

import resource
import shutil
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path
from statistics import median
from time import perf_counter

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
from row import tell
from scipy.optimize import curve_fit

import motorlearn as ml

TRIALS = np.arange(1, 61)


def exponential(n, a, g, r):
    return a + g * np.exp(-r * (n - 1))


def power(n, a, g, r):
    return a + g * n ** (-r)


def scores(learners: int, seed: int = 1):
    rng = np.random.default_rng(seed)
    a, g = rng.normal(20, 4, learners), rng.normal(15, 3, learners)
    r = np.exp(rng.normal(np.log(0.08), 0.6, learners))
    y = a[:, None] + g[:, None] * np.exp(-r[:, None] * (TRIALS - 1))
    return y + rng.normal(0, 4, y.shape), np.stack([a, g, r], axis=1)


def long_table(y, names) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "participant": np.repeat(names, len(TRIALS)),
            "trial": np.tile(TRIALS, len(y)),
            "radial_error": y.ravel(),
        }
    )


def spent() -> float:
    """Processor seconds of this process and of those it waited for."""
    both = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(used.ru_utime + used.ru_stime for used in both)


def timed(work, times: int) -> float:
    """Median seconds of processor time; that by the clock is printed beside it."""
    taken, clock = [], []
    for _ in range(times):
        begin, start = spent(), perf_counter()
        work()
        taken.append(spent() - begin)
        clock.append(perf_counter() - start)
    print(f"  {median(taken):.3g} s of processor time, {median(clock):.3g} s by the clock")
    return median(taken)


def loop(y, truth) -> dict[str, float]:
    """Seconds per fit of the loop, over the fits that succeed."""
    n, per = TRIALS.astype(float), {}
    for name, curve in (("exponential", exponential), ("power", power)):
        moved = [0, 0, 0] if name == "exponential" else [-2, 4, 0]
        starts = np.array(truth) + moved
        if name == "power":
            starts[:, 2] = 0.6
        per[name] = one_by_one(curve, n, y, starts, name)
    return per


def one_by_one(curve, n, y, starts, name: str, best=None) -> float:
    """Mean seconds of the fits by curve_fit that succeed; with ``best``, reach these squares."""
    taken = []
    for k, (scores_of_one, start) in enumerate(zip(y, starts)):
        begin = spent()
        try:
            found = curve_fit(curve, n, scores_of_one, p0=start)[0]
        except RuntimeError:
            continue
        used = spent() - begin
        left = np.sum((scores_of_one - curve(n, *found)) ** 2)
        if best is None or left <= best[k] * (1 + 1e-6):
            taken.append(used)
    mean = float(np.mean(taken))
    print(f"  curve_fit {name}: {mean * 1e6:.0f} us per fit, {len(taken)} of {len(y)} succeeded")
    return mean


def fits() -> None:
    y, truth = scores(20_000)
    names = np.array([f"p{i:05d}" for i in range(len(y))])
    table = long_table(y, names)

    def ours():
        return ml.fit_curves(table, "radial_error", practice="trial", by="participant")

    ours()
    runs = []
    for _ in range(3):
        per = loop(y[:1000], truth[:1000])
        batch = timed(ours, 7) / 40_000
        whole = (per["exponential"] + per["power"]) / 2
        runs.append((whole / batch, per["exponential"] / batch, batch))
        print(f"  fit_curves: {batch * 1e6:.2f} us per fit")
    ratio, easy, batch = (median(column) for column in zip(*runs))
    print(f"  against exponential fits alone: {easy:.0f} times; {batch * 1e6:.2f} us per fit")
    tell(
        "20,000 learners x 60 trials, exponential and power",
        batch * 40_000,
        peer="loop of scipy curve_fit, 1,000 learners scaled",
        peer_seconds=ratio * batch * 40_000,
        ratio=ratio,
        least=200,
    )


def hits() -> None:
    rng = np.random.default_rng(4)
    y, _ = scores(5000, seed=4)
    share = 1 / (1 + np.exp((y - y.mean()) / 6))
    table = long_table(rng.binomial(10, share), np.array([f"p{i:05d}" for i in range(len(y))]))
    table = table.assign(attempts=10)

    def ours():
        return ml.fit_curves(
            table,
            "radial_error",
            practice="trial",
            by="participant",
            attempts="attempts",
            forms=["exponential"],
        )

    ours()
    taken = timed(ours, 3)
    print(f"  {taken / len(y) * 1e6:.0f} us a learner (wanted: 60)")
    tell("5,000 learners x 60 counts of hits, exponential", taken, most=60e-6 * len(y))


def s_shaped(n, a, g, r, m):
    return a + g / (1 + np.exp(r * (n - m)))


def two_processes(n, a, g, r, q, share):
    return a + g * (share * np.exp(-r * (n - 1)) + (1 - share) * np.exp(-r * q * (n - 1)))


def from_the_scores(y, form: str) -> np.ndarray:
    """Starts that a user would read off: levels from both ends, the rest from the middle."""
    late, early = y[:, -12:].mean(axis=1), y[:, :12].mean(axis=1)
    rest = [0.1, TRIALS.mean()] if form == "s_shaped" else [0.3, 0.2, 0.5]
    return np.column_stack([late, early - late, np.tile(rest, (len(y), 1))])


def forms() -> None:
    """New forms: many learners at once against the loop, from a user's starts and the truth."""
    rng, n, count = np.random.default_rng(5), TRIALS.astype(float), 3000
    a, g = rng.normal(20, 2, count), rng.normal(15, 2, count)
    cases = {
        "s_shaped": (s_shaped, np.full(count, 0.25), rng.normal(20, 3, count)),
        "two_processes": (two_processes, np.full(count, 0.5), np.full(count, 0.08)),
    }
    for name, (curve, *rates) in cases.items():
        rates = rates if name == "s_shaped" else [*rates, np.full(count, 0.6)]
        truth = np.stack([a, g, *rates], axis=1)
        y = np.array([curve(n, *row) for row in truth]) + rng.normal(0, 1, (count, len(n)))
        table = long_table(y, np.array([f"p{i:04d}" for i in range(count)]))

        def ours(table=table, name=name):
            return ml.fit_curves(
                table, "radial_error", practice="trial", by="participant", forms=[name]
            )

        best = ours().table["sse"].to_numpy()
        starts = {
            "from a user's starts": (from_the_scores(y[:100], name), best),
            "from the truth": (truth[:100], None),
        }
        for told, (begin, reached) in starts.items():
            theirs = one_by_one(curve, n, y[:100], begin, f"{name} {told}", reached)
            tell(
                f"{count} learners x 60 trials, {name}, scipy {told}",
                timed(ours, 3),
                peer="loop of scipy curve_fit, 100 learners scaled",
                peer_seconds=theirs * count,
                least=50,
            )


def population() -> None:
    rng = np.random.default_rng(3)
    learners, blocks = 36, np.arange(1, 25)
    group = np.arange(learners) % 2
    own = np.array([20.0, 12.0, np.log(0.25)]) + rng.normal(size=(learners, 3)) * [2, 1.5, 0.4]
    own[:, 0] += 1.5 * group
    y = own[:, [0]] + own[:, [1]] * np.exp(-np.exp(own[:, [2]]) * (blocks - 1))
    table = pd.DataFrame(
        {
            "participant": np.repeat(np.arange(learners), len(blocks)),
            "group": np.repeat(np.where(group, "random", "blocked"), len(blocks)),
            "block": np.tile(blocks, learners),
            "y": (y + rng.normal(0, 1.5, y.shape)).ravel(),
        }
    )

    def ours(tests):
        return ml.fit_population_curve(table, "y", practice="block", group="group", tests=tests)

    found = ours(False)
    alone, tested = timed(lambda: ours(False), 9), timed(lambda: ours(True), 5)
    print(f"  log-likelihood {found.loglik:.4f}")
    action = "population curve, 36 learners x 24 blocks"
    if shutil.which("Rscript") is None:
        tell(action, alone, least=3, note="R is not installed: no nlme to compare with")
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rows.csv"
        table.to_csv(path, index=False)
        turns = [(timed(lambda: ours(False), 5), *nlme(path)) for _ in range(3)]
    alone, theirs, logliks = (median(column) for column in zip(*turns))
    print(f"  nlme: log-likelihood {logliks:.4f} (linearised)")
    tell(action, alone, peer="R nlme", peer_seconds=theirs, least=5)
    tell(f"{action}, with tests of groups", tested, peer="R nlme", peer_seconds=theirs, least=3)


def nlme(path: Path) -> tuple[float, float]:
    """Median seconds of five fits by nlme, and its log-likelihood."""
    script = Path(__file__).with_name("population.R")
    command = ["Rscript", str(script), str(path), "5"]
    told = subprocess.run(command, check=True, capture_output=True, text=True).stdout.split()
    return float(told[0]), float(told[1])


def write_parquet(path: Path, learners: int) -> None:
    writer = None
    for low in range(0, learners, 50_000):
        y, _ = scores(min(50_000, learners - low), seed=low)
        sheet = pa.Table.from_pandas(
            long_table(y, np.arange(low, low + len(y))), preserve_index=False
        )
        writer = writer or pq.ParquetWriter(path, sheet.schema)
        writer.write_table(sheet)
    writer.close()


def parquet() -> None:
    """Each size in a process of its own, so that the peak memory is its own."""
    command = [sys.executable, "-c", "import pandas"]
    unit = timed(lambda: subprocess.run(command, check=True), 7)
    print(f"  import pandas: {unit:.2f} s")
    with tempfile.TemporaryDirectory() as folder:
        for learners in (10_000, 100_000, 1_000_000):
            path = Path(folder) / f"{learners}.parquet"
            write_parquet(path, learners)
            told = subprocess.run(
                [sys.executable, __file__, "one", str(path), f"{folder}/out.parquet", str(unit)],
                check=True,
                capture_output=True,
                text=True,
            ).stdout
            print(told.strip(), flush=True)


def one(path: str, target: str, unit: str) -> None:
    begin, start = spent(), perf_counter()
    stored = ml.fit_curves(path, "radial_error", practice="trial", by="participant", into=target)
    taken = spent() - begin
    print(f"  {taken:.3g} s of processor time, {perf_counter() - start:.3g} s by the clock")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    print(f"  {taken / float(unit):.1f} times import pandas")
    wanted = {"most": 25 * float(unit), "most_gib": 1} if stored.learners == 1_000_000 else {}
    tell(f"{stored.learners:,} learners x 60 trials from Parquet", taken, gib=peak, **wanted)


def main(wanted: list[str]) -> None:
    warnings.simplefilter("ignore")
    if wanted[:1] == ["one"]:
        one(*wanted[1:])
        return
    works = {"fits": fits, "hits": hits, "forms": forms}
    for name, work in (works | {"population": population, "parquet": parquet}).items():
        if not wanted or name in wanted:
            print(name)
            work()


if __name__ == "__main__":
    main(sys.argv[1:])

"""A fit over a local dask cluster of two workers: the figures of one process, also when a worker is killed on the way.

The single-process fit is the outside: it is itself held to published fits (tests/published/test_mixed_models.py).
"""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest
from distributed import LocalCluster

from hangtab.worth import Spec, WorthError, fit
from hangtab.worth.far import fit_far
from tests.unit.worth.world import market

pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("ignore")]  # dask warns of much that is not ours

MODEL = {
    "price": "price", "when": "sold", "groups": ["line", "line/character", "line/character/release"],
    "factors": ["venue"], "numbers": ["pieces"], "walks": ["market", "line"], "tails": "normal",
}  # fmt: skip
SPEC = Spec(**MODEL)


@pytest.fixture(scope="module")
def cluster():
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, worker_dashboard_address=None) as made:
        yield made


@pytest.fixture(scope="module")
def table():
    return market(rows=900, bounds=0.0).drop("flaws")


@pytest.fixture(scope="module")
def rows(table, tmp_path_factory):
    folder = tmp_path_factory.mktemp("rows")
    for (line,), part in table.group_by("line"):
        part.write_parquet(folder / f"{line}.parquet")
    return str(folder / "*.parquet")


@pytest.fixture(scope="module")
def one(table):
    return fit(table, SPEC)


def alike(far, one):
    for name, value in one.components.items():
        assert far.components[name] == pytest.approx(value, rel=1e-8, abs=1e-12), name


def test_two_workers_come_to_the_figures_of_one_process(cluster, rows, table, one):
    steps = []
    far = fit_far(rows, SPEC, cluster.scheduler_address, on_step=steps.append)
    try:
        alike(far, one)
        assert sum(far.moved.places) == 900
        assert len(far.moved.places) == 2
        assert len(steps) == far.report.iterations + 1
        asked = pl.concat([table.head(40), table.head(1).with_columns(line=pl.lit("never seen"))])
        here, there = far.predict(asked), one.predict(asked)
        for column in ("median", "low_80", "high_90"):
            assert here[column].to_numpy() == pytest.approx(there[column].to_numpy(), rel=1e-8)
    finally:
        far.close()


def test_a_worker_killed_in_mid_fit_changes_nothing(cluster, rows, one):
    killed = []

    def kill(step):
        if step.done == 2 and not killed:
            worker = next(iter(cluster.workers.values()))
            killed.append(worker.process.process.pid if hasattr(worker.process, "process") else worker.pid)
            os.kill(killed[0], signal.SIGKILL)

    far = fit_far(rows, SPEC, cluster.scheduler_address, on_step=kill)
    try:
        assert killed
        alike(far, one)
    finally:
        far.close()


def test_the_command_fits_rows_here_and_on_a_cluster_alike(cluster, rows, table, tmp_path):
    model, asked, out = tmp_path / "model.json", tmp_path / "asked.parquet", tmp_path / "worths.parquet"
    model.write_text(json.dumps(MODEL))
    table.head(5).write_parquet(asked)
    here = run("fit", "--rows", rows, "--model", str(model), "--json")
    far = run("fit", "--rows", rows, "--model", str(model), "--scheduler", cluster.scheduler_address,
              "--ask", str(asked), "--out", str(out), "--json")  # fmt: skip
    one, other = json.loads(here.stdout), json.loads(far.stdout)
    assert one["travelled"] is None
    assert other["travelled"]["steps"] > 10
    for name, value in one["components"].items():
        assert other["components"][name] == pytest.approx(value, rel=1e-8, abs=1e-12)
    assert {"line", "median", "low_80"} <= set(pl.read_parquet(out).columns)


def test_a_scheduler_that_is_not_there_is_refused(rows):
    with pytest.raises(WorthError, match="No scheduler answers"):
        fit_far(rows, SPEC, "tcp://127.0.0.1:9")
    refused = run("fit", "--rows", rows, "--scheduler", "nonsense://nowhere")
    assert refused.returncode != 0
    assert "No scheduler answers" in refused.stderr
    assert "Traceback" not in refused.stderr


def test_rows_that_do_not_fit_the_model_are_refused_from_the_cluster(cluster, rows):
    with pytest.raises(WorthError, match="no column 'gone'"):
        fit_far(rows, Spec(price="price", groups=["line"], numbers=["gone"]), cluster.scheduler_address)


def run(*words):
    command = [str(Path(sys.executable).with_name("hangtab")), *words]
    return subprocess.run(
        command, capture_output=True, text=True, check=False, env={"PATH": "/usr/bin:/bin", "HOME": "/tmp"}
    )

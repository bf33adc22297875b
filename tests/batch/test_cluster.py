"""Reports made by a dask cluster, also when one of its workers is lost on the way."""

import os
import signal
from pathlib import Path

import pytest

from trialkit.batch import Request, render
from trialkit.batch.progress import Silent
from trialkit.batch.targets import Target
from trialkit.errors import TrialkitError

distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")

# The scheduler and its workers close their sockets when they are collected, not before.
pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::UserWarning")


@pytest.fixture(scope="module")
def cluster():
    options = {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None}
    with distributed.LocalCluster(processes=True, host="127.0.0.1", **options) as made:
        yield made


def pages(out: Path) -> dict[str, bytes]:
    found = (path for path in out.rglob("*") if path.is_file())
    made_of_clock = ("record.json", ".lock")
    return {str(p.relative_to(out)): p.read_bytes() for p in found if p.name not in made_of_clock}


class Killer(Silent):
    """Kills one worker process of the cluster as soon as work has begun."""

    def __init__(self, cluster) -> None:
        with distributed.Client(cluster, set_as_default=False) as client:
            self.victim = next(iter(client.run(os.getpid).values()))
        self.struck = False

    def begun(self, target: Target) -> None:
        if not self.struck:
            os.kill(self.victim, signal.SIGKILL)
            self.struck = True


def test_a_cluster_makes_the_same_bytes_though_a_worker_is_killed(
    cluster, study_folder: Path, notebooks: Path, tmp_path: Path
) -> None:
    here = Request(study_folder, tmp_path / "here", notebooks=notebooks, workers=1)
    there = Request(
        study_folder, tmp_path / "there", notebooks=notebooks, scheduler=cluster.scheduler_address
    )
    killer = Killer(cluster)
    assert not render(there, killer).failed
    assert killer.struck
    assert not render(here).failed
    assert pages(there.out) == pages(here.out)
    assert render(there).outcomes == ()


def test_a_fault_on_the_cluster_is_told_as_here(
    cluster, study_folder: Path, notebooks: Path, tmp_path: Path
) -> None:
    (study_folder / "data/2024/alder_bench/plots.csv").write_text("bad\n")
    there = Request(
        study_folder, tmp_path / "there", notebooks=notebooks, scheduler=cluster.scheduler_address
    )
    (failed,) = render(there).failed
    assert failed.faults == ("data/2024/alder_bench/plots.csv:2:block: it is bad. Mend it.",)
    folder = tmp_path / "there" / "eggplant_flea_beetle" / "2024" / "alder_bench"
    assert {path.name for path in folder.iterdir()} == {"failure.json", "failed.ipynb"}


def test_an_address_where_nobody_answers_is_told(
    study_folder: Path, notebooks: Path, tmp_path: Path, monkeypatch
) -> None:
    monkeypatch.setattr("trialkit.batch.pool.CONNECT_SECONDS", 1)
    nobody = Request(study_folder, tmp_path, notebooks=notebooks, scheduler="tcp://127.0.0.1:9")
    with pytest.raises(TrialkitError, match="No dask scheduler answers"):
        render(nobody)

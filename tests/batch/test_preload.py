"""What the warm servers load before anybody forks from them."""

import os
import subprocess
import sys

import pytest

from trialkit.batch import warm_server

HEAVY = ("matplotlib", "pandas", "pingouin", "papermill", "nbconvert")


def told_by_server(module: str, question: str) -> str:
    """What a server of its own answers after it has loaded a module."""
    environment = {**os.environ, warm_server.PARENT: str(os.getpid())}
    ended = subprocess.run(
        [sys.executable, "-c", f"import gc, sys; import {module} as loaded; print({question})"],
        env=environment, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return ended.stdout.strip()


@pytest.mark.parametrize(
    ("module", "held"),
    [
        ("trialkit.batch.preload_kernels", "matplotlib pandas pingouin True"),
        ("trialkit.batch.preload_workers", "papermill nbconvert True"),
    ],
)
def test_each_server_holds_what_its_forks_need_and_nothing_of_the_other(module, held) -> None:
    question = f"*[name for name in {HEAVY} if name in sys.modules], gc.isenabled()"
    assert told_by_server(module, question) == held


@pytest.mark.parametrize("module", ["preload_kernels", "preload_workers"])
def test_no_module_is_left_out_in_silence(module) -> None:
    question = "[name for name in loaded.MODULES if name not in sys.modules]"
    assert told_by_server(f"trialkit.batch.{module}", question) == "[]"


def test_no_debugger_cluster_or_control_is_loaded_for_kernels_but_cells_can_load_them() -> None:
    loaded = "name.startswith(('dask', 'debugpy', 'ipywidgets'))"
    left_out = f"[name for name in sys.modules if {loaded}]"
    spec = "bool(__import__('importlib.util').util.find_spec('debugpy'))"
    told = told_by_server("trialkit.batch.preload_kernels", f"{left_out}, {spec}")
    assert told == "[] True"


def test_what_no_data_change_is_worked_out_before_kernels_are_forked() -> None:
    known = "sys.modules['trialkit.inference.multivariate_t']._directions.cache_info().currsize"
    nodes = "sys.modules['trialkit.inference.t_quadrature']._normal_rule.cache_info().currsize"
    told = told_by_server("trialkit.batch.preload_kernels", f"{known} > 4, {nodes}")
    assert told == "True 1"

"""Work for many hands: tasks go to an Executor a few at a time, and outcomes come as they end."""

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing.connection import wait as wait_for
from typing import Any

from trialkit.batch import warm_server
from trialkit.batch.progress import Watcher
from trialkit.batch.work import Outcome, Task, make_report


@contextmanager
def local_workers(workers: int) -> Iterator[Executor]:
    """Give an executor with worker processes on this machine; nothing of it outlives the block.

    Where it can be, workers are forked from the warm server that also forks the kernels.
    """
    warm = warm_server.available()
    context = multiprocessing.get_context("forkserver" if warm else "spawn")
    server = warm_server.address() if warm else None
    executor = ProcessPoolExecutor(workers, context, initializer=become_worker, initargs=(server,))
    try:
        yield executor
    except BaseException:
        # Stopped or at fault: what runs is given up, kernels end with their workers.
        for process in list((executor._processes or {}).values()):
            process.kill()
        raise
    finally:
        executor.shutdown(wait=True, cancel_futures=True)


def become_worker(server: Mapping[str, Any] | None) -> None:
    """Make this process a worker: it leaves Ctrl-C to its parent and ends when the parent does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()
    if server is not None:
        warm_server.adopt(server)


def _end_with(sentinel: int) -> None:
    wait_for([sentinel])
    os._exit(1)


def default_workers() -> int:
    """Return one worker for each core that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def outcomes_of(
    tasks: Iterable[Task],
    executor: Executor,
    at_once: int,
    watcher: Watcher,
    work: Callable[[Task], Outcome] = make_report,
) -> Iterator[Outcome]:
    """Yield the outcome of each task as it ends; no more than ``at_once`` wait in the executor."""
    waiting = iter(tasks)
    running: dict[Future[Outcome], Task] = {}
    while True:
        while len(running) < at_once and (task := next(waiting, None)) is not None:
            running[executor.submit(work, task)] = task
            watcher.begun(task.target)
        if not running:
            return
        done, _ = wait(running, return_when=FIRST_COMPLETED)
        for future in done:
            outcome = _outcome(future, running.pop(future))
            watcher.ended(outcome)
            yield outcome


def _outcome(future: Future[Outcome], task: Task) -> Outcome:
    try:
        return future.result()
    except BrokenProcessPool:
        fault = "its worker process died, as happens when memory runs out. Render again with "
        return Outcome(task.target, (f"data/{task.target.key}::: {fault}--workers 1.",))

"""Work for many hands: tasks go to an Executor a few at a time, and outcomes come as they end."""

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import dataclass
from functools import cache
from multiprocessing.connection import wait as wait_for
from typing import Any

from trialkit.batch import warm_server
from trialkit.batch.parcel import make_from_parcel, pack, unpack
from trialkit.batch.progress import Watcher
from trialkit.batch.work import Outcome, Task, make_report
from trialkit.errors import TrialkitError

CONNECT_SECONDS = 10


@dataclass(frozen=True)
class Crew:
    """Workers behind an executor.

    ``at_once`` is how many tasks they can have under way, ``hand_out`` gives them one, ``take_in``
    makes an outcome of what comes back.
    """

    executor: Executor
    at_once: int
    hand_out: Callable[[Executor, Task], Future[Any]]
    take_in: Callable[[Any, Task], Outcome]


@contextmanager
def hiring(workers: int, scheduler: str | None) -> Iterator[Callable[[], Crew]]:
    """Give a function that hires the crew when it is first called, and the same one from then on.

    The crew is let go at the end of the block.
    """
    with ExitStack() as stack:
        yield cache(lambda: stack.enter_context(crew_for(workers, scheduler)))


def crew_for(workers: int, scheduler: str | None) -> AbstractContextManager[Crew]:
    """Return the crew: processes here, or an existing dask cluster."""
    return cluster_crew(scheduler) if scheduler else local_crew(workers)


@contextmanager
def local_crew(workers: int) -> Iterator[Crew]:
    """Give worker processes on this machine; nothing of them outlives the block.

    Where it can be, workers are forked from a warm server, and told where that of the kernels is.
    """
    warm = warm_server.available()
    context = multiprocessing.get_context("forkserver" if warm else "spawn")
    server = warm_server.address() if warm else None
    executor = ProcessPoolExecutor(workers, context, initializer=become_worker, initargs=(server,))
    try:
        yield Crew(executor, workers, _submit, _as_it_is)
    except BaseException:
        # Stopped or at fault: what runs is given up, kernels end with their workers.
        for process in list((executor._processes or {}).values()):
            process.kill()
        if warm:
            warm_server.stop()
        raise
    finally:
        executor.shutdown(wait=True, cancel_futures=True)


def _submit(executor: Executor, task: Task) -> Future[Outcome]:
    return executor.submit(make_report, task)


def _as_it_is(outcome: Outcome, task: Task) -> Outcome:
    return outcome


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


@contextmanager
def cluster_crew(address: str) -> Iterator[Crew]:
    """Give the workers of an existing dask cluster, such as tcp://host:8786.

    What a task reads travels with it: the cluster needs no folder in common with this machine.
    Raises TrialkitError when dask is not installed or nothing answers at the address.
    """
    try:
        from distributed import Client
    except ImportError:
        raise TrialkitError(
            "--scheduler needs dask, which is not installed. Run: pip install 'trialkit[cluster]'"
        ) from None
    try:
        client = Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise TrialkitError(
            f"No dask scheduler answers at {address} ({error}). Start one with `dask scheduler`, "
            "and workers with `dask worker ADDRESS`."
        ) from None
    with client:
        at_once = max(1, sum(client.nthreads().values()))
        # A report is the same whoever makes it and however often: a lost one is made again.
        executor = client.get_executor(pure=False, retries=3)
        yield Crew(executor, at_once, _send, unpack)


def _send(executor: Executor, task: Task) -> Future[Any]:
    return executor.submit(make_from_parcel, pack(task))


def default_workers() -> int:
    """Return one worker for each core that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def outcomes_of(tasks: Iterable[Task], crew: Crew, watcher: Watcher) -> Iterator[Outcome]:
    """Yield the outcome of each task as it ends; no more are handed out than can be under way.

    A worker that dies breaks the whole pool of the standard library. The tasks that were under way
    then run again, each alone, so that only the one to blame fails.
    """
    waiting, suspects = iter(tasks), []
    running: dict[Future[Any], Task] = {}
    broken = False
    while True:
        while not broken and len(running) < crew.at_once and (task := next(waiting, None)):
            watcher.begun(task.target)
            try:
                running[crew.hand_out(crew.executor, task)] = task
            except BrokenProcessPool:
                broken = True
                suspects.append(task)
        if not running:
            break
        done, _ = wait(running, return_when=FIRST_COMPLETED)
        for future in done:
            task = running.pop(future)
            if isinstance(future.exception(), BrokenProcessPool):
                broken = True
                suspects.append(task)
                continue
            yield _noted(_outcome(future, task, crew), watcher)
    for task in (*suspects, *waiting):
        yield _noted(_alone(task), watcher)


def _noted(outcome: Outcome, watcher: Watcher) -> Outcome:
    watcher.ended(outcome)
    return outcome


def _outcome(future: Future[Any], task: Task, crew: Crew) -> Outcome:
    try:
        return crew.take_in(future.result(), task)
    except TrialkitError as error:
        return Outcome(task.target, tuple(str(error).splitlines()))
    except Exception as error:
        # One report may fail for any reason of another machine's; the others go on.
        return _blamed(task, f"its worker failed with {type(error).__name__}: {error}")


def _alone(task: Task) -> Outcome:
    try:
        with local_crew(1) as crew:
            return crew.hand_out(crew.executor, task).result()
    except BrokenProcessPool:
        return _blamed(task, "its worker process died, as happens when memory runs out")


def _blamed(task: Task, reason: str) -> Outcome:
    return Outcome(task.target, (f"data/{task.target.key}::: {reason}. Render again.",))

"""Who does the parts: this process, processes of this machine, or a running cluster. The parts are the same."""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from typing import Any, Final, Protocol

from habmap.errors import HabmapError, InputError, PlaceError, UsageError
from habmap.place.zonework import threads_here

#: How often a part may take its worker with it before it is named and the work ends.
MOST_TRIES: Final = 8
#: What a worker needs, loaded before there is one.
_PRELOADED: Final = ("habmap.region.terrain", "habmap.region.account")
#: How long is waited before workers are started once more [s].
START_AGAIN_S: Final = 0.2
#: How long a scheduler is waited for [s].
CONNECT_S: Final = 15.0


@dataclass(frozen=True, slots=True)
class Task:
    """One part to be done: a function of a module, and what it is called with (words and numbers alone)."""

    name: str
    function: Callable[..., dict[str, Any]]
    arguments: tuple[Any, ...]


class Engine(Protocol):
    """Does tasks in any order, each as often as it takes."""

    workers: int
    retried: int

    def run(self, tasks: Sequence[Task]) -> Iterator[tuple[Task, dict[str, Any]]]:
        """Yield each task with what it told, as they end."""


class Here:
    """This process alone."""

    def __init__(self) -> None:
        self.workers, self.retried = 1, 0

    def run(self, tasks: Sequence[Task]) -> Iterator[tuple[Task, dict[str, Any]]]:
        """Do one after another."""
        for task in tasks:
            yield task, task.function(*task.arguments)


class Processes:
    """Processes of this machine; one that dies is replaced, and its part is done again."""

    def __init__(self, workers: int) -> None:
        self.workers, self.retried = workers, 0

    def run(self, tasks: Sequence[Task]) -> Iterator[tuple[Task, dict[str, Any]]]:
        """Keep every process at work; two parts each are enough to never wait."""
        waiting, tries = deque(tasks), {task.name: 0 for task in tasks}
        running: dict[Future[dict[str, Any]], Task] = {}
        idle = 0
        pool = self._pool()
        try:
            while waiting or running:
                try:
                    while waiting and len(running) < 2 * self.workers:
                        running[pool.submit(waiting[0].function, *waiting[0].arguments)] = waiting[0]
                        waiting.popleft()
                    ended, _ = wait(running, return_when=FIRST_COMPLETED)
                    for future in ended:
                        told = future.result()
                        yield running.pop(future), told
                except (BrokenProcessPool, EOFError, ConnectionError) as error:
                    again = list(running.values())
                    running.clear()
                    for task in again:
                        tries[task.name] += 1
                        if tries[task.name] >= MOST_TRIES:
                            raise _kills_its_worker(task.name) from None
                    if not again:  # what begins workers was lost, and is not known to be yet
                        idle += 1
                        if idle >= MOST_TRIES:
                            raise PlaceError(
                                "no worker can be started",
                                where="--workers",
                                value=error,
                                mend="look at the memory and the limits of this machine, then go on with --resume",
                            ) from error
                        time.sleep(START_AGAIN_S)
                    self.retried += len(again)
                    waiting.extendleft(reversed(again))
                    _end(pool)
                    pool = self._pool()
        finally:
            _end(pool)

    def _pool(self) -> ProcessPoolExecutor:
        # Fresh processes: threads and open rasters of this one do not outlive a fork. Where one process can load the
        # libraries and be forked before it does anything, a worker begins at once; elsewhere each loads its own.
        context = multiprocessing.get_context("forkserver" if sys.platform == "linux" else "spawn")
        if sys.platform == "linux":
            context.set_forkserver_preload(list(_PRELOADED))
        return ProcessPoolExecutor(self.workers, mp_context=context, initializer=_begin)


def _begin() -> None:
    # Ctrl-C reaches every process of the terminal; the one that was typed at decides.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """End this worker when the command is gone, however it went: nobody asks it for anything any more."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _end(pool: ProcessPoolExecutor) -> None:
    """Let nothing of a pool live on, whatever it is doing: parts are whole or not there."""
    processes = list((pool._processes or {}).values())  # no public way to end what runs
    pool.shutdown(wait=False, cancel_futures=True)
    for process in processes:
        process.terminate()
    for process in processes:
        process.join()


class Cluster:
    """A running dask.distributed cluster."""

    def __init__(self, address: str) -> None:
        with InputError(
            "the library that speaks to a cluster is not installed",
            where="--scheduler",
            value=address,
            mend="pip install 'habmap[region]', here and on every worker",
        ).instead_of(ImportError):
            import distributed
        try:
            dask: Any = distributed
            asyncio.run(asyncio.wait_for(_identity(dask, address), CONNECT_S))
            self._client = dask.Client(address, timeout=CONNECT_S)
        except (OSError, TimeoutError, ValueError) as error:
            raise InputError(
                "no scheduler answers at this address",
                where="--scheduler",
                value=f"{address}: {error}",
                allowed="the address that `dask scheduler` prints, such as tcp://10.0.0.5:8786",
                mend="start one with `dask scheduler`, and workers with `dask worker ADDRESS`",
            ) from error
        self.retried = 0
        self.workers = sum(self._client.nthreads().values())

    def run(self, tasks: Sequence[Task]) -> Iterator[tuple[Task, dict[str, Any]]]:
        """Hand all parts over; the scheduler gives those of a lost worker to another one."""
        import distributed
        import distributed.comm.core

        dask: Any = distributed
        comm_closed: Any = distributed.comm.core.CommClosedError

        by_key = {}
        futures = []
        # Rules of the cluster's own are for one who pays for its hours; a part that was lost is done again at once.
        for task in tasks:
            future = self._client.submit(task.function, *task.arguments, key=task.name, pure=False, retries=MOST_TRIES)
            by_key[future.key] = task
            futures.append(future)
        try:
            for future in dask.as_completed(futures, raise_errors=False):
                task = by_key[future.key]
                try:
                    told = future.result()
                except dask.KilledWorker:
                    raise _kills_its_worker(task.name) from None
                except (dask.CancelledError, comm_closed, OSError) as error:
                    raise _scheduler_gone(error) from error
                yield task, told
        except (comm_closed, TimeoutError) as error:
            raise _scheduler_gone(error) from error
        finally:
            if self._client.status == "running":
                self._client.cancel(futures, force=True)
            self._client.close(timeout=CONNECT_S)


def engine_for(*, workers: int | None, scheduler: str | None) -> Engine:
    """Return who does the work.

    Raises
    ------
    UsageError
        Both were named, or fewer workers than one.
    InputError
        No scheduler answers, or the library that speaks to it is not installed.
    """
    if scheduler is not None:
        if workers is not None:
            raise UsageError(
                "either processes of this machine or a cluster", where="--workers, --scheduler", mend="name one of them"
            )
        return Cluster(scheduler)
    count = threads_here() if workers is None else workers
    if count < 1:
        raise UsageError(
            "no work is done by fewer workers than one",
            where="--workers",
            value=count,
            allowed="1 or more",
            mend="give 1 or more, or leave it out",
        )
    return Here() if count == 1 else Processes(count)


def _kills_its_worker(name: str) -> HabmapError:
    return PlaceError(
        "this part of the work ended its worker again and again",
        where=name,
        value=f"{MOST_TRIES} times",
        mend="look whether the workers have memory enough; --resume goes on from what is whole",
    )


async def _identity(dask: Any, address: str) -> object:
    """Return who answers at an address; a client alone would ask a stranger on and on."""
    async with dask.rpc(address) as remote:
        return await remote.identity()


def _scheduler_gone(error: BaseException) -> HabmapError:
    return PlaceError(
        "the scheduler is gone",
        where="--scheduler",
        value=error,
        mend="start it again, and give the same command with --resume: what is whole stays",
    )

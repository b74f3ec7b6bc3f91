"""Many rides over this machine's cores, or over the workers of a Dask cluster."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

from importers.errors import UsageError

Task = TypeVar("Task")
Answer = TypeVar("Answer")

FEWEST_FOR_POOL = 4
"""Starting workers costs about a second each; fewer tasks are done here. Our choice."""


def run_all(
    work: Callable[[Task], Answer],
    tasks: Sequence[Task],
    *,
    cluster: str | None = None,
    workers: int | None = None,
) -> Iterator[Answer]:
    """`work` of every task, answers in the order of the tasks.

    `work` must be importable by name; tasks and answers travel between processes. `cluster` is
    the address of a Dask scheduler whose workers see the same files.

    Raises
    ------
    UsageError : the cluster cannot be reached, or its extra is not installed
    """
    if cluster is not None:
        yield from _on_cluster(work, tasks, cluster)
        return
    count = min(workers or os.cpu_count() or 1, len(tasks))
    if len(tasks) < FEWEST_FOR_POOL or count < 2:
        yield from map(work, tasks)
        return
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    # Fresh interpreters: a forked pyarrow may hang in its thread pools.
    with ProcessPoolExecutor(count, get_context("spawn"), _one_thread) as pool:
        yield from pool.map(work, tasks)


def _one_thread() -> None:
    """A worker of many keeps to its own core."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    import pyarrow as pa

    pa.set_cpu_count(1)


def _on_cluster(
    work: Callable[[Task], Answer], tasks: Sequence[Task], address: str
) -> Iterator[Answer]:
    try:
        from distributed import Client
    except ImportError as error:
        raise UsageError(
            where="--cluster",
            what="the cluster's engine is not installed",
            remedy="pip install 'hillproof[cluster]' here and on every worker.",
        ) from error
    try:
        client = Client(address, timeout="10s")
    except (OSError, TimeoutError, ValueError) as error:
        raise UsageError(
            where=f"--cluster {address}",
            what="no scheduler answers at this address",
            remedy="Start one with `dask scheduler`, workers with `dask worker ADDRESS`.",
        ) from error
    try:
        futures = client.map(work, list(tasks), pure=False)
        for future in futures:
            yield future.result()
    finally:
        client.close()

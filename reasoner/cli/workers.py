"""Many cases at once: spread over the processors, one after another where there are few, with a bar meanwhile.

Cases go out a few at a time and come back in order; what comes back is small. Each worker reads the rules once.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

from reasoner.casebook.shape import Case, load_sound
from reasoner.casebook.trouble import CasebookError
from reasoner.cli import loading
from reasoner.session.chapters import Garage

FEW = 24  # starting processes takes as long as this many cases
CASES_AT_ONCE = 40  # cases a worker takes with it

_T = TypeVar("_T")
R = TypeVar("R")
CaseJob = Callable[..., _T]  # case, the garages (one for each set of rules), options -> what comes back
Layers = tuple[Path, ...]

_here: dict[str, Any] = {}


def each(
    job: CaseJob[_T],
    paths: Sequence[Path],
    rules: Sequence[Layers],
    options: Any = None,
    title: str = "",
    workers: int = 0,
) -> Iterator[tuple[Path, _T | CasebookError]]:
    """A job done for every case, in order; the error instead where a file is damaged. rules: sets of layers.

    job: a function of a module, so that another process can find it. workers: 0 = one for each processor.
    """
    count = workers or os.cpu_count() or 1
    found = _spread(job, paths, rules, options, count) if len(paths) > FEW and count > 1 else None
    if found is None:
        garages = [Garage(loading.rules(layers)) for layers in rules]
        found = (_done(job, path, garages, options) for path in paths)
    yield from with_progress(found, len(paths), title)


def _spread(
    job: CaseJob[_T], paths: Sequence[Path], rules: Sequence[Layers], options: Any, count: int
) -> Iterator[tuple[Path, _T | CasebookError]]:
    for layers in rules:
        loading.rules(layers)  # a mistake in the rules is said here, once
    pieces = [(job, paths[i : i + CASES_AT_ONCE], options) for i in range(0, len(paths), CASES_AT_ONCE)]
    return pooled(_several, pieces, count, _begin, rules)


def pooled(
    several: Callable[..., Sequence[R]],
    pieces: Sequence[tuple[Any, ...]],
    count: int,
    begin: Callable[..., None],
    *given: Any,
) -> Iterator[R]:
    """What `several` makes of each piece (its arguments), in order, by so many processes; each does `begin` first."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import active_children

    with ProcessPoolExecutor(count, initializer=_child, initargs=(begin, given)) as pool:
        try:
            with _uninterrupted():
                results = pool.map(several, *zip(*pieces, strict=True))  # starts the processes
            for found in results:
                yield from found
        except BaseException:
            for child in active_children():  # or Ctrl-C would wait for what they have begun
                child.terminate()
            pool.shutdown(cancel_futures=True)
            raise


@contextmanager
def _uninterrupted() -> Iterator[None]:
    """Ctrl-C waits meanwhile: Python drops what is raised in a hook of a fork, and a pool half begun never ends.

    A handler and no mask of signals: threads of the number library would take what the main thread does not.
    """
    import signal

    heard: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, frame: heard.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if heard:
        raise KeyboardInterrupt


def _child(begin: Callable[..., None], given: tuple[Any, ...]) -> None:
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent ends it
    begin(*given)


def _begin(rules: Sequence[Layers]) -> None:
    _here["garages"] = [Garage(loading.rules(layers)) for layers in rules]


def _several(job: CaseJob[_T], paths: Sequence[Path], options: Any) -> list[tuple[Path, _T | CasebookError]]:
    return [_done(job, path, _here["garages"], options) for path in paths]


def _done(job: CaseJob[_T], path: Path, garages: Sequence[Garage], options: Any) -> tuple[Path, _T | CasebookError]:
    try:
        case: Case = load_sound(path)
        return path, job(case, garages, options)
    except CasebookError as error:
        return path, CasebookError(error.message, error.mend, error.path or path, error.line)


def with_progress(found: Iterator[_T], total: int, title: str) -> Iterator[_T]:
    """The same results, one by one, with a bar on standard error where that is a terminal and it takes a while."""
    if not title or total <= FEW or not sys.stderr.isatty():
        yield from found
        return
    from reasoner.report.shapes import progress

    yield from progress(found, total, title, sys.stderr)

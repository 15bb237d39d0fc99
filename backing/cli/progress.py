"""Progress with the time left: a bar on a terminal, nothing in a pipe."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from backing.chart.text.source import readable
from backing.cli.status import tell

if TYPE_CHECKING:
    from tqdm import tqdm

ONE = "{desc} {bar:30} {percentage:3.0f} %  {remaining} left"
MANY = "{desc} {bar:30} {n_fmt} of {total_fmt} {unit}  {remaining} left"


def _bars() -> type[tqdm[None]]:
    """The bars, loaded only where there is somebody to see one."""
    from tqdm import tqdm

    # no thread that watches them: the mixdown forks only where there is no other thread
    tqdm.monitor_interval = 0
    bars: type[tqdm[None]] = tqdm
    return bars


@contextmanager
def share_done(name: str, *, quiet: bool) -> Iterator[Callable[[float], None] | None]:
    """Progress of one piece of work called ``name``, told how much is done, from 0 to 1."""
    if quiet or not sys.stderr.isatty():
        yield None
        return
    with _bars()(total=1.0, desc=name, leave=False, bar_format=ONE, file=sys.stderr) as bar:
        yield lambda done: _move(bar, done)


def _move(bar: tqdm[None], done: float) -> None:
    bar.update(done - bar.n)


@contextmanager
def many_done(count: int, what: str = "tracks", *, quiet: bool) -> Iterator[Callable[[str], None]]:
    """Progress of ``count`` tracks or other files, told what there is to say of each."""
    if quiet or not sys.stderr.isatty():
        yield lambda words: tell(words) if words else None
        return
    with _bars()(
        total=count, desc="band", unit=what, leave=False, bar_format=MANY, file=sys.stderr
    ) as bar:

        def one_more(words: str) -> None:
            if words:
                bar.write(readable(words), file=sys.stderr)
            bar.update()

        yield one_more

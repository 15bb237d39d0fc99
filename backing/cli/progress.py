"""Progress with the time left: a bar on a terminal, nothing in a pipe."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from tqdm import tqdm

from backing.cli.status import tell

ONE = "{desc} {bar:30} {percentage:3.0f} %  {remaining} left"
MANY = "{desc} {bar:30} {n_fmt} of {total_fmt} tracks  {remaining} left"

# no thread that watches the bars: the mixdown forks only where there is no other thread
tqdm.monitor_interval = 0


@contextmanager
def share_done(name: str, *, quiet: bool) -> Iterator[Callable[[float], None] | None]:
    """Progress of one piece of work called ``name``, told how much is done, from 0 to 1."""
    if quiet or not sys.stderr.isatty():
        yield None
        return
    with tqdm(total=1.0, desc=name, leave=False, bar_format=ONE, file=sys.stderr) as bar:
        yield lambda done: _move(bar, done)


def _move(bar: tqdm[None], done: float) -> None:
    bar.update(done - bar.n)


@contextmanager
def tracks_done(count: int, *, quiet: bool) -> Iterator[Callable[[str], None]]:
    """Progress of ``count`` tracks, told what there is to say of each that is finished."""
    if quiet or not sys.stderr.isatty():
        yield lambda words: tell(words) if words else None
        return
    with tqdm(total=count, desc="band", leave=False, bar_format=MANY, file=sys.stderr) as bar:

        def one_more(words: str) -> None:
            if words:
                bar.write(words, file=sys.stderr)
            bar.update()

        yield one_more

"""``backing lesson --log``: what students send back, beside what they were asked."""

from __future__ import annotations

from collections.abc import Sequence

from backing.cli.assignment import Assignment
from backing.cli.parser import Words
from backing.lesson.lesson_file import Lesson


def practiced(words: Words, read: Lesson, assignments: Sequence[Assignment]) -> int:
    raise NotImplementedError

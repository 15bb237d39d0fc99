"""FORM -> PASSES: what is played, in which order, at which tempos and in which keys."""

from backing.routine.passes import Pass, Purpose

__all__ = ["Pass", "Purpose"]

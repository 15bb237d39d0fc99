"""What a reader of scores has to tell: faults, and what it has understood in its own way."""

from __future__ import annotations

from dataclasses import dataclass, field

from backing.errors import UserError

MOST_TOLD = 20
LEFT_OUT = "It is left out."


@dataclass(slots=True)
class Report:
    """``notes`` on what was read otherwise than it is written, and ``faults`` that forbid it.

    With ``skip`` a fault costs only what it is about, and becomes a note.
    """

    skip: bool = False
    notes: list[str] = field(default_factory=list)
    faults: list[tuple[str, str]] = field(default_factory=list)

    def note(self, text: str) -> None:
        """Record what was read otherwise, once."""
        if text not in self.notes:
            self.notes.append(text)

    def fault(self, cause: str, cure: str) -> None:
        """Record a fault."""
        if self.skip:
            self.note(f"{cause} {LEFT_OUT}")
        else:
            self.faults.append((cause, cure))

    def finish(self) -> None:
        """Raise a UserError of all faults, if there are any."""
        if len(self.faults) == 1:
            raise UserError(*self.faults[0])
        if self.faults:
            said = [f"  {cause} {cure}" for cause, cure in self.faults[:MOST_TOLD]]
            left = len(self.faults) - MOST_TOLD
            said += [f"  {left} more."] if left > 0 else []
            raise UserError(
                "\n".join([f"{len(self.faults)} mistakes in the score:", *said]) + "\n",
                "Correct them, or see what else is there with backing check FILE --mend.",
            )

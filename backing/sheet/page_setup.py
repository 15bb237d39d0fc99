"""The paper a sheet is printed on, and how large."""

from __future__ import annotations

from dataclasses import dataclass

from backing.errors import OutputError

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height in millimeters: ISO 216, and ANSI Y14.1 (8.5 by 11 inches)."""
LARGE = 1.4
"""How much larger large print is: 12 point text becomes the 17 point of large-print books."""


@dataclass(frozen=True, slots=True)
class PageSetup:
    """Paper size in millimeters, the ``scale`` of all that is printed, and whether chord symbols
    have ``signs`` (triangles and circles) for words."""

    width_mm: float
    height_mm: float
    scale: float = 1.0
    signs: bool = False


def make_page_setup(paper: str = "a4", *, large: bool = False, signs: bool = False) -> PageSetup:
    """The page setup for a paper size by name, in large print or not.

    Raises OutputError for an unknown paper size.
    """
    size = PAPERS.get(paper.strip().lower())
    if size is None:
        raise OutputError(f'"{paper}" isn\'t a paper size.', f"Choose {' or '.join(PAPERS)}.")
    return PageSetup(*size, LARGE if large else 1.0, signs)

"""``backing cache``: the tracks that are kept, to be seen, limited and cleared."""

from __future__ import annotations

import re

from backing.cli.parser import Words
from backing.cli.status import DONE, show
from backing.errors import UserError, quoted
from backing.mixdown.cache import user_cache

UNITS = {"": 1, "K": 10**3, "M": 10**6, "G": 10**9, "T": 10**12}


def cache(words: Words) -> int:
    """Show what is kept, after clearing or limiting it if asked."""
    kept = user_cache()
    limit = words.text("limit")
    if limit is not None:
        kept = kept.limited(_bytes(limit))
    if "clear" in words:
        kept.clear()
    entries = kept.entries()
    count, size = len(entries), sum(entry.size for entry in entries)
    many = "" if count == 1 else "s"
    show(f"{count} track{many}, {size / 1e6:,.1f} MB of at most {kept.limit / 1e6:,.0f} MB")
    show(str(kept.folder.parent))
    return DONE


def _bytes(text: str) -> int:
    """A size like "500M" or "2 GB" in bytes."""
    match = re.fullmatch(r"([0-9]{1,12}(?:\.[0-9]{1,9})?)\s*([KMGT]?)B?", text.strip().upper())
    if not match:
        raise UserError(
            f"{quoted(text)} isn't a size.", "Write one such as 500M or 2G; 0 keeps nothing."
        )
    return round(float(match[1]) * UNITS[match[2]])

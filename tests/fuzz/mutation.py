"""Damage: bytes and words that are almost right."""

from __future__ import annotations

import random
from collections.abc import Sequence

NUMBERS = (
    "0", "-1", "1", "00", "1.5", "1/0", "0/0", "1e8", "1e400", "-1e-400", "nan", "inf", "-inf",
    "2147483648", "99999999999999999999", "9" * 400, "9" * 5000, "0." + "0" * 400 + "1", "²", "٣",
    "０", "Ⅳ", "1_000", "0x10", "+5", "--5", "5.", ".5", "64", "65", "100", "255", "256", "65536",
)  # fmt: skip
ODD = (
    "\0", "\x1b[31m", "\x1b]0;x\x07", "\u202e", "\ufeff", "\ud7ff", "\U0010ffff", "é", "e\u0301",
    "\u2028", "\x85", "\r", "\t", "ﬀ", "İ", "ß", "𝄞", "♭", "♯", "\\", '"', "'", "`", "$(x)", "%s",
    "{}", "../..", "/dev/null", "a" * 1200, " " * 1200, "|" * 300, ":" * 300, "(" * 300,
)  # fmt: skip


def damaged(rng: random.Random, seeds: Sequence[bytes], words: Sequence[bytes]) -> bytes:
    """One of the seeds with a few pieces changed, doubled, left out, or taken from another."""
    data = bytearray(rng.choice(seeds))
    for _ in range(rng.choice((1, 1, 1, 2, 3, 5, 9))):
        at = rng.randrange(len(data) + 1)
        to = min(len(data), at + rng.choice((0, 1, 1, 2, 4, 8, 30)))
        match rng.randrange(8):
            case 0:
                data[at:to] = rng.randbytes(max(1, to - at))
            case 1:
                del data[at:to]
            case 2:
                data[at:at] = data[at:to] * rng.choice((1, 1, 2, 50))
            case 3:
                other = rng.choice(seeds)
                start = rng.randrange(len(other) + 1)
                data[at:to] = other[start : start + rng.choice((4, 40, 400))]
            case 4:
                del data[at:]
            case 5:
                _swap_number(rng, data)
            case _:
                data[at:to] = rng.choice(words)
        if len(data) > 200_000:
            del data[200_000:]
    return bytes(data)


def rearranged(rng: random.Random, data: bytes, words: Sequence[bytes]) -> bytes:
    """The same lines in another order, some doubled or left out, and words in other places."""
    lines = data.split(b"\n")
    for _ in range(rng.choice((1, 1, 2, 3, 6))):
        at = rng.randrange(len(lines))
        match rng.randrange(5):
            case 0:
                lines.insert(rng.randrange(len(lines) + 1), lines[at])
            case 1 if len(lines) > 1:
                del lines[at]
            case 2:
                lines.insert(at, rng.choice(words).strip(b"\n"))
            case _:
                parts = lines[at].split(b" ")
                parts[rng.randrange(len(parts))] = rng.choice((*words, *parts)).strip(b"\n")
                lines[at] = b" ".join(parts)
    return b"\n".join(lines)


def _swap_number(rng: random.Random, data: bytearray) -> None:
    """Another number in place of one that is there."""
    places = [i for i, c in enumerate(data) if 48 <= c <= 57]
    if places:
        first = last = rng.choice(places)
        while last < len(data) and 48 <= data[last] <= 57:
            last += 1
        data[first:last] = rng.choice(NUMBERS).encode("utf-8", "replace")


def encoded(words: Sequence[str]) -> list[bytes]:
    """Words as bytes, those that are odd anywhere along with them."""
    return [word.encode("utf-8", "surrogatepass") for word in (*words, *NUMBERS, *ODD)]

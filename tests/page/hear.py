"""What the page's ear makes of a sound: its scripts, run by Node."""

from __future__ import annotations

import json
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from backing.take.heard import Heard, HeardNote
from backing.take.table import take_table
from tests.page.test_scripts import run


def hear_by_page(sound: np.ndarray, rate: int) -> Heard:
    """Mono sound, as the page hears it."""
    with TemporaryDirectory() as folder:
        samples, table = Path(folder) / "sound.f32", Path(folder) / "table.json"
        samples.write_bytes(np.asarray(sound, "<f4").tobytes())
        table.write_text(json.dumps(take_table()), "utf-8")
        found = json.loads(run("tests/page/hear.js", str(samples), str(rate), str(table)))
    return Heard(
        tuple(HeardNote(**note) for note in found["notes"]),
        len(sound) / rate,
        found["tuning"],
        tuple(found["doubts"]),
        clean=found["clean"],
        refusal=found["refusal"],
        remarks=tuple(found["remarks"]),
    )

"""What the page needs to say of a take what the program says: bounds and sentences."""

from __future__ import annotations

from typing import Any

from backing.take import (
    account,
    advice,
    changes,
    exercise,
    grid,
    hearing,
    kinds,
    listening,
    log,
    phrases,
    placing,
    report,
    timing,
)

Json = dict[str, Any]
BOUNDS = {
    grid: "LAST_EIGHTH SURE GHOST_DB LEAKED_DB BETWEEN_CENTS",
    kinds: "STEP LONGEST_CHAIN HELD SOON",
    changes: "AFTER REST LONGEST",
    timing: "FEWEST_TIMED FEWEST_PAIRS SHIFT_MS SHIFT_SPREADS DRIFT_MS",
    phrases: "REST LONG_RUN LEFT_OUT IN_RUNS FEWEST_IN_RUNS ECHO",
    exercise: "NEAR PLAYS_ALONG",
    account: "FEWEST_IN_BAR STRANGE AT_HOME FARTHEST_SLIP",
    advice: "EXERCISE MASTERS_STEP FEW_STEPS WIDE_MS FEWEST_TONES AVOIDED FAVORED",
    listening: (
        "VOICED CHANGE SILENCE WIDTH FARTHEST SHORTEST AROUND STRUCK MAYBE FADED APART QUIETEST "
        "DROP FARTHEST_CENTS FADES GONE STAYS UNSETTLED APART_BINS STRAYS"
    ),
    hearing: "SILENT_DB TUNED ALONE LEAKS FEW_VOICED MISTUNED CLEAN_DB",
    placing: (
        "TONE TENSION OTHER OUTSIDE ON_LINE OFF_LINE LATE_SPREAD LINE_SPREAD OWN_WEIGHT SURE FEWEST"
    ),
}  # fmt: skip
"""The modules whose bounds the page has too, and their names there."""


def take_table() -> Json:
    """The bounds, by module and name, and the words in which a take is told."""
    return {
        "bounds": {
            module.__name__.rpartition(".")[2]: {
                name.lower(): getattr(module, name) for name in names.split()
            }
            for module, names in BOUNDS.items()
        },
        "sentences": advice.SENTENCES | hearing.SENTENCES,
        "figures": report.FIGURES,
        "plotted": [name for name, _ in log.PLOTTED],
        "plot_title": log.PLOT_TITLE,
        "honest": [report.SOLOISTS_TONES, report.EXERCISE_TONES],
        "ways": [list(way) for way in advice.WAYS],
        "roles": list(advice.ROLES),
        "counted": list(exercise.COUNTED),
    }

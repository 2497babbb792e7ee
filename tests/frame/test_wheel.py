"""The wheel holds all it needs and its command starts in an environment that has never seen this folder."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "setwright"

pytestmark = pytest.mark.slow


def call(*args: str | Path, cwd: Path) -> str:
    answer = subprocess.run(args, cwd=cwd, capture_output=True, text=True, check=False)
    assert answer.returncode == 0, answer.stdout + answer.stderr
    return answer.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    tree = tmp_path_factory.mktemp("tree")
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, tree)
    shutil.copytree(PACKAGE, tree / "src" / "setwright", ignore=shutil.ignore_patterns("__pycache__"))
    call(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", tree / "dist", cwd=tree)
    (made,) = (tree / "dist").glob("*.whl")
    return made


def test_the_wheel_holds_every_module_and_data_file(wheel: Path) -> None:
    inside = set(zipfile.ZipFile(wheel).namelist())
    wanted = {
        str(path.relative_to(PACKAGE.parent))
        for path in PACKAGE.rglob("*")
        if path.suffix in (".py", ".toml", ".json") or path.name == "py.typed"
    }
    assert "setwright/py.typed" in wanted
    assert wanted <= inside
    assert not any(name.startswith(("tests/", "devtools/")) for name in inside)


def test_the_command_starts_where_only_the_wheel_is_installed(wheel: Path, tmp_path: Path) -> None:
    if importlib.util.find_spec("setwright.cli.main") is None:
        pytest.skip("setwright.cli.main does not exist yet")
    place = tmp_path / "empty"
    call(sys.executable, "-m", "venv", "--without-pip", place, cwd=tmp_path)
    python = place / "bin" / "python"
    pip = (sys.executable, "-m", "pip", "--python", python, "--isolated", "--disable-pip-version-check")
    call(*pip, "install", "-q", "--no-deps", "--no-index", wheel, cwd=tmp_path)
    own = Path(call(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=tmp_path).strip())
    # numpy and click are lent by the test environment, behind the wheel; its editable setwright is not seen this way.
    (own / "lent.pth").write_text(sysconfig.get_path("purelib") + "\n")
    where = call(python, "-I", "-c", "import setwright; print(setwright.__file__)", cwd=tmp_path)
    assert Path(where.strip()).is_relative_to(place)
    assert "Usage" in call(place / "bin" / "setwright", "--help", cwd=tmp_path)

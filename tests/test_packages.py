"""Wheel and sdist: the same bytes every time, with what they should hold and nothing else."""

from __future__ import annotations

import hashlib
import subprocess
import sys
import tarfile
import zipfile
from email import message_from_string
from pathlib import Path

import pytest

import steybrae

ROOT = Path(__file__).resolve().parents[1]
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "src", "tests", "sample_dem", "LICENSE"}
NAME = f"steybrae-{steybrae.__version__}"


def project() -> set[str]:
    """Files of the project, without what running it leaves behind."""
    found = (path for top in TOP for path in (ROOT / top, *(ROOT / top).rglob("*")) if path.is_file())
    return {path.relative_to(ROOT).as_posix() for path in found if path.parent.name != "__pycache__"}


def built(into: Path, root: Path = ROOT) -> tuple[Path, Path]:
    """Wheel and sdist as pip's builder makes them."""
    command = [sys.executable, "-m", "hatchling", "build", "-d", str(into), "-t", "wheel", "-t", "sdist"]
    subprocess.run(command, cwd=root, check=True, capture_output=True)
    return into / f"{NAME}-py3-none-any.whl", into / f"{NAME}.tar.gz"


@pytest.fixture(scope="module")
def packages(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    return built(tmp_path_factory.mktemp("first"))


def sha(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_built_twice_they_are_the_same_bytes(
    packages: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TZ", "Asia/Kathmandu")
    assert [sha(path) for path in built(tmp_path)] == [sha(path) for path in packages]


def test_the_wheel_of_the_sdist_is_the_wheel(packages: tuple[Path, Path], tmp_path: Path) -> None:
    wheel, sdist = packages
    with tarfile.open(sdist) as archive:
        archive.extractall(tmp_path, filter="data")
    assert sha(built(tmp_path / "out", tmp_path / NAME)[0]) == sha(wheel)


def test_the_wheel_holds_the_package_and_the_sample(packages: tuple[Path, Path]) -> None:
    with zipfile.ZipFile(packages[0]) as archive:
        names = set(archive.namelist())
        metadata = message_from_string(archive.read(f"{NAME}.dist-info/METADATA").decode())
        entry = archive.read(f"{NAME}.dist-info/entry_points.txt").decode()
    sources = {name.removeprefix("src/") for name in project() if name.startswith("src/steybrae/")}
    sample = {f"steybrae/{name}" for name in project() if name.startswith("sample_dem/")}
    about = {f"{NAME}.dist-info/{name}" for name in ("METADATA", "WHEEL", "RECORD", "entry_points.txt")}
    assert names == sources | sample | about | {f"{NAME}.dist-info/licenses/LICENSE"}
    assert {"steybrae/py.typed", "steybrae/files/contract.schema.json"} <= names
    assert entry.split() == ["[console_scripts]", "steybrae", "=", "steybrae.cli.start:main"]
    assert metadata["License-Expression"] == "MIT"
    assert metadata["Requires-Python"] == ">=3.11"
    assert str(metadata.get_payload()).strip().startswith("# steybrae")


def test_the_sdist_holds_the_project_and_no_more(packages: tuple[Path, Path]) -> None:
    with tarfile.open(packages[1]) as archive:
        names = {name.removeprefix(f"{NAME}/") for name in archive.getnames()}
    hidden = {name for name in names if name.startswith(".")}
    assert names - hidden == project() | {"PKG-INFO"}
    assert hidden == {".gitignore", ".ci/run"}


def test_nothing_stands_beside_what_belongs_at_the_top() -> None:
    left_behind = {"dist", "build"}
    assert {path.name for path in ROOT.iterdir() if not path.name.startswith(".")} - left_behind == TOP

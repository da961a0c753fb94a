"""Build wheel and sdist, and say what is in them."""

from __future__ import annotations

import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

__all__ = ["ROOT", "build", "names_of", "wanted"]

ROOT = Path(__file__).parents[2]


def build(out: Path) -> tuple[Path, Path]:
    """Build both from the checkout without the network; wheel and sdist.

    The wheel is built from the sdist, so that what is missing there is missed here.
    """
    words = [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(out), str(ROOT)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"the build failed:\n{done.stdout[-2000:]}\n{done.stderr[-2000:]}")
    (wheel,), (sdist,) = out.glob("*.whl"), out.glob("*.tar.gz")
    return wheel, sdist


def names_of(path: Path) -> set[str]:
    """Names of the files in a wheel or sdist, those of the sdist without its top folder."""
    if path.suffix == ".whl":
        with zipfile.ZipFile(path) as archive:
            return {name for name in archive.namelist() if not name.endswith("/")}
    with tarfile.open(path) as archive:
        return {member.name.split("/", 1)[1] for member in archive.getmembers() if member.isfile()}


def wanted() -> set[str]:
    """What the package needs at work: its modules, tables, the page's and the desk's files, the type marker."""
    kinds = (".py", ".csv", ".js", ".css", ".html", ".typed", ".json", ".toml", ".svg")
    return {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / "planner").rglob("*")
        if path.suffix in kinds and "__pycache__" not in path.parts
    }

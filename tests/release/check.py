"""What a stranger does with a release, each in an environment of its own (needs a package index; minutes).

    python -m tests.release.check [--lowest] [--pipx]

The wheel is installed where no checkout is in sight and `plumbrun demo` plans from another folder. `--lowest` does it
again with every requirement at its lower bound, `--pipx` through pipx. No list of known faults is looked through: that
needs a service of its own (see DEVELOPERS.md).
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

from tests.release.contents import ROOT, build

__all__ = ["lowest", "main"]


def lowest() -> list[str]:
    """Every requirement pinned to its lower bound, as a constraint for pip."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    out = []
    for text in (*project["dependencies"], *project["optional-dependencies"]["fleet"]):
        found = re.match(r"([A-Za-z0-9._-]+)(?:\[[^\]]*\])?(?:>=|==)([\d.*]+)", text)
        if found is None:
            raise RuntimeError(f"{text} has no lower bound")
        out.append(f"{found[1]}=={found[2]}")
    return out


def _say(*words: str | Path, cwd: Path | None = None, env: dict[str, str] | None = None) -> str:
    done = subprocess.run([str(w) for w in words], cwd=cwd, env=env, capture_output=True, text=True, check=False)
    if done.returncode:
        print(done.stdout[-3000:], done.stderr[-3000:], sep="\n")
        sys.exit(f"failed: {' '.join(str(w) for w in words[:6])}")
    return done.stdout


def _venv(folder: Path) -> Path:
    _say(sys.executable, "-m", "venv", folder)
    return folder / ("Scripts" if os.name == "nt" else "bin")


def _demo(program: Path, room: Path, how: str) -> None:
    """Plan the demo from a folder that holds nothing else, with no checkout on the path."""
    room.mkdir()
    env = {key: value for key, value in os.environ.items() if not key.startswith(("PYTHON", "PLUMBRUN"))}
    env["PLUMBRUN_CACHE"] = str(room / "cache")
    said = _say(program, "demo", "--out", "demo", cwd=room, env=env)
    assert "Caution" in said or "CAUTION" in said, said[:300]
    pages = [*room.rglob("plan.html")]
    assert len(pages) == 1, pages
    version = _say(program, "--version", env=env).split()[-1]
    print(f"{how}: plumbrun {version} planned the demo, page {pages[0].stat().st_size / 1000:.0f} kB")


def main() -> None:
    """Build, install, plan."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--lowest", action="store_true")
    asked.add_argument("--pipx", action="store_true")
    options = asked.parse_args()
    with tempfile.TemporaryDirectory() as name:
        room = Path(name)
        wheel, sdist = build(room / "dist")
        sizes = [f"{path.name} ({path.stat().st_size / 1000:.0f} kB)" for path in (wheel, sdist)]
        print(f"built {' and '.join(sizes)}")
        programs = _venv(room / "clean")
        _say(programs / "python", "-m", "pip", "install", "-q", wheel)
        _demo(programs / "plumbrun", room / "a", "clean environment")
        (room / "typed.py").write_text(
            "from planner.sink import swim\nfrom planner.units import show\nreveal_type(show(1.0, 'depth', 'us'))\n",
            encoding="utf-8",
        )
        _say(programs / "python", "-m", "pip", "install", "-q", "mypy")
        said = _say(programs / "python", "-m", "mypy", "--follow-imports=silent", "typed.py", cwd=room)
        assert 'Revealed type is "builtins.str"' in said or 'Revealed type is "str"' in said, said
        print("types: a stranger's mypy reads them")
        if options.lowest:
            bounds = room / "lowest.txt"
            bounds.write_text("\n".join(lowest()) + "\n", encoding="utf-8")
            programs = _venv(room / "low")
            _say(programs / "python", "-m", "pip", "install", "-q", "-c", bounds, f"{wheel}[fleet]")
            _demo(programs / "plumbrun", room / "b", "every requirement at its lower bound")
        if options.pipx:
            programs = _venv(room / "px")
            _say(programs / "python", "-m", "pip", "install", "-q", "pipx")
            env = os.environ | {"PIPX_HOME": str(room / "pipx"), "PIPX_BIN_DIR": str(room / "bin")}
            _say(programs / "pipx", "install", wheel, env=env)
            _demo(room / "bin" / "plumbrun", room / "c", "pipx")


if __name__ == "__main__":
    main()

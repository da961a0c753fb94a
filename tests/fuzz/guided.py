"""Coverage-guided fuzzing of one reader or of all in turn (needs atheris; Linux).

    python -m tests.fuzz.guided SECONDS [READER...]

Each reader runs in a process of its own, from its sound samples and kept inputs. What breaks it is written to
``tests/fuzz/found/READER`` and named; mend the reader, move the input to ``corpus`` and it stays a test.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

__all__ = ["main"]

ROOT = Path(__file__).parents[2]
FOUND = Path(__file__).parent / "found"
_LONGEST = 8192
_MEMORY_MB = 1500


def _one(name: str, seconds: int) -> None:
    """Fuzz a reader in this process; atheris ends it."""
    import atheris

    with atheris.instrument_imports(include=["planner"]):  # our own code alone: libraries are slow to instrument
        from planner.errors import PlumbrunError
        from tests.fuzz.readers import READERS, kept, samples

    FOUND.joinpath(name).mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as room:
        for number, raw in enumerate([*samples(name), *(path.read_bytes() for path in kept(name))]):
            Path(room, f"{number}").write_bytes(raw[:_LONGEST])
        read = READERS[name]

        def answered(raw: bytes) -> None:
            try:
                read(raw)
            except PlumbrunError:
                return

        words = [
            sys.argv[0], room, f"-max_total_time={seconds}", f"-max_len={_LONGEST}", "-timeout=1",
            f"-rss_limit_mb={_MEMORY_MB}", f"-artifact_prefix={FOUND / name}/", "-verbosity=0", "-print_final_stats=1",
        ]  # fmt: skip
        atheris.Setup(words, answered)
        atheris.Fuzz()


def main() -> None:
    """Fuzz the readers named, or all, and end with 1 when one broke."""
    if sys.argv[1:2] == ["--one"]:
        _one(sys.argv[2], int(sys.argv[3]))
        return
    from tests.fuzz.readers import READERS

    seconds, names = int(sys.argv[1]) if sys.argv[1:] else 60, sys.argv[2:] or list(READERS)
    broken = []
    for name in names:
        words = [sys.executable, "-m", "tests.fuzz.guided", "--one", name, str(seconds)]
        done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False, timeout=seconds + 120)
        runs = next((row.rsplit(":", 1)[1].strip() for row in done.stderr.splitlines() if "executed_units" in row), "0")
        print(f"{name}: {runs} inputs, {'nothing found' if done.returncode == 0 else 'BROKEN'}", flush=True)
        if done.returncode:
            broken.append(name)
            print("\n".join(done.stderr.splitlines()[-25:]), flush=True)
    sys.exit(1 if broken else 0)


if __name__ == "__main__":
    main()

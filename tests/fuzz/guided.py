"""Coverage-guided fuzzing of one reader or of all in turn (needs atheris; Linux).

    python -m tests.fuzz.guided SECONDS [READER...]

Each reader runs in a process of its own, from its sound samples and kept inputs. What breaks it is written to
``tests/fuzz/found/READER`` and named; mend the reader, move the input to ``corpus`` and it stays a test. Half of the
new inputs are the fuzzer's own, half have words and numbers put in place of others (`tests.fuzz.mutate`), which keeps
most of them well formed and so leads past the parser of JSON or XML. An input may take 1 s of computing (20 s of the
clock: a busy machine is no fault) and the process 1500 MB, libraries and the fuzzer's own tables included; a warning of
numbers out of range counts as a break.
"""

from __future__ import annotations

import contextlib
import random
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path

__all__ = ["main"]

ROOT = Path(__file__).parents[2]
FOUND = Path(__file__).parent / "found"
_LONGEST = 16384
_MEMORY_MB = 1500


def _whole(found: list[bytes]) -> list[bytes]:
    """The samples short enough to fuzz at speed, or the shortest of all: a reply cut through is no JSON any more."""
    return [raw for raw in found if len(raw) <= _LONGEST] or sorted(found, key=len)[:1]


def _one(name: str, seconds: int) -> None:
    """Fuzz a reader in this process; atheris ends it."""
    import atheris

    with atheris.instrument_imports(include=["planner"]):  # our own code alone: libraries are slow to instrument
        from planner.errors import PlumbrunError
        from tests.fuzz.mutate import scarred
        from tests.fuzz.readers import READERS, kept, samples

        read = READERS[name]
        for raw in samples(name)[:1]:
            with contextlib.suppress(PlumbrunError):
                read(raw)  # what is imported on first use is not the reader's time

    FOUND.joinpath(name).mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as room:
        sound = [*_whole(samples(name)), *(path.read_bytes() for path in kept(name))]
        for number, raw in enumerate(sound):
            Path(room, f"{number}").write_bytes(raw)

        def answered(raw: bytes) -> None:
            began = time.thread_time()
            with contextlib.suppress(PlumbrunError):
                read(raw)
            assert time.thread_time() - began < 1.0, f"{time.thread_time() - began:.1f} s of computing"

        def changed(raw: bytes, longest: int, seed: int) -> bytes:
            rng = random.Random(seed)
            return atheris.Mutate(raw, longest) if rng.random() < 0.5 else scarred(bytes(raw), rng)[:longest]

        warnings.simplefilter("error", RuntimeWarning)
        longest = max(_LONGEST, *(len(raw) for raw in sound))
        words = [
            sys.argv[0], room, f"-max_total_time={seconds}", f"-max_len={longest}", "-timeout=20",
            f"-rss_limit_mb={_MEMORY_MB}", f"-artifact_prefix={FOUND / name}/", "-verbosity=0", "-print_final_stats=1",
        ]  # fmt: skip
        atheris.Setup(words, answered, custom_mutator=changed)
        atheris.Fuzz()


def _stated(log: str, what: str) -> str:
    """A figure of the fuzzer's closing lines, "0" where it ended without."""
    return next((row.rsplit(":", 1)[1].strip() for row in log.splitlines() if f"stat::{what}" in row), "0")


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
        runs, memory = (_stated(done.stderr, what) for what in ("number_of_executed_units", "peak_rss_mb"))
        told = "nothing found" if done.returncode == 0 else "BROKEN"
        print(f"{name}: {runs} inputs, at most {memory} MB, {told}", flush=True)
        if done.returncode:
            broken.append(name)
            print("\n".join([*done.stdout.splitlines()[-25:], *done.stderr.splitlines()[-15:]]), flush=True)
    sys.exit(1 if broken else 0)


if __name__ == "__main__":
    main()

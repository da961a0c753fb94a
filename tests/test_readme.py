"""What the README shows works as it says."""

from __future__ import annotations

import contextlib
import io
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_python_example_prints_what_it_says() -> None:
    """The example runs, and its comment holds what it prints."""
    (code,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    (said,) = re.findall(r"# prints: (.*)", code)
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        exec(compile(code, "README.md", "exec"), {})
    assert out.getvalue().strip() == said


@pytest.mark.parametrize("path", re.findall(r"(?:examples|data|maps|tests|planner)/[\w./-]+", README))
def test_each_path_that_the_readme_names_is_there(path: str) -> None:
    """A reader who follows a path finds it."""
    if path.startswith("maps/demo/") or path == "maps/demo":
        pytest.skip("written by the demo")
    assert (ROOT / path.rstrip(".")).exists()


def test_each_command_of_the_readme_is_a_command() -> None:
    """No command is shown that the program lacks."""
    from planner.cli import main

    named = set(re.findall(r"^ +(?:\.venv\\Scripts\\)?plumbrun (\w+)", README, re.MULTILINE))
    assert named
    assert named <= set(main.commands)

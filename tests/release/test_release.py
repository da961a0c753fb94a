"""What a release holds: everything that it needs at work, nothing of the tests, one version, licences, bounds."""

from __future__ import annotations

import re
import tomllib
import zipfile
from email.parser import Parser
from pathlib import Path

import pytest

import planner
from tests.release import licences
from tests.release.contents import ROOT, build, names_of, wanted

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Wheel and sdist of this checkout."""
    return build(tmp_path_factory.mktemp("dist"))


def test_the_wheel_holds_all_that_the_package_needs(built: tuple[Path, Path]) -> None:
    """Modules, tables, files of the page, the type marker, the licence and the demo river with its other evenings."""
    names = names_of(built[0])
    assert wanted() - names == set()
    assert "planner/py.typed" in names
    assert any(name.endswith("licenses/LICENSE") for name in names)
    river = {path.name for path in (ROOT / "examples" / "demo").iterdir()} - {"truth.json"}
    assert {f"planner/demo_river/{name}" for name in river} <= names
    assert {f"planner/demo_days/{path.name}" for path in (ROOT / "examples" / "demo-days").iterdir()} <= names


def test_neither_holds_anything_of_the_tests(built: tuple[Path, Path]) -> None:
    """No test, no recorded data, no answer key of the demo, no picture of a plan."""
    for path in built:
        strangers = [
            name
            for name in names_of(path)
            if re.match(r"(tests|data|maps|\.ci|node_modules)/", name) or "truth.json" in name or "conftest" in name
        ]
        assert strangers == []


def test_the_version_stands_in_one_place(built: tuple[Path, Path]) -> None:
    """The package, the wheel's name and its metadata agree because two of them read the first."""
    with zipfile.ZipFile(built[0]) as archive:
        (name,) = (name for name in archive.namelist() if name.endswith("/METADATA"))
        metadata = Parser().parsestr(archive.read(name).decode("utf-8"))
    assert metadata["Version"] == planner.__version__
    assert PROJECT["project"]["dynamic"] == ["version"]
    version = re.compile(rf"(?<![\d.]){re.escape(planner.__version__)}(?![\d.])")
    places = [path for path in (ROOT / "planner").rglob("*.py") if version.search(path.read_text(encoding="utf-8"))]
    assert [path.name for path in places] == ["__init__.py"]


def test_every_requirement_has_a_lower_bound() -> None:
    """A user with an old package is told by pip and not by a traceback."""
    listed = [*PROJECT["project"]["dependencies"], *PROJECT["project"]["optional-dependencies"]["fleet"]]
    assert [one for one in listed if not re.search(r"(>=|==)\d", one)] == []


def test_the_licence_of_every_package_that_is_installed_is_listed() -> None:
    """docs/licences.md has a row with a licence for each package that comes with Plumbrun."""
    rows = licences.parsed(licences.PAGE.read_text(encoding="utf-8"))
    here = {name for name in licences.closure() if licences.licence_of(name)}
    again = "run python -m tests.release.licences"
    assert here - set(rows) == set(), again
    assert [name for name, licence in rows.items() if not licence or "not named" in licence] == []


def test_no_package_that_is_installed_forbids_use_beside_a_bsd_licence() -> None:
    """None of the licences is of the kind that a BSD program could not be shipped beside."""
    rows = licences.parsed(licences.PAGE.read_text(encoding="utf-8"))
    assert {
        name: licence for name, licence in rows.items() if re.search(r"GPL|SSPL|BUSL|Commons|propriet", licence)
    } == {}

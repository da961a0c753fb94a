"""Which packages a user installs along with Plumbrun, under which licence: the rows of docs/licences.md.

python -m tests.release.licences    # writes docs/licences.md from what is installed here
"""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement

__all__ = ["closure", "licence_of", "page", "parsed"]

PAGE = Path(__file__).parents[2] / "docs" / "licences.md"
PROJECT = Path(__file__).parents[2] / "pyproject.toml"
HEAD = """# Licences of what is installed with Plumbrun

Written by `python -m tests.release.licences` from the packages' own metadata; a test holds it complete. Plumbrun
itself is BSD-3-Clause and copies none of their code; the page that it writes holds Leaflet's script (BSD-2-Clause,
named at the page's foot), which comes in django-js-lib-leaflet. Packages of the `fleet` extra are marked. What is only
needed to test is not installed with the wheel and not listed.

| package | licence | needed by |
| --- | --- | --- |
"""
# Words of the trove classifiers and long texts, made short.
_SHORT = (
    (r"^(the )?mit( license)?$", "MIT"),
    (r"bsd.?3|3.clause|new bsd|modified bsd", "BSD-3-Clause"),
    (r"bsd.?2|2.clause|simplified bsd", "BSD-2-Clause"),
    (r"apache.*2", "Apache-2.0"),
    (r"apache", "Apache-2.0"),
    (r"mozilla.*2|mpl.2", "MPL-2.0"),
    (r"historical permission|hpnd", "HPND"),
    (r"python software foundation", "PSF-2.0"),
    (r"^bsd", "BSD, clauses not said"),
)


def _name(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def _requires(package: str, extra: str) -> list[str]:
    """What a package requires; our own requirements stand in pyproject.toml, for the checkout may not be installed."""
    if package == "plumbrun":
        project = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]
        return project["optional-dependencies"][extra] if extra else project["dependencies"]
    try:
        return distribution(package).requires or []
    except PackageNotFoundError:
        return []  # for another system or Python


def closure() -> dict[str, set[str]]:
    """Packages that a user installs, each with what needs it (``plumbrun``, ``plumbrun[fleet]`` or a package)."""
    needed: dict[str, set[str]] = {}
    todo = [("plumbrun", "", "plumbrun"), ("plumbrun", "fleet", "plumbrun[fleet]")]
    done = set()
    while todo:
        package, extra, who = todo.pop(0)
        if (package, extra) in done:
            continue
        done.add((package, extra))
        for text in _requires(package, extra):
            want = Requirement(text)
            if want.marker is not None and not want.marker.evaluate({"extra": extra}):
                continue
            name = _name(want.name)
            if who == "plumbrun[fleet]" and "plumbrun" in needed.get(name, ()):
                continue
            needed.setdefault(name, set()).add(who)
            todo += [(name, one, name) for one in ("", *want.extras)]
    needed.pop("plumbrun", None)
    return needed


def licence_of(name: str) -> str:
    """The licence that a package's metadata names; empty when it names none or it is not installed here."""
    try:
        data = distribution(name).metadata
    except PackageNotFoundError:
        return ""
    if data.get("License-Expression"):
        return str(data["License-Expression"])
    said = [part.split(" :: ")[-1] for part in data.get_all("Classifier") or [] if part.startswith("License ::")]
    text = (data.get("License") or "").strip()
    if text and len(text) < 60 and "\n" not in text and text != "UNKNOWN":
        said.insert(0, text)
    for one in said:
        for pattern, short in _SHORT:
            if re.search(pattern, one, re.IGNORECASE):
                return short
    first = next((line.strip() for line in text.splitlines() if line.strip()), "")
    for pattern, short in _SHORT:
        if re.search(pattern, text[:2000], re.IGNORECASE | re.MULTILINE):
            return short
    return said[0] if said else first[:60]


def page() -> str:
    """The page as it should read."""
    needed = closure()
    rows = []
    for name in sorted(needed):
        who = ", ".join(sorted(needed[name]))
        rows.append(f"| {name} | {licence_of(name) or 'not named in its metadata'} | {who} |")
    return HEAD + "\n".join(rows) + "\n"


def parsed(text: str) -> dict[str, str]:
    """Package to licence of a written page."""
    rows = re.findall(r"^\| ([a-z0-9-]+) \| ([^|]+) \| [^|]+ \|$", text, re.MULTILINE)
    return {name: licence.strip() for name, licence in rows if name.strip("-") and name != "package"}


def main() -> None:
    """Write the page."""
    PAGE.write_text(page(), encoding="utf-8")
    print(f"{len(parsed(page()))} packages: {PAGE.name}")


if __name__ == "__main__":
    main()

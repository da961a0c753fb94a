"""The party's own file, floatplan.toml: personal data that stay on this computer and out of version control."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from planner.errors import DataUnfit
from planner.files import read_bounded, write_whole

__all__ = ["PERSONAL_FILE", "TEMPLATE", "keep_out_of_git", "read_personal", "write_private", "write_template"]

PERSONAL_FILE = "floatplan.toml"
IGNORED = ("floatplan.toml", "floatplan/", "floatplan.html", "floatplan.txt")

TEMPLATE = """\
# For the float plan that you leave with somebody ashore. This file holds personal data: it stays on this computer,
# it is listed in .gitignore, and no other page or export of the program takes anything from it. Fill in what you can;
# what is empty is printed as a line to fill in by hand. Delete the file and the printed plan when the trip is over.

grace_min = 60      # first call: this long after the latest take-out
then_min = 60       # call to the authority: this long after the first call
version = 1
supersedes = ""     # version and date of an earlier plan for the same trip

[holder]            # the reliable person ashore
name = ""
phone = ""

[authority]         # whom the holder calls; ask locally, for many rivers it is the county sheriff or park dispatch
name = ""
phone = ""

[[person]]
name = ""
age = ""
phone = ""
medical = ""
swims = ""
role = ""           # who rows, who guides
contact = ""        # emergency contact, with number

[craft]
type = ""
length = ""
colour = ""
registration = ""
jackets = ""        # life jackets: how many, which colour

[[vehicle]]
what = ""           # tow vehicle, shuttle car
make = ""
colour = ""
plate = ""
parked_at = ""

[communication]
phone = ""
satellite = ""
dead_zones = ""
check_ins = ""      # agreed hours, e.g. "12:00 by text"

[gear]
clothing = ""       # for immersion
throw_rope = ""
first_aid = ""
light = ""
other = ""

[plan]
stops = ""          # planned stops, where you mean to wade
"""


def _table(document: Mapping[str, Any], name: str, path: Path) -> dict[str, Any]:
    value = document.get(name, {})
    if not isinstance(value, dict):
        raise _unfit(path, f"{name} is no table", f"a [{name}] table")
    return value


def _unfit(path: Path, given: str, need: str) -> DataUnfit:
    return DataUnfit(given, need, "correct the file; its contents are not repeated here", where=str(path))


def read_personal(folder: Path) -> dict[str, Any]:
    """The personal file of a river folder.

    Parameters
    ----------
    folder : Path
        The river folder.

    Returns
    -------
    dict
        Empty when there is no such file.

    Raises
    ------
    DataUnfit
        When it cannot be read. The message names line and key, never a value of the file.
    """
    path = Path(folder) / PERSONAL_FILE
    try:
        document = tomllib.loads(read_bounded(path).decode("utf-8"))
    except FileNotFoundError:
        return {}
    except tomllib.TOMLDecodeError as error:
        place = str(error).rpartition("(at ")[2].rstrip(")")
        raise _unfit(path, f"not valid TOML at {place}", "TOML 1.0, texts in quotes") from None
    except (OSError, UnicodeDecodeError) as error:
        raise _unfit(path, f"the file could not be read ({type(error).__name__})", "a readable UTF-8 file") from None
    for name in ("holder", "authority", "craft", "communication", "gear", "plan"):
        _table(document, name, path)
    for name in ("person", "vehicle"):
        listed = document.get(name, [])
        if not isinstance(listed, list) or not all(isinstance(item, dict) for item in listed):
            raise _unfit(path, f"{name} is no list of tables", f"[[{name}]] tables")
    for name in ("grace_min", "then_min"):
        value = document.get(name, 60)
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value <= 24 * 60:
            raise _unfit(path, f"{name} is no number of minutes", "minutes above 0 and up to a day")
    return document


def write_private(path: Path, content: str) -> None:
    """Write a file that only this user may read."""
    write_whole(path, content)
    os.chmod(path, 0o600)


def write_template(folder: Path) -> bool:
    """Write an empty personal file and its .gitignore, unless there is one.

    Returns
    -------
    bool
        True when it was written now.
    """
    path = Path(folder) / PERSONAL_FILE
    keep_out_of_git(folder)
    if path.exists():
        return False
    write_private(path, TEMPLATE)
    return True


def keep_out_of_git(folder: Path) -> None:
    """List the personal files in the folder's .gitignore; lines that are there already stay as they are."""
    path = Path(folder) / ".gitignore"
    before = path.read_text(encoding="utf-8") if path.is_file() else ""
    lines = before.splitlines()
    missing = [name for name in IGNORED if name not in lines]
    if missing:
        head = before if not before or before.endswith("\n") else before + "\n"
        write_whole(path, head + "\n".join(missing) + "\n")

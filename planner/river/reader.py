"""Read a river folder: get its texts, parse each file, check them against each other."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from planner.errors import RiverFolderUnfit
from planner.files import read_bounded
from planner.river import depths, settings, shapes, tackle
from planner.river.checker import check_together
from planner.river.records import Finding, River
from planner.river.values import Notebook

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["FILES", "check_river", "get_texts", "parse_river", "read_river"]

# file -> (level when it is missing, what is lost, what to do)
FILES = {
    settings.SETTINGS_FILE: ("error", "the river's name, time zone and gauges", "write river.toml with at least these"),
    shapes.RUNS_FILE: ("error", "the runs", "draw at least one run"),
    shapes.SPOTS_FILE: ("warning", "the spots; there will be no advice", "draw a line from stance to landing"),
    shapes.PLACES_FILE: ("warning", "put-in, take-out, hazards and flowline", "add them; the flowline runs downstream"),
    depths.SOUNDINGS_FILE: ("warning", "the soundings; there will be no depth and no advice", "sound the runs"),
    tackle.TACKLE_FILE: ("note", "your own tackle; generic classes stand in", "list your lines and flies"),
    depths.LOG_FILE: ("note", "the log of what happened on the water", "start one when you have fished"),
}


def get_texts(folder: Path, notes: Notebook) -> dict[str, str]:
    """Text of each file of a river folder that is there; what cannot be read is an error."""
    texts: dict[str, str] = {}
    if not folder.is_dir():
        what = "is a file" if folder.exists() else "does not exist"
        notes.add("error", str(folder), "", f"the folder {what}", "a river folder", "give the folder of river.toml")
        return texts
    for name, (level, lost, step) in FILES.items():
        path = folder / name
        try:
            if not path.exists():
                notes.add(level, name, "", "the file is missing", lost, step)
                continue
            raw = read_bounded(path)
        except OSError as error:
            notes.add("error", name, "", f"the file cannot be read ({error.strerror})", "a readable file", "check it")
            continue
        try:
            texts[name] = raw.decode("utf-8")
        except UnicodeDecodeError as error:
            line = raw.count(b"\n", 0, error.start) + 1
            notes.add(
                "error", name, f"line {line}", f"byte 0x{raw[error.start]:02x} is not UTF-8", "a UTF-8 text file",
                "save it again as UTF-8",
            )  # fmt: skip
    return texts


def parse_river(
    texts: dict[str, str], folder: Path, notes: Notebook, soundings: pd.DataFrame | None = None
) -> River | None:
    """The river of the texts of its files; None when river.toml cannot be taken at all.

    Parameters
    ----------
    texts : dict of str
        File name to text; missing files are missing keys.
    folder : Path
        The folder, for ``file:`` gauges and for writing back.
    notes : Notebook
        Where findings go.
    soundings : pandas.DataFrame, optional
        What `planner.river.depths.parse_soundings` made of the very same text before.
    """
    if settings.SETTINGS_FILE not in texts:
        return None
    main = settings.parse_settings(texts[settings.SETTINGS_FILE], notes, folder)
    given = main or {"gauges": (), "slope": float("nan"), "bed": {}}
    runs = shapes.parse_runs(_bare(texts, shapes.RUNS_FILE), notes, given) if shapes.RUNS_FILE in texts else ()
    spots = shapes.parse_spots(_bare(texts, shapes.SPOTS_FILE), notes) if shapes.SPOTS_FILE in texts else ()
    places = shapes.parse_places(_bare(texts, shapes.PLACES_FILE), notes) if shapes.PLACES_FILE in texts else ()
    if soundings is None and depths.SOUNDINGS_FILE in texts:
        soundings = depths.parse_soundings(texts[depths.SOUNDINGS_FILE], notes)
    elif soundings is None:
        soundings = depths.no_soundings()
    log = depths.parse_log(texts[depths.LOG_FILE], notes) if depths.LOG_FILE in texts else depths.no_log()
    box = (
        tackle.parse_tackle(_bare(texts, tackle.TACKLE_FILE), notes)
        if tackle.TACKLE_FILE in texts
        else tackle.generic_tackle()
    )
    if main is None:
        return None
    river = River(
        folder=folder,
        runs=runs,
        spots=spots,
        places=places,
        soundings=soundings,
        tackle=box,
        log=log,
        documents=dict(texts),
        **main,
    )
    check_together(river, notes)
    return river


def _bare(texts: dict[str, str], name: str) -> str:
    return texts[name].removeprefix("\ufeff")


def _read(folder: Path) -> tuple[River | None, list[Finding]]:
    notes = Notebook()
    texts = get_texts(folder, notes)
    if settings.SETTINGS_FILE in texts:
        texts[settings.SETTINGS_FILE] = _bare(texts, settings.SETTINGS_FILE)
    river = parse_river(texts, folder, notes)
    return river, notes.all()


def read_river(folder: Path | str) -> River:
    """Read a river folder.

    Parameters
    ----------
    folder : Path or str
        The folder that holds river.toml.

    Returns
    -------
    River
        With warnings and notes in `findings`.

    Raises
    ------
    RiverFolderUnfit
        When an error is found; `findings` lists every finding and the message is the first error.
    """
    from dataclasses import replace

    river, findings = _read(Path(folder))
    errors = [finding for finding in findings if finding.level == "error"]
    if errors or river is None:
        first = errors[0]
        more = f" (and {len(errors) - 1} more; plumbrun check lists all)" if len(errors) > 1 else ""
        place = f"{first.file}, {first.where}" if first.where else first.file
        raise RiverFolderUnfit(first.given + more, first.need, first.next_step, where=place, findings=tuple(findings))
    return replace(river, findings=tuple(findings))


def check_river(folder: Path | str) -> list[Finding]:
    """All findings of a river folder, errors first; content never raises."""
    return _read(Path(folder))[1]

"""Write a river folder back: what changed is changed, what the reader does not know stays as it stands."""

from __future__ import annotations

from pathlib import Path

from planner.errors import NotWritten
from planner.files import sole_writer, write_whole
from planner.river import depths, settings, shapes, tackle
from planner.river.records import River
from planner.river.write_rows import log_text, soundings_text
from planner.river.write_shapes import places_text, runs_text, spots_text
from planner.river.write_tables import settings_text, tackle_text

__all__ = [
    "log_text",
    "places_text",
    "runs_text",
    "settings_text",
    "soundings_text",
    "spots_text",
    "tackle_text",
    "write_river",
]

_TEXTS = {
    settings.SETTINGS_FILE: settings_text,
    shapes.RUNS_FILE: runs_text,
    shapes.SPOTS_FILE: spots_text,
    shapes.PLACES_FILE: places_text,
    depths.SOUNDINGS_FILE: soundings_text,
    tackle.TACKLE_FILE: tackle_text,
    depths.LOG_FILE: log_text,
}
_MARK = "\ufeff"


def write_river(river: River, folder: Path | str | None = None) -> list[Path]:
    """Write every file of a river that changed.

    A file that did not change is not touched, a file that someone else changed since the river was read is not
    overwritten, and a file whose content left nothing to write stays.

    Parameters
    ----------
    river : River
        As read, or with members replaced.
    folder : Path or str, optional
        Where to; the folder it was read from by default. Must exist.

    Returns
    -------
    list of Path
        The files written, each whole or not at all.

    Raises
    ------
    NotWritten
        When a file cannot be written, or was changed on the disk since the river was read; in the latter case nothing
        is written.
    """
    to = Path(folder) if folder is not None else river.folder
    with sole_writer(to):
        return _written(river, to)


def _written(river: River, to: Path) -> list[Path]:
    """Check that nothing changed since the river was read, then write what did in it."""
    wanted: list[tuple[Path, str]] = []
    for name, make in _TEXTS.items():
        text = make(river)
        if text is None:
            continue
        path = to / name
        try:
            there = path.read_bytes().decode("utf-8", errors="replace") if path.exists() else None
        except OSError as error:
            raise NotWritten(
                f"the file cannot be read ({error.strerror})", "a readable file", "check it", where=str(path)
            ) from error
        if there is not None and text.removeprefix(_MARK) == there.removeprefix(_MARK):
            continue
        if there is not None and there.removeprefix(_MARK) != river.documents.get(name, "").removeprefix(_MARK):
            raise NotWritten(
                "the file was changed after the river was read",
                "the file as it was read",
                "read the river again and repeat your change",
                where=str(path),
            )
        wanted.append((path, text))
    for path, text in wanted:
        write_whole(path, text)
    return [path for path, _ in wanted]

"""What can go wrong for a user, one class per kind of mistake.

Each error says what was given, what is needed and what to do next, and carries the exit code of the command:
0 done, 1 failed, 2 usage, 3 source unreachable and no usable cached reading, 4 data unfit.
"""

from __future__ import annotations

__all__ = [
    "DataUnfit",
    "GaugeReplyUnfit",
    "NotWritten",
    "PlumbrunError",
    "QuantityUnfit",
    "RiverFolderUnfit",
    "SourceUnreachable",
    "StationUnknown",
    "SwimFailed",
    "UsageMistake",
]


class PlumbrunError(Exception):
    """Base of all errors meant for the user.

    Parameters
    ----------
    given : str
        What was given: file, line, value.
    need : str
        What is needed instead.
    next_step : str
        What the user can do next.
    where : str, optional
        File, feature or line, named first in the message.
    """

    exit_code = 1

    def __init__(self, given: str, need: str, next_step: str, where: str = "") -> None:
        self.given = given
        self.need = need
        self.next_step = next_step
        self.where = where
        super().__init__(given, need, next_step, where)

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        return f"{place}{self.given}. Needed: {self.need}. Next: {self.next_step}."


class UsageMistake(PlumbrunError):
    """The command or a function was called with words that do not fit."""

    exit_code = 2


class QuantityUnfit(UsageMistake):
    """A quantity could not be read, or its unit is of another kind."""


class SourceUnreachable(PlumbrunError):
    """A service did not answer and there is no usable cached reading."""

    exit_code = 3


class DataUnfit(PlumbrunError):
    """The data were read but cannot carry the answer."""

    exit_code = 4


class GaugeReplyUnfit(DataUnfit):
    """A gauge reply is of another station, empty, or not in the service's form."""


class StationUnknown(GaugeReplyUnfit):
    """The service answers that it has no such station, or nothing of it for the days asked."""


class RiverFolderUnfit(DataUnfit):
    """A river folder's files break a rule; `findings` lists every one found."""

    def __init__(self, given: str, need: str, next_step: str, where: str = "", findings: tuple = ()) -> None:
        super().__init__(given, need, next_step, where)
        self.findings = findings


class NotWritten(PlumbrunError):
    """A file could not be written; what was there before is untouched."""


class SwimFailed(PlumbrunError):
    """The line solver gave a tension or speed outside physical bounds."""

"""Every error Lantern raises on purpose.

Each says what is wrong and, where it can, how to mend it.

    LanternError
    ├── InvalidArgument (also ValueError)   a number outside what a formula can mean; names the argument
    ├── FileError                           what a person wrote is wrong; each Mistake names key, value and fix
    │   ├── FarmFileError                   the farm file
    │   └── StoryFileError                  the story of a simulated night
    ├── SettingsError                       a process setting is wrong or missing
    ├── PayloadError                        a message that cannot become readings; kept as a reject
    ├── StoreError
    │   └── NewerStoreError                 the file was written by a newer Lantern
    ├── BrokerError                         the broker cannot be reached or refuses us
    ├── DrillFailed                         a drill that was not answered; says where the path ends
    ├── StreamError                         a recorded stream cannot be read; names line and fix
    └── ChannelError                        a text could not be handed over; `permanent` says whether to retry
"""

from dataclasses import dataclass


class LanternError(Exception):
    """Anything Lantern raises on purpose; the command line prints it without a traceback."""


class InvalidArgument(LanternError, ValueError):
    """A number outside what a formula can mean."""

    def __init__(self, argument: str, value: object, need: str) -> None:
        super().__init__(f"{argument} is {value!r}; it must be {need}")
        self.argument = argument
        self.value = value


@dataclass(frozen=True, slots=True)
class Mistake:
    """One thing wrong in such a file: which key, what stands there, and how to mend it."""

    key: str
    value: object
    fix: str

    def __str__(self) -> str:
        return f"{self.key} = {self.value!r}: {self.fix}"


class FileError(LanternError):
    """A file that a person wrote is wrong; `mistakes` holds all that was found, one line each in the message."""

    def __init__(self, mistakes: tuple[Mistake, ...]) -> None:
        super().__init__("\n".join(str(mistake) for mistake in mistakes))
        self.mistakes = mistakes


class FarmFileError(FileError):
    """The farm file is wrong."""


class StoryFileError(FileError):
    """The story of a simulated night is wrong."""


class SettingsError(LanternError):
    """A process setting is wrong or missing."""


class PayloadError(LanternError):
    """A message that cannot become readings; the collector keeps it as a reject of that kind (`RejectKind`)."""

    def __init__(self, message: str, kind: str = "unreadable") -> None:
        super().__init__(message)
        self.kind = kind


class StoreError(LanternError):
    """The store cannot do what was asked."""


class NewerStoreError(StoreError):
    """The store's file was written by a newer Lantern; nothing was touched."""


class BrokerError(LanternError):
    """The broker cannot be reached or refuses what we asked."""


class DrillFailed(LanternError):
    """A drill was not answered; the reason says where its path ends."""


class StreamError(LanternError):
    """A recorded stream cannot be read."""


class ChannelError(LanternError):
    """A text could not be handed over; `permanent` says whether a retry can help."""

    def __init__(self, message: str, *, permanent: bool) -> None:
        super().__init__(message)
        self.permanent = permanent

"""What can go wrong, told to people: one sentence, what to do, and an exit code from one table."""

from __future__ import annotations

#: Exit code -> what it means. The command line documents exactly this table.
EXIT_CODES: dict[int, str] = {
    0: "done",
    1: "an error of the program itself",
    2: "the command was used wrongly",
    3: "an input could not be read",
    4: "the acoustic model is missing or damaged",
    5: "a lexicon file is invalid",
    6: "a run or a file could not be stored",
    7: "the recogniser failed",
    130: "interrupted",
}


class CrownsoleError(Exception):
    """An error with a sentence for people; ``exit_code`` is a key of :data:`EXIT_CODES`."""

    exit_code = 1


class UsageError(CrownsoleError):
    """The command or function was used in a way that cannot work."""

    exit_code = 2


class InputError(CrownsoleError):
    """An input is missing, unreadable or not what it should be."""

    exit_code = 3


class SoundError(InputError):
    """A file or stream that holds no sound we can decode."""


class ModelError(CrownsoleError):
    """The acoustic model is missing, damaged, incomplete or of another language."""

    exit_code = 4


class LexiconInvalid(CrownsoleError):
    """A lexicon file or pack is invalid."""

    exit_code = 5


class StorageError(CrownsoleError):
    """Something could not be written or kept."""

    exit_code = 6


class HearingError(CrownsoleError):
    """The recogniser failed or crashed while it worked."""

    exit_code = 7

"""Everything that can go wrong for a user, as one table.

Each error is one sentence that says what happened, why it was refused and what to do, and carries
the exit status that the command line ends with. The web answers with the same sentence::

    JoblogError            1  anything below
      InputError           1  a file or value given by the user can't be used
        AudioError         1  sound that can't be read
        PhotoError         1  a picture that can't be read
          TooLargeError    1  one of more bytes than are taken
        SheetError         1  a job sheet with a mistake in it
        WrongUnitError     1  a job sheet that is not for this vehicle or machine
        GrammarError       1  a phrase grammar with a mistake in it
      ModelError           1  the speech model is missing, incomplete or altered
      DeviceError          1  a microphone or camera that can't be used
      RecordError          1  the record is altered, incomplete or of another kind
      StoreError           1  the database or disk refuses to keep something
        UnansweredError    1  something was kept, but the answer to it can't be given
        OvertakenError     1  somebody added to the job between two looks at it
      UsageError           2  the command was called in a way that can't be meant
"""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """Exit status of the ``joblog`` command."""

    OK = 0
    FAILED = 1
    USAGE = 2


class JoblogError(Exception):
    """Root of all errors that are told to the user as one clear sentence."""

    exit_code: Exit = Exit.FAILED


class InputError(JoblogError):
    """A file or value given by the user can't be used."""


class AudioError(InputError):
    """Sound that can't be read."""


class PhotoError(InputError):
    """A picture that can't be read."""


class TooLargeError(PhotoError):
    """A picture of more bytes than are taken."""


class SheetError(InputError):
    """A job sheet with a mistake in it."""


class WrongUnitError(InputError):
    """A job sheet that is not for this vehicle or machine."""


class GrammarError(InputError):
    """A phrase grammar with a mistake in it."""


class ModelError(JoblogError):
    """The speech model is missing, incomplete or altered."""


class DeviceError(JoblogError):
    """A microphone or camera that can't be used."""


class RecordError(JoblogError):
    """The record is altered, incomplete or of another kind."""


class StoreError(JoblogError):
    """The database or disk refuses to keep something."""


class UnansweredError(StoreError):
    """Something was kept, but the store refuses what its answer needs."""


class OvertakenError(StoreError):
    """Somebody added to the job since it was looked at; what was planned on it may be wrong."""


class UsageError(JoblogError):
    """The command was called in a way that can't be meant."""

    exit_code = Exit.USAGE

"""Every failure that a user can cause or mend, each with one sentence and an exit code.

The sentence names what is at fault (a file, a line and key of a pack, a device, an option) and
says what to do. The command line prints it without a traceback and leaves with `exit_code`.
"""

from __future__ import annotations


class SpokenFindingsError(Exception):
    """The base of all errors that are reported to the user as one sentence."""

    exit_code = 1


class UsageError(SpokenFindingsError):
    """An option or argument that cannot be used as given, such as an unknown engine."""

    exit_code = 2


class RecordingError(SpokenFindingsError):
    """A recording that cannot be read: missing, empty, broken or no media file."""

    exit_code = 3


class PackError(SpokenFindingsError):
    """A pack with a mistake in it; the message carries the file, the line and the key."""

    exit_code = 4


class ModelError(SpokenFindingsError):
    """A speech or pose model that is missing, or a file or folder that is no model."""

    exit_code = 5


class OutputError(SpokenFindingsError):
    """Results that cannot be written: no permission, a full disk, a file in the way."""

    exit_code = 6


class SessionError(SpokenFindingsError):
    """Results of an earlier reading that cannot be used: missing, damaged or of a newer version."""

    exit_code = 7


class JournalError(SpokenFindingsError):
    """A journal that cannot be read or written: a full disk, no permission, a damaged file."""

    exit_code = 8

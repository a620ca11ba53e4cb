"""The tree of errors: one family per reaction, so that whoever catches one knows what to do.

    RelayError
      TransientError   again, later               exit 75
      LostRaceError    look, then decide          exit 75
      RefusedError     change the request         exit 2
      MissingError     not there (yet)            exit 3
      BrokenError      stop, call a person        exit 4

Every message says what was found, what was expected, where, and what to do next.
"""

from typing import ClassVar


class RelayError(Exception):
    """Something a person is told about, in a sentence, with an exit code that a script can act on."""

    exit_code: ClassVar[int] = 4


class TransientError(RelayError):
    """The request is fine; the same call may work later."""

    exit_code = 75


class LostRaceError(RelayError):
    """Someone else created it first: look at what is there now, then decide again."""

    exit_code = 75


class RefusedError(RelayError):
    """The request cannot be granted as it stands: change it."""

    exit_code = 2


class MissingError(RelayError):
    """What was asked for is not there, or not there yet."""

    exit_code = 3


class BrokenError(RelayError):
    """A digest, a signature or the chain does not hold: stop, and call a person."""

    exit_code = 4

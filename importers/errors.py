"""What a user can put right, said once: where it is, what it is, what to do.

    UserError               anything the user can mend; exit status 2
    +-- LogError            a log file, or logs that do not fit together
    +-- SetupError          the setup file (one error may carry many faults)
    +-- BookError           the ride book
    +-- UsageError          arguments of the command line

The analysis raises none of these: too little data is a note in the result, a wrong call is a
`ValueError`. The command line catches `UserError` once. This module loads nothing heavy.
"""

from __future__ import annotations


class UserError(Exception):
    """One fault, or several faults of one file, with where, what and remedy.

    Parameters
    ----------
    where : the file as it was typed, with line or column where there is one; may be empty
    what : what is wrong, in one sentence without a full stop at the end being required
    remedy : what to do about it; may be empty when `more` carries it
    more : further faults of the same file or log set, each a `UserError` of its own
    """

    def __init__(
        self, *, where: str, what: str, remedy: str, more: tuple[UserError, ...] = ()
    ) -> None:
        self.where = where
        self.what = what
        self.remedy = remedy
        self.more = more
        super().__init__(str(self))

    def __str__(self) -> str:
        first = f"{self.where}: {self.what}" if self.where else self.what
        if self.remedy:
            first = f"{first.rstrip('.')}. {self.remedy}"
        return "\n".join([first, *(str(one) for one in self.more)])


class LogError(UserError):
    """A log that cannot be used, or logs that do not belong together."""


class SetupError(UserError):
    """A setup file that cannot be used."""


class BookError(UserError):
    """The ride book, or a ride in it."""


class UsageError(UserError):
    """Arguments that cannot be used."""

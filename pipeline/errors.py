"""Failures a person can mend. Each says where, what was found, what was expected and what to do."""

from __future__ import annotations


class RowshelfError(Exception):
    """A failure with a sentence for the person at the keyboard; ``exit_code`` ends the command."""

    exit_code = 1


class UsageError(RowshelfError):
    """The command was asked for something it cannot do: wrong path, wrong option, wrong setting."""

    exit_code = 2


class StoreError(RowshelfError):
    """The store cannot be opened or written."""


class NotAStoreError(StoreError):
    """A person's own file or database stands where a store was asked for."""

    exit_code = 2

"""Errors that a verb raises when the world does not allow what was asked. The text is for the person who asked."""


class DomainError(Exception):
    """Says what is wrong, where, and how to mend it."""

    def __init__(self, message: str, *, field: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.field = field


class NotFoundHere(DomainError):
    """The thing does not exist in this studio (answered as 404, whether or not it exists in another)."""

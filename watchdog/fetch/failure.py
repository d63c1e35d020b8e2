"""Why there is no answer."""


class NoAnswerError(Exception):
    """There is no whole answer. `kind` is the same for the same failure; the text holds nothing of what was sent."""

    def __init__(self, kind: str, why: str) -> None:
        """Both are fit for a log."""
        super().__init__(why)
        self.kind = kind


LATE = "late"
"""The kind of a failure that is only one of time."""

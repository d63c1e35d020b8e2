"""The secret of a page, as it stands now in its file or systemd credential. It is never shown."""

import os
from pathlib import Path

from watchdog.settings.addresses import Page


class NoAnswerError(Exception):
    """There is no answer that could hold a reading. `kind` is the same for the same failure; the text is safe to log."""

    def __init__(self, kind: str, why: str) -> None:
        super().__init__(why)
        self.kind = kind


def secret_of(page: Page) -> str:
    """Empty for a page that needs none. Raises NoAnswerError for one that cannot be had: nothing is asked without it."""
    if page.secret_credential:
        folder = os.environ.get("CREDENTIALS_DIRECTORY", "")
        if not folder:
            raise NoAnswerError("secret", "systemd gave this service no credentials")
        path = Path(folder) / page.secret_credential
    elif page.secret_file:
        path = Path(page.secret_file)
    else:
        return ""
    try:
        secret = path.read_text(encoding="ascii").rstrip("\r\n")
    except OSError as problem:
        raise NoAnswerError("secret", f"its secret cannot be read: {problem.strerror}") from problem
    except UnicodeDecodeError as problem:
        raise NoAnswerError("secret", "its secret is not plain ASCII text") from problem
    if not secret or not secret.isprintable() or secret != secret.strip():
        raise NoAnswerError("secret", "its secret is not one line of printable characters without spaces around it")
    return secret

"""A secret, as it stands now in its file or systemd credential. It is never shown."""

import os
from pathlib import Path

from watchdog.fetch.failure import NoAnswerError


def secret_of(file: str, credential: str) -> str:
    """Empty when neither is named. Raises NoAnswerError for what is no single line of printable ASCII."""
    if credential:
        folder = os.environ.get("CREDENTIALS_DIRECTORY", "")
        if not folder:
            raise NoAnswerError("secret", "its secret cannot be read: systemd gave this service no credentials")
        path = Path(folder) / credential
    elif file:
        path = Path(file)
    else:
        return ""
    try:
        secret = path.read_text(encoding="ascii").rstrip("\r\n")
    except OSError as error:
        raise NoAnswerError("secret", f"its secret cannot be read: {error.strerror}") from None
    except ValueError:
        raise NoAnswerError("secret", "its secret is not plain ASCII text") from None
    if not secret or not secret.isprintable() or secret != secret.strip():
        raise NoAnswerError("secret", "its secret is not one line of printable characters without spaces around it")
    return secret

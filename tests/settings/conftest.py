"""Settings to work on."""

from pathlib import Path

import pytest
from rig.settings_files import good_settings


@pytest.fixture
def config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A settings directory without a fault, beside the secret, the program and the state directory that it names."""
    monkeypatch.delenv("CREDENTIALS_DIRECTORY", raising=False)
    return good_settings(tmp_path)

"""The farm's own secret, which codes are signed with: made once, readable by its owner only."""

import os
import secrets
from contextlib import suppress
from pathlib import Path

from shared.errors import SettingsError

SECRET_BYTES = 32


def farm_secret(path: Path) -> bytes:
    """The secret in that file, which is made if it is not there.

    Raises:
        SettingsError: it cannot be read or made, or is too short to be one.
    """
    try:
        with suppress(FileExistsError):
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(descriptor, "wb") as new:
                new.write(secrets.token_bytes(SECRET_BYTES))
                os.fsync(new.fileno())
        secret = path.read_bytes()
    except OSError as error:
        raise SettingsError(
            f"secret_file {path} cannot be used: {error}; name another place for it"
        ) from error
    if len(secret) < SECRET_BYTES:
        raise SettingsError(f"secret_file {path} is too short to be a secret; delete it, a new one is made")
    return secret

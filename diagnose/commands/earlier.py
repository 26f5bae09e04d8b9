"""A library as it was at a revision, for a folder that is under git."""

from __future__ import annotations

import io
import subprocess
import tarfile
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from diagnose.commands.options import Unusable, WrongUse

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextmanager
def at_revision(folder: Path, revision: str) -> Iterator[Path]:
    """Yield a folder that holds what the library's own folder held at a revision.

    Raises `Unusable` where the folder is not under git or git is missing, `WrongUse` where there is
    no such revision, or nothing of the folder in it.
    """
    # What begins with a dash would be an option of git's, not a revision.
    found = _git(folder, "rev-parse", "--verify", "--quiet", "--end-of-options", f"{revision}^{{}}")
    if found is None:
        _git(folder, "rev-parse", "--git-dir", must=True)
        raise WrongUse(f'{folder}: git knows no revision "{revision[:40]}" here.')
    packed = _git(folder, "archive", "--format=tar", found.decode().strip(), ".")
    if packed is None:
        raise WrongUse(f'{folder}: there was nothing of it at "{revision[:40]}".')
    with tempfile.TemporaryDirectory() as name:
        with tarfile.open(fileobj=io.BytesIO(packed)) as archive:
            archive.extractall(name, filter="data")
        yield Path(name)


def _git(folder: Path, *args: str, must: bool = False) -> bytes | None:
    """Return what git says, or None where it refuses."""
    try:
        done = subprocess.run(
            ["git", "-C", str(folder), *args], capture_output=True, check=False, timeout=60
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise Unusable(f"{folder}: git cannot be run; give two folders instead.") from error
    if done.returncode and must:
        raise Unusable(f"{folder}: this folder is not under git; give two folders instead.")
    return done.stdout if done.returncode == 0 else None

"""A report of what nobody expected: a file for whoever mends the program, with no names in it."""

from __future__ import annotations

import os
import platform
import traceback
from pathlib import Path
from typing import TYPE_CHECKING

from platformdirs import user_state_path

from diagnose import __version__
from diagnose.log import clock

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Options whose value is somebody's name.
_NAMES = ("--name",)


def kept(error: BaseException, args: Sequence[str]) -> Path | None:
    """Write version, command and traceback to a new file; None where that cannot be done."""
    lines = [
        f"diagnose {__version__}, Python {platform.python_version()}, {platform.platform()}",
        f"command: diagnose {' '.join(_without_names(args))}",
        "",
        *traceback.format_exception(error),
    ]
    # A home is named after its owner.
    text = "\n".join(lines).replace(str(Path.home()), "~")
    folder = user_state_path("diagnose", appauthor=False) / "reports"
    path = folder / f"{clock.now():%Y-%m-%dT%H%M%S%f}.txt"
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        # Nobody else may read it: it has paths and names of files in it.
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:
            stream.write(text.encode("utf-8", "replace"))
    except OSError:
        return None
    return path


def _without_names(args: Sequence[str]) -> list[str]:
    shown, hide = [], False
    for arg in args:
        option, is_given, _ = arg.partition("=")
        given = f"{option}=NAME" if is_given and option in _NAMES else repr(arg)[1:-1]
        shown.append("NAME" if hide else given)
        hide = not hide and arg in _NAMES
    return shown

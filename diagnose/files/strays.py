"""What lies in a library's folder and is not read; which library a file or folder belongs to."""

from __future__ import annotations

import os
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Final

from diagnose.files.library import CAUTIONS_FILE, CHANGES, COMMON, FOLDERS, KINDS
from diagnose.files.problems import refused
from diagnose.files.whole_files import stray
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    from diagnose.files.library import Library
    from diagnose.files.problems import Problem, Severity

#: The folders inside a library, as what leads to them.
_KNOWN: Final = frozenset(tuple(where.split("/")) for where in FOLDERS)

#: Endings with which a file was meant to be read: other spellings, and what some systems hide.
_MEANT: Final = (".yml", ".ymal", ".yaml.txt", ".yml.txt", ".yaml")

#: In a folder of more files no more are looked at to see what it holds.
_MOST_LOOKED_AT: Final = 10_000


def strays(library: Library) -> list[Problem]:
    """Return a problem for each thing in a library's folder that nothing reads.

    It is an error where it was meant to be read: a misspelt ending, a folder with such files. What
    a check says of the library would not hold for it. Anything else, a note or a picture, is a
    warning; what begins with a point is the business of other programs. Where no tree is there at
    all, it is most likely another folder, and the warnings would be about somebody else's files.
    """
    found = []
    for inside in ((), *sorted(_KNOWN)):
        try:
            there = sorted(library.folder.joinpath(*inside).iterdir())
        except OSError:
            continue  # Whoever reads the folder says so.
        for path in there:
            if path.name.startswith(".") or _is_read(path, inside):
                continue
            severity: Severity = "error" if _meant(path) else "warning"
            if not library.symptoms and (path / CAUTIONS_FILE).exists():
                continue  # The empty library names it.
            if severity == "error" or library.symptoms:
                refusal = stray(path.name, _is_folder(path), _hint(path, inside))
                name = library.file(*inside, path.name)
                found.append(refused(name, refusal, 1, 1, severity))
    return found


def library_of(path: Path) -> tuple[Path, tuple[str, ...]] | None:
    """Return the folder of the library that a path belongs to, and what leads there inside it.

    A library is known by its `cautions.yaml` or `site.yaml`, in the folder or, where it is one for
    cards, kinds or rounds, in one of the two above it; else by files of its own. None where there
    is neither. `path` is there.
    """
    # A file or folder that is a link belongs to where the link lies.
    there = Path(os.path.abspath(path))  # noqa: PTH100
    own = there if _is_folder(there) else there.parent
    above = [own, *islice(own.parents, 2)]
    heads = COMMON
    home = next((one for one in above if any((one / name).is_file() for name in heads)), None)
    if home is None:
        tails = {tuple(own.parts[-len(where) :]): len(where) for where in _KNOWN}
        up = max((tails[where] for where in _KNOWN if where in tails), default=0)
        candidates = [own.parents[up - 1], own] if up else [own]
        home = next((one for one in candidates if _holds_files(one)), None)
    if home is None:
        return None
    return _as_typed(path, there, home), there.relative_to(home).parts


def _as_typed(path: Path, there: Path, home: Path) -> Path:
    """Return `home`, which is `path` or above it, with the words in which `path` was given."""
    up = len(there.relative_to(home).parts)
    named = [part for part in path.parts if part not in (os.curdir, os.pardir)]
    if up > len(named) or os.pardir in path.parts:
        return home
    return path if up == 0 else path.parents[up - 1]


def _is_read(path: Path, inside: tuple[str, ...]) -> bool:
    if _is_folder(path):
        return (*inside, path.name) in _KNOWN
    return path.suffix == ".yaml" or (path.name == CHANGES and not inside)


def _meant(path: Path) -> bool:
    """Return whether what is not read was written to be."""
    return _holds_files(path) if _is_folder(path) else _ending(path) is not None


def _ending(path: Path) -> str | None:
    name = path.name.casefold()
    return next((ending for ending in _MEANT if name.endswith(ending)), None)


def _hint(path: Path, inside: tuple[str, ...]) -> str:
    """Return what may be meant by the name of what is not read, as the end of a sentence."""
    if not _is_folder(path):
        ending = _ending(path)
        return "" if ending is None else f' Name it "{path.name[: -len(ending)]}.yaml".'
    known = [where[-1] for where in _KNOWN if where[:-1] == inside]
    near = did_you_mean(path.name.casefold(), known)
    if not near and path.name.casefold() == "kinds":
        near = f' Did you mean "{KINDS}"?'
    if not near and _holds_files(path):
        near = " Move its files to where they are read."
    return near


def _holds_files(folder: Path) -> bool:
    """Return whether files of a library lie in a folder, however their endings are spelt."""
    try:
        return any(
            _ending(path) is not None and not path.name.startswith(".")
            for path in islice(folder.iterdir(), _MOST_LOOKED_AT)
        )
    except OSError:
        return False


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except OSError:
        return False  # What is in a folder that may not be searched.

"""The typeface of everything on paper: it comes with pip, and never from the computer's own fonts.

Fira Sans (SIL Open Font License 1.1) has Latin, Greek and Cyrillic. Only this module imports
fontTools, which reads from the files which letters there are and how wide they are.
"""

from __future__ import annotations

import atexit
import shutil
import tempfile
from functools import cache, cached_property
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from diagnose.files.regular import content

if TYPE_CHECKING:
    from collections.abc import Iterable

FAMILY: Final = "Fira Sans"
_WEIGHTS: Final = ("Regular", "Bold")

#: As much of a font file is read; the largest with all letters of East Asia have some 20 MiB.
LARGEST: Final = 64 * 1024 * 1024

#: What steers how other letters are shown, and is none itself: joiners and variation selectors.
_SILENT: Final = frozenset("\n\t\u00ad\u200b\u200c\u200d\u2060\ufe0e\ufe0f")


class CannotRender(Exception):
    """A library is missing, a letter has no font, or a page cannot be made; one line says which."""


class Typeface:
    """The fonts, regular and bold, in a folder of their own; `more` is a font file besides.

    Raises `CannotRender` where that file is no font.
    """

    def __init__(self, more: Path | None = None) -> None:
        import fontpkg_fira_sans
        from fontTools.ttLib import TTFont, TTLibError

        files = [fontpkg_fira_sans.ROOT / "files" / f"FiraSans-{one}.ttf" for one in _WEIGHTS]
        files += [] if more is None else [more]
        try:
            read = [content(file, LARGEST) for file in files]
            self._fonts: list[Any] = [TTFont(BytesIO(one), lazy=True, fontNumber=0) for one in read]
        except (OSError, TTLibError) as error:
            reason = getattr(error, "strerror", None) or f"{error}"
            raise CannotRender(f"{more}: this is no font that can be read ({reason}).") from error
        self.folder = Path(tempfile.mkdtemp(prefix="diagnose-fonts-"))
        atexit.register(shutil.rmtree, self.folder, ignore_errors=True)
        for place, one in enumerate(read):
            (self.folder / f"{place}{files[place].suffix}").write_bytes(one)
        # A family that letters are taken from where the first has none.
        names = [one["name"].getBestFamilyName() for one in self._fonts[len(_WEIGHTS) :]]
        self.families = [FAMILY, *names]
        self._widths: dict[bool, dict[str, float]] = {False: {}, True: {}}

    @cached_property
    def _letters(self) -> list[dict[int, str]]:
        return [font.getBestCmap() for font in self._fonts]

    @property
    def cap_height(self) -> float:
        """The height of a capital letter as a part of the type size, as the font says it."""
        regular = self._fonts[0]
        return float(regular["OS/2"].sCapHeight / regular["head"].unitsPerEm)

    def check(self, texts: Iterable[str]) -> None:
        """Raise `CannotRender` for the first letter that no font has."""
        known = {*(ord(one) for one in _SILENT)}.union(*self._letters)
        for letter in sorted(set[str]().union(*texts)):
            if ord(letter) not in known:
                raise CannotRender(
                    f"no letter for U+{ord(letter):04X}; --font FILE names a font that has it."
                )

    def width(self, text: str, size: float, *, bold: bool = False) -> float:
        """Return how wide a text is, in the unit of `size`, without kerning."""
        widths = self._widths[bold]
        try:
            return sum(map(widths.__getitem__, text)) * size
        except KeyError:
            for letter in {*text} - widths.keys():
                widths[letter] = self._width(ord(letter), bold)
        return self.width(text, size, bold=bold)

    def _width(self, letter: int, bold: bool) -> float:
        """Return a letter's width as a part of the type size; 0 where no font has it."""
        for place in (int(bold), *range(len(_WEIGHTS), len(self._fonts))):
            name = self._letters[place].get(letter)
            if name is not None:
                font = self._fonts[place]
                return float(font["hmtx"][name][0] / font["head"].unitsPerEm)
        return 0.0

    @cached_property
    def fontconfig(self) -> Path:
        """The file that lets Graphviz find these fonts and no others."""
        file = self.folder / "fonts.conf"
        file.write_text(
            '<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "fonts.dtd"><fontconfig>'
            f"<dir>{self.folder}</dir><cachedir>{self.folder}</cachedir></fontconfig>",
            "utf-8",
        )
        return file


@cache
def typeface(more: Path | None = None) -> Typeface:
    """Return the fonts, the same for as long as the program runs. Raises `CannotRender`."""
    return Typeface(more)

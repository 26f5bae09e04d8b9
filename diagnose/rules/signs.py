"""The rule on sign numbers, and which of them ISO 7010 has registered."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from diagnose.rules.view import Objection

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.rules.view import CautionsView

#: ISO 7010 gives its numbers out one after the other, by the letter of what a sign says: the last
#: of each that is known here. From memory, of the edition of 2019 with its first amendments; later
#: ones register more, which is why an unknown number is a warning and no error. Those of the
#: built-in library were read (tests/faces/test_signs.py).
LAST: Final = {"E": 70, "F": 19, "M": 60, "P": 74, "W": 80}


def unknown_sign(view: CautionsView) -> Iterator[Objection]:
    """The sign numbers of a caution are registered in ISO 7010.

    The number is what people find the sign by, in the catalogue and on the wall; a slip in it names
    another sign or none. The standard grows: the list of the program is from memory and may lack
    the newest.

    Passes:
        cautions: {barrier: {signs: [W011]}}
    Fails:
        cautions: {barrier: {signs: [W111]}}
    """
    for path, sign in view.named("signs"):
        last = LAST[sign[0]]
        if not 1 <= int(sign[1:]) <= last:
            message = (
                f'ISO 7010 has no sign "{sign}" that is known here: {sign[0]}001 to '
                f"{sign[0]}{last:03} are."
            )
            yield Objection(path, message, "warning")

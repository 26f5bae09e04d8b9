"""ISO 7010 safety signs in words: the number that hangs on the wall, and what it means.

The numbers and referents are the standard's; the words are ours, short enough for a list.
"""

from __future__ import annotations

from typing import Final

SIGNS: Final[dict[str, str]] = {
    "E011": "eyewash",
    "M002": "read the manual",
    "M004": "wear eye protection",
    "M006": "unplug from the mains",
    "M009": "wear gloves",
    "M011": "wash your hands",
    "M021": "disconnect before work",
    "M026": "wear an apron",
    "P002": "no smoking",
    "P003": "no open flame",
    "P008": "no metal things or watches",
    "P015": "no reaching in",
    "P031": "leave the switch as it is",
    "P069": "not for users to service",
    "W001": "warning",
    "W009": "germs",
    "W011": "slippery floor",
    "W012": "electricity",
    "W014": "industrial vehicles",
    "W017": "hot surface",
    "W018": "starts by itself",
    "W023": "corrosive",
    "W024": "hands can be crushed",
    "W026": "battery charging",
}

#: What the letter alone says.
_KINDS: Final = {
    "E": "safe condition",
    "F": "fire equipment",
    "M": "mandatory action",
    "P": "prohibition",
    "W": "warning",
}


def sign_words(number: str) -> str:
    """Return a sign in words with its number, such as ``wear gloves (M009)``."""
    words = SIGNS.get(number) or _KINDS.get(number[:1], "safety sign")
    return f"{words} ({number})"

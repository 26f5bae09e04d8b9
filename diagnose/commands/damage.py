"""Which cases of a list are damaged in the log. It goes on past them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from diagnose.commands.options import pages

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from diagnose.log.protocol import CaseLog, CaseRecord, Listed

#: As many cases of a list are looked through: more than stand on any shift lead's list.
_MOST: Final = 200


class Look:
    """A look through the first cases of a list for events that cannot be read.

    It costs far more than what a list says of a case, so a long list is looked through no further;
    of the others is known what somebody met who read them.
    """

    def __init__(self, log: CaseLog) -> None:
        self._log = log
        self._left = _MOST

    def through(self, listed: Iterable[Listed]) -> Iterator[tuple[Listed, int | None]]:
        """Yield cases as they come, each with its first damaged event, None where none is known."""
        for page in pages(listed):
            some = page[: self._left]
            self._left -= len(some)
            damaged = self._log.damaged([one.case for one in some])
            for one in page:
                yield one, damaged.get(one.case.key, one.summary.damaged)


def in_words(case: CaseRecord, event: int) -> str:
    """Return in a line that an event of a case is damaged."""
    return f"the log is damaged at case {case.name}, event {event}; restore a copy of the file."

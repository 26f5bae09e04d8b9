"""The one clock of the program, which is handed in wherever the time matters.

Times are kept in UTC, and shown as the clock on the wall has them.
"""

from __future__ import annotations

from datetime import UTC, datetime
from functools import partial

#: Returns the time in UTC.
now = partial(datetime.now, UTC)


def local(at: str) -> str:
    """Return a time of the log (ISO 8601) as local time with its offset from UTC, to the minute.

    Where the computer knows no time zone, that is UTC.
    """
    told = datetime.fromisoformat(at).astimezone()
    return f"{told:%Y-%m-%d %H:%M} {told.isoformat()[-6:]}"

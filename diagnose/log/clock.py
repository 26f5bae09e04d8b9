"""The one clock of the program, which is handed in wherever the time matters."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import partial

#: Returns the time in UTC.
now = partial(datetime.now, UTC)

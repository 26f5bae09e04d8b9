"""The one clock of the program, which is handed in wherever the time matters."""

from __future__ import annotations

from datetime import UTC, datetime


def now() -> datetime:
    """Return the time in UTC."""
    return datetime.now(UTC)


def utc_now() -> str:
    """Return the time as the log writes it: ISO 8601 in UTC, to the second."""
    return now().isoformat(timespec="seconds")

"""The program in this process: replies in, screens out, at a time of one's own choosing."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from diagnose.app import run
from diagnose.log import clock
from strategies.rounds import written

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import pytest

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
CARD = "format: 1\nmachine: {0}\ntitle: The {0} machine\n"


@dataclass
class Script:
    """A face that replies from a list, or by a function of the screen; then it leaves."""

    replies: list[str] | Callable[[Any], str | None]
    screens: list[Any] = field(default_factory=list)

    def show(self, screen: Any, heading: Any) -> None:
        self.screens.append(screen)

    def ask(self, screen: Any, heading: Any) -> str | None:
        self.screens.append(screen)
        if callable(self.replies):
            return self.replies(screen)
        return self.replies.pop(0) if self.replies else None

    def waits(self, words: str) -> None:
        self.screens.append(words)


@dataclass
class Desk:
    """A shop with its machines: a library (the small one, or the one that comes along), a log."""

    folder: Path
    patch: pytest.MonkeyPatch
    built_in: bool = False
    log: Path = field(init=False)
    library: Path = field(init=False)

    def __post_init__(self) -> None:
        self.log = self.folder / "log"
        self.library = self.folder / "library"
        if not self.built_in:
            written(self.library)
            self.card("dock")
        self.at(NOW)

    def card(self, machine: str) -> None:
        (self.library / "machines").mkdir(exist_ok=True)
        (self.library / "machines" / f"{machine}.yaml").write_text(CARD.format(machine))

    def at(self, now: datetime) -> None:
        """Set the program's clock."""
        self.patch.setattr(clock, "now", lambda: now)

    def __call__(self, *args: str, replies: tuple[str, ...] = ()) -> tuple[int, str, str]:
        """Run a verb; return the exit code, and what was said to output and to error."""
        said = io.BytesIO("".join(f"{reply}\n" for reply in replies).encode())
        out, err = io.StringIO(), io.StringIO()
        trees = () if self.built_in else ("--trees", str(self.library))
        with self.patch.context() as patch:
            patch.setattr("sys.stdin", io.TextIOWrapper(said))
            patch.setattr("sys.stdout", out)
            patch.setattr("sys.stderr", err)
            code = run([*args, *trees, "--log", str(self.log)])
        return code, out.getvalue(), err.getvalue()

    def walk(self, *args: str, replies: tuple[str, ...] = ()) -> list[Any]:
        """Run a verb that has to do its work, and return its lines of JSON."""
        code, out, err = self(*args, "--json", replies=replies)
        assert (code, err) == (0, ""), (code, err)
        return [json.loads(line) for line in out.splitlines()]

    def daily(self, *replies: str) -> list[dict[str, Any]]:
        """Walk the small library's round."""
        return self.walk("round", "daily", "--machine", "dock", replies=replies)

    def cases(self, *args: str) -> list[dict[str, Any]]:
        """Return the list of cases, the newest first."""
        (listed,) = self.walk("cases", *args)
        found: list[dict[str, Any]] = listed
        return found

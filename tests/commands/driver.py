"""Drives the program as another program would: JSON lines over pipes, one reply a screen."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path


class Driver:
    """A running `diagnose` that speaks JSON lines."""

    def __init__(self, *args: str, log: Path | None = None, **options: Any) -> None:
        command = [sys.executable, "-m", "diagnose", *args, "--json"]
        if log is not None:
            command += ["--log", str(log)]
        self.process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            env=dict(os.environ),
            **options,
        )

    def screen(self) -> dict[str, Any]:
        """Return the next screen."""
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line, self.process.communicate()[1]
        data: dict[str, Any] = json.loads(line)
        return data

    def reply(self, text: str) -> dict[str, Any]:
        """Send a reply and return the next screen."""
        assert self.process.stdin is not None
        self.process.stdin.write(text + "\n")
        self.process.stdin.flush()
        return self.screen()

    def past_cautions(self, screen: dict[str, Any]) -> dict[str, Any]:
        """Confirm what is shown until a step is."""
        while screen["screen"] == "caution":
            screen = self.reply("done")
        return screen

    def end(self) -> tuple[int, str]:
        """Close the input and return the exit code and what stood on standard error."""
        _, err = self.process.communicate(timeout=60)
        return self.process.returncode, err

    def kill(self) -> None:
        """Kill it as `kill -9` does."""
        self.process.kill()
        self.process.communicate()

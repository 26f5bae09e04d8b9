"""A stage without a terminal: its keys come from a list, one entry each time a screen is up."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from prompt_toolkit.application import create_app_session
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput

from diagnose.faces.stage import Stage

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from prompt_toolkit.application import Application
    from prompt_toolkit.input import PipeInput

    from diagnose.faces.sitting import Sitting


class FedStage(Stage):
    """Types the next keys once a screen has been drawn, as a person does."""

    def __init__(self, pipe: PipeInput, keys: Sequence[str]) -> None:
        super().__init__()
        self.pipe = pipe
        self.waiting = list(keys)
        self.played: list[Sitting] = []
        self._due = False

    def play(self, sitting: Sitting) -> str | None:
        self.played.append(sitting)
        self._due = True
        return super().play(sitting)

    def _rendered(self, app: Application[None]) -> None:
        super()._rendered(app)
        if self._due:
            self._due = False
            if self.waiting:
                self.pipe.send_text(self.waiting.pop(0))
            else:
                self.pipe.close()


@contextmanager
def fed(*keys: str) -> Iterator[FedStage]:
    """Give a stage that is fed with keys, and see to it that it is left."""
    with (
        create_pipe_input() as pipe,
        create_app_session(input=pipe, output=DummyOutput()),
    ):
        stage = FedStage(pipe, keys)
        try:
            yield stage
        finally:
            stage.leave()

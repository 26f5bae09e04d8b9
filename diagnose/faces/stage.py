"""The terminal: the one place that knows prompt_toolkit's application.

The application starts with the first screen and stays until somebody leaves the stage, so that
nothing flickers between a key and the next question. Whoever else writes to the terminal in
between (an error, a last word) finds it restored first.
"""

from __future__ import annotations

import asyncio
import atexit
import os
import signal
import sys
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Final

from prompt_toolkit.application import Application
from prompt_toolkit.filters import Condition
from prompt_toolkit.input.typeahead import clear_typeahead
from prompt_toolkit.key_binding import KeyBindings
from prompt_toolkit.keys import Keys
from prompt_toolkit.layout import FormattedTextControl, Layout, Window
from prompt_toolkit.output import ColorDepth
from prompt_toolkit.styles import Style

from diagnose.faces.page import draw

if TYPE_CHECKING:
    from collections.abc import Callable

    from prompt_toolkit.formatted_text import StyleAndTextTuples
    from prompt_toolkit.input import Input
    from prompt_toolkit.key_binding import KeyPressEvent

    from diagnose.faces.sitting import Sitting

#: Panels as ANSI Z535.4 colours them; every text on them has a contrast of 4.5 to 1 or more.
_PANELS: Final = {
    "signal.danger": "bg:#b3001b #ffffff bold",
    "signal.warning": "bg:#ff8300 #000000 bold",
    "signal.caution": "bg:#ffd100 #000000 bold",
    "signal.notice": "bg:#00529b #ffffff bold",
    "notice": "bg:#00529b #ffffff bold",
}

_LOOK: Final = {
    "place": "bold",
    "in-force": "bold",
    "title": "bold",
    "ask": "bold",
    "heading": "bold",
    "key": "bold",
    "next": "bold",
    "refused": "bold",
    "more": "reverse",
}

_NAMED: Final = ("up", "down", "pageup", "pagedown", "enter", "tab", "s-tab", "backspace", "c-u")


def no_color() -> bool:
    """Whether the person asked for no colour: NO_COLOR is set and not empty."""
    return bool(os.environ.get("NO_COLOR"))


class Stage:
    """Puts one sitting after the other on the terminal and brings back what was replied."""

    def __init__(self) -> None:
        self._sitting: Sitting | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._app: Application[None] | None = None
        self._run: asyncio.Task[None] | None = None
        self._reply: asyncio.Future[str | None] | None = None
        self._drawn = False
        self._streams: tuple[Any, Any] | None = None

    def play(self, sitting: Sitting) -> str | None:
        """Show a sitting until a key completes a reply; None where the input has ended.

        Raises `KeyboardInterrupt` where the person broke off; the terminal is restored then.
        """
        self._sitting = sitting
        self._drawn = False
        if self._loop is None:
            self._begin()
        assert self._loop is not None
        assert self._app is not None
        _forget(self._app.input)
        self._reply = self._loop.create_future()
        if self._run is None:
            # Its own handler would print a traceback and wait for a key.
            self._loop.set_exception_handler(self._failed)
            self._run = self._loop.create_task(self._app.run_async(set_exception_handler=False))
        else:
            self._app.invalidate()
        try:
            waited: set[asyncio.Future[Any]] = {self._run, self._reply}
            either = asyncio.wait(waited, return_when=asyncio.FIRST_COMPLETED)
            self._loop.run_until_complete(either)
            if self._reply.done():
                return self._reply.result()
            self._run.result()  # the application ended by itself: with an error, or at the end
        except EOFError:
            pass
        except BaseException:
            self.leave()
            raise
        self.leave()
        return None

    def leave(self) -> None:
        """Give the terminal back as it was, and the standard streams."""
        self.restore()
        if self._streams is not None:
            sys.stdout, sys.stderr = self._streams
            self._streams = None
            atexit.unregister(self.leave)

    def restore(self) -> None:
        """Give the terminal back as it was; the next screen takes it again."""
        if self._loop is None or self._loop.is_running():
            return
        loop, run, app, self._loop = self._loop, self._run, self._app, None
        self._run = self._app = self._reply = None
        if run is not None and app is not None:
            if not run.done():
                app.exit()
            with suppress(Exception):
                loop.run_until_complete(run)
        loop.close()

    def _begin(self) -> None:
        self._loop = asyncio.new_event_loop()
        # Who ends the program from outside ends it like Ctrl-C: the terminal as it was, the way to
        # resume on it. Not every system and thread can hear of it.
        with suppress(NotImplementedError, RuntimeError, ValueError):
            self._loop.add_signal_handler(signal.SIGTERM, self._broken_off)
        self._app = Application(
            layout=Layout(
                Window(
                    FormattedTextControl(self._page, focusable=True),
                    always_hide_cursor=Condition(lambda: not self._typing()),
                )
            ),
            key_bindings=self._bindings(),
            style=Style.from_dict(
                _LOOK | (dict.fromkeys(_PANELS, "reverse bold") if no_color() else _PANELS)
            ),
            color_depth=ColorDepth.DEPTH_1_BIT if no_color() else None,
            include_default_pygments_style=False,
            full_screen=True,
            after_render=self._rendered,
        )
        if self._streams is None:
            self._streams = (sys.stdout, sys.stderr)
            sys.stdout, sys.stderr = (
                None if stream is None else _Aside(stream, self.restore) for stream in self._streams
            )
            atexit.register(self.leave)

    def _typing(self) -> bool:
        return self._sitting is not None and bool(self._sitting.typed)

    def _page(self) -> StyleAndTextTuples:
        assert self._app is not None
        assert self._sitting is not None
        size = self._app.output.get_size()
        pieces: StyleAndTextTuples = []
        for row in draw(self._sitting, size.columns, size.rows):
            if pieces:
                pieces.append(("", "\n"))
            pieces += row.pieces or (("", ""),)
        return pieces

    def _rendered(self, app: Application[None]) -> None:
        self._drawn = True

    def _bindings(self) -> KeyBindings:
        bindings = KeyBindings()

        def press(event: KeyPressEvent, key: str) -> None:
            # A key that was pressed before its question was on the screen answers nothing.
            if self._sitting is not None and self._drawn:
                self._answer(self._sitting.press(key))

        for name in _NAMED:
            bindings.add(name)(lambda event, name=name: press(event, name))
        bindings.add("c-j")(lambda event: press(event, "enter"))

        @bindings.add(Keys.Any)
        def _(event: KeyPressEvent) -> None:
            if event.data.isprintable():
                press(event, event.data)

        @bindings.add(Keys.BracketedPaste)
        def _(event: KeyPressEvent) -> None:
            if self._sitting is not None and self._drawn:
                self._sitting.paste(event.data)

        @bindings.add("c-c")
        @bindings.add(Keys.SIGINT)
        def _(event: KeyPressEvent) -> None:
            self._broken_off()

        @bindings.add("c-d")
        def _(event: KeyPressEvent) -> None:
            if self._app is not None:
                self._app.exit(exception=EOFError)

        return bindings

    def _broken_off(self) -> None:
        if self._reply is not None and not self._reply.done():
            self._reply.set_exception(KeyboardInterrupt())

    def _answer(self, reply: str | None) -> None:
        if reply is not None and self._reply is not None and not self._reply.done():
            self._reply.set_result(reply)

    def _failed(self, loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        """Bring a fault in drawing, or in a key, to whoever asked."""
        if self._reply is not None and not self._reply.done():
            fault = context.get("exception") or RuntimeError(context["message"])
            self._reply.set_exception(fault)


class _Aside:
    """A standard stream while the stage is lit: to write to it restores the terminal first.

    It stays in its place then: `print` holds no reference of its own to the stream it writes to.
    """

    def __init__(self, stream: Any, restore: Callable[[], None]) -> None:
        self._stream = stream
        self._restore = restore

    def write(self, text: str) -> int:
        self._restore()
        written: int = self._stream.write(text)
        return written

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def _forget(source: Input) -> None:
    """Drop what was typed ahead of the screen that is about to be shown."""
    clear_typeahead(source)
    with suppress(Exception):
        import termios

        termios.tcflush(source.fileno(), termios.TCIFLUSH)

"""The face at a terminal: a whole screen for each question, one key for an answer.

The one place that knows prompt_toolkit. Its application starts with the first screen and stays
until the face is closed, so that nothing flickers between a key and the next question. Whoever else
writes to the terminal in between (an error, a last word) finds it restored first.
"""

from __future__ import annotations

import asyncio
import atexit
import errno
import os
import signal
import sys
from contextlib import suppress
from time import monotonic
from typing import TYPE_CHECKING, Any, Final

from msgspec.structs import replace
from prompt_toolkit.application import Application, run_in_terminal
from prompt_toolkit.filters import Condition
from prompt_toolkit.input.typeahead import clear_typeahead
from prompt_toolkit.key_binding import KeyBindings
from prompt_toolkit.keys import Keys
from prompt_toolkit.layout import FormattedTextControl, Layout, Window
from prompt_toolkit.output import ColorDepth
from prompt_toolkit.styles import Style

from diagnose import interrupts
from diagnose.case.screens import DangerScreen, EndScreen, RefusedScreen
from diagnose.faces.dialog import ALARM, GO_ON, Dialog
from diagnose.faces.elements import StatusLine
from diagnose.faces.layout import CURSOR, draw
from diagnose.faces.plain import PlainFace
from diagnose.faces.words import render
from diagnose.text import printable

if TYPE_CHECKING:
    from collections.abc import Callable

    from prompt_toolkit.formatted_text import StyleAndTextTuples
    from prompt_toolkit.input import Input
    from prompt_toolkit.key_binding import KeyPressEvent

    from diagnose.case.screens import Screen
    from diagnose.faces.face import Heading
    from diagnose.faces.layout import Arrangement

#: Panels as ANSI Z535.4 colours them; every text on them has a contrast of 4.5 to 1 or more.
_PANELS: Final = {
    "signal.danger": "bg:#b3001b #ffffff bold",
    "signal.warning": "bg:#ff8300 #000000 bold",
    "signal.caution": "bg:#ffd100 #000000 bold",
    "signal.notice": "bg:#00529b #ffffff bold",
    "notice": "bg:#00529b #ffffff bold",
}

_STYLES: Final = {
    **dict.fromkeys(("place", "in-force", "title", "ask", "heading"), "bold"),
    **dict.fromkeys(("key", "next", "refused"), "bold"),
    "more": "reverse",
}

_NAMED: Final = (
    *("up", "down", "pageup", "pagedown", "enter", "tab", "s-tab", "backspace", "c-u", "escape"),
)


#: Seconds in which a screen is drawn.
_DRAWN: Final = 0.05

#: Seconds: nobody has read a danger's question by then. Common practice, no published source.
BURST: Final = 0.5


def no_color() -> bool:
    """Whether the person asked for no colour: NO_COLOR is set and not empty."""
    return bool(os.environ.get("NO_COLOR"))


class TerminalFace:
    """Whole screens. The end is printed below them, where it stays."""

    def __init__(self, full_screen: FullScreen | None = None) -> None:
        self._full_screen = full_screen or FullScreen()
        self._status = StatusLine()
        self._refused = ""
        self._ahead: list[str | KeyboardInterrupt | None] = []
        self._last: Dialog | None = None
        self._aside = False

    def show(self, screen: Screen, heading: Heading) -> None:
        """Show a screen that takes no reply: until a key, at the end for good."""
        self._aside = True
        if isinstance(screen, RefusedScreen):
            # It stands above the next screen, which is the same one again.
            self._refused = printable(render(screen.message))
        elif isinstance(screen, EndScreen):
            self._full_screen.close()
            PlainFace().show(screen, heading)
        else:
            status = self._status.status(screen, heading)
            if not status.in_force and self._last is not None:
                # Looking at a figure or a reason changes nothing at the machine.
                status = replace(status, in_force=self._last.status.in_force)
            # Danger, a break or the end of the input holds for the screen that follows.
            try:
                reply = self._full_screen.run(Dialog(screen, heading, status))
                self._ahead = [] if reply == GO_ON else [reply]
            except KeyboardInterrupt as broken:
                self._ahead = [broken]

    def ask(self, screen: Screen, heading: Heading) -> str | None:
        """Show a screen until it is replied to; None at the end of the input.

        Raises `KeyboardInterrupt`, the terminal restored, where the person broke off.
        """
        if self._ahead:
            ahead = self._ahead.pop()
            if isinstance(ahead, KeyboardInterrupt):
                raise ahead
            return ahead
        refused, self._refused = self._refused, ""
        status = self._status.status(screen, heading)
        if isinstance(screen, DangerScreen):
            self._aside = True
            return self._full_screen.run(Dialog(screen, heading, status, refused))
        dialog = self._last
        again = dialog is not None and (self._aside or dialog.note is not None)
        if not again or dialog is None or not dialog.comes_again(screen):
            dialog = Dialog(screen, heading, status, refused)
        elif dialog.alarmed:
            # By mistake: it is all just as it was.
            dialog.alarmed = False
        else:
            # After `why`, a note and a refused reply the person goes on where they were.
            dialog.reopen(screen, heading, refused)
        self._last, self._aside = dialog, False
        return self._full_screen.run(dialog)

    def waits(self, words: str) -> None:
        """Say so at the foot of the screen that was replied to."""
        self._full_screen.say(printable(words))


class FullScreen:
    """Puts one dialog after the other on the whole terminal and brings back what was replied.

    A danger's question takes no key for its first `burst` seconds.
    """

    burst = BURST

    def __init__(self) -> None:
        self._dialog: Dialog | None = None
        self._arrangement: Arrangement | None = None
        self._shown: StyleAndTextTuples = []
        self._loop: asyncio.AbstractEventLoop | None = None
        self._app: Application[None] | None = None
        self._task: asyncio.Task[None] | None = None
        self._reply: asyncio.Future[str | None] | None = None
        self._drawn: float | None = None
        self._streams: tuple[Any, Any] | None = None

    def run(self, dialog: Dialog) -> str | None:
        """Show a dialog until a key completes a reply; None where the input has ended.

        Raises `KeyboardInterrupt` where the person broke off; the terminal is restored then.
        """
        self._dialog, self._arrangement = dialog, None
        self._drawn = None
        try:
            if self._loop is None:
                self._begin()
            return self._replied()
        except BaseException as error:
            self.close()
            # A terminal that is gone says so to whoever draws, or as the end of its input.
            gone = isinstance(error, OSError) and error.errno == errno.EIO
            if gone or isinstance(error, EOFError):
                return None
            raise

    def _replied(self) -> str | None:
        assert self._loop is not None
        assert self._app is not None
        _drop_typed_ahead(self._app.input)
        self._reply = self._loop.create_future()
        with interrupts.passed_to(self._ended_from_outside):
            if self._task is None:
                # Its own handler would print a traceback and wait for a key.
                self._loop.set_exception_handler(self._failed)
                self._task = self._loop.create_task(
                    self._app.run_async(set_exception_handler=False)
                )
            else:
                self._app.invalidate()
            waited: set[asyncio.Future[Any]] = {self._task, self._reply}
            either = asyncio.wait(waited, return_when=asyncio.FIRST_COMPLETED)
            self._loop.run_until_complete(either)
        if not self._reply.done():
            self._task.result()  # the application ended by itself: with an error, or at the end
            raise EOFError
        return self._reply.result()

    def say(self, words: str) -> None:
        """Say something at the foot of the last screen, which takes no key any more."""
        if self._loop is None or self._app is None or self._dialog is None:
            return
        self._dialog.hint, self._reply, self._arrangement = words, None, None
        self._app.invalidate()
        self._loop.run_until_complete(asyncio.sleep(_DRAWN))

    def close(self) -> None:
        """Give the terminal back as it was, and the standard streams."""
        self.suspend()
        if self._streams is not None:
            sys.stdout, sys.stderr = self._streams
            self._streams = None
            atexit.unregister(self.close)

    def suspend(self) -> None:
        """Give the terminal back as it was; the next screen takes it again."""
        if self._loop is None or self._loop.is_running():
            return
        loop, task, app, self._loop = self._loop, self._task, self._app, None
        self._task = self._app = self._reply = None
        if task is not None and app is not None:
            if not task.done():
                # Where the input has ended meanwhile, it is on its way out already.
                with suppress(Exception):
                    app.exit()
            with suppress(Exception):
                loop.run_until_complete(task)
        loop.close()

    def _begin(self) -> None:
        self._loop = asyncio.new_event_loop()
        panels = dict.fromkeys(_PANELS, "reverse bold") if no_color() else _PANELS
        self._app = Application(
            layout=Layout(
                Window(
                    FormattedTextControl(self._page, focusable=True),
                    # There is one where the screen has a field.
                    always_hide_cursor=Condition(lambda: CURSOR not in self._shown),
                )
            ),
            key_bindings=self._bindings(),
            style=Style.from_dict(_STYLES | panels),
            color_depth=ColorDepth.DEPTH_1_BIT if no_color() else None,
            include_default_pygments_style=False,
            full_screen=True,
            after_render=self._rendered,
        )
        if self._streams is None:
            self._streams = (sys.stdout, sys.stderr)
            sys.stdout, sys.stderr = (
                None if stream is None else _SuspendingStream(stream, self.suspend)
                for stream in self._streams
            )
            atexit.register(self.close)

    def _page(self) -> StyleAndTextTuples:
        assert self._app is not None
        assert self._dialog is not None
        if self._reply is not None and self._reply.done():
            return self._shown  # the next screen comes at once: this one is not drawn anew
        size, known = self._app.output.get_size(), self._arrangement
        rows, self._arrangement = draw(self._dialog, size.columns, size.rows, known)
        if known is None:
            self._drawn = None  # in sight from now on
        self._shown = []
        for row in rows:
            self._shown += [("", "\n")] if self._shown else []
            self._shown += row.pieces or (("", ""),)
        return self._shown

    def _rendered(self, app: Application[None]) -> None:
        if self._drawn is None:
            self._drawn = monotonic()

    @property
    def _takes_keys(self) -> bool:
        """Whether a key can be meant for the screen: none before it was there, or after the reply.

        Nor one in a terminal too small for it, nor the rest of a burst of keys that happened to
        have the one for danger in it.
        """
        if self._dialog is None or self._drawn is None or self._waits() is None:
            return False
        if self._arrangement is None:
            return False
        alarm = isinstance(self._dialog.screen, DangerScreen)
        return not alarm or monotonic() - self._drawn >= self.burst

    def _bindings(self) -> KeyBindings:
        bindings = KeyBindings()

        def press(key: str) -> None:
            if self._dialog is not None and (self._takes_keys or self._too_small_for(key)):
                self._answer(self._dialog.press(key))

        for name in _NAMED:
            bindings.add(name, eager=True)(lambda event, name=name: press(name))
        bindings.add("c-j")(lambda event: press("enter"))

        @bindings.add(Keys.Any)
        def _(event: KeyPressEvent) -> None:
            if event.data.isprintable():
                press(event.data)

        @bindings.add(Keys.BracketedPaste)
        def _(event: KeyPressEvent) -> None:
            if self._dialog is not None and self._takes_keys:
                self._dialog.paste(event.data)

        @bindings.add("c-c")
        @bindings.add("c-\\")
        @bindings.add(Keys.SIGINT)
        def _(event: KeyPressEvent) -> None:
            self._broken_off()

        @bindings.add("c-d")
        def _(event: KeyPressEvent) -> None:
            event.app.exit(exception=EOFError)

        @bindings.add("c-z")
        def _(event: KeyPressEvent) -> None:
            if hasattr(signal, "SIGTSTP"):
                run_in_terminal(self._stop, render_cli_done=True)

        return bindings

    def _stop(self) -> None:
        """Stop as Ctrl-Z does, all that was started with the program too, until it is continued.

        What was typed in between was for the shell.
        """
        assert self._app is not None
        os.kill(0, signal.SIGTSTP)
        interrupts.let_go()
        _drop_typed_ahead(self._app.input)
        self._drawn = None

    def _waits(self) -> asyncio.Future[str | None] | None:
        return None if self._reply is None or self._reply.done() else self._reply

    def _too_small_for(self, key: str) -> bool:
        """Whether the terminal shows nothing of the screen, and the key is the one for danger."""
        hidden = self._drawn is not None and self._arrangement is None
        return hidden and key == ALARM and self._waits() is not None

    def _ended_from_outside(self) -> None:
        """Break off as soon as nothing is drawn half."""
        assert self._loop is not None
        self._loop.call_soon_threadsafe(self._broken_off)

    def _broken_off(self) -> None:
        if (reply := self._waits()) is not None:
            reply.set_exception(KeyboardInterrupt())

    def _answer(self, text: str | None) -> None:
        if text is not None and (reply := self._waits()) is not None:
            reply.set_result(text)

    def _failed(self, loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        """Bring a fault in drawing, or in a key, to whoever asked."""
        if (reply := self._waits()) is not None:
            reply.set_exception(context.get("exception") or RuntimeError(context["message"]))


class _SuspendingStream:
    """A standard stream under a full screen: to write to it restores the terminal first.

    It stays in its place then: `print` holds no reference of its own to the stream it writes to.
    """

    def __init__(self, stream: Any, suspend: Callable[[], None]) -> None:
        self._stream = stream
        self._suspend = suspend

    def write(self, text: str) -> int:
        self._suspend()
        written: int = self._stream.write(text)
        return written

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def _drop_typed_ahead(source: Input) -> None:
    """Drop what was typed ahead of the screen that is about to be shown."""
    clear_typeahead(source)
    with suppress(Exception):
        import termios

        termios.tcflush(source.fileno(), termios.TCIFLUSH)

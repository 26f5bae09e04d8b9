"""The verb table. Each verb's module is imported when it is called, so that a start stays fast.

This is the only place that turns what happened into an exit code: 0 done; 1 the work was done and
the answer is bad; 2 wrong use; 3 a file, a unit, a log or an output that cannot be used; 130
interrupted before the work was done, 128 and the signal's number where it was another end from
outside (129 the window was closed, 131 Ctrl-\\, 143 the system asked). Whoever is asked something
then leaves it, which is done: 0.
"""

from __future__ import annotations

import errno
import gc
import os
import sys
from contextlib import suppress

from diagnose import __version__, interrupts
from diagnose.text import shortened

VERBS = {
    "start": "find out what is wrong with a machine",
    "resume": "go on with a case that was left",
    "round": "walk a routine checklist, or see what is overdue",
    "drill": "practise on a faulty machine that the program plays",
    "new": "begin a library of your own, or a file of it",
    "check": "say what is wrong with the trees",
    "schema": "what a file of the library may hold, for an editor",
    "compare": "what an edit does to a library before it goes live",
    "order": "what the order of checks costs, and a better one",
    "draw": "a symptom as one picture",
    "sheets": "a symptom set in type, for the wall or for the hand",
    "quiz": "situations to answer on paper, with their key",
    "measure": "turn readings into figures",
    "cases": "the case log, what is out of use, and what service found",
    "release": "a machine that was out of use may be used again",
    "handover": "the page that licensed service gets",
}

#: A longer message holds what was typed.
_LONGEST_LINE = 2000

#: Why an output cannot be written: the disk is full, or at its quota, or broken.
_NO_ROOM = {errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EFBIG}

#: Why a file or folder that somebody named cannot be used.
_NOT_ALLOWED = {errno.EACCES, errno.EPERM, errno.ENAMETOOLONG, errno.ELOOP, errno.EROFS}

_HELP = """usage: diagnose [VERB] [options]

Finds out why a ride-on floor scrubber streaks, picks up poorly, gives no solution or runs
out of battery early. Without a verb it asks for the machine and the symptom and starts.

{verbs}

`diagnose VERB --help` explains a verb. Everywhere: --trees DIR, --log FILE, --plain, --json."""


def main() -> None:
    """Run the program and exit."""
    try:
        interrupts.listen()
        # Imports and trees are tens of thousands of objects that stay: at its usual pace the
        # collector walks them again and again, which is a third of the time to the first screen.
        gc.set_threshold(100_000, 20, 100)
        _open_all_three()
        code = run(sys.argv[1:])
        # What was said may still wait in the buffer: it was not done before it is out.
        unwritten = _unwritten()
        # The work is done: an end from outside comes too late to change what it came to.
        interrupts.deafen()
    except KeyboardInterrupt as broken:
        interrupts.deafen()
        code, unwritten = interrupts.code(broken), None
        _swallow_output()
    # What is left ends with the process: the collector need not walk all of it once more for that.
    gc.freeze()
    sys.exit(code if unwritten is None else _output_failed(unwritten))


def _open_all_three() -> None:
    """Send a stream that was closed nowhere: the next file to be opened would be taken for it."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    while nowhere <= 2:
        nowhere = os.dup(nowhere)
    os.close(nowhere)


def run(args: list[str]) -> int:
    """Run one command line and return the exit code."""
    if sys.stdout is None:
        return _failed("Standard output is closed: nothing could be shown.", 3)
    try:
        if args[:1] == ["--version"]:
            print(f"diagnose {__version__}")
            return 0
        if args[:1] in (["--help"], ["-h"], ["help"]):
            return _help()
        verb, rest = args[0] if args else "", args[1:]
        return _called("start", args) if not verb or verb[0] == "-" else _called(verb, rest)
    except SystemExit as exit_:
        # argparse has printed its help.
        return exit_.code if isinstance(exit_.code, int) else 0
    except KeyboardInterrupt as broken:
        return interrupts.code(broken)
    except BrokenPipeError as error:
        return _output_failed(error)
    except Exception as error:
        if (end := interrupts.behind(error)) is not None:
            return interrupts.code(end)
        if os.environ.get("DIAGNOSE_TRACEBACK"):
            raise
        return _unexpected(error, args)


def _help() -> int:
    width = max(map(len, VERBS))
    verbs = "\n".join(f"  {verb:{width}}  {about}" for verb, about in VERBS.items())
    print(_HELP.format(verbs=verbs))
    return 0


def _unexpected(error: Exception, args: list[str]) -> int:
    """Tell what the computer refuses, which no program can mend, from a fault of this one."""
    if isinstance(error, OSError):
        # Whatever writes a file says itself which it was: what names none is the output.
        if error.filename is None and error.errno in _NO_ROOM:
            return _output_failed(error)
        if error.filename is not None and error.errno in _NOT_ALLOWED:
            return _failed(f"{error.filename}: {error.strerror}; name another.", 3)
    return _fault(error, args)


def _fault(error: Exception, args: list[str]) -> int:
    """Keep a report of what nobody expected, and say where it is."""
    from diagnose.commands import fault_report

    path = fault_report.kept(error, args)
    where = "please report it" if path is None else f"please report it, with the file {path}"
    return _failed(f"This is a fault of the program ({type(error).__name__}); {where}.", 3)


def _called(verb: str, rest: list[str]) -> int:
    from importlib import import_module

    from diagnose.commands.options import UNUSABLE, WRONG_USE, Unusable, WrongUse
    from diagnose.files.library import NoLibrary
    from diagnose.log.protocol import LogError
    from diagnose.text import did_you_mean

    try:
        if verb not in VERBS:
            hint = did_you_mean(verb, VERBS)
            raise WrongUse(f'There is no command "{verb[:40]}".{hint} `diagnose --help` lists all.')
        code: int = import_module(f"diagnose.commands.{verb}").run(rest)
    except WrongUse as error:
        return _failed(error, WRONG_USE)
    except (Unusable, NoLibrary, LogError) as error:
        return _failed(error, UNUSABLE)
    return code


def _unwritten() -> OSError | None:
    """Return why the output cannot be written, None where it can."""
    try:
        sys.stdout.flush()
    except OSError as error:
        return error
    except (ValueError, AttributeError):
        # Closed since, or before the program began, of which it was told.
        return None
    return None


def _output_failed(error: OSError) -> int:
    """Say that the output was not written; a reader who has gone away is told nothing."""
    gone = isinstance(error, BrokenPipeError)
    code = 0 if gone else _failed(f"The output cannot be written: {error.strerror}.", 3)
    # Nothing may be said about it at shutdown either.
    _swallow_output()
    return code


def _failed(message: object, code: int) -> int:
    line = " ".join(shortened(f"{message}", _LONGEST_LINE).split())
    try:
        if sys.stderr is not None:
            print(f"diagnose: {line}", file=sys.stderr)
    except (OSError, UnicodeError, AttributeError):
        _swallow_output()
    return code


def _swallow_output() -> None:
    """Send what is still buffered nowhere, so that the interpreter can shut down in silence."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError, AttributeError):
            os.dup2(nowhere, stream.fileno())

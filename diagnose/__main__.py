"""The way in: ``diagnose``, and ``python -m diagnose``.

Before anything is imported that takes its time, Ctrl-C and its like end the process without a
word: nothing was begun that could be left in disorder. `app.main` takes over from there.
"""

# `signal` itself imports `enum`: thousandths of a second in which Ctrl-C would be a traceback.
import _signal  # type: ignore[import-not-found]
import os


def _end(number: int, frame: object) -> None:
    os._exit(128 + number)


for _name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT"):
    _number = getattr(_signal, _name, None)
    # What the caller had ignored, as `nohup` does, stays so.
    if _number is not None and _signal.getsignal(_number) != _signal.SIG_IGN:
        _signal.signal(_number, _end)

from diagnose.app import main  # noqa: E402

if __name__ == "__main__":
    main()

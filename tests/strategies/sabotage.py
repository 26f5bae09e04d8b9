"""Ways of tampering with the program, so that whoever watches it has something to notice."""

from __future__ import annotations

from typing import Any

from msgspec.structs import replace

from diagnose.case.cautions import CautionState


def never_released(due: Any) -> Any:
    """Tamper with what is due before a step: the machine runs under its cautions."""

    def tampered(table: Any, held: Any, needs: int, energises: bool) -> Any:
        return due(table, held, needs, False)

    return tampered


def forgetful(replied: Any) -> Any:
    """Tamper with a reply at a caution: what was refused is forgotten."""

    def tampered(*args: Any) -> CautionState:
        return replace(replied(*args), refused=0)

    return tampered


def one_is_none(refused_by: Any) -> Any:
    """Tamper with a refusal: one of several cautions that is refused is not."""

    def tampered(screen: Any, kind: str, which: str = "") -> Any:
        return () if which else refused_by(screen, kind, which)

    return tampered


def only_the_first(replied: Any) -> Any:
    """Tamper with a confirmation: of several cautions on a screen one comes into force."""

    def tampered(table: Any, held: Any, screen: Any, *how: Any) -> CautionState:
        return replied(table, held, replace(screen, cautions=screen.cautions[:1]), *how)

    return tampered


def careless(replay: Any) -> Any:
    """Tamper with a resume: every caution is in force."""

    def tampered(*args: Any, **more: Any) -> Any:
        told = replay(*args, **more)
        return replace(told, state=replace(told.state, cautions=everything(args[0].table)))

    return tampered


def everything(table: Any) -> CautionState:
    """Return all cautions of a table in force."""
    return CautionState(in_force=(1 << len(table.ids)) - 1)

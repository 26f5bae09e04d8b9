"""Cases on trees written by hand, a step a line."""

from __future__ import annotations

from random import Random
from typing import Any

from strategies.walking import Case
from strategies.written import NO_CAUTIONS, Written, read

HEAD = "format: 1\nsymptom: {name}\ntitle: {name}\n"


def case(steps: str, *, others: dict[str, str] | None = None, **more: Any) -> Case:
    """Open a case on handmade steps; the first one stands first."""
    role = more.pop("role", "operator")
    trees = {"alpha": steps, **(others or {})}
    texts = {}
    for name, text in trees.items():
        start = text.strip().split(":")[0]
        texts[name] = f"{HEAD.format(name=name)}start: {start}\nsteps:\n" + "\n".join(
            f"  {line.strip()}" for line in text.strip().splitlines()
        )
    written = Written(trees=texts, **{"cautions": NO_CAUTIONS, **more})
    return Case(library=read(written), symptom="alpha", random=Random(0), role=role)


def after(opened: Case, *replies: str) -> dict[str, Any]:
    """Return the screen after some replies, each of which has to be understood."""
    for reply in replies:
        turn = opened.say(reply)
        assert turn.exchange is not None, reply
    return opened.show()


def ranking(opened: Case) -> dict[str, float]:
    """Return what is believed of the symptom that is being walked."""
    why = opened.walk.reply(opened.state, "why").interludes[0]
    return {cause.step: cause.probability for cause in why.ranking}


def finding(chance: float, who: str = "operator", minutes: float = 5, more: str = "") -> str:
    rest = "leave_safe: l" if who == "service" else "remedy: r"
    return f"{{finding: f, chance: {chance}, who: {who}, minutes: {minutes}, {rest}{more}}}"

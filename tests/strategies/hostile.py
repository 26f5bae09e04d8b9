"""Libraries that were made to cost time or memory, each as its files by name."""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING, Final

from diagnose.files.compose import LARGEST

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

Files = dict[str, "str | bytes"]

#: What a library needs besides.
NO_CAUTIONS: Final = "format: 2\nhazards: {}\ncautions: {}\n"
_HEAD: Final = "format: 2\nsymptom: t\ntitle: T\nstart: s0\nsteps:\n"
_LAST: Final = "  last: {finding: It is old., chance: 1, who: operator, remedy: Change it.}\n"


def tree(steps: Iterable[str], more: str = "") -> str:
    """Return a tree of these steps and the finding `last`."""
    return _HEAD + "".join(f"  {step}\n" for step in steps) + _LAST + more


def chain(count: int, more: str = "") -> str:
    """Return a tree in which each step leads to the next one."""
    on = [*(f"s{number}" for number in range(1, count)), "last"]
    ways = (f"answers: {{Dirt: last, Nothing: {one}}}" for one in on)
    return tree(f"s{n}: {{ask: What?, {way}{more}}}" for n, way in enumerate(ways))


def in_turn(count: int, findings: int, each: int = 1) -> str:
    """Return a chain whose steps lead to some of a few findings, in turn, besides to the next."""
    lines = []
    for step in range(count):
        met = [f"A{n}: f{(step * each + n) % findings}" for n in range(each)]
        on = f"s{step + 1}" if step < count - 1 else "last"
        lines.append(f"s{step}: {{ask: What?, answers: {{{', '.join(met)}, Nothing: {on}}}}}")
    lines += [
        f"f{n}: {{finding: It is old {n}., chance: 1, who: operator, remedy: Change it.}}"
        for n in range(findings)
    ]
    return tree(lines)


def _cautions(count: int, includes: Mapping[int, int]) -> str:
    """Return cautions, each including the one that is said of it."""
    lines = ["format: 2", "hazards: {h: {title: H}}", "cautions:"]
    for number in range(count):
        other = f"includes: [c{includes[number]}], " if number in includes else ""
        covers = "[h]" if number == 0 else "[]"
        lines.append(
            f"  c{number}: {{title: T, signal: WARNING, text: x, lapses: never, confirm: [a], "
            f"{other}covers: {covers}}}"
        )
    return "\n".join(lines)


def _wrong(step: str, count: int) -> str:
    return tree(step.format(n=number, next=number + 1) for number in range(count)) + (
        f"  s{count}: {{finding: It, chance: 1, who: operator, remedy: C}}\n"
    )


def _long_cases() -> str:
    cases = (f"  - {{name: n{n}, answers: {{}}, finding: last}}\n" for n in range(5_000))
    return chain(5_000, ", passes: Nothing") + "worked_cases:\n" + "".join(cases)


#: By what it does: the files of a library. All but the first few have errors.
LIBRARIES: Final[dict[str, Files]] = {
    "a chain of 20,000 steps": {"t.yaml": chain(20_000)},
    "1,500 cautions that include one another": {
        "t.yaml": chain(3, ", hazards: [h]"),
        "cautions.yaml": _cautions(1_500, {n: n + 1 for n in range(1_499)}),
    },
    "390,000 other names": {"t.yaml": chain(3) + f"also_called: [{'ab,' * 390_000}ab]\n"},
    "8 MiB of one list": {"t.yaml": "format: 2\nx: [" + "a," * (LARGEST // 2 - 20) + "]"},
    "as many values as may be": {"t.yaml": "format: 2\nx: [" + "a," * 399_000 + "]"},
    "a list in a list, 390,000 times": {"t.yaml": "x: " + "[" * 390_000},
    "8 MiB of wrong keys": {"t.yaml": "".join(f"{'k' * 3_000}{n}: b\n" for n in range(2_700))},
    "199,000 wrong keys": {"t.yaml": "".join(f"wrong{n}: b\n" for n in range(199_000))},
    "26,000 wrong targets": {
        "t.yaml": _wrong("s{n}: {{ask: W, answers: {{A b: lats{n}, C d: s{next}}}}}", 26_000)
    },
    "three trees of 26,000 wrong targets": {
        f"t{n}.yaml": _wrong(
            "s{n}: {{ask: W, answers: {{A b: lats{n}, C d: s{next}}}}}", 26_000
        ).replace("symptom: t", f"symptom: t{n}")
        for n in range(3)
    },
    "10,000 wrong twins": {
        "t.yaml": _wrong(
            "s{n}: {{ask: W, same_as: zs{n}, answers: {{A b: last, C d: s{next}}}}}", 10_000
        )
    },
    "10,000 twins of one step": {
        "t.yaml": _wrong(
            "s{n}: {{ask: W, same_as: s0, answers: {{A b: last, C d: s{next}}}}}", 10_000
        )
    },
    "20,000 wrong answers": {
        "t.yaml": _wrong(
            "s{n}: {{ask: W, if_unsure: Ab{n}, answers: {{A b: last, C d: s{next}}}}}", 20_000
        )
    },
    "5,000 cases of 5,000 steps": {"t.yaml": _long_cases()},
    "a circle of 20,000 steps": {
        "t.yaml": chain(20_000).replace("Nothing: last", "Nothing: s0"),
    },
    "a circle of 20,000 cautions": {
        "t.yaml": chain(3),
        "cautions.yaml": _cautions(20_000, {n: (n + 1) % 20_000 for n in range(20_000)}),
    },
    "60,000 unknown hazards": {
        "t.yaml": chain(3, f", hazards: [{', '.join(f'hx{n}' for n in range(60_000))}]")
    },
    "300,000 words that no card says": {
        "t.yaml": chain(
            3, f", applies_to: {{battery.kind: [{', '.join(f'wet{n}' for n in range(100_000))}]}}"
        )
    },
    "junk": {"t.yaml": Random(1).randbytes(LARGEST - 10)},
    "an endless number": {
        "t.yaml": chain(3).replace("What?", f"What?, minutes: {'9' * 8_000_000}", 1)
    },
}

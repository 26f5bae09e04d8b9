"""`diagnose measure`: list the measurements, explain one, or take one."""

from __future__ import annotations

import argparse
import json
import os
import sys
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

from diagnose.measure import inputs, registry

if TYPE_CHECKING:
    from collections.abc import Callable

    from diagnose.measure.registry import Expected, Figure, Measurement, Need

DONE, WRONG_USE, UNUSABLE = 0, 2, 3


def parser() -> argparse.ArgumentParser:
    """The verb's options."""
    made = argparse.ArgumentParser(
        prog="diagnose measure",
        description="Work out what a reading means. Without a name: list the measurements."
        " With a name alone: explain that one.",
    )
    made.add_argument("name", nargs="?", help="the measurement")
    made.add_argument("values", nargs="*", metavar="key=value", help="what was read, with units")
    made.add_argument("--machine", metavar="ID", help="fill the rest from this machine's card")
    made.add_argument("--trees", metavar="DIR", help="the library that has the card")
    made.add_argument("--json", action="store_true", help="one JSON object")
    return made


def run(args: list[str]) -> int:
    """Do the verb; 0 done, 2 wrong use, 3 an input or card that cannot be used."""
    try:
        asked = parser().parse_intermixed_args(args)
    except SystemExit as stop:  # argparse has said what was wrong
        return int(stop.code or DONE)
    if asked.name is None:
        _print_list(asked.json)
        return DONE
    try:
        measurement = registry.find(asked.name)
    except KeyError:
        return _failed(WRONG_USE, _no_such(asked.name))
    if not asked.values and asked.machine is None:
        _print_explained(measurement, asked.json)
        return DONE
    try:
        text = " ".join(asked.values)
        given = registry.parse_reply(measurement, text) if text else {}
        card = card_lookup(asked.trees, asked.machine)
        figure = registry.compute(measurement, given, card, bare=False)
    except (registry.Unreadable, registry.MissingLine, CardProblem) as problem:
        return _failed(UNUSABLE, str(problem))
    _print_figure(measurement, figure, asked.json)
    return DONE


class CardProblem(Exception):
    """The machine card, or the library it should be in, cannot be used."""


def card_lookup(trees: str | None, machine: str | None) -> Callable[[str], str | None]:
    """What the machine's card says at a dotted path; without a machine it is silent."""
    if machine is None or machine == "none":
        return lambda path: None
    from diagnose.files import library

    folder = trees or os.environ.get("DIAGNOSE_TREES")
    try:
        read = library.load(Path(folder) if folder else library.built_in(), only=frozenset())
    except library.NoLibrary as problem:
        raise CardProblem(str(problem)) from None
    if machine in read.machines:
        return read.machines[machine].line
    broken = read.problems_of(read.file("machines", f"{machine}.yaml"))
    if broken:
        raise CardProblem(str(broken[0]))
    near = get_close_matches(machine, read.machines, n=1)
    hint = f"did you mean {near[0]}?" if near else "a card is machines/ID.yaml in the library"
    folder_said = read.file("machines")
    raise CardProblem(f"no card for machine {inputs.quoted(machine)} in {folder_said}: {hint}")


def _failed(code: int, message: str) -> int:
    print(f"diagnose measure: {message}", file=sys.stderr)
    return code


def _no_such(name: str) -> str:
    near = get_close_matches(name, registry.MEASUREMENTS, n=1)
    hint = f"did you mean {near[0]}?" if near else "`diagnose measure` lists them"
    return f"no measurement is called {inputs.quoted(name)}: {hint}"


def _print_list(as_json: bool) -> None:
    known = registry.MEASUREMENTS.values()
    if as_json:
        fields = ("name", "title", "unit")
        print(json.dumps({"measurements": [{f: getattr(m, f) for f in fields} for m in known]}))
        return
    wide = max(len(one.name) for one in known)
    for one in known:
        print(f"{one.name:{wide}}  {one.title}{f' ({one.unit})' if one.unit else ''}")


def _print_explained(measurement: Measurement, as_json: bool) -> None:
    if as_json:
        print(json.dumps(_explained(measurement)))
        return
    unit = f", in {measurement.unit}" if measurement.unit else ""
    print(f"{measurement.name}: {measurement.title}{unit}")
    print(measurement.how)
    print("Needs:")
    for need in measurement.needs:
        print(f"  {need.name}: {need.title}; {_origin(need)}; {inputs.wanted(need)}")
    print(f"Source: {measurement.source}")


def _explained(measurement: Measurement) -> dict[str, object]:
    fields = ("name", "title", "unit", "dimension", "card", "asked", "optional", "example")
    return {
        "name": measurement.name,
        "title": measurement.title,
        "unit": measurement.unit,
        "how": measurement.how,
        "source": measurement.source,
        "needs": [{field: getattr(need, field) for field in fields} for need in measurement.needs],
    }


def _origin(need: Need) -> str:
    """Where an input comes from."""
    origins = ["read at the machine"] if need.asked else []
    origins += [f"machine card ({need.card})"] if need.card else []
    origins += [] if need.asked else ["key"]
    return " or ".join(origins) + (", if known" if need.optional else "")


def _print_figure(measurement: Measurement, figure: Figure, as_json: bool) -> None:
    if as_json:
        expected = figure.expected and {
            "low": figure.expected.low,
            "high": figure.expected.high,
            "source": figure.expected.source,
        }
        print(
            json.dumps(
                {
                    "read": figure.read,
                    "value": figure.value,
                    "unit": figure.unit,
                    "expected": expected,
                    "workings": list(figure.workings),
                }
            )
        )
        return
    print(f"{measurement.title}: {_with_unit(figure.value, figure.unit)}")
    if figure.expected:
        print(f"expected: {_range(figure.expected, figure.unit)} ({figure.expected.source})")
    for line in figure.workings:
        print(f"  {line}")


def _with_unit(value: float, unit: str) -> str:
    return f"{value:.4g} {unit}".rstrip() if abs(value) < 1000 else f"{value:.0f} {unit}".rstrip()


def _range(expected: Expected, unit: str) -> str:
    low, high = expected.low, expected.high
    if low is None or high is None:
        word = "at most" if low is None else "at least"
        bound = high if low is None else low
        return f"{word} {_with_unit(bound or 0.0, unit)}"
    if low == high:
        return _with_unit(low, unit)
    return f"{low:.4g} to {_with_unit(high, unit)}"

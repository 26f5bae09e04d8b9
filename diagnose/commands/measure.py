"""`diagnose measure`: list the measurements, explain one, or take one."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from diagnose.case.screens import as_data
from diagnose.commands import options as opt
from diagnose.measure import inputs, registry
from diagnose.measure.wording import expected_range, with_unit
from diagnose.text import did_you_mean, shortened

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Sequence

    from diagnose.measure.registry import Figure, Measurement, Need


def run(args: Sequence[str]) -> int:
    """List, explain or take a measurement.

    Raises `WrongUse` for an unknown name, `Unusable` for an input or a card that cannot be used.
    """
    parser = opt.parser(
        "measure",
        "Work out what a reading means. Without a name: list the measurements."
        " With a name alone: explain that one.",
    )
    parser.add_argument("name", nargs="?", help="the measurement")
    parser.add_argument("values", nargs="*", metavar="key=value", help="what was read, with units")
    parser.add_argument("--machine", metavar="ID", help="fill the rest from this machine's card")
    options = parser.parse_intermixed_args(args)
    if options.name is None:
        _print_list(options.json)
        return opt.OK
    if options.name not in registry.MEASUREMENTS:
        hint = did_you_mean(options.name, registry.MEASUREMENTS)
        name = shortened(options.name)
        raise opt.WrongUse(f'There is no measurement "{name}".{hint} `diagnose measure` lists all.')
    measurement = registry.find(options.name)
    if not options.values and options.machine is None:
        _print_explained(measurement, options.json)
        return opt.OK
    line = _line(options)
    try:
        text = " ".join(options.values)
        given = registry.parse_reply(measurement, text) if text else {}
        figure = registry.compute(measurement, given, line, bare=False, si=False)
    except (registry.Unreadable, registry.MissingLine) as problem:
        raise opt.Unusable(f"{problem}") from problem
    _print_figure(measurement, figure, options.json)
    return opt.OK


def _line(options: argparse.Namespace) -> Callable[[str], str | None]:
    """Return what looks a line of the machine's card up; without a machine it finds none."""
    if options.machine is None:
        return lambda path: None
    # The library brings networkx along, which a figure alone has no use for.
    from diagnose.commands.ready_library import ReadyLibrary

    card = ReadyLibrary(opt.trees_folder(options), frozenset()).machine(options.machine)
    return card.line if card is not None else lambda path: None


def _print_list(as_json: bool) -> None:
    known = registry.MEASUREMENTS.values()
    if as_json:
        fields = ("name", "title", "unit")
        opt.say(json.dumps({"measurements": [{f: getattr(m, f) for f in fields} for m in known]}))
        return
    wide = max(len(one.name) for one in known)
    for one in known:
        opt.say(f"{one.name:{wide}}  {one.title}{f' ({one.unit})' if one.unit else ''}")


def _print_explained(measurement: Measurement, as_json: bool) -> None:
    if as_json:
        opt.say(json.dumps(_explained(measurement)))
        return
    unit = f", in {measurement.unit}" if measurement.unit else ""
    opt.say(f"{measurement.name}: {measurement.title}{unit}")
    opt.say(measurement.how)
    opt.say("Needs:")
    for need in measurement.needs:
        opt.say(f"  {need.name}: {need.title}; {_origin(need)}; {inputs.wanted(need)}")
    opt.say(f"Source: {measurement.source}")


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
    expected = figure.expected
    if as_json:
        names = ("read", "value", "unit", "expected", "workings")
        opt.say(json.dumps({name: as_data(getattr(figure, name)) for name in names}))
        return
    opt.say(f"{measurement.title}: {with_unit(figure.value, figure.unit)}")
    if expected is not None:
        opt.say(f"expected: {expected_range(expected, figure.unit)} ({expected.source})")
    for line in figure.workings:
        opt.say(f"  {line}")

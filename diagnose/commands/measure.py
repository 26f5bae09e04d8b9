"""`diagnose measure`: list the measurements, explain one, or take one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.case.screens import as_data
from diagnose.commands import options as opt
from diagnose.files.library import MEASUREMENTS_FILE, load
from diagnose.measure import inputs, registry
from diagnose.measure.wording import about, expected_range, verdict, with_unit
from diagnose.study.measurements import made_of, measurements_of
from diagnose.text import did_you_mean, shortened

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from diagnose.files.library import Library
    from diagnose.measure.registry import Figure, Measurement, Need


def run(args: Sequence[str]) -> int:
    """List, explain or take a measurement. Raises `WrongUse` and `Unusable`."""
    parser = opt.parser(
        "measure",
        "Work out what a reading means. Without a name: list the measurements."
        " With a name alone: explain that one.",
    )
    parser.add_argument("name", nargs="?", help="the measurement")
    parser.add_argument("values", nargs="*", metavar="key=value", help="what was read, with units")
    parser.add_argument("--machine", metavar="ID", help="fill the rest from this machine's card")
    options = parser.parse_intermixed_args(args)
    library = load(opt.trees_folder(options), only=frozenset())
    known = measurements_of(library)
    if options.name is None:
        return _list(options, known)
    if options.name not in known:
        raise _no_such(options.name, library, known)
    measurement = known[options.name]
    if not options.values and options.machine is None:
        return opt.listed(options, _explained(measurement), _explanation(measurement), "")
    line = _line(options)
    try:
        text = " ".join(options.values)
        given = registry.parse_reply(measurement, text) if text else {}
        figure = registry.compute(measurement, given, line, bare=False, si=False)
    except (registry.Unreadable, registry.MissingLine) as problem:
        raise opt.Unusable(f"{problem}") from problem
    data = as_data(opt.fields(figure, "read", "value", "unit", "good_to", "expected", "workings"))
    return opt.listed(options, data, _figure(measurement, figure), "")


def _line(options: argparse.Namespace) -> Callable[[str], str | None]:
    """Return what looks a line of the machine's card up; without a machine it finds none."""
    card = None
    if options.machine is not None:
        # The library brings networkx along, which a figure alone has no use for.
        from diagnose.commands.ready_library import ReadyLibrary

        card = ReadyLibrary(opt.trees_folder(options), frozenset()).machine(options.machine)
    return card.line if card is not None else lambda path: None


def _no_such(
    name: str, library: Library, known: Mapping[str, Measurement]
) -> opt.WrongUse | opt.Unusable:
    """Return why there is no measurement of a name: the library's own may have errors."""
    problems = library.problems_of(library.file(MEASUREMENTS_FILE))
    if name in library.measurements:
        try:
            made_of(name, library.measurements[name])
        except registry.Unreadable as problem:
            file = library.file(MEASUREMENTS_FILE)
            return opt.Unusable(f"{file}: {name}: {problem} (`diagnose check` lists all)")
    if problems:
        return opt.Unusable(f"{problems[0]} (`diagnose check` lists all)")
    said = f'There is no measurement "{shortened(name)}".{did_you_mean(name, known)}'
    return opt.WrongUse(f"{said} `diagnose measure` lists all.")


def _list(options: argparse.Namespace, known: Mapping[str, Measurement]) -> int:
    all_of = known.values()
    data = {"measurements": [opt.fields(one, "name", "title", "unit") for one in all_of]}
    wide = max(map(len, known))
    lines = (
        f"{one.name:{wide}}  {one.title}{f' ({one.unit})' if one.unit else ''}" for one in all_of
    )
    return opt.listed(options, data, lines, "")


def _explanation(measurement: Measurement) -> Iterator[str]:
    unit = f", in {measurement.unit}" if measurement.unit else ""
    yield f"{measurement.name}: {measurement.title}{unit}"
    yield measurement.how
    yield "Needs:"
    for need in measurement.needs:
        yield f"  {need.name}: {need.title}; {_origin(need)}; {inputs.wanted(need)}"
    yield f"Source: {measurement.source}"
    if (known := measurement.uncertainty) is not None:
        off = [with_unit(known.absolute, measurement.unit)] if known.absolute else []
        off += [f"{known.share:.0%} of the figure".replace("%", " %")] if known.share else []
        yield f"Good to: {' or '.join(off)}, {known.source}"


def _explained(measurement: Measurement) -> dict[str, object]:
    own = opt.fields(measurement, "name", "title", "unit", "how", "source")
    names = ("name", "title", "unit", "dimension", "card", "asked", "optional", "example")
    return own | {"needs": [opt.fields(need, *names) for need in measurement.needs]}


def _origin(need: Need) -> str:
    """Where an input comes from."""
    origins = ["read at the machine"] if need.asked else []
    origins += [f"machine card ({need.card})"] if need.card else []
    origins += [] if need.asked else ["key"]
    return " or ".join(origins) + (", if known" if need.optional else "")


def _figure(measurement: Measurement, figure: Figure) -> Iterator[str]:
    known = about(figure.value, figure.unit, figure.good_to)
    lies = verdict(figure.value, figure.expected, figure.good_to)
    yield f"{measurement.title}: {', '.join(filter(None, (known, lies)))}"
    if figure.expected is not None:
        expected = expected_range(figure.expected, figure.unit)
        yield f"expected: {expected} ({figure.expected.source})"
    yield from (f"  {line}" for line in figure.workings)

"""A measurement taken: typed inputs, filled up from the machine card, become a figure."""

from collections.abc import Callable, Collection, Mapping

from diagnose.measure import inputs
from diagnose.measure.arithmetic import clean
from diagnose.measure.model import Figure, Measurement, MissingLine, Need, Unreadable
from diagnose.measure.wording import about
from diagnose.text import nearest

# The text at a dotted path of the machine card, None where the card is silent.
CardLine = Callable[[str], str | None]


def compute(
    measurement: Measurement,
    given: Mapping[str, str],
    card: CardLine,
    bare: bool,
    si: bool = True,
) -> Figure:
    """A figure from typed inputs, filled up from the card.

    given: inputs as typed, by name. card: the text at a dotted path, None where it is silent.
    bare: a number without a unit takes the unit shown (at a screen). si: give the inputs in SI too.
    Raises Unreadable where an input cannot be used, MissingLine where the card is what lacks.
    """
    needs = {need.name: need for need in measurement.needs}
    _refuse_keys(measurement, needs, given)
    values = {name: inputs.read(needs[name], text, bare=bare) for name, text in given.items()}
    _refuse_untaken(measurement, given, card)
    lacking = missing_line(measurement, card, given)
    if lacking:
        raise lacking
    from_card = _from_card(measurement, given, card)
    values |= {name: _card_value(needs[name], text) for name, text in from_card.items()}
    outcome = measurement.compute(
        **{name: values[name].value if name in values else None for name in needs}
    )
    known = ", ".join(f"{name.replace('_', ' ')} {text}" for name, text in from_card.items())
    first = (f"from the machine card: {known}",) if known else ()
    value = clean(outcome.value)
    good_to: float | None = None
    last: tuple[str, ...] = ()
    if measurement.uncertainty is not None:
        good_to = measurement.uncertainty.of(value)
        rounded = about(value, measurement.unit, good_to)
        last = (f"{rounded}: {measurement.uncertainty.source}",)
    return Figure(
        read=measurement.name,
        value=value,
        unit=measurement.unit,
        expected=outcome.expected,
        workings=(*first, *outcome.workings, *last),
        good_to=good_to,
        si=_in_si(needs, values) if si else (),
    )


def _in_si(
    needs: Collection[str], values: Mapping[str, inputs.InputValue]
) -> tuple[tuple[str, float, str], ...]:
    """The inputs as (name, magnitude, SI unit), in the order of the needs."""
    return tuple(
        (name, magnitude, values[name].unit)
        for name in needs
        if name in values
        for magnitude in values[name].si
    )


def missing_line(
    measurement: Measurement, card: CardLine, given: Collection[str] = ()
) -> MissingLine | None:
    """What the card would have to say before this measurement is worth taking; None: nothing.

    card: the text at a dotted path, None where the card is silent. given: inputs typed as keys.
    """
    lacking = [
        need
        for need in _not_given(measurement, given)
        if not need.asked and not need.optional and _text(need, card) is None
    ]
    if not lacking:
        return None
    keys = " ".join(f"{need.name}={need.example}" for need in lacking)
    lines = _lines(lacking)
    add = f"add {lines} to the machine card, or give {keys}" if lines else f"give {keys}"
    names = ", ".join(need.name for need in lacking)
    return MissingLine(lacking[0].card or "", f"{measurement.name} lacks {names}: {add}")


def _not_given(measurement: Measurement, given: Collection[str]) -> list[Need]:
    """The inputs that were not typed and that nothing typed replaces."""
    replaced = {need.replaces for need in measurement.needs if need.name in given}
    return [need for need in measurement.needs if need.name not in {*given, *replaced}]


def _text(need: Need, card: CardLine) -> str | None:
    return card(need.card) if need.card else None


def _lines(needs: Collection[Need]) -> str:
    """The lines of a card that supply inputs: `battery: {cells: 12}`, one for each section."""
    sections: dict[str, list[str]] = {}
    for need in needs:
        if need.card:
            section, _, key = need.card.rpartition(".")
            example = f'"{need.example}"' if ":" in need.example else need.example
            sections.setdefault(section, []).append(f"{key}: {example}")
    alone = [f"`{line}`" for line in sections.pop("", [])]
    return " and ".join(
        alone + [f"`{section}: {{{', '.join(lines)}}}`" for section, lines in sections.items()]
    )


def _refuse_keys(
    measurement: Measurement, needs: Mapping[str, Need], given: Mapping[str, str]
) -> None:
    """Refuse unknown keys, and a key beside the one that it replaces."""
    for name in given:
        if name not in needs:
            near = nearest(name, needs)
            hint = f"did you mean {near}" if near else f"it takes {', '.join(needs)}"
            quoted = inputs.quoted(name)
            raise Unreadable(f"{measurement.name} takes no input called {quoted}: {hint}")
        if needs[name].replaces in given:
            raise Unreadable(f"give either {needs[name].replaces} or {name}, not both")


def _refuse_untaken(measurement: Measurement, given: Mapping[str, str], card: CardLine) -> None:
    """Refuse where a person did not take what is needed and the card does not say it."""
    for need in measurement.needs:
        needed = need.asked and not need.optional and need.name not in given
        if needed and _text(need, card) is None:
            add = f", or add {_lines([need])} to the machine card" if need.card else ""
            raise Unreadable(f"{need.name} is missing: give {need.name}={need.example}{add}")


def _from_card(
    measurement: Measurement, given: Mapping[str, str], card: CardLine
) -> dict[str, str]:
    """What the card says of the inputs that were not typed, as written."""
    texts = {need.name: _text(need, card) for need in _not_given(measurement, given)}
    return {name: text for name, text in texts.items() if text is not None}


def _card_value(need: Need, text: str) -> inputs.InputValue:
    """A card's line as a value; where it cannot be used, the card is what has to change."""
    try:
        return inputs.read(need, text, bare=False)
    except Unreadable as problem:
        path = need.card or ""
        raise MissingLine(path, f"the machine card's {path} cannot be used: {problem}") from None

"""A measurement that a library declares: its formula becomes the function, its ranges the needs."""

from collections.abc import Mapping

from diagnose.measure import formula
from diagnose.measure.model import Expected, Measurement, Need, Outcome, Uncertainty, Unreadable
from diagnose.measure.units import dimension_of, refuse_units

#: As many inputs fit on one screen, and in one reply.
MOST_INPUTS = 12


def need(name: str, title: str, unit: str, least: float, most: float) -> Need:
    """An input that a person reads. Raises Unreadable for a unit or a range that is none."""
    if not least < most:
        raise Unreadable(f"{name}: from {least:g} to {most:g} is no range")
    middle = float(f"{(least + most) / 2:.2g}")
    example = f"{middle if least <= middle <= most else (least + most) / 2:g} {unit}".rstrip()
    dimension = dimension_of(unit)
    return Need(name, title, unit, example, least, most, dimension=dimension, asked=True)


def measurement(
    *,
    name: str,
    title: str,
    unit: str,
    how: str,
    source: str,
    needs: tuple[Need, ...],
    text: str,
    expected: Expected | None,
    good_to: float | None,
) -> Measurement:
    """A measurement whose figure is one formula over its needs, in the units of the needs.

    Raises Unreadable for a formula that cannot be read or does not fit the needs and the unit.
    """
    if len(needs) > MOST_INPUTS:
        raise Unreadable(f"a measurement has {MOST_INPUTS} inputs at most, this one {len(needs)}")
    term = formula.parsed(text)
    units = {one.name: one.unit for one in needs}
    formula.refuse_names(term, units)
    refuse_units(term, units, unit)

    def compute(**values: float) -> Outcome:
        value = formula.evaluated(term, values)
        written = formula.with_numbers(term, _shown(values, units))
        line = f"{written} = {value:.6g} {unit}".rstrip()
        return Outcome(value=value, expected=expected, workings=(line,))

    return Measurement(
        name=name,
        title=title,
        unit=unit,
        how=how,
        source=source,
        needs=needs,
        compute=compute,
        uncertainty=None if good_to is None else Uncertainty(absolute=good_to, source=source),
    )


def _shown(values: Mapping[str, float], units: Mapping[str, str]) -> dict[str, str]:
    shown = {name: f"{value:.6g} {units[name]}".rstrip() for name, value in values.items()}
    return {name: f"({text})" if text.startswith("-") else text for name, text in shown.items()}

"""Suction at the hose against what the machine can have at that height."""

from diagnose.measure.arithmetic import clean
from diagnose.measure.model import (
    PRACTICE,
    Expected,
    Measurement,
    Need,
    Outcome,
    Uncertainty,
    Unreadable,
)

SEA_LEVEL = 101.325  # kPa, standard atmosphere, ISO 2533
LAPSE = 0.0065  # K/m
SEA_TEMPERATURE = 288.15  # K
EXPONENT = 9.80665 / (287.05287 * LAPSE)  # g / (R · lapse), about 5.2559


def standard_pressure(altitude: float) -> float:
    """Pressure of the standard atmosphere in kPa, at a height in m up to 11,000.

    Source: ISO 2533 / ICAO standard atmosphere, geopotential height.
    """
    return float(SEA_LEVEL * (1 - LAPSE * altitude / SEA_TEMPERATURE) ** EXPONENT)


def suction(*, reading: float, rated: float, altitude: float) -> Outcome:
    """Sealed suction in per cent of what the rated suction can be at the site's height.

    reading, rated: kPa below the air outside, rated at sea level. altitude: m.
    Returns per cent. Raises Unreadable where the reading is more than a vacuum, or 1.5 times what
    can be.
    Source: a fan's suction goes with the density of the air, indoors p/p0 ("Fan Basics");
    standard atmosphere, ISO 2533. 90 % and above is good, below 80 % bad: common practice.
    """
    outside = standard_pressure(altitude)
    share = outside / SEA_LEVEL
    possible = rated * share
    percent = clean(100 * reading / possible)
    if reading > outside or percent > 150:
        raise Unreadable(
            f"reading: {reading:.4g} kPa is {percent:.0f} % of what this machine can have, expected"
            " up to about 100 %: is the unit right?"
        )
    return Outcome(
        value=percent,
        expected=Expected(low=90.0, high=None, source=PRACTICE),
        workings=(
            f"air at {altitude:.6g} m: {outside:.2f} kPa, {share:.3f} of sea level (ISO 2533)",
            f"{rated:.2f} kPa rated × {share:.3f} = {possible:.2f} kPa possible",
            f"{reading:.2f} kPa / {possible:.2f} kPa = {percent:.0f} %",
        ),
    )


SUCTION = Measurement(
    name="suction",
    title="Suction against what it can be at this height",
    unit="%",
    how="Two people: a gauge that seals the hose end, suction running; then the same at the tank.",
    source=f'ISO 2533; "Fan Basics"; {PRACTICE}',
    needs=(
        Need("reading", "suction on the gauge", "kPa", "28 inH2O", 0, 101.325, asked=True),
        Need(
            "rated",
            "rated sealed suction at sea level",
            "kPa",
            "45 inH2O",
            low=0,
            high=101.325,
            card="suction.rated",
            above_low=True,
        ),
        Need("altitude", "height of the site", "m", "320 m", -500, 6000, card="site.altitude"),
    ),
    compute=suction,
    uncertainty=Uncertainty(absolute=1, share=0.03, source=f"a dial gauge, {PRACTICE}"),
    low=0,
    high=150,
)

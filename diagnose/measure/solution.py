"""Mixing the cleaning solution: dose and temperature."""

from diagnose.measure.model import PRACTICE, Expected, Measurement, Need, Outcome
from diagnose.measure.units import fahrenheit

WARMEST = 57.0  # °C (135 °F): scalds in seconds; the card's own limit wins
GOOD = (10.0, 40.0)  # °C
DOSE = (0.5, 2.0)  # % of the water


def dose(*, volume: float, ratio: float | None = None, percent: float | None = None) -> Outcome:
    """Concentrate for the water that is filled in.

    volume: L of water (a top-up counts the added water only). ratio: parts of water for one part
    of product, 40 for `1:40`. percent: product in per cent of the water, in place of the ratio.
    Returns mL. Source: `1:40` is 1 part and 40 parts; 0.5 to 2 %: common practice, the product's
    own label wins.
    """
    parts = ratio if percent is None else None
    value = volume * 1000 / parts if parts else volume * 1000 * (percent or 0.0) / 100
    how = f"/ {parts:.6g} (1 part and {parts:.6g} parts)" if parts else f"× {percent:.6g} %"
    return Outcome(
        value=value,
        expected=Expected(
            low=volume * 10 * DOSE[0],
            high=volume * 10 * DOSE[1],
            source=f"0.5 to 2 %, {PRACTICE}; the product's label wins",
        ),
        workings=(
            f"{volume * 1000:.6g} mL of water {how} = {value:.0f} mL",
            "water first, then the product",
        ),
    )


def solution_temperature(*, reading: float, warmest: float | None = None) -> Outcome:
    """Temperature of the solution that is filled in, with the limit.

    reading: °C. warmest: °C, the card's limit, else 57 °C.
    Returns °C. Source: common practice: 10 to 40 °C good, over 50 think, 57 stop.
    """
    limit = WARMEST if warmest is None else warmest
    said = f"{PRACTICE}; scalds in seconds" if warmest is None else "machine card"
    over = ": STOP, do not fill or handle it" if reading >= limit else ""
    return Outcome(
        value=reading,
        expected=Expected(low=GOOD[0], high=min(GOOD[1], limit), source=PRACTICE),
        workings=(
            f"{reading:.6g} °C ({fahrenheit(reading):z.1f} °F)",
            f"limit {limit:.6g} °C ({fahrenheit(limit):z.1f} °F), {said}{over}",
        ),
    )


DOSE_VOLUME = Measurement(
    name="dose",
    title="Concentrate for a filling",
    unit="mL",
    how="Read the water filled in off the tank's scale; measure the product in a jug.",
    source=f"1:40 is 1 part and 40 parts; {PRACTICE}",
    needs=(
        Need(
            name="volume",
            title="water filled in",
            unit="L",
            dimension="volume",
            asked=True,
            example="100 L",
            low=0,
            high=5000,
        ),
        Need(
            name="ratio",
            title="product to water",
            dimension="ratio",
            card="detergent.ratio",
            example="1:40",
            low=1,
            high=5000,
        ),
        Need(
            name="percent",
            title="product in per cent of the water",
            unit="%",
            dimension="percent",
            optional=True,
            example="1 %",
            low=0,
            high=100,
            replaces="ratio",
        ),
    ),
    compute=dose,
)

SOLUTION_TEMPERATURE = Measurement(
    name="solution-temperature",
    title="Temperature of the solution",
    unit="°C",
    how="Hold the probe in the stream while filling, hand clear of hot water.",
    source=PRACTICE,
    needs=(
        Need(
            name="reading",
            title="temperature of the solution",
            unit="°C",
            dimension="temperature",
            asked=True,
            example="30 °C",
            low=-10,
            high=110,
        ),
        Need(
            name="warmest",
            title="warmest solution to fill",
            unit="°C",
            dimension="temperature",
            card="warmest_solution",
            optional=True,
            example="50 °C",
            low=0,
            high=100,
        ),
    ),
    compute=solution_temperature,
)

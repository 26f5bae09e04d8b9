"""Mixing the cleaning solution: dose and temperature."""

from diagnose.measure.model import PRACTICE, Expected, Measurement, Need, Outcome, Uncertainty
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


RATIO = Need(
    "ratio", "product to water", "", "1:40", 1, 5000, dimension="ratio", card="detergent.ratio"
)
DOSE_VOLUME = Measurement(
    name="dose",
    title="Concentrate for a filling",
    unit="mL",
    how="Read the water filled in off the tank's scale; measure the product in a jug.",
    source=f"1:40 is 1 part and 40 parts; {PRACTICE}",
    needs=(
        Need("volume", "water filled in", "L", "100 L", 0, 5000, asked=True),
        RATIO,
        Need(
            "percent",
            "product in per cent of the water",
            "%",
            "1 %",
            low=0,
            high=100,
            optional=True,
            replaces="ratio",
        ),
    ),
    compute=dose,
    uncertainty=Uncertainty(absolute=10, share=0.05, source=f"the tank's scale, {PRACTICE}"),
    low=0,
    high=5_000_000,
)

SOLUTION_TEMPERATURE = Measurement(
    name="solution-temperature",
    title="Temperature of the solution",
    unit="°C",
    how="Hold the probe in the stream while filling, hand clear of hot water.",
    source=PRACTICE,
    needs=(
        Need("reading", "temperature of the solution", "°C", "30 °C", -10, 110, asked=True),
        Need(
            "warmest",
            "warmest solution to fill",
            "°C",
            "50 °C",
            low=0,
            high=100,
            card="warmest_solution",
            optional=True,
        ),
    ),
    compute=solution_temperature,
    uncertainty=Uncertainty(absolute=1, source=f"a probe thermometer, {PRACTICE}"),
    low=-10,
    high=110,
)

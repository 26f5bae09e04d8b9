"""What a battery gives at a steady current, and what it must get back."""

from diagnose.measure.arithmetic import clean
from diagnose.measure.model import Measurement, Need, Outcome

CAPACITY = Need(
    name="capacity",
    title="rated capacity",
    unit="Ah",
    dimension="charge",
    card="battery.capacity",
    example="240 Ah",
    low=0,
    high=5000,
    above_low=True,
)
RATED_HOURS = Need(
    name="rated_hours",
    title="hour rate of the capacity",
    unit="h",
    dimension="time",
    card="battery.rated_hours",
    example="5 h",
    low=0.5,
    high=1000,
)
EXPONENT = Need(
    name="exponent",
    title="Peukert exponent",
    dimension="number",
    card="battery.exponent",
    example="1.2",
    low=1.0,
    high=1.6,
)


def current_need(*, asked: bool) -> Need:
    """The working current: read off the display, or only taken from the card."""
    return Need(
        name="current",
        title="working current",
        unit="A",
        dimension="current",
        card="currents.working",
        asked=asked,
        example="38 A",
        low=0,
        high=2000,
        above_low=True,
    )


def peukert_hours(capacity: float, rated_hours: float, current: float, exponent: float) -> float:
    """Hours to empty at a steady current: t = H (C / (I H))^k.

    capacity: Ah at the rated hours. rated_hours: h. current: A, above 0. exponent: 1 or more.
    Returns h. Good to some 6 % between the 2.5-hour and the 20-hour rate, not beyond (a maker's
    data sheet, from memory).
    """
    return float(rated_hours * (capacity / (current * rated_hours)) ** exponent)


def peukert_line(
    capacity: float, rated_hours: float, current: float, exponent: float, hours: float
) -> str:
    """Peukert's law with its numbers in, as a line of the workings."""
    far = "" if 2.5 <= clean(hours) <= 20 else ", beyond 2.5 to 20 h only a rough guide"
    return (
        f"Peukert: {rated_hours:.6g} h × ({capacity:.6g} Ah / ({current:.6g} A ×"
        f" {rated_hours:.6g} h))^{exponent:.6g} = {hours:.2f} h{far}"
    )


def peukert_time(
    *, capacity: float, rated_hours: float, current: float, exponent: float
) -> Outcome:
    """Hours to empty at a steady current.

    capacity: Ah at rated_hours, h. current: A. exponent: Peukert's, 1.0 to 1.6.
    Returns hours. Source: Peukert's law, see `peukert_hours`.
    """
    hours = peukert_hours(capacity, rated_hours, current, exponent)
    line = peukert_line(capacity, rated_hours, current, exponent, hours)
    return Outcome(value=hours, workings=(line,))


def recharge(
    *, capacity: float, taken_out: float, factor: float, current: float | None = None
) -> Outcome:
    """Charge to put back.

    capacity: Ah. taken_out: % of it. factor: Ah in for each Ah out, 1.00 to 1.50.
    current: A of the charger, for the hours it takes at least.
    Returns Ah. Source: charge out × charge factor; about 1.20 for vented lead-acid (trade source).
    """
    out = capacity * taken_out / 100
    back = out * factor
    workings = [
        f"{capacity:.6g} Ah × {taken_out:.6g} % = {out:.1f} Ah taken out",
        f"{out:.1f} Ah × {factor:.6g} = {back:.1f} Ah to put back",
    ]
    if current is not None:
        hours = back / current
        workings.append(f"{back:.1f} Ah / {current:.6g} A = {hours:.1f} h at the least")
    return Outcome(value=back, workings=tuple(workings))


PEUKERT_TIME = Measurement(
    name="peukert-time",
    title="Hours to empty at a steady current",
    unit="h",
    how="Read the amps off the machine's own display at steady work.",
    source="Peukert's law, t = H (C / (I H))^k",
    needs=(CAPACITY, RATED_HOURS, current_need(asked=True), EXPONENT),
    compute=peukert_time,
)

RECHARGE = Measurement(
    name="recharge",
    title="Charge to put back",
    unit="Ah",
    how="Take the charge used from the gauge: 100 less what it shows.",
    source="charge taken out × charge factor; about 1.20 for vented lead-acid (trade source)",
    needs=(
        CAPACITY,
        Need(
            name="taken_out",
            title="charge taken out",
            unit="%",
            dimension="percent",
            asked=True,
            example="80 %",
            low=0,
            high=100,
        ),
        Need(
            name="factor",
            title="charge factor",
            dimension="number",
            card="battery.charge_factor",
            example="1.2",
            low=1.0,
            high=1.5,
        ),
        Need(
            name="current",
            title="charger's current",
            unit="A",
            dimension="current",
            optional=True,
            example="30 A",
            low=0,
            high=1000,
            above_low=True,
        ),
    ),
    compute=recharge,
)

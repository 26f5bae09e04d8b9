"""What a battery gives at a steady current, and what it must get back."""

from msgspec.structs import replace

from diagnose.measure.arithmetic import clean
from diagnose.measure.model import PRACTICE, Measurement, Need, Outcome, Uncertainty

CAPACITY = Need(
    "capacity", "rated capacity", "Ah", "240 Ah", 0, 5000, card="battery.capacity", above_low=True
)
RATED_HOURS = Need(
    "rated_hours", "hour rate of the capacity", "h", "5 h", 0.5, 1000, card="battery.rated_hours"
)
EXPONENT = Need("exponent", "Peukert exponent", "", "1.2", 1.0, 1.6, card="battery.exponent")
CURRENT = Need(
    "current", "working current", "A", "38 A", 0, 2000, card="currents.working", above_low=True
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
    needs=(CAPACITY, RATED_HOURS, replace(CURRENT, asked=True), EXPONENT),
    compute=peukert_time,
    uncertainty=Uncertainty(
        share=0.06,
        source="between the 2.5-hour and the 20-hour rate, a maker's data sheet, from memory",
    ),
    low=0,
)

RECHARGE = Measurement(
    name="recharge",
    title="Charge to put back",
    unit="Ah",
    how="Take the charge used from the gauge: 100 less what it shows.",
    source="charge taken out × charge factor; about 1.20 for vented lead-acid (trade source)",
    needs=(
        CAPACITY,
        Need("taken_out", "charge taken out", "%", "80 %", 0, 100, asked=True),
        Need("factor", "charge factor", "", "1.2", 1.0, 1.5, card="battery.charge_factor"),
        Need("current", "charger's current", "A", "30 A", 0, 1000, optional=True, above_low=True),
    ),
    compute=recharge,
    uncertainty=Uncertainty(share=0.1, source=f"read off the gauge, {PRACTICE}"),
    low=0,
    high=7_500,
)

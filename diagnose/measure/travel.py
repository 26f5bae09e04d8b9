"""How fast the machine goes and how much floor it does."""

from diagnose.measure.model import PRACTICE, Expected, Measurement, Need, Outcome

SCRUBBING = (3.0, 6.0)  # km/h

PATH_WIDTH = Need(
    name="width",
    title="width of the scrubbed path",
    unit="cm",
    dimension="length",
    card="path_width",
    example="75 cm",
    low=0,
    high=2000,
    above_low=True,
)
SPEED = Need(
    name="speed",
    title="working speed",
    unit="km/h",
    dimension="speed",
    card="working_speed",
    asked=True,
    example="4.5 km/h",
    low=0,
    high=30,
    above_low=True,
)


def area_rate(*, width: float, speed: float, efficiency: float) -> Outcome:
    """Floor done in an hour.

    width: cm. speed: km/h. efficiency: %, the share of the time that is spent scrubbing new floor.
    Returns m²/h. Source: width × speed × efficiency, as for field work in Iowa State Univ. PM 696.
    """
    value = width / 100 * speed * 1000 * efficiency / 100
    return Outcome(
        value=value,
        workings=(
            f"{width / 100:.6g} m × {speed * 1000:.6g} m/h × {efficiency:.6g} % = {value:.0f} m²/h",
        ),
    )


def travel_speed(*, distance: float, time: float, working_speed: float | None = None) -> Outcome:
    """Speed over a measured distance.

    distance: m. time: s. working_speed: km/h, what the card says.
    Returns km/h. Source: distance / time; 3 to 6 km/h for scrubbing: common practice.
    """
    value = distance / time * 3.6
    low, high = SCRUBBING if working_speed is None else (working_speed, working_speed)
    source = f"scrubbing, {PRACTICE}" if working_speed is None else "machine card"
    return Outcome(
        value=value,
        expected=Expected(low=low, high=high, source=source),
        workings=(f"{distance:.6g} m / {time:.6g} s × 3.6 = {value:.2f} km/h",),
    )


AREA_RATE = Measurement(
    name="area-rate",
    title="Floor done in an hour",
    unit="m²/h",
    how="Speed by watch over 10 m; efficiency from a shift's floor and hours.",
    source="width × speed × efficiency, Iowa State Univ. PM 696 (2001)",
    needs=(
        PATH_WIDTH,
        SPEED,
        Need(
            name="efficiency",
            title="share of the time spent on new floor",
            unit="%",
            dimension="percent",
            asked=True,
            example="70 %",
            low=0,
            high=100,
        ),
    ),
    compute=area_rate,
)

TRAVEL_SPEED = Measurement(
    name="travel-speed",
    title="Speed over a measured distance",
    unit="km/h",
    how="People clear. Mark 10 m, come up to working speed, take the time from mark to mark.",
    source=f"distance / time; {PRACTICE}",
    needs=(
        Need(
            name="distance",
            title="distance between the marks",
            unit="m",
            dimension="length",
            asked=True,
            example="10 m",
            low=0,
            high=1000,
        ),
        Need(
            name="time",
            title="time between the marks",
            unit="s",
            dimension="time",
            asked=True,
            example="8 s",
            low=0,
            high=3600,
            above_low=True,
        ),
        Need(
            name="working_speed",
            title="working speed on the card",
            unit="km/h",
            dimension="speed",
            card="working_speed",
            optional=True,
            example="4.5 km/h",
            low=0,
            high=30,
            above_low=True,
        ),
    ),
    compute=travel_speed,
)

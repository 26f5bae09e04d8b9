"""Suction and the standard atmosphere against figures from outside.

Status beside each source: R read, C computed with an independent tool, M from memory.
"""

import numpy as np
import psychrolib
import pytest
from scipy.integrate import solve_ivp

from diagnose.measure.suction import standard_pressure

# Standard atmosphere, ISO 2533 / ICAO, geopotential height (C): m, Pa.
ISO_2533 = {0: 101325.0, 500: 95460.84, 1000: 89874.56, 1500: 84555.99, 2000: 79495.20}
ISO_2533[3000] = 70108.53
# The largest possible suction at those heights (C): inH2O.
LARGEST = {0: 406.8, 500: 383.2, 1000: 360.8, 1500: 339.5, 2000: 319.1, 3000: 281.5}


@pytest.mark.parametrize("altitude", ISO_2533)
def test_standard_pressure(altitude):
    pascal = standard_pressure(altitude) * 1000
    assert pascal == pytest.approx(ISO_2533[altitude], abs=0.01)
    assert pascal / 249.0889 == pytest.approx(LARGEST[altitude], abs=0.05)  # NIST SP 811 (R)


@pytest.mark.parametrize("altitude", [-400, 0, 320, 1609, 4000])
def test_standard_pressure_of_psychrolib(altitude):
    """psychrolib (C). 1e-4: it uses the rounded constants 2.25577e-5 and 5.2559."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    expected = psychrolib.GetStandardAtmPressure(altitude)
    assert standard_pressure(altitude) * 1000 == pytest.approx(expected, rel=1e-4)


def test_standard_pressure_is_hydrostatic():
    """dp/dh = -g p / (R T), integrated by scipy (C)."""

    def slope(height, pressure):
        return -9.80665 * pressure / (287.05287 * (288.15 - 0.0065 * height))

    heights = np.linspace(0, 5000, 11)
    solved = solve_ivp(slope, (0, 5000), [101.325], t_eval=heights, rtol=1e-10, atol=1e-10)
    for height, pressure in zip(heights, solved.y[0], strict=True):
        assert standard_pressure(height) == pytest.approx(pressure, rel=1e-8)


@pytest.mark.parametrize(
    ("feet", "share"),
    [(1000, 0.964), (3000, 0.896), (5000, 0.832), (8000, 0.743), (10000, 0.688)],
)
def test_a_fan_loses_with_the_height(take, feet, share):
    """ "Fan Basics" (R), printed to three figures: a full-strength fan reads that share."""
    figure = take("suction", f"reading={45 * share} inH2O rated=45 inH2O altitude={feet} ft")
    assert figure.value == pytest.approx(100, abs=0.1)


def test_5_psi_at_5000_feet(take):
    """ "Fan Basics" (R): 5 psi at sea level is 4.160 psi at 5000 ft."""
    card = {"suction.rated": "5 psi", "site.altitude": "5000 ft"}
    assert take("suction", "4.160 psi", **card).value == pytest.approx(100, abs=0.05)


def test_suction_at_sea_level_is_the_plain_share(take):
    card = {"suction.rated": "45 inH2O", "site.altitude": "0 m"}
    assert take("suction", "36 inH2O", **card).value == pytest.approx(80, abs=1e-9)

"""Every line of workings, word for word, with figures whose source stands beside them.

Status beside each source: R read, C computed here or with an independent library, M from memory.
"Practice" is common practice, no published source. What a library can work out independently is
worked out in the tests of the figures; here it stands as it is printed.
"""

from __future__ import annotations

import pytest

from diagnose.measure.registry import MEASUREMENTS
from diagnose.measure.wording import about

PRACTICE = "common practice, no published source"

BATTERY = {
    "battery.capacity": "330 Ah",
    "battery.rated_hours": "20 h",
    "battery.exponent": "1.16562",
    "currents.working": "25 A",
}
FROM_BATTERY = (
    "from the machine card: capacity 330 Ah, rated hours 20 h, exponent 1.16562, current 25 A"
)
# A maker's data sheet (M): 330 Ah at 20 h; 739 min at 25 A by Peukert's law (C).
PEUKERT_25_A = "Peukert: 20 h × (330 Ah / (25 A × 20 h))^1.16562 = 12.32 h"
AT_77_F = "capacity against temperature at the 5-hour rate, UPS and Standby Power Systems p. 199"
TABLE_A = "reference table A for flooded cells"
SEALED = "table for sealed cells (from memory, no published source)"
NO_TEMPERATURE = "no temperature given: gravities as read, the spread is the same"
# US Army TM 5-3895-349-14P p. 871 (R): 0.004 for each 10 °F; 1.240 at 100 °F is 1.248.
AT_100_F = "37.7778 °C is 100.0 °F"
BY_10_F = "(0.004 for each 10 °F from 80)"
# 57 °C as the warmest filling is practice; it is 134.6 °F (C).
LIMIT_57 = f"limit 57 °C (134.6 °F), {PRACTICE}; scalds in seconds"
STOP = ": STOP, do not fill or handle it"

WORKED = {
    # General battery reference table A (R, weak authority): 12.24 V is 50 %, 12.45 V 75 %; a fifth
    # of the way is 55 % (C). 24.564 V / 12 = 2.047 V, times six 12.282 V (C).
    "between two points of table A": (
        ("rest-voltage", "volts=24.564 V cells=12 kind=flooded", {}),
        "24.564 V / 12 cells = 2.047 V a cell, 12.28 V for six",
        f"{TABLE_A}: between 12.24 V (50 %) and 12.45 V (75 %): 55 %",
    ),
    # Table A's own full point, 12.65 V (R): full, and nothing is wrong with the reading.
    "exactly full": (
        ("rest-voltage", "volts=25.30 V cells=12 kind=flooded", {}),
        "25.3 V / 12 cells = 2.108 V a cell, 12.65 V for six",
        f"{TABLE_A}: between 12.45 V (75 %) and 12.65 V (100 %): 100 %",
    ),
    # 2 of 60 sets stood above it by the last digit of a float, this among them.
    "exactly full, whatever the number of cells": (
        ("rest-voltage", f"volts={60 * 12.65 / 6} V cells=60 kind=flooded", {}),
        "126.5 V / 60 cells = 2.108 V a cell, 12.65 V for six",
        f"{TABLE_A}: between 12.45 V (75 %) and 12.65 V (100 %): 100 %",
    ),
    "above full": (
        ("rest-voltage", "volts=25.32 V cells=12 kind=flooded", {}),
        "25.32 V / 12 cells = 2.110 V a cell, 12.66 V for six",
        f"{TABLE_A}: above 12.65 V, full: charged or loaded in the last two hours?",
    ),
    # Table A's empty point, 11.89 V (R).
    "exactly flat": (
        ("rest-voltage", "volts=23.78 V cells=12 kind=flooded", {}),
        "23.78 V / 12 cells = 1.982 V a cell, 11.89 V for six",
        f"{TABLE_A}: between 11.89 V (0 %) and 12.06 V (25 %): 0 %",
    ),
    "below flat": (
        ("rest-voltage", "volts=23.76 V cells=12 kind=flooded", {}),
        "23.76 V / 12 cells = 1.980 V a cell, 11.88 V for six",
        f"{TABLE_A}: below 11.89 V, flat",
    ),
    # Sealed (M): 12.34 V is 50 %, 12.11 V 25 %.
    "sealed": (
        ("rest-voltage", "volts=36.9123456 V cells=18 kind=sealed", {}),
        "36.9123 V / 18 cells = 2.051 V a cell, 12.30 V for six",
        f"{SEALED}: between 12.11 V (25 %) and 12.34 V (50 %): 46 %",
    ),
    "sealed and full": (
        ("rest-voltage", "volts=38.43 V cells=18 kind=sealed", {}),
        "38.43 V / 18 cells = 2.135 V a cell, 12.81 V for six",
        f"{SEALED}: above 12.80 V, full: charged or loaded in the last two hours?",
    ),
    "sealed and flat": (
        ("rest-voltage", "volts=35.79 V cells=18 kind=sealed", {}),
        "35.79 V / 18 cells = 1.988 V a cell, 11.93 V for six",
        f"{SEALED}: below 11.94 V, flat",
    ),
    "under load": (
        ("loaded-voltage", "volts=23.1234567 cells=12", {}),
        "23.1235 V / 12 cells = 1.927 V a cell",
    ),
    "gravity at 100 °F": (
        ("gravity", "reading=1.240 temperature=100 °F", {}),
        AT_100_F,
        f"1.2400 +0.0080 {BY_10_F} = 1.2480",
    ),
    # An example: 1.312 at 0 °F is 1.280 at 80 °F (US Army TM 5-1185 Table IV, R; its temperatures
    # were inferred from the rule).
    "gravity at 0 °F": (
        ("gravity", "reading=1.312 temperature=0 °F", {}),
        "-17.7778 °C is 0.0 °F",
        f"1.3120 -0.0320 {BY_10_F} = 1.2800",
    ),
    # At 80 °F itself nothing is added (R), and no sign of a last digit is seen.
    "gravity at 80 °F": (
        ("gravity", "reading=1.280 temperature=26.66666666 °C", {}),
        "26.6667 °C is 80.0 °F",
        f"1.2800 +0.0000 {BY_10_F} = 1.2800",
    ),
    "gravities at 80 °F": (
        ("cell-gravities", "readings=1.280, 1.270 temperature=26.66666666 °C", {}),
        "26.6667 °C is 80.0 °F, +0.0000 a cell",
        "lowest: cell 2 at 1.2700",
        "highest: cell 1 at 1.2800",
        "spread 1.2800 - 1.2700 = 0.0100",
    ),
    # Over 45 °C a battery is left alone: practice. 45 °C is 113 °F (C).
    "gravity of the hottest cell that may be": (
        ("gravity", "reading=1.280 temperature=45 °C", {}),
        "45 °C is 113.0 °F",
        f"1.2800 +0.0132 {BY_10_F} = 1.2932",
    ),
    "gravity of a hot cell": (
        ("gravity", "reading=1.2401234 temperature=45.1 °C", {}),
        "45.1 °C is 113.2 °F, over 45 °C: stop, leave it alone and call",
        f"1.2401 +0.0133 {BY_10_F} = 1.2534",
    ),
    "gravity of a cold cell": (
        ("gravity", "reading=1.25 temperature=-5.1234567 °C", {}),
        "-5.12346 °C is 22.8 °F",
        f"1.2500 -0.0229 {BY_10_F} = 1.2271",
    ),
    # US Army TM 55-2210-224-12 p. 4-78 (R): more than 0.020 may be a dead cell.
    "one low cell": (
        ("cell-gravities", "1.280, 1.278, 1.259, 1.279", {}),
        NO_TEMPERATURE,
        "lowest: cell 3 at 1.2590",
        "highest: cell 1 at 1.2800",
        "spread 1.2800 - 1.2590 = 0.0210",
    ),
    "three low cells, hot": (
        ("cell-gravities", "readings=1.240, 1.260, 1.240, 1.240 temperature=45.1 °C", {}),
        "45.1 °C is 113.2 °F, over 45 °C: stop, leave it alone and call, +0.0133 a cell",
        "lowest: cell 1 and 3 and 4 at 1.2533",
        "highest: cell 2 at 1.2733",
        "spread 1.2733 - 1.2533 = 0.0200",
    ),
    "four low cells, cold": (
        ("cell-gravities", "readings=1.24, 1.24, 1.24, 1.24, 1.26 temperature=-10 °C cells=5", {}),
        "-10 °C is 14.0 °F, -0.0264 a cell",
        "lowest: 4 cells at 1.2136",
        "highest: cell 5 at 1.2336",
        "spread 1.2336 - 1.2136 = 0.0200",
    ),
    # oracletutoring.ca (R): 120 Ah at 20 h, k 1.4, at 120 A 0.30 h. A maker's data sheet (M):
    # Peukert's law holds to 6 % between the 2.5-hour and the 20-hour rate.
    "Peukert far beyond the rates": (
        ("peukert-time", "capacity=120 Ah rated_hours=20 h exponent=1.4 current=120 A", {}),
        "Peukert: 20 h × (120 Ah / (120 A × 20 h))^1.4 = 0.30 h, beyond 2.5 to 20 h only a rough guide",
    ),
    # A common textbook example (M): 8.7 h.
    "Peukert between the rates": (
        ("peukert-time", "capacity=100 Ah rated_hours=20 h exponent=1.2 current=10 A", {}),
        "Peukert: 20 h × (100 Ah / (10 A × 20 h))^1.2 = 8.71 h",
    ),
    # At the rated current the rated time, by definition; here the two ends of the range.
    "Peukert at its slow end": (
        ("peukert-time", "capacity=120 Ah rated_hours=20 h exponent=1.4 current=6 A", {}),
        "Peukert: 20 h × (120 Ah / (6 A × 20 h))^1.4 = 20.00 h",
    ),
    "Peukert beyond its slow end": (
        ("peukert-time", "capacity=120 Ah rated_hours=20.1 h exponent=1 current=5.97 A", {}),
        "Peukert: 20.1 h × (120 Ah / (5.97 A × 20.1 h))^1 = 20.10 h, beyond 2.5 to 20 h only a rough guide",
    ),
    "Peukert at its fast end": (
        ("peukert-time", "capacity=100 Ah rated_hours=2.5 h exponent=1.3 current=40 A", {}),
        "Peukert: 2.5 h × (100 Ah / (40 A × 2.5 h))^1.3 = 2.50 h",
    ),
    "Peukert beyond its fast end": (
        ("peukert-time", "capacity=100 Ah rated_hours=2.5 h exponent=1 current=40.2 A", {}),
        "Peukert: 2.5 h × (100 Ah / (40.2 A × 2.5 h))^1 = 2.49 h, beyond 2.5 to 20 h only a rough guide",
    ),
    "Peukert of long figures": (
        (
            "peukert-time",
            "capacity=100.1234567 Ah rated_hours=20.1234567 h exponent=1.21234567 current=10.1234567 A",
            {},
        ),
        "Peukert: 20.1235 h × (100.123 Ah / (10.1235 A × 20.1235 h))^1.21235 = 8.51 h",
    ),
    # A maker's data sheet (M): 711 min at 25 A to empty.
    "runtime to empty": (
        ("runtime", "observed=711 min depth=100 %", BATTERY),
        FROM_BATTERY,
        PEUKERT_25_A,
        "no temperature given: 25 °C assumed",
        "× 100 % usable: as given",
        "expected 12.32 h; 11.85 h is 96 % of it",
    ),
    # 40 °F leaves 0.830 at the 5-hour rate (UPS and Standby Power Systems p. 199, R); down to 20 %
    # is practice. 12.32 × 0.830 × 0.8 = 8.18 (C).
    "runtime in the cold": (
        ("runtime", "observed=4.0912345 h temperature=40 °F", BATTERY),
        FROM_BATTERY,
        PEUKERT_25_A,
        f"× 0.830 at 4.44444 °C (40 °F): {AT_77_F}",
        f"× 80 % usable: assumed for lead-acid, {PRACTICE}",
        "expected 8.18 h; 4.09123 h is 50 % of it",
    ),
    # Under about 30 charges a set is still forming: practice.
    "runtime of a young set": (
        ("runtime", "observed=2 h temperature=77 °F cycles=29 lowest_charge=12.3456789 %", BATTERY),
        FROM_BATTERY,
        PEUKERT_25_A,
        f"× 1.000 at 25 °C (77 °F): {AT_77_F}",
        "× 87.6543 % usable: 12.3457 % is left in",
        "expected 10.80 h; 2 h is 19 % of it",
        "29 cycles: under about 30 a set is still forming and gives less, not yet a sign of wear"
        f" ({PRACTICE})",
    ),
    # 30 °F, the end of the table's first line taken 10 °F on (0.780, C).
    "runtime in the frost": (
        ("runtime", "observed=2 h temperature=30 °F depth=50 %", BATTERY),
        FROM_BATTERY,
        PEUKERT_25_A,
        f"× 0.780 at -1.11111 °C (30 °F): {AT_77_F}",
        "× 50 % usable: as given",
        "expected 4.81 h; 2 h is 42 % of it",
    ),
    "runtime of lithium, no longer young": (
        (
            "runtime",
            "observed=2 h temperature=0 °C cycles=30 lowest_charge=10 kind=lithium",
            BATTERY,
        ),
        FROM_BATTERY,
        PEUKERT_25_A,
        "lithium: not corrected for temperature, the table is for lead-acid",
        "× 90 % usable: 10 % is left in",
        "expected 11.09 h; 2 h is 18 % of it",
    ),
    # Trade source (R): 1000 Ah at 80 % out → 960 Ah back.
    "recharge": (
        ("recharge", "taken_out=80 % capacity=1000 Ah factor=1.2", {}),
        "1000 Ah × 80 % = 800.0 Ah taken out",
        "800.0 Ah × 1.2 = 960.0 Ah to put back",
    ),
    "recharge by the hour": (
        (
            "recharge",
            "taken_out=81.2345678 % capacity=1000.12345 Ah factor=1.2345678 current=96.1234567 A",
            {},
        ),
        "1000.12 Ah × 81.2346 % = 812.4 Ah taken out",
        "812.4 Ah × 1.23457 = 1003.0 Ah to put back",
        "1003.0 Ah / 96.1235 A = 10.4 h at the least",
    ),
    # Bucket and watch (R): 5 gal in 45 s is 6.667 gpm, of 3.785412 L each (NIST, R): 25.24 L/min.
    "tank drop": (
        ("tank-drop", "before=5 gal after=0 L time=45 s", {}),
        "(18.9271 L - 0 L) / 0.75 min = 25.24 L/min",
    ),
    "tank drop of long figures": (
        ("tank-drop", "before=100.1234567 L after=88.1234567 L time=5.1234567 min", {}),
        "(100.123 L - 88.1235 L) / 5.12346 min = 2.34 L/min",
    ),
    # 0.25 gal in 10 s is 1.5 gpm (R): 5.68 L/min.
    "bucket": (
        ("bucket-flow", "volume=0.25 gal time=10 s", {}),
        "0.946353 L / 0.166667 min = 5.68 L/min",
    ),
    # 1 US gal over 400 ft² is 0.10186 mm (R); a foot is 0.3048 m (exact, NIST).
    "film": (
        ("film", "flow=1 gpm width=4 ft speed=100 ft/min", {}),
        "1.2192 m × 30.5 m/min = 37.2 m²/min",
        "3.78541 L/min / 37.2 m²/min = 0.102 mm (1 L/m² is 1 mm)",
    ),
    "film of long figures": (
        ("film", "flow=2.51234567 L/min width=75.1234567 cm speed=4.51234567 km/h", {}),
        "0.751235 m × 75.2 m/min = 56.5 m²/min",
        "2.51235 L/min / 56.5 m²/min = 0.044 mm (1 L/m² is 1 mm)",
    ),
    # 110 L at 2.5 L/min last 44 min (C).
    "tank time": (
        ("tank-time", "volume=110.1234567 L flow=2.51234567 L/min", {}),
        "110.123 L / 2.51235 L/min = 43.8 min",
    ),
    # The whole is 100 %, by definition; more cannot come back.
    "all recovered": (
        ("recovery", "dispensed=100.1234567 L recovered=100.1234567 L", {}),
        "100.123 L / 100.123 L = 100 %",
    ),
    "more than all recovered": (
        ("recovery", "dispensed=100 L recovered=100.1 L", {}),
        "100.1 L / 100 L = 100 %",
        "more came back than went out: old water in the tank, or on the floor?",
    ),
    # Iowa State Univ. PM 696 (2001) (R): 40 ft, 6 mph, 70 % → 20.4 acre/h, of 43,560 ft².
    "area rate": (
        ("area-rate", "width=40 ft speed=6 mph efficiency=70 %", {}),
        "12.192 m × 9656.06 m/h × 70 % = 82409 m²/h",
    ),
    "area rate of long figures": (
        ("area-rate", "width=75.1234567 cm speed=4.51234567 km/h efficiency=71.234567 %", {}),
        "0.751235 m × 4512.35 m/h × 71.2346 % = 2415 m²/h",
    ),
    # The 100 m world record of 2009 (M): 9.58 s, 37.58 km/h.
    "travel speed": (
        ("travel-speed", "distance=100 m time=9.58 s", {}),
        "100 m / 9.58 s × 3.6 = 37.58 km/h",
    ),
    "travel speed of long figures": (
        ("travel-speed", "distance=10.1234567 m time=9.1234567 s", {}),
        "10.1235 m / 9.12346 s × 3.6 = 3.99 km/h",
    ),
    # "Fan Basics" (R): 5 psi at sea level is 4.160 psi at 5000 ft, 0.832; ISO 2533 at 1524 m:
    # 84.31 kPa (C, psychrolib); psi 6894.757 Pa (NIST SP 811, R).
    "suction": (
        ("suction", "reading=4.160 psi rated=5 psi altitude=5000 ft", {}),
        "air at 1524 m: 84.31 kPa, 0.832 of sea level (ISO 2533)",
        "34.47 kPa rated × 0.832 = 28.68 kPa possible",
        "28.68 kPa / 28.68 kPa = 100 %",
    ),
    # ISO 2533 (C): 500 m 95460.84 Pa.
    "suction of long figures": (
        ("suction", "reading=7.1234567 kPa rated=11.2345678 kPa altitude=500.1234567 m", {}),
        "air at 500.123 m: 95.46 kPa, 0.942 of sea level (ISO 2533)",
        "11.23 kPa rated × 0.942 = 10.58 kPa possible",
        "7.12 kPa / 10.58 kPa = 67 %",
    ),
    # 1:40 is 1 part and 40 parts: practice.
    "dose by ratio": (
        ("dose", "volume=40 L ratio=1:40", {}),
        "40000 mL of water / 40 (1 part and 40 parts) = 1000 mL",
        "water first, then the product",
    ),
    "dose of long figures": (
        ("dose", "volume=40.1234567 L ratio=1:40.12345", {}),
        "40123.5 mL of water / 40.1234 (1 part and 40.1234 parts) = 1000 mL",
        "water first, then the product",
    ),
    "dose by per cent": (
        ("dose", "volume=40.1234567 L percent=0.51234567 %", {"detergent.ratio": "1:100"}),
        "40123.5 mL of water × 0.512346 % = 206 mL",
        "water first, then the product",
    ),
    "no dose": (
        ("dose", "volume=40 L percent=0 %", {}),
        "40000 mL of water × 0 % = 0 mL",
        "water first, then the product",
    ),
    # 135 °F is 57.2 °C, 57 °C is 134.6 °F (C); both sides of the limit.
    "scalding": (
        ("solution-temperature", "135 °F", {}),
        "57.2222 °C (135.0 °F)",
        LIMIT_57 + STOP,
    ),
    "at the limit": (
        ("solution-temperature", "134.6 °F", {}),
        "57 °C (134.6 °F)",
        LIMIT_57 + STOP,
    ),
    "below freezing": (
        ("solution-temperature", "15 °F", {}),
        "-9.44444 °C (15.0 °F)",
        LIMIT_57,
    ),
    "just below the limit": (
        ("solution-temperature", "56.9 °C", {}),
        "56.9 °C (134.4 °F)",
        LIMIT_57,
    ),
    "at the card's limit": (
        ("solution-temperature", "50 °C", {"warmest_solution": "50 degC"}),
        "from the machine card: warmest 50 degC",
        "50 °C (122.0 °F)",
        f"limit 50 °C (122.0 °F), machine card{STOP}",
    ),
    "just below the card's limit": (
        (
            "solution-temperature",
            "reading=49.9 °C warmest=50.1234567 °C",
            {},
        ),
        "49.9 °C (121.8 °F)",
        "limit 50.1235 °C (122.2 °F), machine card",
    ),
    # Turned at about 1.5 mm: practice.
    "edges left": (
        ("blade-edge", "1.51234567 mm", {"squeegee.rear_edges": "4", "squeegee.edges_used": "3"}),
        "from the machine card: rear edges 4, edges used 3",
        "edge rounded 1.51235 mm, turned at about 1.5 mm",
        "3 of 4 edges used: 1 left, turn it",
    ),
    "no edge left": (
        ("blade-edge", "1.5 mm", {"squeegee.rear_edges": "4", "squeegee.edges_used": "4"}),
        "from the machine card: rear edges 4, edges used 4",
        "edge rounded 1.5 mm, turned at about 1.5 mm",
        "4 of 4 edges used: none left, a new blade is due",
    ),
    "more edges used than there are": (
        ("blade-edge", "1.5 mm", {"squeegee.rear_edges": "2", "squeegee.edges_used": "4"}),
        "from the machine card: rear edges 2, edges used 4",
        "edge rounded 1.5 mm, turned at about 1.5 mm",
        "4 of 2 edges used: none left, a new blade is due",
    ),
    "edges used of nobody knows how many": (
        ("blade-edge", "1 mm", {"squeegee.edges_used": "4"}),
        "from the machine card: edges used 4",
        "edge rounded 1 mm, turned at about 1.5 mm",
    ),
    "nobody knows how many edges are used": (
        ("blade-edge", "1 mm", {"squeegee.rear_edges": "4"}),
        "from the machine card: rear edges 4",
        "edge rounded 1 mm, turned at about 1.5 mm",
    ),
    # 10 to 15 mm, ends within 3 mm: practice. 12.3 - 9.3 is over 3 in floating point.
    "bend, the ends just level": (
        ("blade-bend", "left=12.3 mm right=9.3 mm", {}),
        "left 12.3 mm, right 9.3 mm, 12.5 mm wanted",
        "the end that strays further decides: 9.3 mm",
        "the ends differ by 3 mm",
    ),
    "bend, the ends out of level": (
        ("blade-bend", "left=9.1234567 mm right=13.1234567 mm", {}),
        "left 9.12346 mm, right 13.1235 mm, 12.5 mm wanted",
        "the end that strays further decides: 9.12346 mm",
        "the ends differ by 4 mm, more than 3 mm: out of level",
    ),
    "bend, just out of level": (
        ("blade-bend", "left=11 mm right=14.1 mm", {}),
        "left 11 mm, right 14.1 mm, 12.5 mm wanted",
        "the end that strays further decides: 14.1 mm",
        "the ends differ by 3.1 mm, more than 3 mm: out of level",
    ),
    "bend, both ends stray alike": (
        ("blade-bend", "left=11.1 mm right=13.9 mm", {}),
        "left 11.1 mm, right 13.9 mm, 12.5 mm wanted",
        "the end that strays further decides: 11.1 mm",
        "the ends differ by 2.8 mm",
    ),
    "the card's bend": (
        ("blade-bend", "left=11 mm right=14 mm", {"squeegee.bend": "13.345678 mm"}),
        "from the machine card: bend 13.345678 mm",
        "left 11 mm, right 14 mm, 13.3457 mm wanted",
        "the end that strays further decides: 11 mm",
        "the ends differ by 3 mm",
    ),
    "left lower": (
        ("blade-level", "left=12.1234567 mm right=9.1234567 mm", {}),
        "left 12.1235 mm, right 9.12346 mm: 3 mm apart, the left end bends more",
    ),
    "right lower": (
        ("blade-level", "left=9 mm right=12 mm", {}),
        "left 9 mm, right 12 mm: 3 mm apart, the right end bends more",
    ),
    "even": (
        ("blade-level", "left=9 mm right=9 mm", {}),
        "left 9 mm, right 9 mm: 0 mm apart, even",
    ),
    # The least of three places decides; an inch is 25.4 mm (exact, NIST).
    "bristle": (
        ("bristle", "24, 22.1234567, 23 mm", {"brushes.bristle_new": "40.1234567 mm"}),
        "from the machine card: bristle new 40.1234567 mm",
        "24, 22.1235, 23 mm: the least decides, 22.1235 mm",
        "22.1235 of 40.1235 mm new: 55 %",
    ),
    "bristle of a brush whose length nobody knows": (
        ("bristle", "1 in; 1 in; 20 mm", {}),
        "25.4, 25.4, 20 mm: the least decides, 20 mm",
    ),
    "pad": (
        ("pad", "14 12.1234567 13", {}),
        "14, 12.1235, 13 mm: the least decides, 12.1235 mm",
    ),
    # The card's ±20 %, the sides within 20 %: practice. 18 to 14.4 are 20 % apart (C); so says a
    # third of such pairs only without the last digit of a float.
    "sides 20 % apart": (
        ("brush-current", "reading=18 A other=14.4 A rated=20 A", {}),
        "18 A / 20 A = 90 % of the card's",
        "18 A and 14.4 A: sides 20 % apart",
    ),
    "the other side 20 % stronger": (
        ("brush-current", "reading=0.8 A other=1 A rated=1 A", {}),
        "0.8 A / 1 A = 80 % of the card's",
        "0.8 A and 1 A: sides 20 % apart",
    ),
    "sides over 20 % apart": (
        ("brush-current", "reading=18.1234567 A other=14.1234567 A rated=20.1234567 A", {}),
        "18.1235 A / 20.1235 A = 90 % of the card's",
        "18.1235 A and 14.1235 A: sides 22 % apart, more than 20 %: look at the weaker side",
    ),
    "sides just over 20 % apart": (
        ("brush-current", "reading=100 A other=79.9 A rated=100 A", {}),
        "100 A / 100 A = 100 % of the card's",
        "100 A and 79.9 A: sides 20 % apart, more than 20 %: look at the weaker side",
    ),
    "both sides dead": (
        ("brush-current", "reading=0 A other=0 A rated=20 A", {}),
        "0 A / 20 A = 0 % of the card's",
        "0 A and 0 A: sides 0 % apart",
    ),
    "one side only": (
        ("brush-current", "21.6 A", {"brushes.current": "18 A"}),
        "from the machine card: rated 18 A",
        "21.6 A / 18 A = 120 % of the card's",
    ),
    "a plain number": (("value", "12.1234567", {}), "read as 12.1235"),
}


@pytest.mark.parametrize("name", WORKED)
def test_the_workings(take, name):
    (measurement, reply, card), *lines = WORKED[name]
    figure = take(measurement, reply, **card)
    known = MEASUREMENTS[measurement].uncertainty
    last = [f"{about(figure.value, figure.unit, figure.good_to)}: {known.source}"] if known else []
    assert list(figure.workings) == lines + last


CARD_OF_ALL = {
    **{"battery.cells": "12", "battery.kind": "flooded", "battery.capacity": "240 Ah"},
    **{"battery.rated_hours": "5 h", "battery.exponent": "1.2", "battery.charge_factor": "1.2"},
    **{"currents.working": "38 A", "path_width": "75 cm", "working_speed": "4.5 km/h"},
    **{"flow.rate": "2.5 L/min", "tanks.clean": "110 L", "detergent.ratio": "1:100"},
    **{"suction.rated": "45 inH2O", "site.altitude": "320 m", "brushes.current": "18 A"},
}

#: What each is worth on its example, as it stands below the workings: how far off a method can be
#: is practice or from memory, as the line says (M).
ROUNDED = {
    "rest-voltage": (
        "24.4 V",
        "about 45 %, ± 10: tables differ by some 10 % of charge",
    ),
    "loaded-voltage": (
        "24.4 V",
        "about 2.035 V/cell, ± 0.01: a display of tenths over the set, common practice, no published source",
    ),
    "gravity": (
        "reading=1.265 temperature=20 °C",
        "about 1.260, ± 0.005: a hydrometer read by eye, common practice, no published source",
    ),
    "cell-gravities": (
        "readings=1.275, 1.280, 1.270 cells=3",
        "about 0.010, ± 0.005: a hydrometer read by eye, common practice, no published source",
    ),
    "peukert-time": (
        "38 A",
        "about 6.6 h, ± 0.4: between the 2.5-hour and the 20-hour rate, a maker's data sheet, from memory",
    ),
    "runtime": (
        "2.5 h",
        "about 47 %, ± 5: Peukert's law some 6 %, tables of temperature 4 %, common practice, no published source",
    ),
    "recharge": (
        "80 %",
        "about 230 Ah, ± 20: read off the gauge, common practice, no published source",
    ),
    "tank-drop": (
        "before=100 L after=88 L time=5 min",
        "about 2.4 L/min, ± 0.2: a tank's scale read twice, common practice, no published source",
    ),
    "bucket-flow": (
        "volume=2 L time=1 min",
        "about 2.00 L/min, ± 0.1: a measured bucket and a watch, common practice, no published source",
    ),
    "film": (
        "flow=2.5 L/min speed=4.5 km/h",
        "about 0.044 mm, ± 0.007: flow some 10 %, speed and width the rest, common practice, no published source",
    ),
    "tank-time": (
        "2.5 L/min",
        "about 44 min, ± 4: as good as the flow, common practice, no published source",
    ),
    "area-rate": (
        "speed=4.5 km/h efficiency=70 %",
        "about 2400 m²/h, ± 200: the share of the time is a guess, common practice, no published source",
    ),
    "travel-speed": (
        "distance=10 m time=8 s",
        "about 4.5 km/h, ± 0.2: a watch worked by hand, common practice, no published source",
    ),
    "recovery": (
        "dispensed=50 L recovered=44 L",
        "about 88 %, ± 5: two tanks' scales, common practice, no published source",
    ),
    "dose": (
        "100 L",
        "about 1000 mL, ± 50: the tank's scale, common practice, no published source",
    ),
    "solution-temperature": (
        "30 °C",
        "about 30 °C, ± 1: a probe thermometer, common practice, no published source",
    ),
    "suction": (
        "28 inH2O",
        "about 65 %, ± 2: a dial gauge, common practice, no published source",
    ),
    "blade-edge": (
        "1.5 mm",
        "about 1.5 mm, ± 0.5: a ruler, common practice, no published source",
    ),
    "blade-bend": (
        "left=12 mm right=12 mm",
        "about 12 mm, ± 1: a ruler, common practice, no published source",
    ),
    "blade-level": (
        "left=12 mm right=12 mm",
        "about 0 mm, ± 1: a ruler at both ends, common practice, no published source",
    ),
    "bristle": (
        "24, 22, 23 mm",
        "about 22 mm, ± 1: a ruler, common practice, no published source",
    ),
    "pad": (
        "14, 12, 13 mm",
        "about 12 mm, ± 1: a ruler, common practice, no published source",
    ),
    "brush-current": (
        "18 A",
        "about 100 %, ± 5: the machine's own display, common practice, no published source",
    ),
    "value": (
        "12",
        "read as 12",
    ),
}


@pytest.mark.parametrize("name", MEASUREMENTS)
def test_the_last_line_is_rounded_to_what_the_method_can_know(take, name):
    reply, said = ROUNDED[name]
    last = take(name, reply, **CARD_OF_ALL).workings[-1]
    assert last == said

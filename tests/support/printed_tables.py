"""Rows of dimension tables as printed elsewhere, in the units and the order of the print.

Each was read off a print or a public transcription, not off the tables of `rules`.
"""

from __future__ import annotations

from typing import Final

__all__ = [
    "ASME_B5_50",
    "AT4",
    "DIN_6535_FLATS",
    "DIN_6535_LENGTHS",
    "IT_LOW",
    "MAS_403",
    "MORSE",
    "MORSE_ONE_IN",
    "NUT_COLLET_RUNOUT",
    "NUT_THREADS",
    "POLYGONAL",
    "SHAFTS_J",
    "SHAFT_R",
    "UNIT_FORCES",
    "UNIT_FORCES_OF_GROUPS",
]

MAS_403: Final = [
    ("30", 31.75, 48.4, "M12", 20, 2, 46, 16.1, 0.0039, 17.633),
    ("35", 38.10, 56.4, "M12", 22, 2, 53, 16.1, 0.0045, 21.650),
    ("40", 44.45, 65.4, "M16", 25, 2, 63, 16.1, 0.0041, 25.375),
    ("45", 57.15, 82.8, "M20", 30, 3, 85, 19.3, 0.0052, 33.000),
    ("50", 69.85, 101.8, "M24", 35, 3, 100, 25.7, 0.0051, 40.158),
    ("55", 88.90, 126.8, "M30", 40, 3, 120, 25.7, 0.0063, 51.917),
    ("60", 107.95, 161.8, "M30", 45, 3, 155, 25.7, 0.0065, 60.758),
]
"""MAS 403-1982, table of tool shanks: number, gauge diameter, taper length, knob thread, flange thickness, gap,
flange diameter, slot, AT4 as a diameter, small end; mm."""

ASME_B5_50: Final = [
    ("30", 1.250, 1.875, "1/2-13 UNC", 1.812, 0.645),
    ("40", 1.750, 2.687, "5/8-11 UNC", 2.500, 0.645),
    ("45", 2.250, 3.250, "3/4-10 UNC", 3.250, 0.770),
    ("50", 2.750, 4.000, "1-8 UNC", 3.875, 1.020),
    ("60", 4.250, 6.375, "1 1/4-7 UNC", 5.500, 1.020),
]
"""ASME B5.50-1985 in Machinery's Handbook, 27th ed., p. 1313: number, gauge diameter, taper length, thread, flange
diameter, slot; inches. Dimension Y is 0.750 in at every size."""

AT4: Final = {row[2]: row[8] for row in MAS_403}
"""MAS 403-1982, table of tool shanks: AT4 as a tolerance of diameter by taper length; mm."""

MORSE: Final = [
    ("0", 0.3561, 0.252, 2.0),
    ("1", 0.475, 0.369, 2.125),
    ("2", 0.700, 0.572, 2.5625),
    ("3", 0.938, 0.778, 3.1875),
    ("4", 1.231, 1.020, 4.0625),
    ("5", 1.748, 1.475, 5.1875),
    ("6", 2.494, 2.116, 7.25),
]
"""ASME B5.10, Morse taper shanks, as in engineering handbooks: number, diameter A at the end of the socket, diameter D
at the small end of the plug, depth P between them; inches."""

MORSE_ONE_IN: Final = {"0": 19.212, "1": 20.047, "2": 20.020, "3": 19.922, "4": 19.254, "5": 19.002, "6": 19.180}
"""DIN 807 (November 1966), lathe centres with Morse taper 0 to 6: taper 1 in so much."""

DIN_6535_LENGTHS: Final = {
    2: 28, 3: 28, 4: 28, 5: 28, 6: 36, 8: 36, 10: 40, 12: 45, 14: 45, 16: 48, 18: 48, 20: 50, 25: 56, 32: 60,
}  # fmt: skip
"""DIN 6535 (February 1992): length l1, +2/0, by diameter d1; mm."""

DIN_6535_FLATS: Final = [
    (6, 1, 4.2, 5.1, 18, None),
    (8, 1, 5.5, 6.9, 18, None),
    (10, 1, 7, 8.5, 20, None),
    (20, 1, 11, 18.2, 25, None),
    (25, 2, 12, 23.0, 32, 17),
    (32, 2, 14, 30.0, 36, 19),
]
"""DIN 6535 (February 1992), form HB: d1, number of flats, b1, h1, e1, l2; mm."""

NUT_COLLET_RUNOUT: Final = [
    (1, 1.6, 6, 10, 15),
    (1.6, 3, 10, 10, 15),
    (3, 6, 16, 10, 15),
    (6, 10, 25, 10, 15),
    (10, 18, 40, 15, 20),
    (18, 26, 50, 15, 20),
]
"""ISO 15488:2003, Table 4: bore over, up to, l12 in mm; run-out of class 1 and of class 2 in µm."""

NUT_THREADS: Final = {
    "11": "M14×0.75", "16": "M22×1.5", "20": "M25×1.5", "25": "M32×1.5", "32": "M40×1.5", "40": "M50×1.5",
}  # fmt: skip
"""ISO 15488:2003, Table 2: thread d7 of the holder by nominal size."""

POLYGONAL: Final = {
    "32": ("M12×1.5", 15),
    "40": ("M14×1.5", 20),
    "50": ("M16×1.5", 25),
    "63": ("M20×2", 30),
    "80": ("M20×2", 40),
    "100": ("M24×2", 60),
}
"""ISO 26623-1:2020, on a public page: thread and clamping force in kN by nominal size."""

IT_LOW: Final = {
    3: [2, 2.5, 2.5, 3, 4, 4, 5, 6, 8, 10, 12],
    4: [3, 4, 4, 5, 6, 7, 8, 10, 12, 14, 16],
}
"""ISO 286-1, Table 1, on a public page that ends at 315 mm: IT3 and IT4 by main range; µm."""

SHAFTS_J: Final = {
    "j5_j6": [-2, -2, -2, -3, -4, -5, -7, -9, -11, -13, -16, -18, -20],
    "j7": [-4, -4, -5, -6, -8, -10, -12, -15, -18, -21, -26, -28, -32],
}
"""DIN ISO 286-1 as the JavaScript library rf-tolerance transcribes it: ei of j by main range; µm."""

SHAFT_R: Final = {
    10: 19, 18: 23, 30: 28, 40: 34, 50: 34, 65: 41, 80: 43, 100: 51, 120: 54, 140: 63, 160: 65, 180: 68, 200: 77,
    225: 80, 250: 84, 280: 94, 315: 98, 355: 108, 400: 114, 450: 126, 500: 132,
}  # fmt: skip
"""DIN ISO 286-1 as the JavaScript library rf-tolerance transcribes it: ei of r by upper end of the range; µm."""

UNIT_FORCES: Final = {
    "s235": [2600, 2400, 2200, 2050, 1900, 1800],
    "grey_cast_iron_250": [2050, 1800, 1600, 1450, 1300, 1150],
}
"""Table of a public manual on clamping forces: k_c at feeds of 0.16, 0.25, 0.4, 0.63, 1.0 and 1.6 mm, edge at 45°;
N/mm², rounded to 50. Its rows of E295, 42CrMo4 and 16MnCr5 are 24 to 73 % above three other prints and left out."""

UNIT_FORCES_OF_GROUPS: Final = {
    1: (1350, 0.21),
    2: (1500, 0.22),
    3: (1675, 0.24),
    5: (1900, 0.24),
    6: (1775, 0.24),
    7: (1675, 0.24),
    8: (1725, 0.24),
    9: (1800, 0.24),
    10: (2450, 0.23),
    11: (2500, 0.23),
    12: (1875, 0.21),
    13: (1875, 0.21),
    14: (2150, 0.20),
    15: (1150, 0.20),
    16: (1350, 0.28),
    17: (1225, 0.25),
    18: (1350, 0.28),
    21: (700, 0.25),
    22: (800, 0.25),
    23: (700, 0.25),
    24: (700, 0.25),
    25: (750, 0.25),
    31: (2600, 0.24),
    32: (3100, 0.24),
    33: (3300, 0.24),
    34: (3300, 0.24),
    35: (3300, 0.24),
    36: (1700, 0.23),
    37: (2110, 0.22),
    38: (4600, 0.24),
    39: (4700, 0.24),
    40: (4600, 0.24),
    41: (4500, 0.24),
}
"""Shop tables by VDI 3323 group, three agreeing: k_c1.1 in N/mm² and m_c; of titanium the higher of two; the exponents
of groups 38 to 41 are not in print."""

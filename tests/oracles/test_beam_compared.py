"""Stepped beams: independent computations and values of common knowledge."""

from __future__ import annotations

import importlib
import math
import random
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from rules.bending.beam import Segment, Spring, area_mm2, boundaries_of, cone_slices, second_moment_mm4, tip_compliance
from rules.bending.frequencies import bending_frequencies

STEEL_MPA, STEEL_KG_PER_MM3, STEEL_POISSON = 210e3, 7850e-9, 0.3
CARBIDE_MPA, CARBIDE_KG_PER_MM3, CARBIDE_POISSON = 600e3, 14500e-9, 0.22

Round = tuple[float, float, float]
"""Length, diameter and bore, mm."""


def _steel(length_mm: float, diameter_mm: float, bore_mm: float = 0.0) -> Segment:
    return Segment(
        length_mm,
        STEEL_MPA * second_moment_mm4(diameter_mm, bore_mm),
        STEEL_KG_PER_MM3 * area_mm2(diameter_mm, bore_mm),
    )


def _carbide(length_mm: float, diameter_mm: float) -> Segment:
    return Segment(length_mm, CARBIDE_MPA * second_moment_mm4(diameter_mm), CARBIDE_KG_PER_MM3 * area_mm2(diameter_mm))


def _unit_frequencies(tip_mass: float = 0.0, count: int = 3, elements: int = 64) -> list[float]:
    """Return ω/√(EI/(m·L⁴)) of a uniform cantilever with a tip mass given in masses of the beam."""
    per_hz = 2.0 * math.pi / math.sqrt(1000.0)
    return [f * per_hz for f in bending_frequencies([Segment(1.0, 1.0, 1.0)], (), tip_mass, count, elements)]


@pytest.mark.parametrize(("root", "tip"), [(1.0, 1.0), (3.0, 1.0), (8.0, 0.5)])
def test_two_halves_under_an_end_load(root: float, tip: float) -> None:
    """Literature: university homework solution, stepped cantilever: δ = P·L³/24E·(1/I_t + 7/I_r)."""
    length, modulus = 250.0, 70e3
    halves = [Segment(length / 2, modulus * root, 0.0), Segment(length / 2, modulus * tip, 0.0)]
    assert tip_compliance(halves).total_mm_per_n == pytest.approx(
        length**3 / (24 * modulus) * (1 / tip + 7 / root), rel=1e-14
    )


@pytest.mark.parametrize("tip_mm", [60.0, 20.0, 6.0])
def test_solid_cone_under_an_end_load(tip_mm: float) -> None:
    """Literature: Roark (from memory), solid cone under an end load: δ = 64·P·L³/(3π·E·D³·d), root D, tip d."""
    slices = cone_slices(100.0, 40.0, tip_mm)
    beam = [Segment(part.length_mm, STEEL_MPA * part.second_moment_mm4, 0.0) for part in slices]
    exact = 64 * 100.0**3 / (3 * math.pi * STEEL_MPA * 40.0**3 * tip_mm)
    assert tip_compliance(beam).total_mm_per_n == pytest.approx(exact, rel=2e-3)


def test_roots_of_the_cantilever() -> None:
    """Literature: handbooks, β·L of a clamped-free beam and its squares."""
    squares = _unit_frequencies(count=5)
    assert [math.sqrt(square) for square in squares] == pytest.approx(
        [1.8751, 4.6941, 7.8548, 10.9956, 14.1372], abs=1e-4
    )
    assert squares[:3] == pytest.approx([3.51602, 22.0345, 61.6972], rel=3e-6)
    assert squares == pytest.approx([3.52, 22.0, 61.7, 121, 200], rel=2.5e-3)


def test_laboratory_report() -> None:
    """Literature: university laboratory report, E·I/(ρ·A·L⁴) from E 3.22e8, I 1.5259e-5, ρ 0.00812864, A 0.046875.

    Its units are its own and no matter here: only the ratio enters.
    """
    per_length = 3.22e8 * 1.5259e-5 / (0.00812864 * 0.046875 * 107180.145)
    beam = [Segment(1.0, per_length / 1000.0, 1.0)]
    assert bending_frequencies(beam, count=5, elements=64) == pytest.approx(
        [6.13793, 38.4658, 107.705, 211.059, 348.896], rel=2e-5
    )


def test_lecture_beam() -> None:
    """Literature: NPTEL course data, ⌀10 mm × 3 m, E 210 GPa, ρ 7800; values worked by the closed form, rad/s."""
    beam = [Segment(3000.0, 210e3 * second_moment_mm4(10), 7800e-9 * area_mm2(10))]
    found = [2 * math.pi * f for f in bending_frequencies(beam, elements=32)]
    assert found == pytest.approx([5.0677, 31.7587, 88.925], rel=2e-5)


def test_lecture_beam_with_tip_mass() -> None:
    """Literature: data of a vibration lecture's exercise 21, E 200 GPa, L 1 m, tip 10 kg; values by the closed form."""
    beam = [Segment(1000.0, 200e3 * 4.7e6, 7800e-9 * 2.6e3)]
    found = bending_frequencies(beam, tip_mass_kg=10.0, elements=32)
    assert found == pytest.approx([69.41, 579.7, 1772], rel=3e-4)


@pytest.mark.parametrize(("tip_mass", "percent"), [(0.0, 1.47), (0.2, 0.43), (1.0, 0.05)])
def test_rule_of_thumb_for_a_tip_mass(tip_mass: float, percent: float) -> None:
    """Literature: Rayleigh's ω = √(3EI/((M + 33/140·m)·L³)) is this much high (computed)."""
    rayleigh = math.sqrt(3.0 / (tip_mass + 33 / 140))
    assert 100 * (rayleigh / _unit_frequencies(tip_mass)[0] - 1) == pytest.approx(percent, abs=0.006)


def test_share_of_the_beam_that_swings_with_the_tip() -> None:
    """Literature: 0.2357 of the beam's mass by Rayleigh, 0.2427 exactly without tip mass; within 1 % from 0.2·m on."""
    assert 3.0 / _unit_frequencies()[0] ** 2 == pytest.approx(0.2427, abs=5e-5)
    for tip_mass in (0.2, 0.5, 2.0, 20.0):
        assert _unit_frequencies(tip_mass)[0] == pytest.approx(math.sqrt(3.0 / (tip_mass + 0.2357)), rel=0.01)


def test_pointed_cone() -> None:
    """Literature: Kirchhoff 1879 (from memory): a cone clamped at its base, ω = 8.719·√(EI₀/(ρA₀))/L²."""
    slices = cone_slices(200.0, 20.0, 0.02)
    beam = [
        Segment(part.length_mm, STEEL_MPA * part.second_moment_mm4, STEEL_KG_PER_MM3 * part.area_mm2) for part in slices
    ]
    unit = math.sqrt(1000 * STEEL_MPA * second_moment_mm4(20) / (STEEL_KG_PER_MM3 * area_mm2(20))) / 200.0**2
    assert 2 * math.pi * bending_frequencies(beam)[0] / unit == pytest.approx(8.719, rel=3e-3)


# Other programs


def _assembled(segments: Sequence[Segment], longest_mm: float) -> tuple[Any, Any]:
    """Return stiffness and mass of a free beam by scikit-fem, unknowns from the root: deflection, slope, deflection…"""
    fem: Any = importlib.import_module("skfem")
    helpers: Any = importlib.import_module("skfem.helpers")
    pieces = [math.ceil(segment.length_mm / longest_mm) for segment in segments]
    steps = np.repeat([segment.length_mm / count for segment, count in zip(segments, pieces, strict=True)], pieces)
    basis = fem.Basis(fem.MeshLine(np.concatenate([[0.0], np.cumsum(steps)])), fem.ElementLineHermite())
    bending = np.repeat([segment.stiffness_n_mm2 for segment in segments], pieces)[:, None]
    mass = np.repeat([segment.mass_kg_per_mm for segment in segments], pieces)[:, None]

    def stiffness_form(u: Any, v: Any, _: Any) -> Any:
        return bending * helpers.dd(u)[0][0] * helpers.dd(v)[0][0]

    def mass_form(u: Any, v: Any, _: Any) -> Any:
        return mass * u * v

    order = basis.nodal_dofs.T.reshape(-1)
    grid = np.ix_(order, order)
    return tuple(fem.BilinearForm(form).assemble(basis).toarray()[grid] for form in (stiffness_form, mass_form))


def _by_finite_elements(
    segments: Sequence[Segment], springs: Sequence[Spring], pieces: int
) -> tuple[float, list[float]]:
    """Return tip compliance and three frequencies by scikit-fem's Hermite line element.

    The beam is cut at its joints; a spring couples the two unknowns it lies between, a rigid one makes them one.
    """
    linear: Any = importlib.import_module("scipy.linalg")
    ends = boundaries_of(segments)
    at = {spring.z_mm: spring for spring in springs}
    cuts = [0, *[k for k in range(1, len(segments)) if ends[k] in at], len(segments)]
    parts = [_assembled(segments[first:last], ends[-1] / pieces) for first, last in pairwise(cuts)]
    stiff, heavy = (linear.block_diag(*matrices) for matrices in zip(*parts, strict=True))
    same = np.eye(len(stiff))
    dropped = []
    start = 0
    for cut, (matrix, _) in zip(cuts, parts, strict=False):
        spring = at.get(ends[cut], Spring(0.0))
        for unknown, stiffness in enumerate((spring.radial_n_per_mm, spring.tilting_n_mm_per_rad)):
            beyond, before = start + unknown, start - 2 + unknown
            if stiffness is None:
                dropped.append(beyond)
                if cut > 0:
                    same[beyond, before] = 1.0
                continue
            pull = np.zeros(len(stiff))
            pull[beyond] = 1.0
            if cut > 0:
                pull[before] = -1.0
            stiff += stiffness * np.outer(pull, pull)
        start += len(matrix)
    same = np.delete(same, dropped, axis=1)
    stiff, heavy = same.T @ stiff @ same, same.T @ heavy @ same
    # Slopes in the beam's own unit keep the matrices well conditioned.
    scale = 1.0 / np.sqrt(np.diag(stiff))
    stiff, heavy = (scale[:, None] * matrix * scale for matrix in (stiff, heavy))
    force = np.zeros(len(stiff))
    force[-2] = scale[-2]
    deflection = float(force @ np.linalg.solve(stiff, force))
    largest = linear.eigh(heavy, stiff, eigvals_only=True)[:-4:-1]
    return deflection, [math.sqrt(1000.0 / value) / (2 * math.pi) for value in largest]


def _random_beams() -> list[tuple[list[Segment], list[Spring]]]:
    draw = random.Random(20)
    beams: list[tuple[list[Segment], list[Spring]]] = []
    for number in range(18):
        segments = []
        for _ in range(draw.randint(1, 9)):
            diameter = draw.uniform(6, 63)
            segments.append(_steel(draw.uniform(3, 60), diameter, diameter * draw.choice([0.0, 0.3, 0.7])))
        places = boundaries_of(segments)[:-1]
        springs = [
            Spring(z, draw.choice([None, 10 ** draw.uniform(4, 6)]), draw.choice([None, 10 ** draw.uniform(7, 10)]))
            for z in draw.sample(places, min(number % 4, len(places)))
        ]
        beams.append((segments, springs))
    return beams


BEAMS: list[tuple[list[Segment], list[Spring]]] = [
    ([_steel(60, 20), _steel(40, 10)], []),
    ([_steel(120, 20)], []),
    ([_steel(120, 20)], [Spring(0.0, 1e5, 1e8)]),
    ([_steel(45, 50, 24), _steel(70, 32, 12), _carbide(60, 16)], [Spring(45.0, 2e5, None), Spring(115.0, None, 3e7)]),
    *_random_beams(),
]


@pytest.mark.parametrize(("segments", "springs"), BEAMS)
def test_agrees_with_finite_elements(segments: list[Segment], springs: list[Spring]) -> None:
    """Literature: scikit-fem 12 as an independent program; the frequencies with as fine a mesh, then as served."""
    deflection, _ = _by_finite_elements(segments, springs, 1)
    _, frequencies = _by_finite_elements(segments, springs, 24)
    assert tip_compliance(segments, springs).total_mm_per_n == pytest.approx(deflection, rel=1e-8)
    assert bending_frequencies(segments, springs, elements=48) == pytest.approx(frequencies, rel=4e-5)
    served = bending_frequencies(segments, springs)
    assert served[0] == pytest.approx(frequencies[0], rel=2e-4)
    assert served[2] == pytest.approx(frequencies[2], rel=1e-2)


@pytest.mark.parametrize(
    ("first", "second", "root", "tip"), [(60, 40, 16, 1), (25, 75, 3, 2), (90, 10, 1, 7), (50, 50, 625, 81)]
)
def test_agrees_with_symbolic_beams(first: int, second: int, root: int, tip: int) -> None:
    """Literature: sympy 1.14, two beams of second moments root and tip joined rigidly, in exact fractions."""
    sympy: Any = importlib.import_module("sympy")
    beam_module: Any = importlib.import_module("sympy.physics.continuum_mechanics.beam")
    modulus = sympy.Integer(210000)
    beam = beam_module.Beam(first, modulus, sympy.Integer(root)).join(
        beam_module.Beam(second, modulus, sympy.Integer(tip)), "fixed"
    )
    length = first + second
    force, moment = sympy.symbols("R M")
    beam.apply_load(force, 0, -1)
    beam.apply_load(moment, 0, -2)
    beam.apply_load(sympy.Integer(-1), length, -1)
    beam.bc_deflection = [(0, 0)]
    beam.bc_slope = [(0, 0)]
    beam.solve_for_reaction_loads(force, moment)
    exact = abs(beam.deflection().subs(beam.variable, length))
    ours = tip_compliance([Segment(first, 210e3 * root, 0.0), Segment(second, 210e3 * tip, 0.0)]).total_mm_per_n
    assert ours == pytest.approx(float(exact), rel=1e-13)


# A rotor-dynamics program with shear. Its numbers were drawn with ross-rotordynamics 2.3.0 (it needs plotly below 7) on
# Python 3.11; l, d, b in mm, 16 elements a row; kr = 5e7 N/m and kt = 1e6 N·m/rad at the root where supported:
#
#   steel = ross.Material("Steel", rho=7850, E=210e9, Poisson=0.3)
#   carbide = ross.Material("Carbide", rho=14500, E=600e9, Poisson=0.22)
#   piece = lambda l, d, b, m: ross.ShaftElement(L=l / 1e3, idl=b / 1e3, odl=d / 1e3, material=m)
#   parts = [piece(l / 16, d, b, m) for l, d, b, m in rows for _ in range(16)]
#   K, M = numpy.zeros((2, 2 * len(parts) + 2, 2 * len(parts) + 2))
#   for k, part in enumerate(parts):
#       place = part.dof_mapping()
#       pick = numpy.ix_(*[[place[name] for name in ("x_0", "beta_0", "x_1", "beta_1")]] * 2)
#       K[2 * k : 2 * k + 4, 2 * k : 2 * k + 4] += part.K()[pick]
#       M[2 * k : 2 * k + 4, 2 * k : 2 * k + 4] += part.M()[pick]
#   K, M = K[2:, 2:], M[2:, 2:]                      # clamped; or K[0, 0] += kr; K[1, 1] += kt
#   micrometres = 1e8 * numpy.linalg.inv(K)[-2, -2]  # under 100 N
#   hertz = numpy.sqrt(scipy.linalg.eigh(K, M, eigvals_only=True)[:1]) / 2 / numpy.pi
STEPPED: list[Round] = [(60, 20, 0), (40, 10, 0)]
UNIFORM: list[Round] = [(120, 20, 0)]
HOLLOW: list[Round] = [(50, 40, 20), (60, 25, 10), (40, 12, 0)]
TIPPED: list[Round] = [(45, 50, 24), (70, 32, 12), (60, 16, 0)]
SLENDER: list[Round] = [(80, 30, 15), (120, 16, 6), (50, 6, 0)]
FROZEN = [
    (STEPPED, False, False, 40.59006828, 2240.7158),
    (STEPPED, False, True, 43.59006828, 1831.5343),
    (UNIFORM, False, False, 35.45668980, 989.4721),
    (UNIFORM, False, True, 38.89668980, 900.6752),
    (HOLLOW, False, False, 22.00010956, 2166.6375),
    (HOLLOW, False, True, 26.25010956, 1238.7277),
    (TIPPED, True, False, 12.06935642, 1491.8922),
    (TIPPED, True, True, 17.13185642, 872.9845),
    (SLENDER, True, False, 398.15598990, 522.2622),
    (SLENDER, True, True, 406.40598990, 502.4830),
]


def _shear_compliance(part: Round, modulus: float, poisson: float) -> float:
    """Return l/(κ·G·A) with Cowper's coefficient of a ring (Cowper 1966)."""
    length, diameter, bore = part
    ratio = (1 + (bore / diameter) ** 2) ** 2
    kappa = 6 * (1 + poisson) * ratio / ((7 + 6 * poisson) * ratio + (20 + 12 * poisson) * (bore / diameter) ** 2)
    return length / (kappa * modulus / (2 * (1 + poisson)) * area_mm2(diameter, bore))


@pytest.mark.parametrize(("rows", "carbide_tip", "supported", "um", "hz"), FROZEN)
def test_lies_on_the_stiff_side_of_a_beam_with_shear(
    rows: list[Round], carbide_tip: bool, supported: bool, um: float, hz: float
) -> None:
    """Literature: ross-rotordynamics 2.3.0 (Timoshenko); shear by hand explains the whole difference of deflection."""
    beam = [_steel(*row) for row in rows]
    shear = [_shear_compliance(row, STEEL_MPA, STEEL_POISSON) for row in rows]
    if carbide_tip:
        beam[-1] = _carbide(*rows[-1][:2])
        shear[-1] = _shear_compliance(rows[-1], CARBIDE_MPA, CARBIDE_POISSON)
    springs = [Spring(0.0, 5e4, 1e9)] if supported else []
    compliance = tip_compliance(beam, springs)
    assert compliance.deflection_um(100.0) + 1e5 * math.fsum(shear) == pytest.approx(um, rel=2e-6)
    assert 0.0 < 1.0 - compliance.deflection_um(100.0) / um < 0.04
    assert 0.0 < bending_frequencies(beam, springs)[0] / hz - 1.0 < 0.06

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
from rules.bending.interfaces import InterfaceStiffness
from rules.quantities.tables import read_rows

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


Material = tuple[float, float, float]
"""Young's modulus, MPa, Poisson's ratio and density, kg/mm³."""
STEEL: Material = (STEEL_MPA, STEEL_POISSON, STEEL_KG_PER_MM3)
CARBIDE: Material = (CARBIDE_MPA, CARBIDE_POISSON, CARBIDE_KG_PER_MM3)


def _timoshenko(part: Round, material: Material) -> Segment:
    """Return a round piece with Cowper's coefficient of a ring (Cowper 1966), written out here."""
    length, diameter, bore = part
    modulus, poisson, density = material
    ratio = (1 + (bore / diameter) ** 2) ** 2
    kappa = 6 * (1 + poisson) * ratio / ((7 + 6 * poisson) * ratio + (20 + 12 * poisson) * (bore / diameter) ** 2)
    area, second = area_mm2(diameter, bore), second_moment_mm4(diameter, bore)
    shear = kappa * modulus / (2 * (1 + poisson)) * area
    return Segment(length, modulus * second, density * area, shear, density * second)


def _rows(rows: Sequence[Round], *, carbide_tip: bool) -> list[Segment]:
    beam = [_timoshenko(row, STEEL) for row in rows]
    return [*beam[:-1], _timoshenko(rows[-1], CARBIDE)] if carbide_tip else beam


@pytest.mark.parametrize(("rows", "carbide_tip", "supported", "um", "hz"), FROZEN)
def test_agrees_with_a_rotor_program(
    rows: list[Round], carbide_tip: bool, supported: bool, um: float, hz: float
) -> None:
    """Literature: ross-rotordynamics 2.3.0 (Timoshenko with rotary inertia); as served within 0.2 %."""
    beam = _rows(rows, carbide_tip=carbide_tip)
    springs = [Spring(0.0, 5e4, 1e9)] if supported else []
    assert tip_compliance(beam, springs).deflection_um(100.0) == pytest.approx(um, rel=2e-6)
    assert bending_frequencies(beam, springs, elements=64)[0] == pytest.approx(hz, rel=4e-5)
    assert bending_frequencies(beam, springs)[0] == pytest.approx(hz, rel=2e-3)


def _residual(segments: Sequence[Segment], springs: Sequence[Spring], hertz: float) -> float:
    """Return the determinant of the free end, from the exact transfer matrix of each uniform piece.

    w′ = ψ + Q/kGA, ψ′ = M/EI, M′ = −Q − ρIω²ψ, Q′ = −ρAω²w; a spring adds Q/k_t to w and M/k_r to ψ.
    """
    linear: Any = importlib.import_module("scipy.linalg")
    squared = (2 * math.pi * hertz) ** 2 / 1000.0
    # in units of 100 mm and 10⁸ N·mm², which keeps the entries near one
    unit, stiffness = 100.0, 1e8
    state = np.array([[0.0, 0.0], [0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    at = {spring.z_mm: spring for spring in springs}
    z = 0.0
    for segment in segments:
        spring = at.get(z)
        if spring is not None:
            step = np.eye(4)
            if spring.radial_n_per_mm is not None:
                step[0, 3] = stiffness / unit**3 / spring.radial_n_per_mm
            if spring.tilting_n_mm_per_rad is not None:
                step[1, 2] = stiffness / unit / spring.tilting_n_mm_per_rad
            state = step @ state
        length = segment.length_mm / unit
        slope = np.array(
            [
                [0.0, 1.0, 0.0, stiffness / unit**2 / segment.shear_n],
                [0.0, 0.0, stiffness / segment.stiffness_n_mm2, 0.0],
                [0.0, -segment.rotary_kg_mm * squared * unit**2 / stiffness, 0.0, -1.0],
                [-segment.mass_kg_per_mm * squared * unit**4 / stiffness, 0.0, 0.0, 0.0],
            ]
        )
        state = linear.expm(slope * length) @ state
        z += segment.length_mm
    return float(np.linalg.det(state[2:]))


def _with_shear() -> list[tuple[list[Segment], list[Spring]]]:
    """Return stacks on springs: seat and joints of tools of different size, then random ones."""

    def placed(*rows: tuple[float, float, float, Material], seat: Spring, joints: dict[float, Spring]) -> Any:
        return [_timoshenko(row[:3], row[3]) for row in rows], [seat, *joints.values()]

    draw = random.Random(16)
    beams = [
        placed(
            (27, 63, 0, STEEL), (63, 27, 0, STEEL), (20, 12, 0, CARBIDE), (26, 9.6, 0, CARBIDE),
            seat=Spring(0.0, 132_300, 1.0501974e9), joints={90.0: Spring(90.0, 50_400, 36.288e6)},
        ),
        placed(
            (26, 63, 0, STEEL), (54, 50, 0, STEEL), (100, 20, 0, STEEL), (18, 6.35, 0, CARBIDE),
            seat=Spring(0.0, None, 1.05e9),
            joints={80.0: Spring(80.0, 84_000, 1.68e8), 180.0: Spring(180.0, 26_670, 5.377e6)},
        ),
        placed(
            (35, 100, 40, STEEL), (65, 70, 32, STEEL), (50, 80, 27, STEEL),
            seat=Spring(0.0, 210_000, 4.2e9), joints={100.0: Spring(100.0, 294_000, 7.2e9)},
        ),
    ]  # fmt: skip
    for _ in range(9):
        rows: list[Round] = []
        for _ in range(draw.randint(2, 6)):
            diameter = draw.uniform(8, 63)
            rows.append((draw.uniform(8, 60), diameter, diameter * draw.choice([0.0, 0.4, 0.7])))
        segments = _rows(rows, carbide_tip=draw.random() < 0.5)
        places = boundaries_of(segments)[:-1]
        springs = [
            Spring(z, 10 ** draw.uniform(4.3, 6), 10 ** draw.uniform(7.5, 10))
            for z in draw.sample(places, min(2, len(places)))
        ]
        beams.append((segments, springs))
    return beams


WITH_SHEAR = _with_shear()


@pytest.mark.parametrize(("segments", "springs"), WITH_SHEAR)
def test_agrees_with_transfer_matrices(segments: list[Segment], springs: list[Spring]) -> None:
    """Literature: exact transfer matrices of Timoshenko's equations; the determinant changes its sign at f₁ and f₂."""
    fine = bending_frequencies(segments, springs, elements=80)
    for hertz in fine[:2]:
        below, above = (_residual(segments, springs, hertz * (1 + part)) for part in (-2e-4, 2e-5))
        assert below * above < 0.0
    served = bending_frequencies(segments, springs)
    assert served[0] == pytest.approx(fine[0], rel=4e-3)
    assert served[0] >= fine[0] * (1 - 1e-6)


def _by_displacements(segments: Sequence[Segment]) -> list[float]:
    """Return the frequencies of one element a segment, with deflection and rotation of the nodes as unknowns."""
    linear: Any = importlib.import_module("scipy.linalg")
    size = 2 * len(segments) + 2
    stiff, heavy = np.zeros((size, size)), np.zeros((size, size))
    points, weights = np.polynomial.legendre.leggauss(6)
    x = (points + 1) / 2
    for number, (length, bends, mass, shear, rotary) in enumerate(segments):
        phi = 12 * bends / (shear * length**2)
        moved = [
            1 - 3 * x**2 + 2 * x**3 + phi * (1 - x),
            length * (x - 2 * x**2 + x**3 + phi / 2 * (x - x**2)),
            3 * x**2 - 2 * x**3 + phi * x,
            length * (-(x**2) + x**3 - phi / 2 * (x - x**2)),
        ]
        turned = [
            6 / length * (x**2 - x),
            1 - 4 * x + 3 * x**2 + phi * (1 - x),
            6 / length * (x - x**2),
            -2 * x + 3 * x**2 + phi * x,
        ]
        w, p = (np.array(one) / (1 + phi) for one in (moved, turned))
        own = mass * (w * weights) @ w.T + rotary * (p * weights) @ p.T
        a, b, c = 6 * length, (4 + phi) * length**2, (2 - phi) * length**2
        bent = np.array([[12, a, -12, a], [a, b, -a, c], [-12, -a, 12, -a], [a, c, -a, b]])
        at = slice(2 * number, 2 * number + 4)
        stiff[at, at] += bends / (length**3 * (1 + phi)) * bent
        heavy[at, at] += length / 2 * own
    largest = linear.eigh(heavy[2:, 2:], stiff[2:, 2:], eigvals_only=True)[:-4:-1]
    return [math.sqrt(1000.0 / value) / (2 * math.pi) for value in largest]


@pytest.mark.parametrize(("segments", "_springs"), WITH_SHEAR)
def test_agrees_element_by_element(segments: list[Segment], _springs: list[Spring]) -> None:
    """Literature: Przemieniecki's element (1968, from memory) in displacements, on the same few elements."""
    for softer in (1.0, 10.0):
        beam = [one._replace(shear_n=one.shear_n / softer) for one in segments]
        assert bending_frequencies(beam, elements=1) == pytest.approx(_by_displacements(beam), rel=1e-7)


def _by_mixed_elements(segments: Sequence[Segment], spring: Spring, pieces: int) -> tuple[float, float]:
    """Return tip compliance and first frequency by scikit-fem: w quadratic, ψ linear, shear strain w′ − ψ."""
    fem: Any = importlib.import_module("skfem")
    linear: Any = importlib.import_module("scipy.sparse.linalg")
    sparse: Any = importlib.import_module("scipy.sparse")
    helpers: Any = importlib.import_module("skfem.helpers")
    counts = [max(2, math.ceil(segment.length_mm * pieces / boundaries_of(segments)[-1])) for segment in segments]
    steps = np.repeat([one.length_mm / count for one, count in zip(segments, counts, strict=True)], counts)
    mesh = fem.MeshLine(np.concatenate([[0.0], np.cumsum(steps)]))
    across = fem.Basis(mesh, fem.ElementLineP2(), intorder=4)
    turned = fem.Basis(mesh, fem.ElementLineP1(), intorder=4)
    bends, weighs, shears, turns = (
        np.repeat([one[field] for one in segments], counts)[:, None] for field in (1, 2, 3, 4)
    )
    grad = helpers.grad

    def form(function: Any, one: Any, other: Any = None) -> Any:
        return fem.BilinearForm(function).assemble(one, one if other is None else other)

    ww = form(lambda u, v, _: shears * grad(u)[0] * grad(v)[0], across)
    pw = form(lambda u, v, _: -shears * u * grad(v)[0], turned, across)
    pp = form(lambda u, v, _: bends * grad(u)[0] * grad(v)[0] + shears * u * v, turned)
    stiff = sparse.bmat([[ww, pw], [pw.T, pp]]).tolil()
    heavy = sparse.bmat(
        [[form(lambda u, v, _: weighs * u * v, across), None], [None, form(lambda u, v, _: turns * u * v, turned)]]
    ).tocsc()
    root_w, root_p = across.nodal_dofs[0, 0], len(across.doflocs[0]) + turned.nodal_dofs[0, 0]
    tip = across.nodal_dofs[0, -1]
    held = []
    for unknown, value in ((root_w, spring.radial_n_per_mm), (root_p, spring.tilting_n_mm_per_rad)):
        if value is None:
            held.append(unknown)
        else:
            stiff[unknown, unknown] += value
    free = np.setdiff1d(np.arange(stiff.shape[0]), held)
    stiff, heavy = stiff.tocsc()[free][:, free], heavy[free][:, free]
    force = np.zeros(len(free))
    force[np.searchsorted(free, tip)] = 1.0
    deflection = float(force @ linear.spsolve(stiff, force))
    first = linear.eigsh(stiff, k=1, M=heavy, sigma=0.0, which="LM", return_eigenvectors=False)[0]
    return deflection, math.sqrt(1000.0 * first) / (2 * math.pi)


MIXED = [
    (_rows(rows, carbide_tip=tipped), spring)
    for rows, tipped in ((STEPPED, False), (UNIFORM, False), (HOLLOW, False), (TIPPED, True), ([(80, 40, 20)], False))
    for spring in (Spring(0.0), Spring(0.0, 132_300, 1.05e9))
]


@pytest.mark.parametrize(("segments", "spring"), MIXED)
def test_agrees_with_mixed_finite_elements(segments: list[Segment], spring: Spring) -> None:
    """Literature: scikit-fem 12 as an independent program; deflection and rotation as separate fields."""
    deflection, first = _by_mixed_elements(segments, spring, 480)
    assert tip_compliance(segments, [spring]).total_mm_per_n == pytest.approx(deflection, rel=2e-5)
    assert bending_frequencies(segments, [spring], elements=64)[0] == pytest.approx(first, rel=4e-5)


def _rectangle(height_over_length: float) -> Segment:
    """Return a rectangular beam of unit length, E = ρ = width = 1, with k = 5/6 and ν = 0.3."""
    area, second = height_over_length, height_over_length**3 / 12
    return Segment(1.0, second, area, 5 / 6 / 2.6 * area, second)


def _lambdas(beam: Segment) -> list[float]:
    """Return (ρ·A·ω²·L⁴/EI)^¼."""
    found = bending_frequencies([beam], count=2, elements=96)
    return [((2 * math.pi * f) ** 2 / 1000.0 * beam.mass_kg_per_mm / beam.stiffness_n_mm2) ** 0.25 for f in found]


@pytest.mark.parametrize(("height", "printed"), [(0.1, [1.867714, 4.572408]), (0.2, [1.846560, 4.285289])])
def test_short_cantilever_with_shear_and_rotary_inertia(height: float, printed: list[float]) -> None:
    """Literature: rectangle with k 5/6 and ν 0.3, computed by transfer matrix and by finite elements.

    Lee and Schultz, Journal of Sound and Vibration 269 (2004), print the clamped-clamped values of the same beams.
    """
    assert _lambdas(_rectangle(height)) == pytest.approx(printed, rel=2e-5)


# Stacks by pieces: solid diameter × length from the gauge line, J a joint; compliance in nm/N and first frequency in Hz
# without shear, rigid, and with all joints stiff or soft. Computed by transfer matrix and by finite elements.
Piece = tuple[float, float, Material] | float
STACKS: list[tuple[float, list[Piece], list[float], list[float]]] = [
    (63, [(63, 27, STEEL), (27, 63, STEEL), 12, (12, 20, CARBIDE), (9.6, 26, CARBIDE)],
     [142.33, 146.47, 159.44, 249.79], [2604.8, 2501.6, 2309.1, 1519.9]),
    (63, [(63, 26, STEEL), (40, 74, STEEL), 10, (10, 15, CARBIDE), (8, 25, CARBIDE)],
     [118.42, 122.54, 137.96, 248.76], [3789.2, 3446.1, 2649.7, 1319.4]),
    (63, [(63, 26, STEEL), (50, 54, STEEL), 20, (20, 100, STEEL), 6.35, (6.35, 18, CARBIDE)],
     [394.79, 402.37, 431.71, 639.79], [1252.0, 1226.1, 1158.1, 872.5]),
    (100, [(100, 35, STEEL), (70, 65, STEEL), 70, (80, 50, STEEL)],
     [2.58, 3.02, 5.21, 16.88], [2842.9, 2444.9, 1661.4, 766.8]),
    (40, [(40, 20, STEEL), (20, 40, STEEL), 6, (6, 12, CARBIDE), (4.8, 12, CARBIDE)],
     [196.83, 203.86, 228.28, 408.68], [6118.7, 5678.3, 4720.0, 2357.9]),
    (63, [(63, 27, STEEL), (40, 45, STEEL), 16, (16, 60, CARBIDE), (12.8, 40, CARBIDE)],
     [218.69, 222.13, 243.04, 388.99], [1512.5, 1486.8, 1368.5, 938.1]),
]  # fmt: skip


@pytest.mark.parametrize(("flange", "pieces", "nm_per_n", "hertz"), STACKS)
def test_stacks_between_soft_and_stiff_joints(
    flange: float, pieces: list[Piece], nm_per_n: list[float], hertz: list[float]
) -> None:
    """Literature: transfer matrix and finite elements (computed elsewhere); factors of E·D³ and E·D as tabled."""
    rows = {row.interface: row for row in read_rows("interface_stiffness", InterfaceStiffness)}
    seat, joint = rows["hollow_taper"], rows["joint"]
    beam: list[Segment] = []
    places: list[tuple[float, float]] = []
    for piece in pieces:
        if isinstance(piece, tuple):
            beam.append(_timoshenko((piece[1], piece[0], 0.0), piece[2]))
        else:
            places.append((boundaries_of(beam)[-1], piece))

    def springs(end: str) -> list[Spring]:
        of = [(0.0, flange, seat), *((z, diameter, joint) for z, diameter in places)]
        return [
            Spring(z, getattr(row, f"radial_{end}") * STEEL_MPA * d, getattr(row, f"tilting_{end}") * STEEL_MPA * d**3)
            for z, d, row in of
        ]

    slender = [piece._replace(shear_n=math.inf, rotary_kg_mm=0.0) for piece in beam]
    cases = [(slender, []), (beam, []), (beam, springs("stiff")), (beam, springs("soft"))]
    found = [tip_compliance(*case).total_mm_per_n * 1e6 for case in cases]
    assert found == pytest.approx(nm_per_n, abs=0.006)
    first = [bending_frequencies(*case, elements=64)[0] for case in cases]
    assert first == pytest.approx(hertz, rel=4e-5)

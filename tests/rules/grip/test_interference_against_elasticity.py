"""Interference joints compared with two solutions of plane elasticity: exact and by finite elements."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

import numpy as np
import pytest
import skfem
import sympy
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import spsolve

from rules.grip.formulas import (
    Ring,
    bore_growth_um,
    hub_stress_mpa,
    interference_at_speed_um,
    joint_pressure_mpa,
    shaft_stress_mpa,
    surface_growth_um,
)

STEEL = (210.0, 0.3, 7850.0)
CARBIDE = (600.0, 0.22, 14500.0)
MIXTURE = ((210.0, 0.3, 7850.0), (600.0, 0.22, 14500.0), (70.0, 0.33, 2700.0), (350.0, 0.28, 17500.0))


@dataclass(frozen=True)
class Case:
    """A joint: hub, shaft, diametral interference at rest (µm), speed (1/min)."""

    hub: Ring
    shaft: Ring
    interference_um: float
    speed_rpm: float

    @property
    def joint_mm(self) -> float:
        return self.hub.inner_mm


def _random_case(number: int) -> Case:
    """A joint of tool size by number, the same in every run, with some pressure left at speed."""
    draw = random.Random(number)
    joint = draw.uniform(4.0, 40.0)
    hub = Ring(joint, joint * draw.uniform(1.2, 4.0), *draw.choice(MIXTURE))
    shaft = Ring(joint * draw.choice([0.0, 0.15, 0.5, 0.8]), joint, *draw.choice(MIXTURE))
    speed = draw.uniform(1000.0, 40_000.0)
    lost = max(0.0, -interference_at_speed_um(0.0, speed, hub, shaft))
    return Case(hub, shaft, lost + draw.uniform(2.0, 30.0), speed)


CASES = [
    Case(Ring(20.0, 44.0, *STEEL), Ring(0.0, 20.0, *CARBIDE), 20.0, 30_000.0),
    Case(Ring(12.0, 24.0, *STEEL), Ring(0.0, 12.0, *STEEL), 12.0, 30_000.0),
    *(_random_case(number) for number in range(16)),
]


def _found(case: Case) -> tuple[float, ...]:
    """Pressure, bore stress of the hub and inner stress of the shaft at rest and at speed, MPa."""
    found: list[float] = []
    for speed in (0.0, case.speed_rpm):
        left = interference_at_speed_um(case.interference_um, speed, case.hub, case.shaft)
        pressure = joint_pressure_mpa(left, case.joint_mm, case.hub, case.shaft)
        hub, shaft = hub_stress_mpa(pressure, case.hub, speed), shaft_stress_mpa(pressure, case.shaft, speed)
        found += [pressure, hub.hoop_mpa, shaft.hoop_mpa, shaft.radial_mpa]
    return tuple(found)


# --- exact: the constants of the general solution, by sympy ---------------------------------------------

R, A, B, E, NU, LOAD = sympy.symbols("r A B E nu q")  # q = ρω²
DISPLACEMENT = A * R + B / R - (1 - NU**2) * LOAD * R**3 / (8 * E)
STRAIN_R, STRAIN_T = sympy.diff(DISPLACEMENT, R), DISPLACEMENT / R
RADIAL = E / (1 - NU**2) * (STRAIN_R + NU * STRAIN_T)
HOOP = E / (1 - NU**2) * (STRAIN_T + NU * STRAIN_R)


def test_the_general_solution_is_in_equilibrium() -> None:
    """First principles: r·σ_r' + σ_r − σ_θ + ρω²r² = 0 for every A and B."""
    assert sympy.simplify(R * sympy.diff(RADIAL, R) + RADIAL - HOOP + LOAD * R**2) == 0


def _exact(case: Case, speed_rpm: float) -> tuple[float, ...]:
    """Solve the four constants from free surfaces, equal pressure and the misfit δ/2 (mm, MPa), in rationals."""

    def material(ring: Ring, a: sympy.Symbol, b: sympy.Symbol) -> dict[sympy.Symbol, sympy.Expr]:
        load = ring.density_kg_m3 * (speed_rpm * math.pi / 30) ** 2 * 1e-12
        numbers = {E: ring.youngs_modulus_gpa * 1000, NU: ring.poisson_ratio, LOAD: load}
        return {A: a, B: b, **{symbol: sympy.Rational(value) for symbol, value in numbers.items()}}

    def at(expression: sympy.Expr, part: dict[sympy.Symbol, sympy.Expr], radius: sympy.Rational) -> sympy.Expr:
        return expression.subs(part).subs(R, radius)

    ah, bh, ash, bsh = sympy.symbols("Ah Bh As Bs")
    hub, shaft = material(case.hub, ah, bh), material(case.shaft, ash, bsh)
    joint, outer, inner = (sympy.Rational(d) / 2 for d in (case.joint_mm, case.hub.outer_mm, case.shaft.inner_mm))
    misfit = sympy.Rational(case.interference_um) / 2000
    solved = sympy.solve(
        [
            at(RADIAL, hub, outer),
            at(RADIAL, hub, joint) - at(RADIAL, shaft, joint),
            at(DISPLACEMENT, hub, joint) - at(DISPLACEMENT, shaft, joint) - misfit,
            at(RADIAL, shaft, inner) if inner else bsh,
        ],
        [ah, bh, ash, bsh],
        dict=True,
    )[0]
    # at the centre of a solid shaft B is 0 and the limit of r → 0 is wanted
    inside = {**shaft, B: solved[bsh]} if inner else {**shaft, B: sympy.Integer(0)}
    hoop_in, radial_in = (sympy.expand(e.subs(inside)).subs(R, inner).subs(solved) for e in (HOOP, RADIAL))
    return tuple(
        float(value)
        for value in (-at(RADIAL, hub, joint).subs(solved), at(HOOP, hub, joint).subs(solved), hoop_in, radial_in)
    )


@pytest.mark.parametrize("case", CASES)
def test_against_the_exact_solution_of_both_rings(case: Case) -> None:
    """First principles: u = A·r + B/r − (1−ν²)ρω²r³/(8E) in hub and shaft, its constants solved in rationals."""
    expected = (*_exact(case, 0.0), *_exact(case, case.speed_rpm))
    scale = max(abs(value) for value in expected)
    assert _found(case) == pytest.approx(expected, rel=1e-10, abs=1e-12 * scale)


# --- numerical: quadratic finite elements along the radius, by scikit-fem --------------------------------


def _elements(ring: Ring, speed_rpm: float, inner_mm: float) -> tuple[csr_matrix, np.ndarray, skfem.Basis]:
    """Stiffness and centrifugal load of one ring in plane stress, divided by 2π and by the thickness."""
    modulus, nu = ring.youngs_modulus_gpa * 1000, ring.poisson_ratio
    load = ring.density_kg_m3 * (speed_rpm * math.pi / 30) ** 2 * 1e-12
    mesh = skfem.MeshLine(np.linspace(inner_mm / 2, ring.outer_mm / 2, 161))
    basis = skfem.Basis(mesh, skfem.ElementLineP2(), intorder=8)

    @skfem.BilinearForm
    def stiffness(u, v, w):  # type: ignore[no-untyped-def]
        r = w.x[0]
        radial = u.grad[0] + nu * u / r
        hoop = u / r + nu * u.grad[0]
        return modulus / (1 - nu**2) * (radial * v.grad[0] + hoop * v / r) * r

    @skfem.LinearForm
    def inertia(v, w):  # type: ignore[no-untyped-def]
        return load * w.x[0] ** 2 * v

    return csr_matrix(stiffness.assemble(basis)), inertia.assemble(basis), basis


def _node(basis: skfem.Basis, radius_mm: float) -> int:
    return int(np.argmin(np.abs(basis.doflocs[0] - radius_mm)))


def _by_elements(case: Case, speed_rpm: float) -> float:
    """Return the pressure in MPa of both rings joined at u_o − u_i = δ/2."""
    k_hub, f_hub, hub = _elements(case.hub, speed_rpm, case.joint_mm)
    k_shaft, f_shaft, shaft = _elements(case.shaft, speed_rpm, case.shaft.inner_mm)
    joint = case.joint_mm / 2
    at_hub, at_shaft = _node(hub, joint), _node(shaft, joint)
    n_hub, n_shaft = k_hub.shape[0], k_shaft.shape[0]
    tie = np.zeros(n_hub + n_shaft)
    tie[at_hub], tie[n_hub + at_shaft] = 1.0, -1.0
    # at the centre of a solid shaft symmetry holds u = 0
    held = [n_hub + _node(shaft, 0.0)] if case.shaft.inner_mm == 0 else []
    pins = np.zeros((len(held), n_hub + n_shaft))
    for row, column in enumerate(held):
        pins[row, column] = 1.0
    constraints = np.vstack([tie, pins])
    stiffness = np.zeros((n_hub + n_shaft,) * 2)
    stiffness[:n_hub, :n_hub], stiffness[n_hub:, n_hub:] = k_hub.toarray(), k_shaft.toarray()
    none = np.zeros((len(constraints),) * 2)
    whole = csr_matrix(np.block([[stiffness, constraints.T], [constraints, none]]))
    right = np.concatenate([f_hub, f_shaft, [case.interference_um / 2000], np.zeros(len(held))])
    solved = spsolve(whole, right)
    force = -solved[n_hub + n_shaft]  # the multiplier pulls where the pressure pushes
    return float(force / joint)


@pytest.mark.parametrize("case", CASES[:10])
def test_against_finite_elements(case: Case) -> None:
    """First principles: quadratic elements along the radius; the joint is a tie with the misfit δ/2 in it."""
    at_rest, at_speed = _by_elements(case, 0.0), _by_elements(case, case.speed_rpm)
    found = _found(case)
    assert (found[0], found[4]) == pytest.approx((at_rest, at_speed), rel=1e-6)


@pytest.mark.parametrize("case", CASES[:10])
def test_growth_against_finite_elements(case: Case) -> None:
    """First principles: the parts turning free, each alone; the bore of the hub and the surface of the shaft."""
    for ring, radius, inner, growth in (
        (case.hub, case.joint_mm / 2, case.joint_mm, bore_growth_um),
        (case.shaft, case.joint_mm / 2, case.shaft.inner_mm, surface_growth_um),
    ):
        stiffness, load, basis = _elements(ring, case.speed_rpm, inner)
        held = np.array([_node(basis, 0.0)] if inner == 0 else [], dtype=np.int64)
        moved = skfem.solve(*skfem.condense(stiffness, load, D=held))
        assert growth(ring, case.speed_rpm) == pytest.approx(2000 * moved[_node(basis, radius)], rel=1e-6)

"""Air at one atmosphere, and what a warm surface loses to it. Temperatures in degrees Celsius."""

from typing import NamedTuple

ZERO_C_IN_K = 273.15
GRAVITY_M_PER_S2 = 9.80665
STEFAN_BOLTZMANN = 5.670374419e-8
"""W/(m2 K4), exact since 2019."""

PRESSURE_PA = 101325.0
GAS_J_PER_KGK = 287.05
LEAST_K = 0.01


class Air(NamedTuple):
    """Kinematic viscosity in m2/s, conductivity in W/(m K), Prandtl number."""

    viscosity: float
    conductivity: float
    prandtl: float


def air(celsius: float) -> Air:
    """Air by Sutherland's formulas, constants fitted to CoolProp 8.0.0 between 260 and 650 K: within 1 % there.

    The usual constants (White, Viscous Fluid Flow, tables 1-2 and 1-3) leave viscosity and Prandtl number 1 to 3 % off at 450 K.
    """
    kelvin = celsius + ZERO_C_IN_K
    dynamic = 1.852e-5 * (kelvin / 300.0) ** 1.5 * (300.0 + 126.0) / (kelvin + 126.0)
    conductivity = 2.633e-2 * (kelvin / 300.0) ** 1.5 * (300.0 + 181.0) / (kelvin + 181.0)
    specific_heat = 1002.5 + 2.75e-4 * (kelvin - 200.0) ** 2
    density = PRESSURE_PA / (GAS_J_PER_KGK * kelvin)
    return Air(dynamic / density, conductivity, dynamic * specific_heat / conductivity)


def convection_w_per_m2k(surface_c: float, air_c: float, length_m: float, *, up: bool) -> float:
    """Natural convection of a warm horizontal face, in W/(m2 K). `length_m` is its area over its perimeter.

    McAdams: Nu = 0.54 Ra^(1/4), later 0.15 Ra^(1/3), facing up; 0.27 Ra^(1/4) facing down (Incropera, 9.30 to 9.32; Cengel, table 9-1).
    Books go over from one to the other at Ra 1e7, with a step of 6 %; here the larger counts (they cross at 4.7e6), so that a loss never
    falls as its face gets hotter. Other correlations differ by a quarter. A face that is not warmer than the air counts as hardly warmer.
    """
    over_k = max(surface_c - air_c, LEAST_K)
    film_c = 0.5 * (surface_c + air_c)
    properties = air(film_c)
    grashof = GRAVITY_M_PER_S2 * over_k * length_m**3 / ((film_c + ZERO_C_IN_K) * properties.viscosity**2)
    rayleigh = grashof * properties.prandtl
    nusselt = max(0.54 * rayleigh**0.25, 0.15 * rayleigh ** (1.0 / 3.0)) if up else 0.27 * rayleigh**0.25
    return float(nusselt * properties.conductivity / length_m)


def radiation_w_per_m2(surface_c: float, around_c: float, emissivity: float) -> float:
    """Net radiation of a small grey surface in large surroundings, in W/m2 (Incropera, 1.7)."""
    return emissivity * STEFAN_BOLTZMANN * ((surface_c + ZERO_C_IN_K) ** 4 - (around_c + ZERO_C_IN_K) ** 4)

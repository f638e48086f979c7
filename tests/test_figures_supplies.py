"""Air on board and copper wire against gas tables, the standard atmosphere, wire standards and other libraries."""

import math

import pint
import pytest
from CoolProp.CoolProp import PropsSI
from fluids import ATMOSPHERE_1976, friction_factor
from fluids.compressible import isentropic_T_rise_compression, isothermal_gas
from fluids.piping import t_from_gauge

from figure_support import near, work

REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()
SEA = 101.325
PSI = REGISTRY.Quantity(1, "psi").to("kPa").magnitude


# ---------------------------------------------------------------------- air (ideal gas; ISO 1217 from memory)


def test_free_air_for_a_tyre() -> None:
    air = work("freeAir", 75, 15, 35, SEA)
    assert near(air, 102.07, 2)
    minutes = work("fillingTime", air, 75)
    assert near(minutes, 1.361, 3)
    assert near(4 * minutes, 5.444, 3)


def test_free_air_as_a_real_gas() -> None:
    # CoolProp's real air at 20 degrees, the same tyre: 102.23 L, 0.16 percent more
    def density(gauge: float) -> float:
        return float(PropsSI("D", "P", (gauge * PSI + SEA) * 1000, "T", 293.15, "Air"))

    real = 75 * (density(35) - density(15)) / density(0)
    assert near(real, 102.23, 2)
    assert work("freeAir", 75, 15, 35, SEA) == pytest.approx(real, rel=0.002)


def test_filling_a_tank() -> None:
    assert near(work("fillingTime", work("freeAir", 9.5, 0, 145, SEA), 60), 1.562, 3)
    assert near(work("fillingTime", work("freeAir", 9.5, 110, 145, SEA), 60), 0.377, 3)


def test_a_shot_of_air_for_a_locker() -> None:
    line = work("lineVolume", 4000, 4)
    assert near(1000 * line, 50.27, 2)
    shot = line + 0.045
    assert near(shot, 0.0953, 4)
    assert near(work("freeAir", shot, 0, 90, SEA), 0.5834, 4)


def test_shots_out_of_a_small_tank() -> None:
    shot = work("lineVolume", 4000, 4) + 0.045
    assert near(work("tankPressureAfterShot", 3.8, shot, 120), 117.065, 3)
    assert work("tankShots", 3.8, shot, 120, 80) == 16
    # shot by shot, Boyle in absolute pressures
    absolute, ambient = 120 + SEA / PSI, SEA / PSI
    for _ in range(16):
        absolute = (3.8 * absolute + shot * ambient) / (3.8 + shot)
    assert near(absolute - ambient, 80.75, 2)
    assert (3.8 * absolute + shot * ambient) / (3.8 + shot) - ambient < 80
    with pytest.raises(ValueError, match="least pressure"):
        work("tankShots", 3.8, shot, 120, 0)


def test_shots_through_a_regulator() -> None:
    # whole shots of 0.737 L free air in what a 9.5 L tank gives between 145 and 90 psi (ideal gas)
    air = work("freeAir", 9.5, 90, 145, SEA)
    assert near(air, 35.55, 2)
    assert work("regulatedShots", air, 0.737) == 48


def test_thin_air() -> None:
    high = work("airPressure", 3)
    assert near(high, 70.121, 2)
    assert high == pytest.approx(ATMOSPHERE_1976(3000).P / 1000, rel=0.001)
    assert near(work("freeAir", 75, 15, 35, high), 147.49, 1)
    assert near(work("thinAirFactor", high), 1.445, 3)


def test_a_tank_that_cools_loses_pressure() -> None:
    assert near(work("pressureAfterCooling", 90, 60, 20, SEA), 77.43, 2)


def test_energy_in_a_tank() -> None:
    assert near(work("storedEnergy", 9.5, 145, SEA), 24.955, 3)


def test_flow_through_the_line() -> None:
    # fluids: isothermal flow through 4 m of 4 mm from 90 to 60 psi is 4.4 g/s; a shot of 0.58 L free air is 0.7 g, so
    # that a line of this size fills in a fraction of a second
    turbulent = friction_factor(Re=78000, eD=0.0015 / 4)
    flow = isothermal_gas(rho=7.0, fd=turbulent, P1=(90 * PSI + SEA) * 1000, P2=(60 * PSI + SEA) * 1000, L=4.0, D=0.004)
    assert float(flow) == pytest.approx(4.4e-3, rel=0.04)
    grams = work("freeAir", work("lineVolume", 4000, 4) + 0.045, 0, 90, SEA) * 1.204
    assert grams / 1000 / float(flow) < 0.3


def test_why_the_leader_hose_is_metal() -> None:
    # fluids: one-stage compression to 145 psi at 70 percent efficiency ends near 430 degrees (ideal)
    hot = isentropic_T_rise_compression(293.15, SEA, 145 * PSI + SEA, 1.4, eta=0.7)
    assert float(hot) - 273.15 == pytest.approx(429, abs=1.5)


def test_resting_a_compressor() -> None:
    # by definition of duty: a third of the time running, two thirds resting
    assert work("restingTime", 4.949, 33) == pytest.approx(10.05, abs=0.005)


# ---------------------------------------------------------------------- wire (ASTM B258, annealed copper)


# Gauge: inches, mm2, ohm/km at 20 degrees.
WIRES = [
    (16, 0.0508, 1.309, 13.1742),
    (14, 0.0641, 2.081, 8.2853),
    (12, 0.0808, 3.309, 5.2107),
    (10, 0.1019, 5.261, 3.277),
    (8, 0.1285, 8.366, 2.0609),
    (6, 0.162, 13.302, 1.2961),
    (4, 0.2043, 21.151, 0.8152),
    (2, 0.2576, 33.631, 0.5127),
    (0, 0.3249, 53.475, 0.3224),
]


@pytest.mark.parametrize(("gauge", "inches", "area", "resistance"), WIRES)
def test_wire_gauges(gauge: int, inches: float, area: float, resistance: float) -> None:
    diameter = work("wireGaugeDiameter", gauge)
    assert near(diameter / 25.4, inches, 4)
    assert diameter == pytest.approx(1000 * t_from_gauge(gauge, SI=True, schedule="AWG"), rel=0.002)
    found = work("wireGaugeArea", gauge)
    assert near(found, area, 3)
    assert near(work("wireResistance", found, 20), resistance, 4)


def test_the_derived_section_is_the_same_rounded() -> None:
    assert work("wireGaugeSection", 10) == pytest.approx(work("wireGaugeArea", 10), abs=0.006)
    # a vehicle's cable of that gauge has ten percent less copper (SAE J1127 and J1128, from memory)
    assert work("vehicleCableSection", 10) == pytest.approx(0.9 * work("wireGaugeArea", 10), rel=0.003)


# 30 A over 6 m there and back: gauge, volts at 20 and at 60 degrees.
@pytest.mark.parametrize(
    ("gauge", "cold", "warm"), [(12, 0.9379, 1.0854), (10, 0.5899, 0.6826), (8, 0.371, 0.4293), (6, 0.2333, 0.27)]
)
def test_voltage_drop(gauge: int, cold: float, warm: float) -> None:
    area = work("wireGaugeArea", gauge)
    assert near(work("voltageDrop", 30, 6000, area, 20), cold, 4)
    assert near(work("voltageDrop", 30, 6000, area, 60), warm, 4)
    ohms = REGISTRY.Quantity(warm / 30, "ohm").to("milliohm").magnitude
    assert ohms == pytest.approx(1000 * work("voltageDrop", 1, 6000, area, 60), abs=0.01)


def test_resistance_rises_with_heat() -> None:
    assert near(work("resistanceFactor", 60), 1.1572, 4)


def test_the_circular_mil_form_agrees() -> None:
    # the trade's other form, K I L / circular mils with K 10.75 ohm, 10 gauge, 30 A, 19.69 ft there and back
    direct = 10.75 * 30 * 19.69 / (1000 * 0.1019) ** 2
    assert near(direct, 0.6114, 3)
    area = work("wireGaugeArea", 10)
    assert work("voltageDrop", 30, 6000, area, 20) < direct < work("voltageDrop", 30, 6000, area, 60)


def test_drop_in_percent_and_the_least_fuse() -> None:
    assert work("dropShare", 0.683, 13.8) == pytest.approx(4.95, abs=0.005)
    assert work("leastFuse", 30) == 37.5


def test_current_at_which_one_percent_is_lost() -> None:
    # one percent of 13.5 V over the wire at 60 degrees, by the same resistance
    area, length = 5.26, 6000
    found = work("onePercentCurrent", area, length)
    assert work("voltageDrop", found, length, area, 60) == pytest.approx(0.135, rel=0.01)


def test_pressure_in_the_trades_unit() -> None:
    assert near(REGISTRY.Quantity(90, "psi").to("kPa").magnitude, 620.53, 2)
    assert math.isclose(work("thinAirFactor", SEA), 1)

"""Heat in what is bought, against published conversions."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drybank.energy import Electricity, NaturalGas, Propane, convert, joules, meter_factor, unit_joules
from drybank.records.energy import UNITS_OF
from drybank.records.errors import InputError, InputErrors

GAS_2023 = NaturalGas(heat_content_btu_ft3=Decimal(1038))


@pytest.mark.facts
class TestAgainstTheEnergyStatisticsOffice:
    """US Energy Information Administration, frequently asked question 45, 2023 values (read)."""

    def test_a_ccf_is_1_038_therms(self):
        assert convert(1000, "Ccf", "therm", GAS_2023) == 1038

    def test_an_mcf_is_1_038_million_btu(self):
        assert convert(1, "Mcf", "MMBtu", GAS_2023) * 1000 == 1038

    def test_commercial_price_per_mcf_comes_to_1_0906_a_therm(self):
        """$11.32 per Mcf in 2022 (read); 11.32 / 10.38 recomputed: agreement to the 4 decimals stated."""
        per_therm = Decimal("11.32") / Decimal(float(convert(1, "Mcf", "therm", GAS_2023)))
        assert abs(per_therm - Decimal("1.0906")) <= Decimal("0.0001")

    def test_a_kilowatt_hour_is_3412_btu(self):
        """About Btu (read): 3412 Btu, rounded there to whole Btu."""
        assert round(float(convert(1, "kWh", "therm", GAS_2023)) * 100_000) == 3412

    def test_propane_by_the_gallon(self):
        """91 333 Btu a gallon, 2012 averages (read): 0.91333 therm."""
        propane = Propane(heat_content_btu_gal=Decimal(91333))
        assert float(convert(1, "gal", "therm", propane)) == pytest.approx(0.91333, abs=1e-9)

    def test_one_us_gallon_is_3_785_litres(self):
        assert float(convert(1, "gal", "L", Propane())) == pytest.approx(3.785411784, abs=1e-9)


@pytest.mark.facts
class TestMeterVolume:
    """(Pbar + Pg)/14.73 × 520/(°F + 460): gas law on the base that the statistics office states
    (14.73 psia, 60 °F, read); values recomputed. The rule of thumb's 460 stands for 459.67."""

    @pytest.mark.parametrize(
        ("gauge_kpa", "temp_c", "factor"),
        [("13.789515", "15.5556", 1.1335), ("1.7436", "15.5556", 1.0148)],
    )
    def test_pressure(self, gauge_kpa, temp_c, factor):
        gas = NaturalGas(
            heat_content_btu_ft3=Decimal(1038), meter_gauge_kpa=Decimal(gauge_kpa), meter_temp_c=Decimal(temp_c)
        )
        assert float(meter_factor(gas)) == pytest.approx(factor, abs=0.0005)

    def test_cold_gas(self):
        gas = NaturalGas(
            heat_content_btu_ft3=Decimal(1038), meter_temp_c=Decimal("4.4444"), meter_corrects_pressure=True
        )
        assert float(meter_factor(gas)) == pytest.approx(1.0400, abs=0.0005)

    def test_a_compensated_meter_needs_no_correction(self):
        gas = NaturalGas(heat_content_btu_ft3=Decimal(1038), meter_corrects_pressure=True, meter_corrects_temp=True)
        assert meter_factor(gas) == 1


def test_metric_and_us_heat_contents_name_the_same_gas():
    """1038 Btu/ft3 × 1055.05585262 J / 0.3048³ m³ = 38.675 MJ/m3 (definitions)."""
    metric = NaturalGas(heat_content_mj_m3=Decimal("38.675"))
    assert float(convert(1, "m3", "MJ", GAS_2023)) == pytest.approx(38.675, abs=0.001)
    assert float(joules(1, "m3", metric)) == 38.675e6


@given(st.data(), st.decimals("0.001", "100000", places=3))
def test_there_and_back_is_exact(data, quantity):
    supply = data.draw(st.sampled_from([GAS_2023, Propane(), Electricity()]))
    fuel = {"NaturalGas": "natural gas", "Propane": "propane", "Electricity": "electricity"}[type(supply).__name__]
    a, b = data.draw(st.sampled_from(UNITS_OF[fuel])), data.draw(st.sampled_from(UNITS_OF[fuel]))
    assert convert(convert(quantity, a, b, supply), b, a, supply) == quantity


def test_refuses_a_gallon_of_gas_and_names_what_is_allowed():
    with pytest.raises(InputError, match=r"not measured in gal.*therm"):
        unit_joules("gal", GAS_2023)


def test_refuses_a_supply_without_heat_content():
    with pytest.raises(InputErrors, match="one of the two"):
        unit_joules("Ccf", NaturalGas())


def test_refuses_heat_content_given_in_the_wrong_unit():
    """38.7 is MJ a cubic metre, not Btu a cubic foot."""
    with pytest.raises(InputErrors, match="850 to 1200"):
        unit_joules("Ccf", NaturalGas(heat_content_btu_ft3=Decimal("38.7")))


def test_all_mistakes_of_a_supply_are_listed_at_once():
    gas = NaturalGas(heat_content_btu_ft3=Decimal(5), air_pressure_kpa=Decimal(1), meter_temp_c=Decimal("NaN"))
    assert len(gas.check()) == 3

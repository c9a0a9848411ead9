"""Water between day and night and between zones, checked with CoolProp.

CoolProp's real moist air (HAPropsSI) carries the enhancement factor, 0.4 to 0.5 % here, and its
mixing ratio is kept by cooling air exactly; its "Water" is IAPWS-95.
"""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import given
from hypothesis import strategies as st

from monitor.species.compatibility import cooling, water
from monitor.species.profile import When
from monitor.species.ranges import Span, Spans, Zone, ZoneRange

KELVIN = 273.15
ATMOSPHERE = 101_325.0
GAS_CONSTANT = 461.523  # J/(kg K), of water vapour, CODATA


def spans(temperature: tuple[float, float], humidity: tuple[float, float]) -> Spans:
    """Ranges of both quantities."""
    return Spans(
        temperature=Span(low=temperature[0], high=temperature[1]),
        humidity=Span(low=humidity[0], high=humidity[1]),
    )


def zone_range(day: Spans, night: Spans | None = None) -> ZoneRange:
    """A zone by day and night; the night as the day without a word of its own."""
    return ZoneRange(day=day, night=day if night is None else night)


def saturated(temperature: float) -> float:
    """Saturation vapour pressure, Pa (CoolProp, IAPWS-95)."""
    return float(PropsSI("P", "T", temperature + KELVIN, "Q", 1, "Water"))


def test_day_28_and_night_20_at_80_percent_need_water_to_leave() -> None:
    """The vapour pressures and the dew point are CoolProp's, the grams follow by the gas law."""
    found = cooling(28.0, 80.0, 20.0, 80.0)
    held, wanted = 0.8 * saturated(28.0), 0.8 * saturated(20.0)
    per_pa = 1000.0 / GAS_CONSTANT / (20.0 + KELVIN)
    dew_point = PropsSI("T", "P", held, "Q", 1, "Water") - KELVIN

    assert found.leaves_g_m3 == pytest.approx((held - wanted) * per_pa, rel=2e-4)
    assert found.dew_g_m3 == pytest.approx((held - saturated(20.0)) * per_pa, rel=5e-4)
    assert found.dew_point == pytest.approx(dew_point, abs=0.002)
    assert (found.leaves_g_m3, found.dew_g_m3) == pytest.approx((8.5, 5.1), abs=0.05)


@pytest.mark.parametrize(
    ("warm", "warm_rh", "cool", "cool_rh"),
    [(28, 80, 20, 80), (26, 95, 22, 90), (35, 60, 24, 70), (30, 85, 18, 95), (24, 70, 23, 60)],
)
def test_real_moist_air_says_the_same(
    warm: float, warm_rh: float, cool: float, cool_rh: float
) -> None:
    """CoolProp's mixing ratios, which cooling keeps exactly, agree within 1 %: twice its f.

    Air that loses vapour at one pressure shrinks by the vapour's share of it, and each m3 that
    remains has lost that much more; ours counts the volume before it shrinks.
    """

    def ratio(temperature: float, humidity: float) -> float:
        return float(
            HAPropsSI("W", "T", temperature + KELVIN, "R", humidity / 100, "P", ATMOSPHERE)
        )

    kept = ratio(warm, warm_rh)
    share = HAPropsSI("P_w", "T", warm + KELVIN, "R", warm_rh / 100, "P", ATMOSPHERE) / ATMOSPHERE

    def grams(humidity: float) -> float:
        lost = kept - ratio(cool, humidity)
        volume = HAPropsSI("V", "T", cool + KELVIN, "R", humidity / 100, "P", ATMOSPHERE)
        return float(1000.0 * lost / volume * (1.0 - share))

    found = cooling(float(warm), float(warm_rh), float(cool), float(cool_rh))

    assert found.leaves_g_m3 == pytest.approx(grams(cool_rh), rel=0.01)
    assert found.dew_g_m3 == pytest.approx(max(grams(100.0), 0.0), rel=0.01)


@given(
    warm=st.floats(5, 45),
    warm_rh=st.floats(5, 100),
    cool=st.floats(5, 45),
    cool_rh=st.floats(5, 100),
)
def test_what_settles_is_part_of_what_leaves(
    warm: float, warm_rh: float, cool: float, cool_rh: float
) -> None:
    """Never less than nothing, never more than all; and none while the dew point is not reached."""
    found = cooling(warm, warm_rh, cool, cool_rh)

    assert 0.0 <= found.dew_g_m3 <= max(found.leaves_g_m3, 0.0) + 1e-9
    assert (found.dew_g_m3 > 1e-6) <= (found.dew_point > cool)


def test_arrays_are_taken_as_they_are() -> None:
    """Many states at once give what each gives alone."""
    warm, cool = np.array([28.0, 30.0, 22.0]), np.array([20.0, 18.0, 21.0])
    humidity = np.array([80.0, 60.0, 95.0])

    at_once = cooling(warm, humidity, cool, humidity)

    for n in range(3):
        alone = cooling(warm[n], humidity[n], cool[n], humidity[n])
        assert [np.asarray(column)[n] for column in at_once] == pytest.approx(list(alone))


def test_ranges_that_never_meet_are_told_with_the_least() -> None:
    """Damp warm days and dry cool nights: even the nearest two states need water to leave."""
    day, night = spans((27, 29), (79, 81)), spans((19, 21), (79, 81))

    (evening,) = water({Zone.CANOPY: zone_range(day, night)}, {}).evenings

    nearest = cooling(27.0, 79.0, 21.0, 81.0)
    assert evening.least_g_m3 == pytest.approx(nearest.leaves_g_m3)
    assert evening.least_g_m3 > 0
    assert evening.says.startswith("Canopy: even the driest air allowed by day holds")
    assert "Canopy: from 28 °C at 80 % by day to 20 °C at 80 % by night, 8.5 g/m³" in evening.says
    assert "5.1 g/m³ of them" in evening.says
    assert "below 24.2 °C" in evening.says


def test_water_that_must_come_is_told_as_such() -> None:
    """A night that is to be damper than any allowed day needs misting."""
    day, night = spans((22, 24), (40, 50)), spans((20, 22), (80, 95))

    (evening,) = water({Zone.FLOOR: zone_range(day, night)}, {}).evenings

    assert evening.least_g_m3 < 0
    assert evening.says.startswith("Floor: even the dampest air allowed by day holds")
    assert "must be added every evening" in evening.says


def test_a_day_and_night_that_share_their_water_ask_for_nothing() -> None:
    """The same vapour all day long: damper by night only because it is cooler."""
    day, night = spans((25, 27), (55, 70)), spans((21, 23), (70, 90))

    (evening,) = water({Zone.FLOOR: zone_range(day, night)}, {}).evenings

    assert evening.least_g_m3 == 0
    assert evening.says == ""


def test_the_middle_is_that_of_what_is_aimed_for() -> None:
    """Wide limits around a narrow aim do not hide what the aim costs."""
    wide = {Zone.FLOOR: zone_range(spans((15, 35), (40, 100)))}
    aims = {Zone.FLOOR: zone_range(spans((27, 29), (75, 85)), spans((19, 21), (75, 85)))}

    (evening,) = water(wide, aims).evenings

    assert evening.by_day == (28, 80)
    assert evening.by_night == (20, 80)
    assert evening.least_g_m3 == 0


def test_zones_that_are_kept_alike_share_an_evening() -> None:
    """One sentence for all of them, not one each."""
    alike = zone_range(spans((22, 26), (60, 80)))
    other = zone_range(spans((28, 32), (60, 80)))

    found = water({Zone.WARM: alike, Zone.BASKING: other, Zone.COOL: alike}, {})

    assert [each.zones for each in found.evenings] == [(Zone.BASKING,), (Zone.WARM, Zone.COOL)]


def test_a_zone_pair_that_needs_two_bodies_of_air_is_flagged() -> None:
    """A damp warm side beside a dry cool side: with the least that one needs the other is too damp.

    The humidity the dry side would come to is CoolProp's.
    """
    damp, dry = spans((29, 31), (80, 90)), spans((22, 24), (30, 50))

    found = water({Zone.WARM: zone_range(damp), Zone.COOL: zone_range(dry)}, {})

    by_day, by_night = found.apart
    assert (by_day.when, by_day.damp, by_day.dry) == (When.DAY, Zone.WARM, Zone.COOL)
    assert by_night.when is When.NIGHT
    least, most = 0.8 * saturated(29.0), 0.5 * saturated(24.0)
    assert by_day.gap_kpa == pytest.approx((least - most) / 1000, rel=1e-3)
    assert by_day.becomes_rh == pytest.approx(100 * least / saturated(24.0), rel=1e-3)
    assert "warm and cool cannot hold with one body of air" in by_day.says
    assert found.common == {}


def test_a_dry_basking_spot_shares_its_air_with_a_damp_cool_side() -> None:
    """32 °C at 40 % and 24 °C at 65 % are the same air: nothing is flagged."""
    hot, cool = spans((31, 33), (35, 45)), spans((23, 25), (60, 70))

    found = water({Zone.BASKING: zone_range(hot), Zone.COOL: zone_range(cool)}, {})

    assert found.apart == ()
    low, high = found.common[When.DAY]
    assert low < 0.4 * saturated(32.0) / 1000 < high


def test_the_ground_and_single_quantities_take_no_part() -> None:
    """Soil has air of its own, and temperature alone says nothing of water."""
    ground = zone_range(spans((22, 24), (95, 100)))
    only = ZoneRange(day=Spans(temperature=Span(low=20, high=30)))

    found = water({Zone.SUBSTRATE: ground, Zone.FLOOR: only}, {})

    assert (found.regions, found.evenings, found.apart, found.common) == ({}, (), (), {})

"""Limits of settling."""

from pathlib import Path

import pytest
from pydantic import ValidationError

from monitor.analysis.settling.climate import JUDGED
from monitor.errors import SettingsError
from monitor.quantities import Quantity
from monitor.setup.file import dump_setup, load_setup
from monitor.setup.models import Enclosure
from monitor.setup.settings import load_settings
from monitor.setup.settling import limits_of
from monitor.species.library import SHIPPED, Library, load_library
from monitor.species.profile import Profile
from monitor.species.settling import LESS_IS_STRICTER, SettlingLimits, is_stricter


def test_every_quantity_that_is_judged_has_a_limit() -> None:
    """No drift is judged that has none."""
    for quantity in JUDGED:
        assert SettlingLimits().trend(quantity) > 0
    for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY):
        assert SettlingLimits().cycle(quantity) > 0


@pytest.mark.parametrize(
    ("key", "value"),
    [("age_days", 1), ("coverage", 0), ("trend_risk", 0.7), ("saturated_from", 40), ("ages", 3)],
)
def test_nonsense_is_refused(key: str, value: float) -> None:
    """A limit that cannot be meant is refused under its key."""
    with pytest.raises(ValidationError, match=key):
        SettlingLimits.model_validate({key: value})


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"even_days": 50}, "less than even_days 50; write as many or more"),
        ({"dry_out_days": 9}, "more than recent_days 7; write as many or fewer"),
    ],
)
def test_limits_that_contradict_each_other_are_refused(given: dict[str, int], says: str) -> None:
    """With what would be right."""
    with pytest.raises(ValidationError, match=says):
        SettlingLimits.model_validate(given)


def library(**settling: dict[str, float]) -> Library:
    """Profiles by id that ask for these limits (``-`` written ``_``)."""
    return Library(
        Profile.model_validate(
            {
                "id": name.replace("_", "-"),
                "scientific": name,
                "name": name,
                "kind": "animal",
                "ventilation": "low",
                "range": [
                    {"quantity": "temperature", "tolerated": [10, 30], "basis": "from memory"}
                ],
                "settling": limits,
            }
        )
        for name, limits in settling.items()
    )


def enclosure(*species: str, **settling: float) -> Enclosure:
    """An enclosure in which they live, with limits of its own."""
    inhabitants = [{"species": each} for each in species]
    return Enclosure.model_validate(
        {"id": "cube", "name": "Cube", "inhabitant": inhabitants, "settling": settling}
    )


def test_the_more_special_place_comes_first() -> None:
    """The enclosure, then a profile, then the settings, then the default; each says so."""
    asks = library(some_frog={"age_days": 56, "clean_days": 10})
    given = {"age_days": 35.0, "clean_days": 8.0, "crew_days": 10.0}

    values, origin = limits_of(enclosure("some-frog", age_days=42), asks, given)

    assert (values.age_days, origin["age_days"]) == (42, "enclosure")
    assert (values.clean_days, origin["clean_days"]) == (10, "profile some-frog")
    assert (values.crew_days, origin["crew_days"]) == (10, "settings")
    assert (values.coverage, origin["coverage"]) == (0.9, "default")
    assert origin.keys() == SettlingLimits.model_fields.keys()


@pytest.mark.parametrize("order", [("frog", "newt"), ("newt", "frog")])
def test_of_several_inhabitants_the_strictest_is_heeded(order: tuple[str, str]) -> None:
    """Limit by limit, whichever is named first, also where it is laxer than the settings."""
    asks = library(
        frog={"age_days": 56, "trend_humidity_pct": 0.3},
        newt={"age_days": 40, "trend_humidity_pct": 0.2},
    )

    values, origin = limits_of(enclosure(*order), asks, {"age_days": 90})

    assert (values.age_days, origin["age_days"]) == (56, "profile frog")
    assert (values.trend_humidity_pct, origin["trend_humidity_pct"]) == (0.2, "profile newt")


def test_limits_from_several_places_always_fit_together() -> None:
    """What only together would be nonsense is widened, and it is told by whose demand."""
    asks = library(frog={"even_days": 30, "longest_even_days": 60, "recent_days": 3,
                         "dry_out_days": 3})  # fmt: skip
    own = enclosure("frog", longest_even_days=28, dry_out_days=5)

    values, origin = limits_of(own, asks, {})

    assert (values.even_days, values.longest_even_days) == (30, 30)
    assert origin["longest_even_days"] == "profile frog"
    assert (values.dry_out_days, values.recent_days) == (5, 5)
    assert origin["recent_days"] == "enclosure"


def test_what_is_stricter_is_known_of_every_limit() -> None:
    """A trend limit is stricter when it is less, a number of days to wait when it is more."""
    assert SettlingLimits.model_fields.keys() > LESS_IS_STRICTER
    assert is_stricter("trend_humidity_pct", 0.2, 0.4)
    assert is_stricter("age_days", 42, 28)
    assert not is_stricter("age_days", 28, 28)


def test_profiles_that_come_with_dewkeep_set_no_limit() -> None:
    """As docs/settling.md says."""
    shipped = load_library()

    assert len(shipped) == len(list(SHIPPED.glob("*.toml")))
    assert not any(shipped.profile(each).settling for each in shipped)


def test_a_mistake_is_told_by_its_key(tmp_path: Path) -> None:
    """In the set-up and in the settings, with what would be right."""
    (tmp_path / "enclosures.toml").write_text(
        '[[enclosure]]\nid = "cube"\nname = "Cube"\nsettling = { age_day = 3, coverage = 2 }\n'
    )
    (tmp_path / "dewkeep.toml").write_text("[settling]\nlimits = { even_days = 5 }\n")

    with pytest.raises(SettingsError) as of_setup:
        load_setup(tmp_path / "enclosures.toml", library())
    with pytest.raises(SettingsError) as of_settings:
        load_settings(tmp_path / "dewkeep.toml", {"DEWKEEP_SETTLING__LIMITS__AGE_DAYS": "soon"})

    assert "enclosure[cube].settling.age_day: unknown key; did you mean 'age_days'?" in str(
        of_setup.value
    )
    assert "enclosure[cube].settling.coverage: must be a number above 0 and at most 1" in str(
        of_setup.value
    )
    assert "settling.limits.even_days: must be a whole number from 14 to 120" in str(
        of_settings.value
    )
    assert "environment: DEWKEEP_SETTLING__LIMITS__AGE_DAYS: must be" in str(of_settings.value)


def test_limits_survive_being_written_and_read(tmp_path: Path) -> None:
    """Also one that is given at its default: it still comes before the profiles."""
    text = '[[enclosure]]\nid = "cube"\nname = "Cube"\n\n[enclosure.settling]\nage_days = 28\n'
    (tmp_path / "enclosures.toml").write_text(text)

    setup = load_setup(tmp_path / "enclosures.toml", library())

    (tmp_path / "again.toml").write_text(dump_setup(setup))
    assert load_setup(tmp_path / "again.toml", library()) == setup
    assert "age_days = 28" in dump_setup(setup)
    stored = Enclosure.model_validate_json(setup.enclosure[0].model_dump_json())
    assert limits_of(stored, library(), {"age_days": 35}).origin["age_days"] == "enclosure"


def test_the_environment_can_give_limits(tmp_path: Path) -> None:
    """As any other setting."""
    (tmp_path / "dewkeep.toml").write_text("")

    settings = load_settings(
        tmp_path / "dewkeep.toml", {"DEWKEEP_SETTLING__LIMITS__AGE_DAYS": "35"}
    )

    assert settings.settling.limits == {"age_days": 35}

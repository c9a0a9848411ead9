"""``dewkeep compatibility``: who fits whom."""

import json

from tests.cli.conftest import CommandLine

JUNE = ("--at", "2027-06-15T12:00:00Z")


def test_an_enclosure_is_looked_at_with_a_newcomer(cli: CommandLine) -> None:
    """As it stands, and as if someone lived there too."""
    gecko = ("--species", "correlophus-ciliatus")

    assert cli.ok("compatibility", "cork-cube").startswith("Nobody lives here yet.\n\nCautions\n")
    told = json.loads(cli.ok("compatibility", "cork-cube", *gecko, *JUNE, "--json"))

    assert [each["species"] for each in told["inhabitants"]] == ["correlophus-ciliatus"]
    assert (told["enclosure"], told["on"]) == ("cork-cube", "2027-06-15")


def test_a_company_that_lives_nowhere_is_told_in_words(cli: CommandLine) -> None:
    """First how it stands, then why, then what would fit instead."""
    frog = ("--species", "dendrobates-tinctorius", "--species", "porcellio-scaber")

    says = cli.ok("compatibility", *frog, *JUNE)

    assert says.startswith(
        "Rough woodlouse does not belong with the rest.\n\nConflicts\n  Humidity"
    )
    assert "Instead of porcellio-scaber: Dwarf white isopod" in says
    assert "Would fit (crew)" in says
    assert "Dyeing dart frog: Its skin takes up what is in the water" in says
    assert says.endswith("Keeping some species needs a permit.\n")


def test_what_only_other_months_bring_has_its_months(cli: CommandLine) -> None:
    """A winter rest, asked for in June."""
    dry = ("--species", "eublepharis-macularius", "--species", "haworthia")

    says = cli.ok("compatibility", *dry, *JUNE)

    assert "\nIn other months\n" in says
    assert "(months 1, 2, 11, 12)" in says


def test_nobody_and_strangers_are_mistakes(cli: CommandLine) -> None:
    """Each with what would be right."""
    assert "name an ENCLOSURE" in cli.wrong("compatibility")
    assert "did you mean 'haworthia'" in cli.wrong("compatibility", "--species", "haworthya")
    assert "'nowhere'" in cli.wrong("compatibility", "nowhere")

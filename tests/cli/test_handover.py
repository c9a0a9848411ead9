"""``dewkeep handover``: a sheet as one file."""

from tests.cli.conftest import CommandLine


def test_a_sheet_is_one_file(cli: CommandLine) -> None:
    """Written where it is asked for, with a code only if the page can be reached."""
    out = cli.folder / "cube.html"

    assert cli.ok("handover", "cork-cube", "-o", out) == f"written to {out}\n"
    plain = out.read_text()
    cli.config.write_text(
        f'{cli.config.read_text()}[server]\npublic_url = "https://shelf.example"\n'
    )
    cli.ok("handover", "cork-cube", "--out", out)

    assert "Hand-over sheet" in plain
    assert "<svg" not in plain
    assert "https://shelf.example/#cork-cube" in out.read_text()


def test_where_it_cannot_be_written_is_told(cli: CommandLine) -> None:
    """Nor is there a sheet of nothing."""
    away = cli.folder / "no" / "cube.html"

    assert f"{away}: cannot be written" in cli.wrong("handover", "cork-cube", "-o", away)
    assert "'nowhere'" in cli.wrong("handover", "nowhere", "-o", cli.folder / "a.html")

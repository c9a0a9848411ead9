"""`dewkeep backup` and `dewkeep restore`."""

import io
import shutil
from contextlib import closing

from PIL import Image

from monitor.setup.journal import Moult, Source
from monitor.setup.settings import PhotoSettings
from monitor.store.sqlite import photos
from monitor.store.sqlite.state import journal
from tests.cli.conftest import CommandLine


def test_a_back_up_and_back(cli: CommandLine) -> None:
    """What was set up when it was written is set up again after restoring."""
    copy = cli.folder / "copy.db"
    before = cli.ok("setup", "dump")
    cli.ok("backup", copy)
    cli.ok("token", "new", "--scope", "view")

    restored = cli.ok("restore", copy)

    assert restored.startswith("restored ")
    assert "the old one is now" in restored
    assert cli.ok("setup", "dump") == before
    assert "no tokens yet" in cli.ok("token", "list")


def test_a_back_up_overwrites_nothing(cli: CommandLine) -> None:
    """Twice to the same file is refused."""
    copy = cli.folder / "copy.db"
    cli.ok("backup", copy)

    assert "copy.db" in cli.wrong("backup", copy)


def test_a_back_up_that_is_not_there(cli: CommandLine) -> None:
    """Restoring names the file."""
    assert "none.db" in cli.wrong("restore", cli.folder / "none.db")


def test_photos_are_backed_up_and_come_back(cli: CommandLine) -> None:
    """They lie beside the copy; a damaged one is told and left out."""
    names = []
    with closing(cli.database()) as database:
        for size in (20, 30):
            with database.transaction() as connection:
                moult = Moult(at=1_795_600_000_000, kind="moult")
                entry = journal.add(connection, "cork-cube", moult, Source.KEEPER, 0)
            picture = io.BytesIO()
            Image.new("RGB", (size, size)).save(picture, "PNG")
            row = photos.add(database, "cork-cube", entry, picture.getvalue(), PhotoSettings(), 0)
            names.append(row.name)
    copy = cli.folder / "copy.db"
    backed_up = cli.ok("backup", copy)
    (cli.folder / "copy.db.photos" / f"{names[0]}.jpg").write_bytes(b"worn out")
    shutil.rmtree(cli.folder / "dewkeep.db.photos")

    restored = cli.run("restore", copy, "--config", cli.config)

    assert "copy.db.photos: 2" in backed_up
    assert "dewkeep.db.photos: 1" in restored.stdout
    assert f"photo {names[0]} is missing or damaged" in restored.stderr
    assert sorted(path.name for path in (cli.folder / "dewkeep.db.photos").iterdir()) == [
        f"{names[1]}.jpg",
        f"{names[1]}.thumbnail.jpg",
    ]

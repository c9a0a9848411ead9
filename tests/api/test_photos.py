"""Photos of the journal over HTTP."""

import hashlib
import io
import subprocess
import sys
from pathlib import Path

import httpx
import pytest
from PIL import Image

from monitor.errors import NotFound, StoreUnavailable
from monitor.setup.settings import PhotoSettings
from monitor.store.sqlite import photos as kept
from tests.store.test_pictures import GPS, halves, png_saying, written
from tests.support.house import House
from tests.support.house import house as open_house

JOURNAL = "/api/v1/enclosures/cork-cube/journal"
JPEG = {"content-type": "image/jpeg"}


@pytest.fixture
def entry(http: httpx.Client) -> str:
    """The address of a fresh entry."""
    written_entry = http.post(JOURNAL, json={"kind": "moult", "at": "2026-11-24T18:00:00Z"})
    return f"{JOURNAL}/{written_entry.json()['id']}"


def files(house: House) -> list[Path]:
    """What lies in the folder of the photos."""
    folder = kept.folder_of(house.database.path)
    return sorted(folder.iterdir()) if folder.exists() else []


def test_a_photo_is_kept_and_shown(house: House, http: httpx.Client, entry: str) -> None:
    """The journal lists it; it is served as a picture and nothing else, for ever the same."""
    added = http.post(
        f"{entry}/photos", content=written(halves(), "PNG"), headers={"content-type": "image/png"}
    )
    photo = added.json()
    shown = http.get(f"{entry}/photos/{photo['id']}")
    small = http.get(f"{entry}/photos/{photo['id']}/thumbnail")
    again = http.get(
        f"{entry}/photos/{photo['id']}", headers={"If-None-Match": shown.headers["etag"]}
    )

    assert added.status_code == 201
    assert http.get(JOURNAL).json()[0]["photos"] == [photo]
    assert hashlib.sha256(shown.content).hexdigest() == photo["id"]
    assert Image.open(io.BytesIO(shown.content)).size == (photo["width"], photo["height"])
    assert Image.open(io.BytesIO(small.content)).format == "JPEG"
    for answer in (shown, small, again):
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "immutable" in answer.headers["cache-control"]
        assert "private" in answer.headers["cache-control"]
        assert "sandbox" in answer.headers["content-security-policy"]
    assert shown.headers["content-type"] == "image/jpeg"
    assert (again.status_code, again.content) == (304, b"")
    assert [path.stat().st_mode & 0o077 for path in [kept.folder_of(house.database.path)]] == [0]


def test_the_place_it_was_taken_at_is_gone(http: httpx.Client, entry: str) -> None:
    """What is served knows nothing of where and when."""
    exif = Image.Exif()
    exif.get_ifd(GPS)[2] = (38.0, 42.0, 50.0)
    photo = http.post(f"{entry}/photos", content=written(halves(), exif=exif), headers=JPEG).json()

    served = http.get(f"{entry}/photos/{photo['id']}").content

    assert dict(Image.open(io.BytesIO(served)).getexif()) == {}


@pytest.mark.parametrize(
    ("data", "kind", "status", "says"),
    [
        (b"<svg/>", "image/svg+xml", 415, "image/jpeg, image/png, image/webp"),
        (b"hello", "text/plain", 415, "send the picture as it is"),
        (b"<svg/>", "image/png", 422, "no JPEG, PNG or WebP picture"),
        (png_saying(20_000, 20_000, b""), "image/png", 422, "megapixels"),
        (bytes(20_000_001), "image/jpeg", 413, "larger than 20 MB"),
    ],
)
def test_what_cannot_be_kept_is_told(
    house: House, http: httpx.Client, entry: str, data: bytes, kind: str, status: int, says: str
) -> None:
    """The wrong type, a lie about it, a bomb and a flood: refused, and nothing is left on disk."""
    answer = http.post(f"{entry}/photos", content=data, headers={"content-type": kind})

    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert says in answer.json()["detail"]
    assert files(house) == []
    assert http.get(JOURNAL).json()[0]["photos"] == []


@pytest.mark.parametrize(
    "name",
    ["..%2F..%2Fdewkeep.db", "../../dewkeep.db", "%2e%2e%2fdewkeep.db", "A" * 64, "0" * 64, "0"],
)
def test_no_name_leads_elsewhere(http: httpx.Client, entry: str, name: str) -> None:
    """Only the name of a photo of this very entry gives a file."""
    answer = http.get(f"{entry}/photos/{name}")

    assert answer.status_code in {404, 405, 422}
    assert b"SQLite" not in answer.content


def test_a_photo_is_shown_by_its_own_entry_only(http: httpx.Client, entry: str) -> None:
    """Not through another entry, nor through another enclosure."""
    name = http.post(f"{entry}/photos", content=written(halves()), headers=JPEG).json()["id"]
    other = http.post(JOURNAL, json={"kind": "fed", "at": "2026-11-24T18:00:00Z"}).json()["id"]

    assert http.get(f"{JOURNAL}/{other}/photos/{name}").status_code == 404
    elsewhere = entry.replace("cork-cube", "back-room")
    assert http.get(f"{elsewhere}/photos/{name}").status_code == 404
    assert (
        http.post(f"{JOURNAL}/999/photos", content=written(halves()), headers=JPEG).status_code
        == 404
    )


def test_a_number_beyond_all_numbers(http: httpx.Client) -> None:
    """Is refused, not looked for."""
    entry = f"{JOURNAL}/{10**30}"

    assert http.delete(entry).status_code == 422
    assert http.get(f"{entry}/photos/{'0' * 64}").status_code == 422
    assert http.post(f"{entry}/photos", content=written(halves()), headers=JPEG).status_code == 422


def test_files_go_with_the_last_entry_that_shows_them(
    house: House, http: httpx.Client, entry: str
) -> None:
    """The same picture in two entries is one file, until both are gone."""
    fed = http.post(JOURNAL, json={"kind": "fed", "at": "2026-11-24T18:00:00Z"}).json()
    other = f"{JOURNAL}/{fed['id']}"
    names = {
        http.post(f"{each}/photos", content=written(halves()), headers=JPEG).json()["id"]
        for each in (entry, entry, other)
    }
    (name,) = names
    assert len(files(house)) == 2

    assert http.delete(f"{entry}/photos/{name}").status_code == 204
    assert http.delete(f"{entry}/photos/{name}").status_code == 404
    assert len(files(house)) == 2
    assert http.delete(other).status_code == 204
    assert files(house) == []
    assert http.delete(other).status_code == 404
    assert [each["kind"] for each in http.get(JOURNAL).json()] == ["moult"]


def test_an_entry_has_so_many_photos_at_most(http: httpx.Client, entry: str) -> None:
    """A script gone wild does not fill the disk by one entry."""
    answers = [
        http.post(f"{entry}/photos", content=written(halves(80 + n)), headers=JPEG).status_code
        for n in range(13)
    ]

    assert answers == [201] * 12 + [409]


def test_who_only_looks_adds_nothing(tmp_path: Path) -> None:
    """Without a token nothing is read or written."""
    with open_house(tmp_path, needs_token=True) as built:
        answer = built.http.post(f"{JOURNAL}/1/photos", content=written(halves()), headers=JPEG)
        assert answer.status_code == 401
        assert built.http.get(f"{JOURNAL}/1/photos/{'0' * 64}").status_code == 401


def test_a_disk_that_takes_nothing_is_told(house: House, entry: str) -> None:
    """No row without a file; the caller may try again."""
    folder = kept.folder_of(house.database.path)
    folder.write_text("in the way")
    number = int(entry.rsplit("/", 1)[1])

    with pytest.raises(StoreUnavailable, match="cannot be written"):
        kept.add(house.database, "cork-cube", number, written(halves()), PhotoSettings(), 0)

    assert house.http.get(JOURNAL).json()[0]["photos"] == []
    with pytest.raises(NotFound, match="no photo"):
        kept.file_of(house.database.path, "../dewkeep.db")


def test_a_daemon_starts_without_pillow() -> None:
    """It is loaded when the first photo comes: most daemons never see one."""
    code = "import sys, monitor.daemon.daemon; sys.exit('PIL' in sys.modules)"

    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0

"""Photos of an entry by forms alone: sent, stripped, shown, deleted; what is no photo is told."""

import io
from pathlib import Path

import httpx
import pytest
from PIL import Image
from selenium import webdriver
from selenium.webdriver.common.by import By

from monitor.store.sqlite.state.tokens import Scope
from monitor.web import words
from tests.store.test_pictures import GPS, halves, written
from tests.support.daemon import RunningDaemon
from tests.support.waiting import eventually
from tests.web.chromium import console, follow, script
from tests.web.conftest import OURS, MakeShow, Show, enclosure
from tests.web.test_every_page import faults

JOURNAL = "/enclosures/cork-cube/journal"


@pytest.fixture
def show(make_show: MakeShow) -> Show:
    """One enclosure."""
    return make_show({"enclosure": [enclosure()]})


@pytest.fixture
def page(show: Show) -> str:
    """The address of the photos of a fresh entry."""
    show.submit(show.get(JOURNAL).text, JOURNAL, [("kind", "moult")])
    (entry,) = show.get(f"/api/v1{JOURNAL}").json()
    return f"{JOURNAL}/{entry['id']}/photos"


def send(show: Show, page: str, file: bytes, *, proof: str | None = None) -> httpx.Response:
    """Send the form with a file, as another program puts it together (httpx, RFC 7578)."""
    given = show.hidden(page, page)[0][1] if proof is None else proof
    request = httpx.Request(
        "POST",
        f"http://127.0.0.1:8420{page}",
        data={"form": given},
        files={"photo": ("moult.jpg", file, "image/jpeg")},
    )
    return show.send_bytes(page, request.read(), request.headers["content-type"])


def kept(show: Show) -> list[dict[str, object]]:
    """The photos that the journal has."""
    (entry,) = show.get(f"/api/v1{JOURNAL}").json()
    photos: list[dict[str, object]] = entry["photos"]
    return photos


def test_a_photo_is_kept_without_where_it_was_taken(show: Show, page: str) -> None:
    """It stands on its page and in the journal's list; what is served knows no place."""
    exif = Image.Exif()
    exif.get_ifd(GPS)[2] = (38.0, 42.0, 50.0)
    answer = send(show, page, written(halves(), exif=exif))
    assert (answer.status_code, answer.headers["location"]) == (303, page)
    (photo,) = kept(show)
    address = f"/api/v1{page}/{photo['id']}"
    assert f'src="{address}"' in show.get(page).text
    listed = show.get(JOURNAL).text
    assert f'src="{address}/thumbnail"' in listed
    assert f'href="{page}"' in listed
    served = Image.open(io.BytesIO(show.get(address).content))
    assert dict(served.getexif()) == {}


def test_a_photo_is_deleted(show: Show, page: str) -> None:
    """By its button; the page then says that there is none."""
    send(show, page, written(halves()))
    answer = show.submit(show.get(page).text, f"{page}/remove")
    assert answer.headers["location"] == page
    assert kept(show) == []
    assert "No photo yet." in show.get(page).text


@pytest.mark.parametrize(
    ("file", "status", "says"),
    [
        (b"", 422, words.NO_PHOTO),
        (b"<svg/>", 422, "This is no JPEG, PNG or WebP picture"),
        (bytes(20_000_001), 413, "larger than"),
        (bytes(20_200_000), 413, "larger than"),
    ],
    ids=["none", "lie", "large", "flood"],
)
def test_what_cannot_be_kept_is_told(
    show: Show, page: str, file: bytes, status: int, says: str
) -> None:
    """Beside the field, or as a refusal; nothing is kept."""
    answer = send(show, page, file)
    assert answer.status_code == status
    assert says in answer.text
    assert kept(show) == []


def test_only_a_form_of_ours_is_heeded(show: Show, page: str) -> None:
    """Without the proof, from elsewhere, as another type or broken: refused, nothing kept."""
    assert send(show, page, written(halves()), proof="0.0").status_code == 403
    assert show.post(page, [("form", "0.0")]).status_code == 415
    broken = "multipart/form-data; boundary=x"
    assert show.send_bytes(page, b"--y", broken).status_code == 422
    assert show.send_bytes(page, b"", "multipart/form-data").status_code == 422
    foreign = OURS | {"Sec-Fetch-Site": "cross-site", "Content-Type": broken}
    assert show.send_body(page, "", foreign).status_code == 403
    assert kept(show) == []


def test_who_only_looks_changes_nothing(make_show: MakeShow) -> None:
    """A token of scope view gets no forms, and what it sends is refused."""
    show = make_show({"enclosure": [enclosure()]}, needs_token=True)
    operator, viewer = show.token(Scope.OPERATE), show.token(Scope.VIEW)
    page = show.get(JOURNAL, operator).text
    show.submit(page, JOURNAL, [("kind", "moult")], OURS | operator)
    (entry,) = show.get(f"/api/v1{JOURNAL}", viewer).json()
    photos = f"{JOURNAL}/{entry['id']}/photos"
    assert 'type="file"' not in show.get(photos, viewer).text
    assert show.post(photos, [], OURS | viewer).status_code == 403


@pytest.mark.slow
def test_a_photo_is_sent_without_scripts(
    daemon: RunningDaemon, browser: webdriver.Chrome, tmp_path: Path
) -> None:
    """From the tap to the picture and to its end, by forms alone; no fault for any keeper."""
    picture = tmp_path / "moult.png"
    Image.new("RGB", (640, 480), "olive").save(picture)
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    browser.get(f"http://127.0.0.1:{daemon.http_port}{JOURNAL}")
    follow(browser, By.CSS_SELECTOR, "button[value=moult]")
    eventually(lambda: "written down" in browser.page_source, "the entry")
    follow(browser, By.LINK_TEXT, "Photos")
    browser.find_element(By.ID, "photo").send_keys(str(picture))
    follow(browser, By.CSS_SELECTOR, ".fields button")
    eventually(lambda: browser.find_elements(By.CSS_SELECTOR, ".photo img"), "the photo")
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    browser.refresh()
    assert script(browser, "document.querySelector('.photo img').naturalWidth") == 640
    assert faults(browser) == []
    assert script(browser, "document.documentElement.scrollWidth") <= 360
    follow(browser, By.CSS_SELECTOR, ".photo button")
    eventually(lambda: "No photo yet." in browser.page_source, "its end")
    assert console(browser) == []

"""Signing in: who gets a session, what it is good for, and what no other site can do with it."""

import json

import pytest

from monitor.api.access import SESSION
from monitor.store.sqlite.state import tokens
from monitor.store.sqlite.state.tokens import Scope
from monitor.times import DAY_MS, MINUTE_MS
from monitor.web.sign_in import MOST_TRIES, safe
from tests.web.conftest import FORM, NIGHT_MS, OURS, MakeShow, Show, enclosure

ENTRY = json.dumps({"at": "2026-11-25T03:00:00Z", "kind": "fed"})


@pytest.fixture
def locked(make_show: MakeShow) -> Show:
    """A house that asks for tokens."""
    return make_show({"enclosure": [enclosure()]}, needs_token=True)


def sign_in(show: Show, scope: Scope, back: str = "/") -> str:
    """Sign in as a keeper does, from the page that asked for it; the token."""
    token = show.token(scope)["Authorization"].removeprefix("Bearer ")
    asked = show.get(back).text
    answer = show.submit(asked, "/sign-in", [("token", token)])
    assert (answer.status_code, answer.headers["location"]) == (303, back), answer.text
    return token


def test_a_token_opens_the_page_that_was_wanted(locked: Show) -> None:
    """The refused page itself asks for the token; after it comes what was wanted, and the API."""
    assert locked.get("/").status_code == 401
    sign_in(locked, Scope.VIEW, "/?from=bookmark")
    assert "Cork cube" in locked.page()
    assert "Signed in as tester, to look." in locked.page()
    assert locked.get("/api/v1/enclosures").status_code == 200


def test_the_session_cookie_is_out_of_reach(make_show: MakeShow) -> None:
    """No script reads it, no other site sends it, and it is not the token itself."""
    show = make_show({}, needs_token=True)
    token = show.token(Scope.VIEW)["Authorization"].removeprefix("Bearer ")
    answer = show.submit(show.get("/sign-in").text, "/sign-in", [("token", token)])
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith(f"{SESSION}=")
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert "Secure" not in cookie
    assert token not in cookie
    assert token.split("_", 2)[2] not in cookie


def test_over_tls_cookies_are_secure(locked: Show) -> None:
    """What is given over https never travels in the clear."""
    answer = locked.get("https://127.0.0.1:8420/sign-in")
    assert "Secure" in answer.headers["set-cookie"]


def test_scopes_hold_for_sessions(locked: Show) -> None:
    """Who may look sees no button, and is refused when acting all the same."""
    locked.wait_silence_with(locked.token(Scope.VIEW))
    sign_in(locked, Scope.VIEW)
    page = locked.page()
    assert "needs a hand" in page
    assert "I have seen it" not in page
    assert locked.submit(page, "/sign-out").status_code == 303

    sign_in(locked, Scope.OPERATE)
    page = locked.page()
    assert "Signed in as tester, to look and act." in page
    assert locked.submit(page, "/seen").status_code == 303
    assert "Seen at 03:22 by tester." in locked.page()


def test_a_viewer_cannot_act_with_a_form_of_their_own_page(locked: Show) -> None:
    """A genuine form does not make up for the scope."""
    sign_in(locked, Scope.VIEW)
    proof = locked.hidden("/", "/sign-out")
    assert locked.post("/seen", proof).status_code == 403


def test_signing_out_ends_copies_too(locked: Show) -> None:
    """A cookie that was copied before is worth nothing after."""
    sign_in(locked, Scope.VIEW)
    copied = locked.cookies[SESSION]
    locked.submit(locked.page(), "/sign-out")
    assert locked.get("/").status_code == 401
    locked.cookies.set(SESSION, copied)
    assert locked.get("/").status_code == 401


def test_revoking_a_token_ends_its_sessions(locked: Show) -> None:
    """A lost phone is shut out on the machine itself."""
    sign_in(locked, Scope.VIEW)
    with locked.database.transaction() as connection:
        (token,) = tokens.everyone(connection)
        tokens.revoke(connection, token.id, NIGHT_MS)
    assert locked.get("/").status_code == 401


def test_a_session_ends_by_itself(locked: Show) -> None:
    """After a month one signs in anew."""
    sign_in(locked, Scope.VIEW)
    locked.now_ms += 29 * DAY_MS
    assert locked.get("/").status_code == 200
    locked.now_ms += 2 * DAY_MS
    assert locked.get("/").status_code == 401


@pytest.mark.parametrize(
    "spoil", ["", "x", "1.2.3.4", "9" * 12 + ".1." + "a" * 24 + "." + "b" * 64]
)
def test_a_made_up_session_is_none(locked: Show, spoil: str) -> None:
    """Nobody signs a session but dewkeep."""
    sign_in(locked, Scope.VIEW)
    locked.cookies.delete(SESSION)
    locked.cookies.set(SESSION, spoil)
    assert locked.get("/").status_code == 401


def test_a_session_changes_nothing_from_elsewhere(locked: Show) -> None:
    """The API heeds a cookie only when a page of ours sent it; a token is heeded from anywhere."""
    sign_in(locked, Scope.OPERATE)
    address = "/api/v1/enclosures/cork-cube/journal"
    body = {"Content-Type": "application/json"}
    elsewhere = {"Origin": "https://elsewhere.example"}
    assert locked.send_body(address, ENTRY, body | elsewhere).status_code == 403
    assert locked.send_body(address, ENTRY, body).status_code == 403
    assert locked.send_body(address, ENTRY, body | OURS).status_code == 201
    program = locked.token(Scope.OPERATE)
    assert locked.send_body(address, ENTRY, body | program).status_code == 201


def test_a_form_of_another_browser_is_refused(locked: Show) -> None:
    """The proof in a form is bound to the browser it was served to."""
    sign_in(locked, Scope.OPERATE)
    page = locked.page()
    locked.cookies.delete("dewkeep_visit")
    answer = locked.submit(page, "/sign-out")
    assert answer.status_code == 403
    assert "load the page again" in answer.text


def test_proofs_differ_from_page_to_page(locked: Show) -> None:
    """What a compressed page gives away of its secret is worth nothing for the next."""
    sign_in(locked, Scope.VIEW)
    assert locked.hidden("/", "/sign-out") != locked.hidden("/", "/sign-out")


def test_guessing_is_slowed_down(locked: Show) -> None:
    """After ten wrong tokens nobody signs in for five minutes, not even with a right one."""
    right = locked.token(Scope.VIEW)["Authorization"].removeprefix("Bearer ")
    page = locked.get("/sign-in").text
    for _ in range(MOST_TRIES):
        answer = locked.submit(page, "/sign-in", [("token", "dewkeep_1_guess")])
        assert answer.status_code == 403
        assert "no token of this dewkeep" in answer.text
    assert locked.submit(page, "/sign-in", [("token", right)]).status_code == 429
    locked.now_ms += 5 * MINUTE_MS
    assert locked.submit(page, "/sign-in", [("token", right)]).status_code == 303


@pytest.mark.parametrize(
    "back",
    ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "x", "/\n"],
)
def test_nobody_is_led_elsewhere(back: str) -> None:
    """A link to the sign-in page cannot send the keeper to another site afterwards."""
    assert safe(back) == "/"
    assert safe("/enclosures/a?x=1#b") == "/enclosures/a?x=1#b"


def test_a_form_must_be_a_form(locked: Show) -> None:
    """JSON, a huge body and half a character are refused with a page that says why."""
    for body, headers, status in (
        ("{}", {"Content-Type": "application/json"}, 415),
        ("a=" + "b" * 200_000, {}, 413),
        ("a=%ff&b", {}, 403),
    ):
        answer = locked.send_body("/sign-in", body, {"Content-Type": FORM} | OURS | headers)
        assert answer.status_code == status, answer.text
        assert "That did not work." in answer.text


def test_units_and_colours_are_the_viewers(make_show: MakeShow) -> None:
    """°F and dark for this browser: values, ranges, alarm sentences and the colour scheme."""
    show = make_show({"enclosure": [enclosure()]})
    show.publish("dewkeep/cork-cube/canopy", 30.0, 82.0, since_h=2)
    before = show.page()
    assert "above 25\N{NO-BREAK SPACE}°C" in before
    likings = [("temperature", "F"), ("pressure", "hPa"), ("theme", "dark"), ("back", "/")]
    asked = show.get("/viewer").text
    assert show.submit(asked, "/viewer", likings).headers["location"] == "/"

    page = show.page()
    assert "above 77\N{NO-BREAK SPACE}°F" in page
    assert "<strong>86.0&nbsp;°F</strong>" in page
    assert "64.4\N{EN DASH}77\N{NO-BREAK SPACE}°F" in page
    assert "°C" not in page
    assert '<html lang="en" class="dark">' in page


def test_a_spoilt_liking_is_as_if_unsaid(make_show: MakeShow) -> None:
    """A cookie that is not ours costs nobody the page; a wrong choice is refused."""
    show = make_show({"enclosure": [enclosure()]})
    show.cookies.set("dewkeep_view", "K.bar.pink")
    assert 'class="auto"' in show.page()
    likings = [("temperature", "K"), ("pressure", "hPa"), ("theme", "dark")]
    assert show.submit(show.get("/viewer").text, "/viewer", likings).status_code == 422

"""The health page: what ails dewkeep stands first, and every rejection says what to do."""

from monitor.ingest.rejects import Reject
from tests.web.conftest import NIGHT_MS, MakeShow, enclosure


def test_all_is_well(make_show: MakeShow) -> None:
    """Every part says how it does; without channels it says what that means."""
    show = make_show({"enclosure": [enclosure()]})
    page = show.get("/health").text
    assert "<h1>All is well with dewkeep itself.</h1>" in page
    assert "Readings are stored as they come." in page
    assert "None is set up: alarms show on these pages only." in page
    assert "Nothing. Every message that came could be used." in page


def test_what_is_wrong_stands_first(make_show: MakeShow) -> None:
    """A lost broker is told with its reason, above what does well, in words and by its mark."""
    show = make_show({"enclosure": [enclosure()]})
    show.link.state.connected = False
    show.link.state.says = "refused at 127.0.0.1:1883"
    page = show.get("/health").text
    assert "<h1>1 of its parts cannot do their work.</h1>" in page
    assert page.index("Not connected (refused at 127.0.0.1:1883)") < page.index("Readings are")
    assert '<div class="missed"><dt><svg' in page


def test_rejections_are_counted_and_explained(make_show: MakeShow) -> None:
    """By reason, the most frequent first; topics are text, whatever is in them."""
    show = make_show({"enclosure": [enclosure()]})
    for reason, times in (("malformed", 2), ("unknown", 1), ("fault", 3)):
        for _ in range(times):
            show.rejects.add(Reject(NIGHT_MS, f"rack/<b>{reason}</b>", reason, "as it is"))
    page = show.get("/health").text
    assert page.index("<code>fault</code>") < page.index("<code>malformed</code>")
    assert "check the device&#39;s buffer size" in page
    assert "say on the set-up page which probe it is" in page
    assert "rack/&lt;b&gt;unknown&lt;/b&gt;" in page

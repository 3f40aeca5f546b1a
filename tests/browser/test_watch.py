"""The watch itself: a page that is wrong in every way it looks for is found out."""

from __future__ import annotations

import pytest

from tests.browser.watch import LISTEN, MOST_BYTES, Watched

pytestmark = pytest.mark.browser
BAD = """<!doctype html><html lang="en"><head><title>Bad</title>
<meta http-equiv="Content-Security-Policy" content="style-src 'none'"></head>
<body><main><h1>Bad</h1><img src="data:image/gif;base64,R0lGODlhAQABAAAAACw="><p style="color: #eee">unseen</p>
<table width="900"><tr><td>wide</td></tr></table>
<a href="#a" tabindex="-1">left out</a><button>reached</button><div tabindex="0" id="trap">trap</div>
<script>
    document.getElementById("trap").addEventListener("keydown", (event) => event.preventDefault());
    console.error("a complaint");
</script><button>behind the trap</button></main></body></html>"""


@pytest.fixture
def bad(browser):
    context = browser.new_context()
    context.add_init_script(LISTEN)
    context.route("http://bad.example.org/", lambda route: route.fulfill(body=BAD, content_type="text/html"))
    watched = Watched(context.new_page())
    watched.open("http://bad.example.org/")
    yield watched
    context.close()


def test_every_kind_of_fault_is_found(bad):
    said = "\n".join(bad.problems())
    assert "image-alt" in said
    assert "scrolls sideways" in said
    assert "a complaint" in said
    assert "style-src-attr" in said


def test_what_the_tab_key_does_not_reach_is_found(bad):
    wanted, reached = bad.tab_through()
    (missed,) = wanted.keys() - reached
    assert "behind the trap" in wanted[missed]


def test_the_weight_counts_what_the_page_fetched(bad):
    assert 300 < bad.bytes_without_pictures() < len(BAD) < MOST_BYTES

"""Every kind of mail in a real browser: both languages, narrow and wide, light and dark, without a barrier."""

from __future__ import annotations

import json

import pytest

from tests.browser.watch import SCHEMES, run_axe
from tests.mails import LANGUAGES, Mails, in_language

pytestmark = [pytest.mark.browser, pytest.mark.django_db]
WIDTHS = (360, 600)
OVER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_mail_has_a_barrier_or_scrolls_sideways(browser, language):
    mails = in_language(Mails(), language)
    page = browser.new_page(reduced_motion="reduce")
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    wrong, seen = [], 0
    for kind in mails.every:
        page.set_content(kind.write().html)
        for scheme in SCHEMES:
            page.emulate_media(color_scheme=scheme)
            for width in WIDTHS:
                page.set_viewport_size({"width": width, "height": 900})
                where = f"{kind.name} ({language}, {scheme}, {width} px)"
                wrong += [
                    f"{where}: {found['id']} at {json.dumps([node['target'] for node in found['nodes'][:3]])}"
                    for found in run_axe(page)
                ]
                if (over := page.evaluate(OVER)) > 0:
                    wrong.append(f"{where}: scrolls sideways by {over} px")
                seen += 1
    page.close()
    assert wrong == []
    assert seen == len(mails.every) * len(SCHEMES) * len(WIDTHS)
    assert asked == [], "a mail loads nothing from anywhere"


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_barrier_in_a_mail_would_be_found(browser, scheme):
    """The check itself: grey on grey in the same frame is seen in both schemes."""
    html = Mails().kinds[0].write().html.replace("<h1 ", '<p style="color:#bbb;background:#ccc">faint</p><h1 ')
    page = browser.new_page(reduced_motion="reduce")
    page.emulate_media(color_scheme=scheme)
    page.set_content(html)
    found = {one["id"] for one in run_axe(page)}
    page.close()
    assert "color-contrast" in found

"""Every page of the portal in a real browser: accessible, within the window, light, quiet on the console, obedient."""

from __future__ import annotations

import re

import pytest

from portal.access.registry import rule_of
from tests.browser.pages import NO_PAGE, STARTS, UNLINKED, links_of, url_names, walk
from tests.browser.watch import MOST_BYTES, Watched

pytestmark = pytest.mark.browser


@pytest.fixture(scope="session")
def found(people, portal):
    """person -> path -> URL name: what each of them reaches; a URL name only for the first who does, beside the start.

    Links that lead to an error are kept under the person's name with "broken" before it.
    """
    everything, known = {}, set()
    for who in STARTS:
        ask, broken = people[who].request, {}

        def fetch(path, ask=ask, broken=broken):
            answer = ask.get(path)
            if not answer.ok:
                broken[path] = answer.status
            return answer.url if answer.ok else None, links_of(answer.url, answer.text()) if answer.ok else []

        paths = walk(fetch, (*STARTS[who], *UNLINKED.get(who, ()), *(mailed(portal) if who == "stranger" else ())))
        assert paths, f"the {who} reaches nothing: {broken}"
        first = next(iter(paths))
        everything[who] = {path: name for path, name in paths.items() if name not in known or path == first}
        everything[f"broken {who}"] = broken
        known |= set(paths.values())
    return everything


def mailed(portal) -> list[str]:
    """The addresses to unsubscribe and to choose at, from the first mail that has them."""
    mail = next(mail for mail in portal.installation.mails() if mail["List-Unsubscribe"])
    stop = re.search(r"<https?://[^/]+(/[^>]+)>", mail["List-Unsubscribe"])
    choose = re.search(r"https?://[^/]+(/mail/choices/\S+)", mail.get_body(("plain",)).get_content())
    return [stop[1], choose[1]]


@pytest.mark.parametrize("who", STARTS)
def test_no_link_leads_to_an_error(found, who):
    """A page that mirrors a customer's mail links to the customer's own pages, which are closed to the studio (403)."""
    broken = {
        path: status
        for path, status in found[f"broken {who}"].items()
        if not (status == 403 and who != "customer" and path.startswith("/my/"))
    }
    assert broken == {}


def test_the_walk_misses_no_page(found):
    """Compared with the portal's own URL patterns, so that no new page can be forgotten."""
    reached = {name for who in STARTS for name in found[who].values()}
    pages = {
        name
        for name, pattern in url_names()
        if name not in NO_PAGE and not name.startswith("mail:anymail:") and rule_of(pattern.callback, name) != "closed"
    }
    assert pages - reached == set()
    assert NO_PAGE.keys() - {name for name, _ in url_names()} == set(), "no such URL name any more"


@pytest.mark.parametrize("who", STARTS)
def test_pages_are_sound_in_both_widths_and_schemes(people, found, who):
    assert found[who], f"no page found for the {who}"
    page = people[who].new_page()
    watched = Watched(page)
    wrong, names = [], set()
    for path, name in found[who].items():
        watched.open(path)
        # A second page of a kind has other content, but no other style.
        wrong += watched.problems() if name not in names else watched.problems(schemes=("light",), sizes=("phone",))
        names.add(name)
        if (weight := watched.bytes_without_pictures()) > MOST_BYTES:
            wrong.append(f"{path}: weighs {weight} bytes without pictures")
    page.close()
    assert not wrong, "\n".join(["", *wrong])


@pytest.mark.parametrize(
    ("who", "name"),
    [
        ("stranger", "account_login"),
        ("fleet", "customer:home"),
        ("customer", "customer:vehicle"),
        ("customer", "customer:choices"),
        ("owner", "studio:work"),
        ("owner", "studio:vehicle"),
        ("owner", "studio:outbox"),
        ("owner", "studio:outlook"),
        ("owner", "studio:record_inspection"),
    ],
)
def test_everything_is_reached_by_the_tab_key(people, found, who, name):
    paths = [path for path, found_name in found[who].items() if found_name == name]
    assert paths, f"the {who} reached no {name}"
    page = people[who].new_page()
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto(paths[0])
    wanted, reached = Watched(page).tab_through()
    page.close()
    assert wanted, "a page without a link or a button"
    assert [wanted[number] for number in sorted(wanted.keys() - reached)] == []

"""Every page of the portal, found by walking: from each person's start page along its links, one address per URL name.

What cannot be reached by a link stands in `UNLINKED` with the reason why; what is no page in `NO_PAGE`. A test compares
the walk with the portal's URL patterns, so that a new page cannot be forgotten here.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

from django.urls import Resolver404, URLPattern, URLResolver, get_resolver, resolve

# Who walks, and from where. A page is looked at as the first of them sees it; the start pages as each of them does.
STARTS = {
    "owner": ("/",),
    "technician": ("/",),
    "desk": ("/",),
    "customer": ("/",),
    "fleet": ("/",),
    "stranger": ("/account/login/",),
}
# Pages that no link of the demo leads to: reached by a form, a mail or a redirect.
UNLINKED = {
    "owner": (
        "/account/logout/",
        "/account/2fa/",
        "/account/password/set/",
        "/account/devices/",
        "/studio/vehicle/1/correction/plan/1/",
        "/studio/vehicle/1/correction/plan/1/said/",
        "/studio/vehicle/1/correction/plan/1/done/",
    ),
    "stranger": (
        "/account/login/code/",
        "/account/password/reset/",
        "/account/password/reset/done/",
        "/account/password/reset/key/done/",
        "/account/password/reset/key/1-wrong/",
        "/account/inactive/",
    ),
}
MEMBER = "looked at in test_member: it needs a member with a password and a second factor"
API = (
    "api:list_vehicles", "api:one_vehicle", "api:list_layers", "api:list_events", "api:list_due", "api:list_offers",
    "api:one_offer", "api:outlook_months", "api:register_vehicle", "api:record_layer", "api:record_event",
    "api:answer_offer",
)  # fmt: skip
# What answers without a page, or asks for a state that a walk does not come into; each with the reason.
NO_PAGE = {
    "home": "sends everybody to their start page",
    "healthz": "JSON for probes",
    "demo_sign_in": "signs in and sends on",
    "account_confirm_login_code": "looked at in test_flows: it needs a code",
    "sign_in_link": "looked at in test_door: it needs a mail",
    "switch_language": "takes a form only",
    "account_change_password": MEMBER,
    "account_reauthenticate": MEMBER,
    "mfa_authenticate": MEMBER,
    "mfa_reauthenticate": MEMBER,
    "mfa_view_recovery_codes": MEMBER,
    "mfa_generate_recovery_codes": MEMBER,
    "mfa_deactivate_totp": MEMBER,
    "mfa_list_webauthn": MEMBER,
    "mfa_edit_webauthn": MEMBER,
    "mfa_remove_webauthn": MEMBER,
    "mfa_reauthenticate_webauthn": MEMBER,
    "studio:closure": "needs a closure, which the demo has none of; its pieces are those of the other forms",
    "studio:photo": "a picture",
    "studio:intake_finding": "looked at in test_intake: it needs a finding",
    "studio:intake_worker": "a script",
    "studio:document": "a PDF",
    "customer:photo": "a picture",
    "customer:worker": "a script",
    "customer:manifest": "JSON for the home screen",
    "customer:data_json": "a JSON file",
    "customer:fleet_csv": "a CSV file",
    "customer:erase": "looked at in test_door: it needs a fresh sign-in",
    "studio:message_page": "a mail in a frame that runs no scripts; mails are looked at in test_flows",
    "mfa_download_recovery_codes": "a text file",
    "mfa_login_webauthn": "JSON for the script of the sign-in page",
    "studio:check_readings": "pieces of the readings page, looked at in test_readings",
    "studio:close_complaint": "takes a form only",
    "studio:report": "looked at in test_report: it needs a sealed report",
    "studio:report_addendum": "looked at in test_report",
    "studio:report_pdf": "a PDF",
    "customer:report": "looked at in test_report",
    "customer:report_pdf": "a PDF",
    "report_check": "looked at in test_report",
    "handover": "looked at in test_handover: it needs a mail",
    "customer:handover": "looked at in test_handover: it needs a fresh sign-in",
    "record": "looked at in test_care_record: it needs a link",
    "record_pdf": "a PDF",
    "record_json": "a JSON file",
    "record_check": "looked at in test_care_record",
    "studio:settle": "takes a form only",
    "studio:calendar_address": "takes a form only",
    "customer:choose_day": "takes a form only",
    "customer:feed": "takes a form only",
    "customer:visit_ics": "a calendar file",
    "calendar": "a calendar file",
    "studio:wording_page": "a mail as a page, from what is typed; mails are looked at in test_mails",
    "studio:pause": "takes a form only",
    "studio:outlook_prepare": "takes a form only",
    "studio:letter_pdf": "a PDF",
    "studio:letter_choice": "takes a form only",
    "studio:outlook_spread": "takes a form only",
    "studio:outlook_spreading": "looked at in test_outlook: it needs a spreading",
    "studio:phoned": "takes a form only",
    "studio:tend": "takes a form only",
    "studio:told": "takes a form only",
    "studio:import_file": "looked at in test_imports: it needs a file",
    "studio:import_errors": "a CSV file",
    "studio:end_token": "takes a form only",
    "studio:out_studio": "a zip",
    "studio:resend_hook": "takes a form only",
    "studio:hook": "needs an address of another program, which the demo has none of; its pieces are those of the list",
    "api:openapi-json": "JSON",
    **dict.fromkeys(API, "JSON for programs, with a token"),
}
MOST_A_NAME = 2


def url_names(resolver: URLResolver | None = None, prefix: str = "") -> Iterator[tuple[str, URLPattern]]:
    """Every named URL pattern with its namespaces, e.g. "studio:work"."""
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver):
            yield from url_names(entry, f"{prefix}{entry.namespace}:" if entry.namespace else prefix)
        elif entry.name:
            yield f"{prefix}{entry.name}", entry


def name_of(path: str) -> str | None:
    """The URL name of a path of the portal, or None where it is none."""
    try:
        return resolve(urlsplit(path).path).view_name
    except Resolver404:
        return None


def links_of(base: str, html: str) -> list[str]:
    """The paths of the portal that a page links to."""

    class Links(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            if tag == "a" and (href := dict(attrs).get("href")):
                found.append(urljoin(base, href))

    found: list[str] = []
    Links().feed(html)
    here = urlsplit(base).netloc
    return [urlsplit(link).path for link in found if urlsplit(link).netloc == here]


def walk(fetch_links: Callable[[str], tuple[str | None, list[str]]], starts: tuple[str, ...]) -> dict[str, str]:
    """Follow links breadth first.

    Args:
        fetch_links: opens a path; returns the address it ended at, None for an error, and the paths linked to there.
        starts: where to begin.

    Returns:
        path -> URL name, at most `MOST_A_NAME` paths of each name.
    """
    found: dict[str, str] = {}
    queued: Counter[str] = Counter()
    queue, seen = deque(starts), set(starts)
    while queue:
        address, links = fetch_links(queue.popleft())
        if address and (name := name_of(address)):
            found.setdefault(urlsplit(address).path, name)
        for link in links:
            target = name_of(link)
            if link not in seen and target and target not in NO_PAGE and queued[target] < MOST_A_NAME:
                seen.add(link)
                queued[target] += 1
                queue.append(link)
    return found

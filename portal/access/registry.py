"""The one registry from URL to access rule. A view without a rule is refused.

A view of ours names its rule with `@access("customer")`; the views of the libraries stand in the tables below.

| rule | who gets in |
|---|---|
| public | anybody |
| token | programs: the API asks for a bearer token itself, no session counts there |
| closed | nobody: a page of a library that we do not use answers 404 |
| signed_in | anybody who has signed in |
| customer | whoever keeps vehicles here |
| member | owner, technician, desk |
| technician | owner, technician |
| desk | owner, desk |
| owner | owner |

Rules that name members ask for a second factor too. Whether an object belongs to the person is asked by the scoped
read, which answers 404.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, Literal, TypeVar, get_args

Rule = Literal["public", "token", "closed", "signed_in", "customer", "member", "technician", "desk", "owner"]
RULES: Final[tuple[str, ...]] = get_args(Rule)
ROLES_OF: Final[dict[str, frozenset[str]]] = {
    "member": frozenset({"owner", "technician", "desk"}),
    "technician": frozenset({"owner", "technician"}),
    "desk": frozenset({"owner", "desk"}),
    "owner": frozenset({"owner"}),
}

View = TypeVar("View", bound=Callable[..., Any])
_ATTRIBUTE: Final = "access_rule"

# Views that are not ours, by URL name.
TABLE: Final[dict[str, Rule]] = {
    "account_login": "public",
    "account_logout": "signed_in",
    "account_reset_password": "public",
    "account_reset_password_done": "public",
    "account_reset_password_from_key": "public",
    "account_reset_password_from_key_done": "public",
    "account_inactive": "public",
    "account_signup": "closed",
    "account_email_verification_sent": "closed",
    "account_confirm_email": "closed",
    "account_email": "closed",
    "account_reauthenticate": "signed_in",
    "account_change_password": "signed_in",
    "account_set_password": "signed_in",
    "account_confirm_login_code": "closed",  # the library's; ours says its rule itself
    "usersessions_list": "closed",
    "api:openapi-json": "public",  # what the API is like; nothing of any studio
    "api:api-root": "closed",
}
# Views that are not ours, by the start of the URL name: the longest start that fits holds.
STARTS: Final[dict[str, Rule]] = {
    "api:": "token",
    "mfa_": "signed_in",
    "mfa_authenticate": "public",
    "mfa_login_webauthn": "public",
    "mfa_signup_webauthn": "closed",
}


def access(rule: Rule) -> Callable[[View], View]:
    """Give a view its rule.

    Raises:
        ValueError: if there is no such rule.
    """
    if rule not in RULES:
        raise ValueError(f"there is no access rule {rule!r}; the rules are {', '.join(RULES)}")

    def mark(view: View) -> View:
        setattr(view, _ATTRIBUTE, rule)
        return view

    return mark


def rule_of(view: Callable[..., Any], url_name: str) -> str | None:
    """Return the rule of a view, or None: then nobody gets in.

    Args:
        view: the callable behind the URL.
        url_name: its full name with namespaces, e.g. "studio:outlook".
    """
    own: str | None = getattr(view, _ATTRIBUTE, None)
    if own is not None:
        return own
    if url_name in TABLE:
        return TABLE[url_name]
    fitting = [start for start in STARTS if url_name.startswith(start)]
    return STARTS[max(fitting, key=len)] if fitting else None


def allows(rule: str, *, role: str | None, is_customer: bool) -> bool:
    """Say whether a signed-in person gets in.

    Args:
        role: role of the person as a member of a studio, or None.
        is_customer: whether the person is a customer of any studio.
    """
    if rule in ("public", "token", "signed_in"):
        return True
    if rule == "closed":
        return False
    if rule == "customer":
        return is_customer
    return role is not None and role in ROLES_OF[rule]

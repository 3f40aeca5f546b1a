"""The one way into the API: a bearer token with the scope that the address asks for (RFC 6750)."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any, Final

from django.http import HttpRequest
from django.utils import timezone
from ninja import Schema
from ninja.security import HttpBearer

from lifecycle.connect import tokens
from lifecycle.connect.scopes import SCOPES
from lifecycle.connect.tokens import Bearer

from .problems import REALM, Problem

UNKNOWN: Final = "The token is missing or unknown, has ended or run out, or its member no longer works here."


class TokenRequest(HttpRequest):
    """A request that a token has let in."""

    auth: Bearer


class Token(HttpBearer):
    """Asks for one scope, counts the request against the token's limit, and refuses parameters that nobody reads: a
    slip in a filter's name must not answer with everything."""

    def __init__(self, scope: str, parameters: Collection[str]) -> None:
        super().__init__()
        self.scope = SCOPES[scope].code
        self.parameters = frozenset(parameters)

    def authenticate(self, request: HttpRequest, token: str) -> Bearer:
        now = timezone.now()
        bearer = tokens.bearer_of(token.strip(), at=now)
        if bearer is None:
            raise no_token()
        count = tokens.count(bearer, at=now)
        request.api_count = count  # type: ignore[attr-defined]
        if not count.allowed:
            raise Problem(
                "too-often", f"This token has asked {tokens.PER_MINUTE} times within this minute.",
                where="Authorization", headers={"Retry-After": str(count.reset_s)},
            )  # fmt: skip
        if self.scope in bearer.scopes:
            self._refuse_unknown(request)
            return bearer
        if self.scope not in bearer.granted:
            challenge = f'{REALM}, error="insufficient_scope", scope="{self.scope}"'
            raise Problem(
                "scope", f"This needs the scope {self.scope}, which the token does not have.", where=self.scope,
                headers={"WWW-Authenticate": challenge},
            )  # fmt: skip
        raise Problem("role", f"A {bearer.member.role} may not do this on the pages either.", where=self.scope)

    def _refuse_unknown(self, request: HttpRequest) -> None:
        wrong = sorted(set(request.GET) - self.parameters)
        if wrong:
            known = f"it knows {', '.join(sorted(self.parameters))}" if self.parameters else "it takes none"
            raise Problem(
                "invalid", f"{request.path} takes no parameter {', '.join(map(repr, wrong))}; {known}.",
                where=", ".join(f"query.{name}" for name in wrong),
            )  # fmt: skip


def no_token() -> Problem:
    """The answer to whoever has no token that holds."""
    return Problem("no-token", UNKNOWN, where="Authorization")


def needs(scope: str, wanted: type[Schema] | None = None) -> dict[str, Any]:
    """What an operation passes on: its guard, and the words for its line in the reference.

    Args:
        wanted: the shape of its query parameters, None where it takes none.
    """
    words = f"Scope `{scope}`; roles {', '.join(sorted(SCOPES[scope].roles))}."
    return {
        "auth": Token(scope, wanted.model_fields if wanted else ()),
        "openapi_extra": {"x-scope": scope, "x-roles": words},
    }

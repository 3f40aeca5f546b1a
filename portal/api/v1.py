"""The API, version 1: its routers, its errors, its document."""

from __future__ import annotations

import json
from typing import Any, Final

from django.http import Http404, HttpRequest, HttpResponse
from ninja import NinjaAPI
from ninja.errors import AuthenticationError, HttpError, ValidationError

from lifecycle.errors import DomainError

from . import due, events, layers, offers, outlook, problems, vehicles
from .bearer import no_token
from .problems import Problem

ABOUT: Final = (
    "Vehicles, layers, events, care that is due, offers and the outlook of one studio. Days are ISO 8601 dates, times "
    "ISO 8601 with zone, money is a text with two decimals. Lists are paged. Errors are RFC 9457 problems."
)


class Api(NinjaAPI):
    """Ninja's API whose document names the media type that errors really have."""

    def get_openapi_operation_id(self, operation: Any) -> str:
        return str(operation.view_func.__name__)

    def get_openapi_schema(self, *, path_prefix: str | None = None, path_params: Any = None) -> Any:
        schema = super().get_openapi_schema(path_prefix=path_prefix, path_params=path_params)
        for operations in schema["paths"].values():
            for operation in operations.values():
                operation["summary"] = operation["summary"].capitalize()
                for parameter in operation["parameters"]:
                    _without_null(parameter["schema"])
                for status, told in operation["responses"].items():
                    if int(status) >= 400:
                        told["content"] = {problems.MEDIA_TYPE: told["content"]["application/json"]}
        named = json.dumps(schema["paths"]) + json.dumps(schema["components"]["schemas"])
        shapes = schema["components"]["schemas"]
        schema["components"]["schemas"] = {name: one for name, one in shapes.items() if f'schemas/{name}"' in named}
        return schema


def _without_null(schema: dict[str, Any]) -> None:
    """A parameter is left out, never null: an address cannot say null."""
    kinds = [one for one in schema.get("anyOf", ()) if one.get("type") != "null"]
    if len(kinds) == 1:
        del schema["anyOf"]
        schema |= kinds[0]


api = Api(
    title="Sheenward", version="1", urls_namespace="api", description=ABOUT, docs_url=None,
    openapi_url="openapi.json",
)  # fmt: skip
for router in (vehicles.router, layers.router, events.router, due.router, offers.router, outlook.router):
    api.add_router("", router)


@api.exception_handler(Problem)
def _problem(request: HttpRequest, error: Problem) -> HttpResponse:
    return problems.answer(error)


@api.exception_handler(ValidationError)
def _invalid(request: HttpRequest, error: ValidationError) -> HttpResponse:
    return problems.answer(problems.of_validation(error))


@api.exception_handler(AuthenticationError)
def _no_token(request: HttpRequest, error: AuthenticationError) -> HttpResponse:
    return problems.answer(no_token())


@api.exception_handler(HttpError)
def _unreadable(request: HttpRequest, error: HttpError) -> HttpResponse:
    return problems.answer(Problem("malformed", f"{error.message}.", where="body"))


@api.exception_handler(Http404)
def _not_here(request: HttpRequest, error: Http404) -> HttpResponse:
    return problems.answer(Problem("not-found", str(error) or f"There is nothing at {request.path}."))


@api.exception_handler(DomainError)
def _refused(request: HttpRequest, error: DomainError) -> HttpResponse:
    return problems.answer(problems.of_domain(error))

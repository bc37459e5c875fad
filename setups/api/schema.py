"""The interface's own description: OpenAPI 3.1 as JSON and YAML, and a page to browse it."""

from __future__ import annotations

from functools import cache
from typing import Any, ClassVar

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from drf_spectacular import renderers, views
from drf_spectacular.generators import SchemaGenerator

from .problems import MEDIA_TYPE, PROBLEMS
from .views import COMPUTING, FIELDS, Reading

_PROBLEM = {
    "type": "object",
    "description": "What is wrong and what to do about it, as RFC 9457 has it.",
    "required": ["type", "title", "status", "detail", "instance"],
    "properties": {
        "type": {
            "type": "string",
            "format": "uri-reference",
            "enum": [kind.type for kind in PROBLEMS.values()],
            "description": "Stable, and an address that explains the kind of problem.",
        },
        "title": {"type": "string"},
        "status": {"type": "integer", "minimum": 400, "maximum": 599},
        "detail": {"type": "string", "description": "What to do."},
        "instance": {"type": "string", "format": "uri-reference"},
        "errors": {
            "type": "array",
            "description": "One entry a mistake, where there are several places for them.",
            "items": {
                "type": "object",
                "required": ["detail"],
                "properties": {
                    "pointer": {
                        "type": "string",
                        "format": "uri-reference",
                        "description": "JSON pointer into the content, such as #/body/dimensions/wheelbase.",
                    },
                    "parameter": {"type": "string", "description": "Name of a parameter of the address."},
                    "detail": {"type": "string"},
                },
                "additionalProperties": False,
            },
        },
    },
    "additionalProperties": False,
}
_REF = {"$ref": "#/components/schemas/Problem"}
_ETAG = {"description": "Changes with the content.", "schema": {"type": "string"}}
_WAIT = {"description": "Seconds to wait.", "schema": {"type": "integer"}}
_LOCATION = {"description": "Where it is now.", "schema": {"type": "string", "format": "uri-reference"}}
_WANTED = {"description": "The token, or the scope of it, that is wanted.", "schema": {"type": "string"}}
_IF_NONE_MATCH = {
    "in": "header",
    "name": "If-None-Match",
    "schema": {"type": "string"},
    "description": "ETag of the answer at hand: 304 without content if that is still good.",
}
_READING = ("400", "404", "406", "429")
_COMPUTING = ("400", "406", "413", "415", "429")
_WRITING = ("400", "401", "403", "404", "406", "409", "413", "415", "429")
_MEMBERS = ("401", "403")


def _may(method: str, operation: dict[str, Any]) -> tuple[str, ...]:
    """The statuses of problems that an operation can answer with, besides those of its headers."""
    members = _MEMBERS if {} not in operation.get("security", [{}]) else ()
    if method == "get":
        return (*_READING, *members)
    return (*_COMPUTING, *members) if operation["tags"] == [COMPUTING] else _WRITING


def _by_header(operation: dict[str, Any]) -> tuple[str, ...]:
    names = {one["name"] for one in operation.get("parameters", ())}
    matched = ("412", "428") if "If-Match" in names else ()
    return (*matched, "422") if "Idempotency-Key" in names else matched


def describe_problems(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """A postprocessing hook: every operation's errors, its ETag, sparse answers, the schema of a problem."""
    components = result["components"]
    components.setdefault("schemas", {})["Problem"] = _PROBLEM
    titles = {str(kind.status): kind.title for kind in reversed(PROBLEMS.values())} | {
        "default": "Another problem"
    }
    answers = components.setdefault("responses", {})
    for status, title in titles.items():
        answers[f"Problem-{status}"] = {"description": title, "content": {MEDIA_TYPE: {"schema": _REF}}}
    for status in ("429", "503"):
        answers[f"Problem-{status}"]["headers"] = {"Retry-After": _WAIT}
    for status in _MEMBERS:
        answers[f"Problem-{status}"]["headers"] = {"WWW-Authenticate": _WANTED}
    for path in result["paths"].values():
        for method, operation in path.items():
            for status in (*_may(method, operation), *_by_header(operation), "503", "default"):
                operation["responses"][status] = {"$ref": f"#/components/responses/Problem-{status}"}
            if FIELDS in {one["name"] for one in operation.get("parameters", ())}:
                _describe_sparse(operation, components["schemas"])
            if method == "get":
                operation["responses"]["200"]["headers"] = {"ETag": _ETAG}
                operation["responses"]["304"] = {"description": "The ETag in If-None-Match is still good."}
                operation.setdefault("parameters", []).append(_IF_NONE_MATCH)
            if "201" in operation["responses"]:
                operation["responses"]["201"]["headers"] = {"Location": _LOCATION, "ETag": _ETAG}
    return result


def _describe_sparse(operation: dict[str, Any], schemas: dict[str, Any]) -> None:
    """A row that is answered is whole, or has the fields that the parameter names."""
    for content in operation["responses"]["200"]["content"].values():
        page = schemas[_named(content["schema"])]["properties"].get("results")
        holder, key = (content, "schema") if page is None else (page, "items")
        if "$ref" in holder[key]:
            name = _named(holder[key])
            schemas[f"Some{name}"] = {
                "type": "object",
                "description": f"Those of its fields that the parameter {FIELDS} names.",
                "properties": schemas[name]["properties"],
            }
            holder[key] = {"anyOf": [holder[key], {"$ref": f"#/components/schemas/Some{name}"}]}


def _named(schema: dict[str, Any]) -> str:
    return str(schema["$ref"]).rpartition("/")[2]


class Generator(SchemaGenerator):
    """The generator, asked once a process: the schema changes with the code and with nothing else."""

    def get_schema(self, request: Any = None, public: bool = False) -> Any:
        return _generated() if public else super().get_schema(request, public)


@cache
def _generated() -> Any:
    return SchemaGenerator().get_schema(public=True)


class Schema(Reading, views.SpectacularAPIView):
    """OpenAPI 3.1: JSON, or YAML for who asks for it in Accept."""

    generator_class = Generator
    renderer_classes: ClassVar[list[Any]] = [
        renderers.OpenApiJsonRenderer2,
        renderers.OpenApiJsonRenderer,
        renderers.OpenApiYamlRenderer2,
        renderers.OpenApiYamlRenderer,
    ]


class SchemaJson(Schema):
    renderer_classes: ClassVar[list[Any]] = [renderers.OpenApiJsonRenderer2, renderers.OpenApiJsonRenderer]


class SchemaYaml(Schema):
    renderer_classes: ClassVar[list[Any]] = [renderers.OpenApiYamlRenderer2, renderers.OpenApiYamlRenderer]


@require_safe
def docs(request: HttpRequest) -> HttpResponse:
    """The schema as a page that one can try calls on."""
    return render(request, "api/docs.html")

"""Complete the OpenAPI document of FastAPI, so that programs can make a client from it."""

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from api.openapi import about, messages, operations, shapes
from api.openapi.parts import operations_of
from api.routes import webhook_messages
from api.routes.contract import Problem
from api.routes.files import FILE_FORM
from api.routes.imports import TRIAL_BATCH


def document(app: FastAPI) -> dict[str, Any]:
    """Return the document; it is made once."""
    if app.openapi_schema is None:
        generated = get_openapi(
            title=app.title,
            version=app.version,
            summary=about.SUMMARY,
            description=about.DESCRIPTION,
            routes=app.routes,
            webhooks=webhook_messages.router.routes,
            tags=about.tags(),
            servers=about.servers(app.state.settings.root_path),
            contact=about.CONTACT,
            license_info=about.LICENCE,
        )
        app.openapi_schema = _complete(generated)
    return app.openapi_schema


def _complete(generated: dict[str, Any]) -> dict[str, Any]:
    components = generated["components"]
    for name in ("HTTPValidationError", "ValidationError"):
        components["schemas"].pop(name, None)
    problem = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    components["schemas"] |= problem.pop("$defs") | {"Problem": problem}
    components["schemas"] |= {each["title"]: dict(each) for each in (FILE_FORM, TRIAL_BATCH)}
    components["securitySchemes"] = {"key": about.KEY}
    components["headers"] = about.headers()
    components["responses"] = {}
    for path, operation in operations_of(generated):
        operations.complete(path, operation, components)
    for item in generated["webhooks"].values():
        messages.complete(item["post"])
    shapes.complete(generated)
    return generated

"""Name the shapes of values that the models leave without a type, such as a rule set."""

from api.openapi.parts import REF, Part

#: The shapes of values, by the values' names.
_SHAPES = {"as_typed": "AsTyped", "errors": "FieldError", "rule_set": "RuleSet"}
_AS_TYPED = {
    "AsTyped": {
        "title": "AsTyped",
        "description": "Values that came in another unit, as they were typed, by their field.",
        "type": "object",
        "additionalProperties": {"$ref": f"{REF}TypedValue"},
    },
    "TypedValue": {
        "title": "TypedValue",
        "description": "A value as it was typed.",
        "type": "object",
        "properties": {
            "value": {"description": "The number, or the numbers of a list."},
            "unit": {"type": "string", "description": "The unit that it was typed in."},
            "field": {"type": "string", "description": "The name that it came under."},
        },
        "required": ["value", "unit", "field"],
    },
}


def complete(schemas: Part) -> None:
    """Let each value without a type refer to its shape."""
    schemas |= _AS_TYPED
    for schema in list(schemas.values()):
        for name, value in schema.get("properties", {}).items():
            if name in _SHAPES:
                _name_free_form(value, _SHAPES[name])


def _name_free_form(value: Part, name: str) -> None:
    """Let a value, one of its choices or the items of its list be of a named shape."""
    for part in (value, *value.get("anyOf", ()), value.get("items", {})):
        if part.get("type") == "object" and part.get("additionalProperties"):
            del part["type"], part["additionalProperties"]
            part["$ref"] = f"{REF}{name}"

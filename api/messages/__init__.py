"""All texts for people, by key: one catalogue file for each language."""

from api.messages.catalogue import catalogue, has_key, say
from api.messages.languages import current_language, using

__all__ = ["catalogue", "current_language", "has_key", "say", "using"]

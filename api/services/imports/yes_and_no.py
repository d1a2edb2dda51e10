"""Yes and no as written in English, German, French, Spanish, Italian, Portuguese and Dutch."""

YES = frozenset(
    {"true", "yes", "y", "1", "x", "✓", "✔", "☑", "√"}
    | {"ja", "j", "wahr", "oui", "vrai", "sí", "si", "verdadero", "sì", "vero", "sim", "waar"}
)
NO = frozenset(
    {"false", "no", "n", "0", "✗", "✘", "☐"}
    | {"nein", "falsch", "non", "faux", "falso", "não", "nao", "nee", "onwaar"}
)

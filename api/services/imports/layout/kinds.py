"""The kinds of trials in the words of several languages."""

from api.services.imports.layout.titles import plain

WORDS = {
    "record": ("record", "normal", "messung", "rekord", "mesure", "medida", "misura", "meting"),
    "pitch": ("pitch", "pitch sweep", "winkel", "blattwinkel", "calage", "angulo", "paso",
              "passo", "angolo", "hoek"),
    "load": ("load", "load sweep", "last", "lastreihe", "charge", "carga", "carico", "belasting"),
    "wind": ("wind", "wind sweep", "windreihe", "vent", "viento", "vento"),
    "reference": ("reference", "reference rotor", "referenz", "referenzrotor", "rotor de reference",
                  "referencia", "riferimento", "referentie"),
    "open_circuit": ("open circuit", "leerlauf", "circuit ouvert", "circuito abierto",
                     "circuito aberto", "circuito aperto", "open klem"),
    "visit": ("visit", "besuch", "visite", "visita", "bezoek"),
    "event": ("event", "treffen", "rencontre", "encuentro", "encontro", "incontro",
              "wedstrijd"),
}  # fmt: skip
MEANS = {word: kind for kind, words in WORDS.items() for word in words}


def kind_of(text: str) -> str:
    """Return the kind that a cell names; the text itself if it is none of them.

    >>> kind_of("Référence"), kind_of("open circuit"), kind_of("other")
    ('reference', 'open_circuit', 'other')
    """
    return MEANS.get(plain(text), text)

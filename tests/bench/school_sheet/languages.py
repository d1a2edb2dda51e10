"""How teachers of seven countries write titles, words and numbers: written for this test alone."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Language:
    """Titles by column, the words for yes, no and a mean, and the usual signs and order."""

    titles: dict[str, tuple[str, ...]]
    yes: tuple[str, ...]
    mean: str
    remark: str
    power: str
    headline: str
    decimal: str
    days: tuple[str, ...]  # forms of strftime, the usual one first


NUMERIC = ("%d.%m.%Y", "%d.%m.%y")
SLASHED = ("%d/%m/%Y", "%d/%m/%y", "%d-%m-%Y")
LANGUAGES = {
    "en": Language(
        {"team": ("Team", "Team name", "Group"), "day": ("Date", "Day"),
         "clock": ("Time", "Start time"), "bench": ("Bench", "Test bench"),
         "build": ("Build", "Version"), "pitch": ("Pitch", "Blade angle", "Pitch angle"),
         "load": ("Load", "Resistance", "Load resistor"),
         "connected": ("Connected", "Load connected"), "volts": ("Voltage", "Volts"),
         "wind": ("Wind", "Wind speed"), "air": ("Temp", "Air temperature", "Temperature"),
         "adult": ("Adult present", "Supervised"),
         "reading": ("Reading", "Run"), "trial": ("Trial", "Test no", "Trial no")},
        ("yes", "Y", "x", "✓"), "Average", "Remarks", "Power (mW)", "Our turbine tests", ".",
        ("%Y-%m-%d", "%d %B %Y", *SLASHED, "%m/%d/%Y"),
    ),
    "de": Language(
        {"team": ("Team", "Gruppe", "Mannschaft"), "day": ("Datum", "Tag"),
         "clock": ("Uhrzeit", "Zeit"), "bench": ("Prüfstand",), "build": ("Aufbau", "Version"),
         "pitch": ("Blattwinkel", "Anstellwinkel"), "volts": ("Spannung",),
         "load": ("Widerstand", "Lastwiderstand", "Last"),
         "connected": ("Angeschlossen", "Last angeschlossen"),
         "wind": ("Wind", "Windgeschwindigkeit"), "air": ("Temperatur", "Lufttemperatur"),
         "adult": ("Erwachsener dabei", "Aufsicht"), "reading": ("Messung", "Lauf"),
         "trial": ("Versuch", "Versuch Nr.")},
        ("ja", "x", "J"), "Mittelwert", "Bemerkung", "Leistung (mW)", "Messungen Windrad", ",",
        NUMERIC,
    ),
    "fr": Language(
        {"team": ("Équipe", "Groupe"), "day": ("Date", "Jour"), "clock": ("Heure",),
         "bench": ("Banc d'essai", "Banc"), "build": ("Montage", "Version"),
         "pitch": ("Angle de calage", "Calage"), "load": ("Résistance", "Charge"),
         "connected": ("Branchée", "Charge branchée"), "volts": ("Tension",),
         "wind": ("Vent", "Vitesse du vent"), "air": ("Température", "Température de l'air"),
         "adult": ("Adulte présent",), "reading": ("Mesure",), "trial": ("Essai", "Essai no")},
        ("oui", "x"), "Moyenne", "Remarques", "Puissance (mW)", "Essais de l'éolienne", ",",
        (*SLASHED, "%d.%m.%Y"),
    ),
    "es": Language(
        {"team": ("Equipo", "Grupo"), "day": ("Fecha",), "clock": ("Hora",),
         "bench": ("Banco de pruebas", "Banco"), "build": ("Montaje",),
         "pitch": ("Ángulo", "Ángulo de pala"), "load": ("Resistencia", "Carga"),
         "connected": ("Conectado", "Carga conectada"), "volts": ("Tensión", "Voltaje"),
         "wind": ("Viento", "Velocidad del viento"), "air": ("Temperatura",),
         "adult": ("Adulto presente",), "reading": ("Medida",), "trial": ("Ensayo", "Prueba")},
        ("sí", "si", "x"), "Promedio", "Observaciones", "Potencia (mW)", "Ensayos", ",", SLASHED,
    ),
    "pt": Language(
        {"team": ("Equipe", "Grupo"), "day": ("Data",), "clock": ("Hora",),
         "bench": ("Bancada",), "build": ("Montagem", "Versão"),
         "pitch": ("Ângulo da pá", "Ângulo"), "load": ("Resistência", "Carga"),
         "connected": ("Ligada", "Carga ligada"), "volts": ("Tensão",),
         "wind": ("Vento", "Velocidade do vento"), "air": ("Temperatura", "Temperatura do ar"),
         "adult": ("Adulto presente",), "reading": ("Medição",), "trial": ("Ensaio", "Teste")},
        ("sim", "x"), "Média", "Observações", "Potência (mW)", "Ensaios da turbina", ",", SLASHED,
    ),
    "it": Language(
        {"team": ("Squadra", "Gruppo"), "day": ("Data", "Giorno"), "clock": ("Ora",),
         "bench": ("Banco prova", "Banco"), "build": ("Versione",),
         "pitch": ("Angolo", "Angolo pala", "Passo"), "load": ("Resistenza", "Carico"),
         "connected": ("Collegato", "Carico collegato"), "volts": ("Tensione",),
         "wind": ("Vento", "Velocità del vento"), "air": ("Temperatura",),
         "adult": ("Adulto presente",), "reading": ("Misura",), "trial": ("Prova",)},
        ("sì", "si", "x"), "Media", "Osservazioni", "Potenza (mW)", "Prove della turbina", ",",
        SLASHED,
    ),
    "nl": Language(
        {"team": ("Team", "Ploeg", "Groep"), "day": ("Datum", "Dag"), "clock": ("Tijd",),
         "bench": ("Testbank",), "build": ("Versie",), "pitch": ("Bladhoek", "Hoek"),
         "load": ("Weerstand", "Belasting"), "connected": ("Aangesloten", "Belasting aangesloten"),
         "volts": ("Spanning",), "wind": ("Wind", "Windsnelheid"), "air": ("Temperatuur",),
         "adult": ("Volwassene aanwezig", "Toezicht"), "reading": ("Meting",),
         "trial": ("Proef", "Proef nr")},
        ("ja", "x"), "Gemiddelde", "Opmerkingen", "Vermogen (mW)", "Proeven windmolen", ",",
        ("%d-%m-%Y", "%d/%m/%y", "%d.%m.%Y"),
    ),
}  # fmt: skip
#: Units by column: as it is written, the factor to the unit of the API, the zero, the decimals.
UNITS = {
    "volts": (("V", 1.0, 0.0, 2), ("mV", 0.001, 0.0, 0)),
    "wind": (("m/s", 1.0, 0.0, 1), ("km/h", 1 / 3.6, 0.0, 1), ("mph", 0.44704, 0.0, 1)),
    "load": (("Ω", 1.0, 0.0, 1), ("ohm", 1.0, 0.0, 0), ("kΩ", 1000.0, 0.0, 3)),
    "air": (("°C", 1.0, 0.0, 1), ("°F", 5 / 9, 32.0, 0), ("C", 1.0, 0.0, 0)),
    "pitch": (("°", 1.0, 0.0, 1), ("deg", 1.0, 0.0, 0)),
}

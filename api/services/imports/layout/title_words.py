"""The words that titles of columns have in English and six other languages of schools.

They are words of the trade, in no language more than a few: a title that is not among them is
shown to the user, who picks its column from a list.
"""

#: Words by the column they mean, without accents and in lower case.
WORDS: dict[str, tuple[str, ...]] = {
    "organisation": (
        "organisation", "organization", "school", "club",
        "schule", "verein", "ecole", "college", "lycee", "escuela", "colegio", "instituto",
        "escola", "scuola", "istituto", "vereniging",
    ),
    "team": (
        "team", "team name", "group", "crew", "gruppe", "mannschaft", "teamname", "equipe",
        "groupe", "nom de l equipe", "equipo", "grupo", "nombre del equipo", "squadra", "gruppo",
        "nome da equipe", "nome squadra", "ploeg", "groep", "teamnaam",
    ),
    "turbine": (
        "turbine", "wind turbine", "machine", "windrad", "windturbine", "eolienne", "turbina",
        "aerogenerador", "turbina eolica", "aerogerador", "aerogeneratore", "windmolen",
    ),
    "build": (
        "build", "build number", "build no", "version", "aufbau", "aufbau nr", "montage",
        "montaje", "montagem", "versao", "versione", "versie", "bouw",
    ),
    "bench": (
        "bench", "test bench", "test stand", "prufstand", "banc", "banc d essai", "banco",
        "banco de pruebas", "banco de ensayo", "bancada", "bancada de teste", "banco prova",
        "testbank", "proefbank", "testopstelling",
    ),
    "session_started_at": (
        "session started at", "session", "started at", "date", "day", "date and time", "datetime",
        "date time", "timestamp", "datum", "tag", "datum und zeit", "datum und uhrzeit",
        "zeitpunkt", "date et heure", "jour", "fecha", "fecha y hora", "dia", "data",
        "data e hora", "data e ora", "giorno", "dag", "datum en tijd", "sitzung", "seance",
    ),
    "time_of_day": (
        "time", "start time", "clock", "uhrzeit", "zeit", "beginn", "heure", "hora", "ora",
        "orario", "tijd", "tijdstip", "starttijd",
    ),
    "kind": (
        "kind", "type", "test type", "trial type", "art", "typ", "versuchsart", "genre",
        "type d essai", "tipo", "tipo de ensayo", "tipo de ensaio", "tipo di prova", "soort",
    ),
    "client_ref": ("client ref", "reference", "ref", "referenz", "referencia", "riferimento",
                   "referentie"),
    "trial_number": (
        "trial", "trial no", "trial number", "test", "test no", "test number", "versuch",
        "versuch nr", "versuchsnummer", "essai", "essai no", "numero d essai", "ensayo",
        "prueba", "ensaio", "teste", "prova", "proef", "proef nr", "proefnummer",
    ),
    "run": (
        "run", "run no", "reading", "reading no", "repeat", "replicate", "messung", "lauf",
        "durchgang", "mesure", "repetition", "medida", "medicion", "repeticion", "medicao",
        "repeticao", "misura", "ripetizione", "meting", "herhaling",
    ),
    "pitch_deg": (
        "pitch", "blade pitch", "pitch angle", "blade angle", "angle", "blattwinkel",
        "anstellwinkel", "einstellwinkel", "winkel", "calage", "angle de calage",
        "angle des pales", "angle de pale", "angulo", "angulo de paso", "angulo de pala", "paso",
        "angulo da pa", "angulo de passo", "passo", "angolo", "angolo di calettamento",
        "angolo pala", "calettamento", "hoek", "bladhoek", "instelhoek",
    ),
    "load_ohm": (
        "load", "load resistor", "load resistance", "resistance", "resistor", "r load", "rload",
        "last", "lastwiderstand", "widerstand", "charge", "resistance de charge", "carga",
        "resistencia", "resistencia de carga", "resistor de carga", "carico", "resistenza",
        "resistenza di carico", "belasting", "weerstand", "belastingsweerstand",
    ),
    "load_connected": (
        "load connected", "connected", "angeschlossen", "last angeschlossen", "branche",
        "branchee", "connecte", "connectee", "charge branchee", "charge connectee", "conectado",
        "conectada", "carga conectada", "ligado", "ligada", "carga ligada", "collegato",
        "collegata", "carico collegato", "aangesloten", "belasting aangesloten",
    ),
    "voltage_v": (
        "voltage", "volts", "volt", "spannung", "tension", "voltaje", "tensao", "tensione",
        "spanning", "voltaggio",
    ),
    "current_a": (
        "current", "amps", "strom", "stromstarke", "courant", "intensite", "corriente",
        "intensidad", "corrente", "stroom", "stroomsterkte",
    ),
    "rotor_speed_rpm": (
        "rotor speed", "rpm", "rev min", "speed of rotation", "rotational speed", "drehzahl",
        "vitesse de rotation", "velocidad de giro", "velocidad de rotacion", "rotacao",
        "velocidade de rotacao", "velocita di rotazione", "giri", "toerental",
    ),
    "wind_speed_m_s": (
        "wind speed", "wind", "windspeed", "air speed", "windgeschwindigkeit", "vent",
        "vitesse du vent", "viento", "velocidad del viento", "vento", "velocidade do vento",
        "velocita del vento", "velocita vento", "windsnelheid",
    ),
    "air_temperature_c": (
        "air temperature", "temperature", "temp", "air temp", "room temperature", "lufttemperatur",
        "temperatur", "temperature de l air", "temperatura", "temperatura del aire",
        "temperatura do ar", "temperatura dell aria", "temperatuur", "luchttemperatuur",
    ),
    "pressure_hpa": (
        "pressure", "air pressure", "barometer", "luftdruck", "druck", "pression",
        "pression atmospherique", "presion", "presion atmosferica", "pressao",
        "pressao atmosferica", "pressione", "pressione atmosferica", "druk", "luchtdruk",
    ),
    "relative_humidity_pct": (
        "relative humidity", "humidity", "rh", "luftfeuchte", "luftfeuchtigkeit", "feuchte",
        "relative feuchte", "humidite", "humidite relative", "humedad", "humedad relativa",
        "umidade", "humidade", "umidade relativa", "umidita", "umidita relativa", "vochtigheid",
        "luchtvochtigheid",
    ),
    "warm_up_min": (
        "warm up", "warmup", "aufwarmzeit", "vorlauf", "prechauffage", "calentamiento",
        "aquecimento", "riscaldamento", "opwarmtijd",
    ),
    "adult_present": (
        "adult present", "adult", "supervised", "erwachsener", "erwachsene", "erwachsener dabei",
        "aufsicht", "adulte", "adulte present", "adulto", "adulto presente", "volwassene",
        "volwassene aanwezig", "toezicht",
    ),
    "duration_s": ("duration", "dauer", "messdauer", "duree", "duracion", "duracao", "durata",
                   "duur"),
    "meter_range_v": (
        "meter range", "range", "messbereich", "bereich", "calibre", "gamme", "escala", "rango",
        "gama", "portata", "bereik", "meetbereik",
    ),
    "rotor_diameter_m": (
        "rotor diameter", "diameter", "durchmesser", "rotordurchmesser", "diametre",
        "diametre du rotor", "diametro", "diametro del rotor", "diametro do rotor",
        "diametro del rotore", "rotordiameter",
    ),
    "note": (
        "note", "notes", "notiz", "notizen", "nota", "notas", "notities", "notitie",
    ),
}  # fmt: skip

#: Titles of a teacher's remarks: not read, and offered as the note.
REMARKS = (
    "remark", "remarks", "comment", "comments", "bemerkung", "bemerkungen", "anmerkung",
    "kommentar", "remarque", "remarques", "commentaire", "commentaires", "observacion",
    "observaciones", "comentario", "comentarios", "observacao", "observacoes", "osservazione",
    "osservazioni", "commento", "commenti", "opmerking", "opmerkingen",
)  # fmt: skip

#: Titles of what Gustbook calculates itself.
CALCULATED = (
    "power", "mean power", "average", "mean", "mean voltage", "efficiency", "leistung",
    "mittelwert", "puissance", "moyenne", "potencia", "media", "potenza", "vermogen",
    "gemiddelde", "cp",
)  # fmt: skip

#: Titles of columns that name people: never read, and never offered as the note.
PEOPLE = (
    "name", "names", "student", "students", "pupil", "pupils", "teacher", "operator", "recorder",
    "measured by", "schuler", "schulerin", "namen", "lehrer", "nom", "prenom", "eleve", "eleves",
    "professeur", "nombre", "alumno", "alumna", "alumnos", "profesor", "nome", "aluno", "aluna",
    "alunos", "studente", "studenti", "insegnante", "naam", "leerling", "leerlingen", "docent",
    "email", "e mail", "phone",
)  # fmt: skip

#: The first word of rows that summarise others.
SUMMARIES = (
    "average", "avg", "mean", "median", "total", "sum", "max", "min", "maximum", "minimum", "best",
    "std", "stdev", "sd", "count", "mittelwert", "durchschnitt", "mittel", "summe", "gesamt",
    "moyenne", "somme", "total", "ecart type", "promedio", "media", "suma", "soma", "totale",
    "somma", "gemiddelde", "gemiddeld", "totaal", "som",
)  # fmt: skip

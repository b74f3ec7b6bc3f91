"""The trade's words for what a column holds, in seven languages: rows of one table.

A header is understood word by word: each word stands for one idea (`current`, `battery`,
`left`). A new wording is one more word in a row. Only single trade words and abbreviations
stand here, no complete headers.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

LANGUAGES = ("en", "de", "fr", "es", "it", "pt", "nl")

# fmt: off
_TABLE: tuple[tuple[str, ...], ...] = (
    # idea, English and abbreviations, German, French, Spanish, Italian, Portuguese, Dutch
    # what is measured
    ("current", "current|currents|curr|amps|amp|amperage|i", "strom|ströme|stromstärke|stromstaerke", "courant|intensité", "corriente|intensidad", "corrente|intensità", "corrente", "stroom|stroomsterkte"),
    ("voltage", "voltage|volts|volt|volta|u", "spannung|spg", "tension", "tensión|voltaje", "tensione|voltaggio", "tensão|voltagem", "spanning"),
    ("power", "power|pwr|watts|watt|wattage", "leistung", "puissance", "potencia", "potenza", "potência", "vermogen"),
    ("temperature", "temperature|temp|temperatures|tmp|temper", "temperatur|temperaturen", "température|temp.", "temperatura", "temperatura", "temperatura", "temperatuur"),
    ("rotation", "rpm|rev|revs|revolutions|turns|rotation|rotational|rps", "drehzahl|umdrehungen|umdrehung", "régime|tours|rotation", "revoluciones|vueltas|rotación|giro", "giri|rotazione|regime", "rotações|rotação|rpms", "toerental|omwentelingen|toeren"),
    ("erpm", "erpm", "", "", "", "", "", ""),
    ("speed", "speed|velocity|spd|vel", "geschwindigkeit|tempo|geschw", "vitesse", "velocidad", "velocità", "velocidade", "snelheid"),
    ("throttle", "throttle|accelerator|gas|thr|demand|twist|thumb|trigger|twistgrip", "gasgriff|gaspedal|fahrpedal|daumengas|gashebel|drehgriff|stellung", "accélérateur|gaz|poignée|gâchette", "acelerador|puño", "acceleratore|manopola", "acelerador|punho", "gashendel|gasgreep|gaspedaal"),
    ("brake", "brake|brk|braking|brakes|regen|regenerative", "bremse|bremsung|bremspedal|bremshebel|brems|rekuperation", "frein|freinage", "freno|frenado|frenada", "freno|frenata", "travão|freio|travagem|frenagem", "rem|remmen|remhendel"),
    ("duty", "duty|dutycycle|pwm|modulation", "tastgrad|tastverhältnis|aussteuerung|aussteuergrad|modulationsgrad", "modulation", "modulación", "modulazione", "modulação", "modulatie"),
    ("soc", "soc", "ladezustand|ladestand|akkustand|batteriestand|füllstand", "", "", "", "", "laadtoestand|laadniveau|accuniveau"),
    ("soh", "soh", "", "", "", "", "", ""),
    ("level", "level|percentage|percent", "stand|niveau", "niveau|pourcentage", "nivel|porcentaje", "livello|percentuale", "nível|percentagem|porcentagem", "niveau|percentage"),
    ("altitude", "altitude|elevation|height|alt|ele|elev|asl|msl", "höhe|hoehe|meereshöhe", "altitude|élévation|hauteur", "altitud|elevación|altura", "altitudine|quota|elevazione|altezza", "altitude|elevação|altura", "hoogte|hoogtemeter"),
    ("latitude", "latitude|lat|latit", "breitengrad|breite|geobreite", "latitude", "latitud", "latitudine", "latitude", "breedtegraad|breedte"),
    ("longitude", "longitude|lon|lng|long|longit", "längengrad|laengengrad|länge|geolänge", "longitude", "longitud", "longitudine", "longitude", "lengtegraad|lengte"),
    ("course", "course|heading|bearing|azimuth|cog|hdg", "kurs|richtung|fahrtrichtung", "cap|direction", "rumbo|dirección", "rotta|direzione", "rumo|direção", "koers|richting"),
    ("acceleration", "acceleration|accel|acc|longacc", "beschleunigung|längsbeschleunigung", "accélération", "aceleración", "accelerazione", "aceleração", "versnelling|acceleratie"),
    ("status", "status|state|code|flags|flag|mode|bits", "zustand|modus", "état|statut|code|mode", "estado|código|modo", "stato|codice|modalità", "estado|código|modo", "toestand|modus"),
    ("fault", "fault|faults|error|errors|alarm|warning|failure|fail|err|dtc|protection", "fehler|störung|fehlercode|warnung|meldung|schutz", "erreur|défaut|panne|alarme|faute|protection", "fallo|error|avería|alarma|falla|protección", "errore|guasto|allarme|avaria|protezione", "falha|erro|alarme|avaria|proteção", "fout|storing|foutcode|alarm|melding|beveiliging"),
    ("time", "time|timestamp|elapsed|seconds|millis|clock|uptime|sec|secs|t|ts|datetime|epoch|unix|utc|gmt|ticks|timecode|stamp", "zeit|uhrzeit|zeitstempel|laufzeit|sekunden|zeitpunkt", "temps|heure|horodatage|secondes|durée", "tiempo|hora|segundos|marca", "tempo|ora|orario|secondi|orologio", "tempo|hora|segundos", "tijd|tijdstip|tijdstempel|seconden"),
    ("date", "date|day", "datum|tag", "date|jour", "fecha|día", "data|giorno", "data|dia", "datum|dag"),
    ("torque", "torque|nm", "drehmoment|moment", "couple", "par", "coppia", "binário|torque", "koppel"),
    ("distance", "distance|odometer|odo|dist|trip|mileage|range", "strecke|distanz|kilometerstand|weg|entfernung|reichweite", "distance|kilométrage|autonomie", "distancia|odómetro|kilometraje|autonomía", "distanza|chilometraggio|autonomia", "distância|hodómetro|autonomia", "afstand|kilometerstand|actieradius"),
    ("energy", "energy|wh|kwh|wh/km|consumption|consumed|used|watthours|joule|efficiency", "energie|verbrauch|verbraucht|arbeit|wirkungsgrad", "énergie|consommation|rendement", "energía|consumo|rendimiento", "energia|consumo|rendimento", "energia|consumo", "energie|verbruik"),
    ("charge", "charge|charged|charging|ah|mah|coulombs|amphours|capacity|chg|remaining", "ladung|geladen|kapazität|laden|lade|restkapazität|restladung", "charge|capacité|recharge", "carga|capacidad|cargado", "carica|capacità|ricarica", "carga|capacidade|carregamento", "lading|capaciteit|laden|laad|restlading|restcapaciteit"),
    ("resistance", "resistance|impedance|esr|ohm|ohms|dcir", "widerstand|innenwiderstand|impedanz", "résistance", "resistencia", "resistenza", "resistência", "weerstand"),
    ("frequency", "frequency|freq|hz", "frequenz", "fréquence", "frecuencia", "frequenza", "frequência", "frequentie"),
    ("grade", "grade|slope|incline|gradient|pitch|tilt", "steigung|neigung|gefälle", "pente|inclinaison", "pendiente|inclinación", "pendenza|inclinazione", "inclinação|declive", "helling"),
    ("lateral", "lateral|yaw|roll|gyro|vertical|lat_acc|y|z", "quer|querbeschleunigung|gier|vertikal", "latéral|latérale|lacet", "lateral|guiñada", "laterale|imbardata", "lateral|guinada", "dwars|gier"),
    ("steering", "steering|steer", "lenk|lenkung|lenkwinkel", "direction|braquage", "volante", "sterzo", "volante", "stuur"),
    ("sats", "sats|satellites|satellite|hdop|pdop|vdop|dop|fix|accuracy|snr", "satelliten|genauigkeit", "satellites|précision", "satélites|precisión", "satelliti|precisione", "satélites|precisão", "satellieten|nauwkeurigheid"),
    ("count", "counter|count|index|idx|nr|no|num|number|row|sample|samples|seq|sequence|record|line|frame|packet", "zähler|zeile|nummer|laufnummer|index", "compteur|numéro|ligne|index|échantillon", "contador|número|fila|muestra|índice", "contatore|numero|riga|campione|indice", "contador|número|linha|amostra|índice", "teller|nummer|regel|monster"),
    ("id", "id|ident|identifier|node|address|addr|device|unit|channel|source|side|name|who|which", "kennung|gerät|knoten|adresse|seite|quelle|kanal", "identifiant|nœud|adresse|appareil|côté|source", "identificador|nodo|dirección|dispositivo|lado", "identificativo|nodo|indirizzo|dispositivo|lato", "identificador|nó|endereço|dispositivo|lado", "identificatie|knooppunt|adres|apparaat|kant|zijde|bron"),
    ("humidity", "humidity|pressure|baro|barometer|wind|rain|light|lux|rssi|signal|volume|flow|weight|heart|cadence|pulse", "feuchte|luftfeuchte|druck|luftdruck|wind|licht|durchfluss|trittfrequenz|puls", "humidité|pression|vent|lumière|débit", "humedad|presión|viento|luz|caudal", "umidità|pressione|vento|luce|portata", "humidade|pressão|vento|luz|caudal", "vochtigheid|druk|wind|licht"),
    # of what
    ("battery", "battery|batt|bat|bty|accumulator|batteries", "batterie|akku|akkus|batterien", "batterie|accu", "batería|bat", "batteria|accumulatore", "bateria|acumulador", "accu|batterij"),
    ("pack", "pack|bms|traction|main", "akkupack|batteriepack|gesamt|fahrakku|fahrbatterie|antriebsbatterie", "bloc|pack", "paquete|pack", "pacco", "pacote|conjunto", "accupakket|batterijpakket|pakket"),
    ("input", "input|in|dc|bus|link|supply|line|busbar|dclink", "eingang|zwischenkreis|versorgung|eingangs|gleichstrom|netz", "entrée|alimentation", "entrada|alimentación|bus", "ingresso|alimentazione", "entrada|alimentação|barramento", "ingang|voeding|tussenkring"),
    ("motor", "motor|mot|mtr|engine|winding|windings|stator|hub", "motor|wicklung|antrieb|maschine", "moteur|bobinage", "motor|bobinado", "motore|avvolgimento", "motor|enrolamento", "motor|wikkeling"),
    ("phase", "phase|phases|ph", "phase|phasen|strang", "phase", "fase", "fase", "fase", "fase"),
    ("controller", "controller|ctrl|ctl|esc|inverter|fet|fets|mosfet|mosfets|mos|igbt|heatsink|powerstage|bridge|electronics|drv|driver|contr|inv", "regler|steuergerät|steuerung|wechselrichter|umrichter|endstufe|kühlkörper|leistungsteil|steller|elektronik|controller", "contrôleur|variateur|onduleur|dissipateur|régulateur|calculateur", "controlador|inversor|variador|disipador|controladora", "controllore|inverter|centralina|dissipatore|regolatore", "controlador|inversor|dissipador|controladora", "regelaar|omvormer|koellichaam|controller|besturing"),
    ("wheel", "wheel|wheels|tyre|tire", "rad|reifen|räder", "roue", "rueda", "ruota", "roda", "wiel"),
    ("gps", "gps|gnss|sat|nav|glonass", "", "", "", "", "", ""),
    ("vehicle", "vehicle|ground|road|travel|riding|car|board|trike|kart|scooter|bike|cart", "fahrzeug|fahr|fahrt|boden", "véhicule|sol", "vehículo|marcha", "veicolo|marcia", "veículo|marcha", "voertuig|rij"),
    ("ambient", "ambient|outside|outdoor|air|environment|environmental|external|weather", "außen|aussen|umgebung|umgebungs|luft|außenluft", "ambiant|ambiante|extérieur|extérieure|air", "ambiente|exterior|aire", "ambiente|esterna|esterno|aria", "ambiente|exterior|ar", "omgeving|omgevings|buiten|lucht"),
    ("cell", "cell|cells", "zelle|zellen|zell", "cellule|cellules|élément", "celda|celdas", "cella|celle", "célula|células", "cel|cellen"),
    ("electrical", "electrical|elec|electric|el|electr", "elektrisch|elektrische|elektr", "électrique|électr", "eléctrico|eléctrica|eléctricas", "elettrico|elettrica|elettrici", "elétrico|elétrica|elétricas", "elektrisch|elektrische"),
    ("mechanical", "mechanical|mech|shaft|rotor", "mechanisch|mechanische|welle", "mécanique|arbre", "mecánico|mecánica|eje", "meccanico|meccanica|albero", "mecânico|mecânica|eixo", "mechanisch|mechanische|as"),
    # how it is counted
    ("discharge", "discharge|discharging|dischg|dsg|draw|drawn|output|out", "entladung|entlade|entladen|entnahme|entnommen|ausgang|entlad", "décharge|sortie|prélevé|prélevée", "descarga|salida|extraída|extraido", "scarica|uscita|prelevata|prelevato", "descarga|saída", "ontlading|ontlaad|uitgang|onttrokken|ontladen"),
    ("max", "max|maximum|highest|peak|top|hi|high|maximal|max.|hottest", "maximal|höchste|maximale|spitze|größte|hoch", "maximale|maximal|crête|haute", "máximo|máxima|pico|alta", "massimo|massima|picco|alta", "máximo|máxima|pico|alta", "maximale|hoogste|piek"),
    ("min", "min|minimum|lowest|lo|low|minimal|min.|weakest", "minimal|niedrigste|minimale|kleinste|tiefste|tief", "minimale|minimal|mini|basse", "mínimo|mínima|baja", "minimo|minima|bassa", "mínimo|mínima|baixa", "minimale|laagste"),
    ("mean", "avg|average|mean|filtered|smoothed|filt", "mittel|mittelwert|durchschnitt|mittlere|durchschnittlich|gemittelt", "moyenne|moyen|filtré", "media|medio|promedio", "media|medio", "média|médio", "gemiddelde|gemiddeld"),
    ("limit", "limit|limits|target|setpoint|set|request|requested|command|commanded|cmd|reference|ref|desired|allowed|cutoff|threshold|rated|nominal|available", "grenze|soll|sollwert|limit|vorgabe|begrenzung|erlaubt|nenn|grenzwert|angefordert|zulässig", "limite|consigne|cible|demandé|seuil|nominal", "límite|objetivo|consigna|solicitado|umbral|nominal", "limite|obiettivo|richiesto|soglia|nominale|riferimento", "limite|alvo|solicitado|nominal|referência", "limiet|doel|gewenst|drempel|nominaal|gevraagd"),
    ("delta", "delta|diff|difference|spread|imbalance|deviation|change|slip|offset|ripple|noise|std|rms_error", "differenz|abweichung|unterschied|änderung|schlupf", "différence|écart|glissement", "diferencia|desviación|deslizamiento", "differenza|scarto|scostamento", "diferença|desvio", "verschil|afwijking"),
    ("total", "total|sum|combined|overall|both|all", "summe|gesamtstrom|beide|zusammen", "total|totale|somme", "suma|total|totales", "totale|somma", "soma|total", "totaal|som"),
    ("cycle", "cycle|ratio|position|pos|input_pos|angle|opening|lever|handle|pedal|grip|hand", "zyklus|position|winkel|hebel|griff|pedal", "rapport|cyclique|position|levier|pédale", "ciclo|trabajo|posición|palanca|pedal", "ciclo|posizione|leva|pedale", "ciclo|posição|alavanca|pedal", "cyclus|positie|hendel|pedaal"),
    # none of our business
    ("foreign", "heater|heating|coolant|cabin|aircon|hvac|fan|pump|radio|display|displayed|defrost|footwell|footweel|vent|feetvent|seat|window|lamp|charger|converter|alternator|head|exchanger|heatercore|usb|screen|phone|aux|auxiliary|lights|lighting|logger|cpu|chip|mcu|core|processor|hydraulic|oil|fuel|gear|gearbox|crank|generator|solar|suspension|fork|imu|requested_heat|12v|24v|5v|3v3|rtc|board_temp|modem|defroster|codriver|passenger", "heizung|heiz|kühlwasser|kühlmittel|klima|klimaanlage|lüfter|pumpe|innenraum|ladegerät|wandler|licht|beleuchtung|anzeige|bordnetz|prozessor|getriebe|öl", "chauffage|habitacle|ventilateur|pompe|climatisation|chargeur|convertisseur|éclairage|huile|écran", "calefacción|habitáculo|ventilador|bomba|cargador|convertidor|luces|aceite|pantalla", "riscaldamento|abitacolo|ventola|pompa|caricatore|convertitore|luci|olio|schermo", "aquecimento|habitáculo|ventoinha|bomba|carregador|conversor|luzes|óleo", "verwarming|cabine|ventilator|pomp|lader|omzetter|verlichting|olie"),
)
"""idea, then its words by language, in the order of `LANGUAGES`."""

PHRASES: tuple[tuple[str, str], ...] = (
    ("soc", "state of charge|charge level|charge state|état de charge|niveau de charge|estado de carga|nivel de carga|stato di carica|livello di carica|nível de carga|staat van lading|battery level|battery percentage|battery percent|batt level|batterieladezustand|remaining charge percent|charge percent|charge percentage|charge left|charge remaining"),
    ("soh", "state of health|état de santé|estado de salud|stato di salute|gezondheid"),
    ("duty", "duty cycle|duty ratio|rapport cyclique|ciclo de trabajo|ciclo di lavoro|ciclo de trabalho|duty factor|modulation index|pwm duty"),
    ("rotation", "régime moteur|revs per minute|número de giros|numero di giri|rotations per minute"),
    ("date", "date time|date and time|datum zeit|date heure|fecha hora|data ora|data hora|datum tijd"),
    ("throttle", "accelerator pedal|gas pedal|poignée de gaz|pédale d'accélérateur|puño de gas|throttle input"),
    ("ambient", "air temperature outside"),
    ("energy", "wh km|wh mi|amp hours|watt hours"),
    ("charge", "amp hours|ampere hours"),
    ("controller", "power stage|power electronics|étage de puissance|etapa de potencia|stadio di potenza"),
)
"""Several words that are one idea."""

SIDES: tuple[tuple[str, str], ...] = (
    ("left", "left|lft|lh|l|links|linke|linker|linkes|li|gauche|g|izquierda|izquierdo|izq|sinistra|sinistro|sx|esquerda|esquerdo|esq|port"),
    ("right", "right|rgt|rh|r|rechts|rechte|rechter|rechtes|re|droite|droit|derecha|derecho|der|destra|destro|dx|direita|direito|dir|starboard"),
    ("front", "front|fr|fwd|vorne|vorn|vorder|vordere|avant|av|delantera|delantero|del|anteriore|ant|dianteira|dianteiro|voor|voorste"),
    ("rear", "rear|back|rr|hinten|hinter|hintere|hint|arrière|ar|arr|trasera|trasero|tras|posteriore|post|traseira|traseiro|achter|achterste"),
)
"""Words for sides."""

SPLIT: tuple[tuple[str, str], ...] = (
    ("vbat", "voltage battery"), ("vbatt", "voltage battery"), ("ubat", "voltage battery"), ("ubatt", "voltage battery"),
    ("ibat", "current battery"), ("ibatt", "current battery"), ("vin", "voltage input"), ("iin", "current input"), ("uin", "voltage input"),
    ("vdc", "voltage input"), ("idc", "current input"), ("udc", "voltage input"), ("vbus", "voltage input"), ("ibus", "current input"), ("ubus", "voltage input"),
    ("iq", "current phase"), ("imot", "current motor"), ("imotor", "current motor"), ("iphase", "current phase"), ("iph", "current phase"), ("ipack", "current pack"), ("vpack", "voltage pack"), ("upack", "voltage pack"),
    ("tmot", "temperature motor"), ("tmotor", "temperature motor"), ("tbat", "temperature battery"), ("tbatt", "temperature battery"), ("tamb", "temperature ambient"),
    ("tfet", "temperature controller"), ("tmos", "temperature controller"), ("tesc", "temperature controller"), ("tctrl", "temperature controller"), ("tctl", "temperature controller"), ("tcontroller", "temperature controller"), ("tinv", "temperature controller"),
    ("nmot", "rotation motor"), ("nmotor", "rotation motor"), ("pbat", "power battery"), ("pmot", "power motor"), ("vcell", "voltage cell"), ("ucell", "voltage cell"), ("uzelle", "voltage cell"), ("tcell", "temperature cell"),
    ("vmin", "voltage min"), ("vmax", "voltage max"), ("vgps", "speed gps"), ("gspd", "speed gps"), ("vwheel", "speed wheel"), ("vveh", "speed vehicle"),
)
"""Formula letters written as one word."""
# fmt: on

FILLERS = frozenset(
    [
        "of",
        "the",
        "a",
        "an",
        "and",
        "at",
        "for",
        "from",
        "to",
        "on",
        "per",
        "value",
        "values",
        "val",
        "wert",
        "actual",
        "ist",
        "measured",
        "meas",
        "reading",
        "sensor",
        "sensors",
        "sense",
        "live",
        "raw",
        "de",
        "la",
        "le",
        "les",
        "du",
        "des",
        "d",
        "l'",
        "der",
        "die",
        "das",
        "dem",
        "den",
        "vom",
        "von",
        "zum",
        "im",
        "am",
        "del",
        "della",
        "dello",
        "di",
        "do",
        "da",
        "dos",
        "das",
        "van",
        "het",
        "el",
        "los",
        "las",
        "il",
        "lo",
        "gli",
        "au",
        "aux",
        "und",
        "et",
        "y",
        "e",
        "en",
        "der",
        "log",
        "logged",
        "data",
        "messwert",
        "istwert",
        "valeur",
        "valor",
        "valore",
        "waarde",
        "medida",
        "mesure",
        "misura",
        "meting",
        "kanal",
        "sig",
        "cell_v",
        "abs",
        "true",
        "real",
        "realtime",
        "bei",
        "beim",
    ]
)
"""Words that say nothing."""

LINKERS = ("", "s", "n", "en", "e", "es", "er", "ns")
"""Letters German and Dutch put between the parts of a compound."""


def plain(text: str) -> str:
    """Lower case without accents."""
    low = text.lower().replace("ß", "ss")
    return "".join(c for c in unicodedata.normalize("NFKD", low) if not unicodedata.combining(c))


def _ideas() -> dict[str, frozenset[str]]:
    table: dict[str, set[str]] = {}
    for idea, *languages in _TABLE:
        for words in languages:
            for word in filter(None, words.split("|")):
                for form in {plain(word), plain(_umlaut(word))}:
                    table.setdefault(form, set()).add(idea)
    for word, ideas in SPLIT:
        table[word] = set(ideas.split())
    return {word: frozenset(ideas) for word, ideas in table.items()}


def _umlaut(word: str) -> str:
    low = word.lower()
    for mark, two in (("ä", "ae"), ("ö", "oe"), ("ü", "ue")):
        low = low.replace(mark, two)
    return low


_IDEAS = _ideas()
_WHOLE = frozenset(word for word, _ in SPLIT)
_SIDES = {plain(word): side for side, words in SIDES for word in words.split("|")}
_PHRASES = sorted(
    (
        (tuple(word for word in plain(one).split() if word not in FILLERS), idea)
        for idea, words in PHRASES
        for one in words.split("|")
    ),
    key=lambda one: -len(one[0]),
)
_CAMEL = re.compile(r"(?<=[a-zäöü])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-zäöü]{2})")
_TOKEN = re.compile(r"[^\W\d_]+|\d+")


def tokens_of(text: str) -> list[str]:
    """A header's words in plain lower case; camel case, digits and underscores part words."""
    parts = _CAMEL.split(text)
    return [plain(one) for part in parts for one in _TOKEN.findall(part)]


@lru_cache(maxsize=8192)
def ideas_of(token: str) -> tuple[frozenset[str], ...]:
    """What one word stands for: one set of readings per part of it; empty when unknown.

    A word with several parts (German and Dutch compounds, words run together) is parted where
    all parts are known.
    """
    if token in _IDEAS:
        found = _IDEAS[token]
        if token in _WHOLE:
            return tuple(frozenset((idea,)) for idea in sorted(found))
        return (found,)
    if token.isdigit():
        return ()
    if token.endswith("s") and len(token) > 4 and token[:-1] in _IDEAS:
        return (_IDEAS[token[:-1]],)
    parts = _parted(token)
    return tuple(part for one in parts for part in ideas_of(one)) if parts else ()


@lru_cache(maxsize=8192)
def _parted(token: str) -> tuple[str, ...] | None:
    """A compound's parts, longest first part preferred; None where it does not come apart."""
    for end in range(len(token) - 2, 2, -1):
        head = token[:end]
        if head not in _IDEAS and head not in _SIDES_LONG:
            continue
        for linker in LINKERS:
            if not token.startswith(linker, end):
                continue
            rest = token[end + len(linker) :]
            if rest in _IDEAS and len(rest) > 2:
                return (head, rest)
            if len(rest) > 5 and (more := _parted(rest)):
                return (head, *more)
    return None


_SIDES_LONG = frozenset(word for word in _SIDES if len(word) > 3)


def side_of(token: str) -> str | None:
    """The side a word names, one of `left right front rear`."""
    return _SIDES.get(token)


def side_apart(token: str) -> tuple[str, ...]:
    """A word run together with a side's (`leftcurrent`) as its parts; others as they are."""
    if token in _IDEAS or token in _SIDES or token.isdigit():
        return (token,)
    parts = _parted(token)
    return parts if parts and any(one in _SIDES_LONG for one in parts) else (token,)


def phrases_in(tokens: list[str]) -> tuple[list[str], list[str]]:
    """Ideas told by several words together, and the words that are left."""
    ideas: list[str] = []
    left = list(tokens)
    for words, idea in _PHRASES:
        for at in range(len(left) - len(words) + 1):
            if tuple(left[at : at + len(words)]) == words:
                ideas.append(idea)
                left[at : at + len(words)] = []
                break
    return ideas, left

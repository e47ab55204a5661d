"""Words of headers in German, French, Spanish, Italian, Portuguese, Polish, Dutch, Czech, Swedish, Danish and
Norwegian, as the English ones that columns are known by. Trade words of everyday use; common practice, no source.

Stems are looked for anywhere in a word, since German and Dutch write compounds; short words only whole.
"""

from __future__ import annotations

import re
import unicodedata

_STEMS = {  # stem: English
    "cilinder": "cylinder", "barometrica": "barometric", "barometrique": "barometric",
    "motordrehzahl": "engine speed", "drehzahl": "engine speed", "predkosc obrotowa": "engine speed",
    "obroty": "engine speed", "toerental": "engine speed", "regime": "engine speed", "regimen": "engine speed",
    "revoluciones": "engine speed", "giri": "engine speed", "rotacao": "engine speed", "rotacoes": "engine speed",
    "fahrgeschwindigkeit": "vehicle speed", "fahrzeuggeschwindigkeit": "vehicle speed",
    "geschwindigkeit": "vehicle speed", "tempo auto": "vehicle speed", "vitesse": "vehicle speed",
    "velocidade": "vehicle speed", "velocidad": "vehicle speed", "velocita": "vehicle speed",
    "predkosc": "vehicle speed", "snelheid": "vehicle speed", "voertuig": "vehicle", "fahrzeug": "vehicle",
    "vehiculo": "vehicle", "vehicule": "vehicle", "veicolo": "vehicle", "veiculo": "vehicle", "pojazdu": "vehicle",
    "kuhlmittel": "coolant ", "kuehlmittel": "coolant ", "kuhlwasser": "coolant ", "kuehlwasser": "coolant ",
    "liquide de refroidissement": "coolant", "refroidissement": "coolant", "liquido refrigerante": "coolant",
    "liquido di raffreddamento": "coolant", "liquido de arrefecimento": "coolant", "arrefecimento": "coolant",
    "raffreddamento": "coolant", "refrigerante": "coolant", "plynu chlodzacego": "coolant",
    "cieczy chlodzacej": "coolant", "chlodziwa": "coolant", "koelvloeistof": "coolant ", "koelwater": "coolant ",
    "ansaugluft": "intake air ", "ansaug": "intake ", "zuluft": "intake air ", "admission": "intake",
    "admision": "intake", "admissao": "intake", "aspirazione": "intake", "aspirata": "intake", "dolotowego": "intake",
    "dolotu": "intake", "inlaatlucht": "intake air ", "inlaatspruitstuk": "intake manifold ", "inlaat": "intake ",
    "aussentemperatur": "ambient temperature", "umgebungstemperatur": "ambient temperature",
    "umgebungsluft": "ambient air ", "exterieure": "ambient", "exterior": "ambient", "esterna": "ambient",
    "externa": "ambient", "zewnetrzna": "ambient", "buitentemperatuur": "ambient temperature",
    "temperatur": "temperature ", "temperatuur": "temperature", "oltemperatur": "oil temperature",
    "oeltemperatur": "oil temperature", "huile": "oil", "aceite": "oil", "olio": "oil", "oleju": "oil",
    "luftmassenstrom": "mass air flow rate", "luftmasse": "mass air flow ", "luftmengen": "mass air flow ",
    "luftstrom": "air flow", "debit": "flow", "caudal": "flow", "flujo": "flow", "portata": "flow", "vazao": "flow",
    "fluxo": "flow", "przeplyw": "flow", "luchtmassa": "mass air flow ", "luchtstroom": "air flow ",
    "powietrza": "air", "masse": "mass", "massique": "mass", "masico": "mass", "massa": "mass", "masa": "mass",
    "saugrohrdruck": "manifold absolute pressure", "saugrohr": "manifold ", "krummer": "manifold",
    "collecteur": "manifold", "colector": "manifold", "coletor": "manifold", "multiple": "manifold",
    "collettore": "manifold", "kolektora": "manifold", "kolektorze": "manifold", "spruitstuk": "manifold ",
    "umgebungsdruck": "barometric pressure", "luftdruck": "barometric pressure", "atmospherique": "barometric",
    "atmosferica": "barometric", "atmosferyczne": "barometric", "luchtdruk": "barometric pressure",
    "kraftstoffdruck": "fuel pressure", "raildruck": "rail pressure", "pression": "pressure", "presion": "pressure",
    "pressione": "pressure", "pressao": "pressure", "cisnienie": "pressure",
    "rampe": "rail", "rampa": "rail", "listwy": "rail", "motorlast": "load", "lastwert": "load", "charge moteur":
    "load", "carga": "load", "carico": "load", "obciazenie": "load", "belasting": "load",
    "drosselklappe": "throttle ", "papillon": "throttle", "mariposa": "throttle", "farfalla": "throttle",
    "borboleta": "throttle", "przepustnic": "throttle ", "gasklep": "throttle ", "fahrpedal": "accelerator pedal ",
    "gaspedal": "accelerator pedal ", "accelerateur": "accelerator", "acelerador": "accelerator",
    "acceleratore": "accelerator", "kurzzeit": "short ", "kurzfrist": "short ", "langzeit": "long ",
    "langfrist": "long ", "kraftstoffkorrektur": "fuel trim", "kraftstofftrimm": "fuel trim",
    "gemischkorrektur": "fuel trim", "gemischanpassung": "fuel trim", "einspritzkorrektur": "fuel trim",
    "korrektur": "trim", "trimmung": "trim", "anpassung": "trim", "correction": "trim", "correccion": "trim",
    "correzione": "trim", "correcao": "trim", "korekta": "trim", "korekcja": "trim", "correctie": "trim",
    "ajuste": "trim", "court terme": "short term", "long terme": "long term", "corto plazo": "short term",
    "largo plazo": "long term", "breve termine": "short term", "lungo termine": "long term",
    "curto prazo": "short term", "longo prazo": "long term", "krotkoterminow": "short ", "dlugoterminow": "long ",
    "krotkookresow": "short ", "dlugookresow": "long ", "korte termijn": "short term", "lange termijn": "long term",
    "kortetermijn": "short term ", "langetermijn": "long term ", "kraftstoff": "fuel ", "carburant": "fuel",
    "combustible": "fuel", "carburante": "fuel", "combustivel": "fuel", "paliwa": "fuel", "brandstof": "fuel ",
    "regelkreis": "loop status ", "lambdaregelung": "loop status ", "gemischregelung": "loop status ",
    "boucle": "loop status", "lambdasonde": "oxygen sensor ", "sonde lambda": "oxygen sensor",
    "sonda lambda": "oxygen sensor", "sonde a oxygene": "oxygen sensor", "sensor de oxigeno": "oxygen sensor",
    "sondenspannung": "oxygen sensor voltage", "spannung": "voltage ", "tension": "voltage", "tensao": "voltage",
    "tensione": "voltage", "napiecie": "voltage", "spanning": "voltage ", "steuergerat": "controller ",
    "zundzeitpunkt": "ignition timing", "zundwinkel": "ignition angle", "zundung": "ignition",
    "avance a l allumage": "ignition advance", "allumage": "ignition", "encendido": "ignition",
    "accensione": "ignition", "ignicao": "ignition", "zaplonu": "ignition", "ontstekings": "ignition ",
    "vervroeging": "advance ", "anticipo": "advance", "avance": "advance", "avanco": "advance",
    "wyprzedzenie": "advance", "tijdstip": "timing ",
    "tankentluftung": "purge ", "tankentlueftung": "purge ", "regenerierventil": "purge ", "purga": "purge",
    "spurgo": "purge", "tankinhalt": "fuel level", "tankfullstand": "fuel level", "fullstand": "level",
    "kraftstoffstand": "fuel level", "niveau": "level", "livello": "level", "nivel": "level", "poziom": "level",
    "verbrennungsaussetzer": "misfires", "aussetzer": "misfires", "fehlzundung": "misfires ",
    "rates d allumage": "misfires", "fallos de encendido": "misfires", "mancate accensioni": "misfires",
    "falhas de ignicao": "misfires", "wypadanie zaplonow": "misfires", "zylinder": "cylinder ", "cylindre": "cylinder",
    "cilindro": "cylinder", "cylindra": "cylinder", "nach dem katalysator": "downstream", "nach katalysator":
    "downstream", "nach kat": "downstream", "nachkat": "downstream ", "nachkatsonde": "downstream oxygen sensor",
    "apres catalyseur": "downstream", "despues del catalizador": "downstream", "dopo catalizzatore": "downstream",
    "za katalizatorem": "downstream", "vor kat": "upstream", "fehlerspeicher": "trouble codes",
    "fehlercode": "trouble codes ", "codes defaut": "trouble codes", "codigos de falla": "trouble codes",
    "codici guasto": "trouble codes", "kody bledow": "trouble codes", "storingscode": "trouble codes ",
    "motorkontrollleuchte": "warning lamp", "kontrollleuchte": "warning lamp", "voyant moteur": "warning lamp",
    "spia motore": "warning lamp", "consigne": "commanded", "zeitstempel": "timestamp", "laufzeit": "run time",
    "uhrzeit": "clock time", "horodatage": "timestamp", "motor": "engine ", "moteur": "engine", "silnika": "engine",
    "motortemperatur": "coolant temperature", "motor temperatur": "coolant temperature", "kuhlmitteltemp":
    "coolant temperature", "kuehlmitteltemp": "coolant temperature", "ansaugluft temp": "intake air temperature",
    "eau moteur": "coolant", "acqua motore": "coolant", "agua": "coolant", "koelwatertemp": "coolant temperature",
    "temp air": "intake air temperature", "temp. air": "intake air temperature", "tubulure": "manifold",
    "pression collecteur": "manifold pressure", "pressione collettore": "manifold pressure",
    "pressione aspirazione": "manifold pressure", "inlaatdruk": "manifold pressure",
    "inlaatspruitstukdruk": "manifold pressure", "lastenheft": "load", "drosselklappenstellung": "throttle position",
    "ouverture papillon": "throttle", "gasklepstand": "throttle position", "polozenie": "position",
    "posizione": "position", "posicion": "position", "zundaussetzer": "misfires ", "zuendaussetzer": "misfires ",
    "rates allumage": "misfires", "rates cylindre": "misfires cylinder", "fallos encendido": "misfires",
    "overslagen": "misfires", "wypadanie zaplonu": "misfires", "zuendzeitpunkt": "ignition timing",
    "zuendwinkel": "ignition angle", "kat zaplonu": "ignition angle", "anzahl fehlercodes": "trouble codes",
    "nombre de codes defaut": "trouble codes", "numero de codigos": "trouble codes", "numero codici guasto":
    "trouble codes", "aantal foutcodes": "trouble codes", "foutcode": "trouble codes ", "liczba kodow":
    "trouble codes", "temoin moteur": "warning lamp", "testigo motor": "warning lamp", "motorlampje": "warning lamp",
    "kontrolka silnika": "warning lamp", "bordspannung": "controller voltage", "tension batterie": "battery voltage",
    "tensione batteria": "battery voltage", "accuspanning": "battery voltage", "voltaje": "voltage", "modulo":
    "controller", "sterownika": "controller", "kraftstoffsystem": "fuel system", "systeme carburant": "fuel system",
    "sistema combustible": "fuel system", "sistema carburante": "fuel system", "brandstofsysteem": "fuel system",
    "ukladu paliwowego": "fuel system", "boucle carburant": "loop status", "rangee": "bank", "zeit seit": "time since",
    "temps depuis": "time since", "tiempo desde": "time since", "tempo da": "time since", "tijd sinds": "time since",
    "czas od": "time since", "motorstart": "start", "demarrage": "start", "arranque": "start", "avviamento": "start",
    "uruchomienia": "start", "tastverhaltnis": "duty", "tankentluftungsventil": "purge valve",
    "tankentlueftungsventil": "purge valve", "lavaggio canister": "purge", "valvola canister": "purge",
    "commande purge": "purge", "dampafzuiging": "purge", "koolstofbus spoeling": "purge", "przewietrzanie filtra":
    "purge", "par paliwa": "", "verteilerrohr": "rail", "brandstofraildruk": "rail pressure", "raildruk":
    "rail pressure", "riel": "rail", "motorbelasting": "load", "berechnete last": "calculated load", "berekende":
    "calculated", "calcolato": "calculated", "przeplyw powietrza": "air flow", "masowy": "mass", "massica": "mass",
    "aire admission": "intake air", "air admission": "intake air", "aria aspirata": "intake air",
    "aire admision": "intake air", "powietrza dolotowego": "intake air", "luchtmassastroom": "mass air flow rate",
    "lambdawert": "lambda", "richesse lambda": "lambda", "deseada": "commanded", "obiettivo": "commanded",
    "gewenste": "commanded", "zadana": "commanded", "czujnik": "sensor", "sensore": "sensor", "sonde": "sensor",
    "sonda": "sensor", "sonde o2": "oxygen sensor", "sonda o2": "oxygen sensor", "sonde amont": "oxygen sensor",
    "sonda a monte": "oxygen sensor", "sonde aval": "oxygen sensor downstream", "sonda a valle":
    "oxygen sensor downstream", "correzione breve": "short trim", "correzione lunga": "long trim",
    "brandstoftrim": "fuel trim ", "kurzzeittrimm": "short trim", "langzeittrimm": "long trim",
    "trimm": "trim ", "messzeit": "time", "silnik": "engine", "bancata": "bank", "banco": "bank", "banque": "bank",
    "sensor": "sensor", "capteur": "sensor", "amont": "", "posicao": "position", "desejada": "commanded",
    "sistema de combustivel": "fuel system", "bateria": "battery", "batteri": "battery ", "baterie": "battery",
    "motorvarvtal": "engine speed", "varvtal": "engine speed", "omdrejning": "engine speed ", "turtall":
    "engine speed", "omdreining": "engine speed ", "fordonshastighet": "vehicle speed", "hastighet": "vehicle speed",
    "hastighed": "vehicle speed", "kylvatske": "coolant ", "kolevaeske": "coolant ", "kjolevaeske": "coolant ",
    "insugningsluft": "intake air ", "insugningsrors": "intake manifold ",
    "insugningsror": "intake manifold ", "insugning": "intake ", "indsugningsluft": "intake air ", "indsugning":
    "intake ", "innsugingsluft": "intake air ", "innsuging": "intake ", "korttids": "short ", "langtids": "long ",
    "bransletrim": "fuel trim", "branslesystem": "fuel system ", "bransle": "fuel ", "braendstof": "fuel ",
    "drivstoff": "fuel ", "trottel": "throttle ", "gasspjall": "throttle ", "gasspjaeld": "throttle ",
    "belastning": "load ", "beraknad": "calculated", "beregnet": "calculated", "spolning": "purge",
    "kolkanister": "canister ", "luftflode": "air flow", "onskad": "commanded", "feltandning": "misfires ",
    "fejltaending": "misfires ", "tandning": "ignition ", "felkod": "trouble codes ", "motorlampa": "warning lamp",
    "otacky": "engine speed", "rychlost": "vehicle speed", "chladici kapalin": "coolant ", "teplota": "temperature",
    "nasavaneho vzduchu": "intake air", "tlak": "pressure", "kratkodob": "short ", "dlouhodob": "long ", "korekce":
    "trim", "palivoveho systemu": "fuel system", "paliva": "fuel", "zatizeni": "load", "vypoctene": "calculated",
    "hmotnost vzduchu": "mass air flow", "skrtici klapk": "throttle ", "napeti": "voltage", "lambda sondy":
    "oxygen sensor", "lambda sonda": "oxygen sensor", "snimac": "sensor", "odvetrani nadrze": "purge", "pozadovana":
    "commanded", "vynechavani zapalovani": "misfires", "predstih": "advance", "zazehu": "ignition", "barometricky":
    "barometric", "poloha": "position", "railu": "rail", "pocet zavad": "trouble codes", "lambdasond":
    "oxygen sensor ", "barometertryck": "barometric pressure", "wassertemp": "coolant temperature ",
    "temp eau": "coolant temperature", "temp. eau": "coolant temperature", "temperatura acqua": "coolant temperature",
    "temperatura plynu": "coolant temperature", "velocidad del motor": "engine speed", "luchtmassameter":
    "mass air flow ", "luftmassenmesser": "mass air flow ", "ansaugdruck": "manifold pressure", "pression admission":
    "manifold pressure", "pression d admission": "manifold pressure", "presion de admision": "manifold pressure",
    "drosselklappenwinkel": "throttle position", "gemischadaption": "fuel trim ", "electrovalvula canister": "purge",
    "electrovanne canister": "purge", "sonde o2 aval": "oxygen sensor downstream", "adaption": "trim",
    "adaptation": "trim", "adaptacion": "trim", "adattamento": "trim", "adaptacja": "trim", "adaptatie": "trim",
    "tension sonde": "oxygen sensor voltage", "tension de sonde": "oxygen sensor voltage",
    "tensione sonda": "oxygen sensor voltage", "oxigeno": "oxygen", "oxygene": "oxygen", "ossigeno": "oxygen",
    "oxigenio": "oxygen", "sistema de combustible": "fuel system", "comando": "commanded", "gesamt": "total",
    "pedalwert": "accelerator pedal ", "fahrpedalwert": "accelerator pedal ",
}  # fmt: skip
_WHOLE = {
    "tid": "time", "cas": "time", "lage": "position", "tryck": "pressure", "tryk": "pressure", "trykk": "pressure",
    "sani": "intake manifold", "rada": "bank", "valec": "cylinder", "stav": "status", "motoru": "engine",
    "banc": "bank", "aval": "downstream",
    "hora": "time", "heure": "time", "ora": "time", "uhr": "time", "kort": "short", "zyl": "cylinder",
    "giro": "engine speed", "lunga": "long", "larga": "long", "tension": "voltage", "stato": "status",
    "estado": "status", "etat": "status", "temp": "temperature",
    "zeit": "time", "temps": "time", "tiempo": "time", "tempo": "time", "czas": "time", "tijd": "time",
    "last": "load", "charge": "load", "soll": "commanded", "sollwert": "commanded", "ist": "actual",
    "istwert": "actual", "druck": "pressure", "druk": "pressure", "aire": "air", "aria": "air", "ar": "air",
    "luft": "air", "lucht": "air", "ol": "oil", "oel": "oil", "court": "short", "corto": "short", "curto": "short",
    "breve": "short", "kurz": "short", "largo": "long", "lungo": "long", "longo": "long", "lang": "long",
    "terme": "term", "plazo": "term", "termine": "term", "prazo": "term", "termijn": "term", "de": "of", "du": "of",
    "des": "of", "der": "of", "die": "of", "das": "of", "del": "of", "della": "of", "dell": "of", "do": "of",
    "da": "of", "di": "of", "la": "the", "le": "the", "il": "the", "el": "the", "d": "of", "l": "of", "van": "of",
    "w": "in", "en": "in", "im": "in", "au": "in", "al": "in", "absolut": "absolute", "absoluta": "absolute",
    "absolue": "absolute", "assoluta": "absolute", "bezwzgledne": "absolute", "codes": "codes", "mass": "mass",
    "calculada": "calculated", "calculee": "calculated", "berechnete": "calculated",
}  # fmt: skip
_STEM = re.compile("|".join(sorted(map(re.escape, _STEMS), key=len, reverse=True)))
_WORD = re.compile(r"(?<![a-z])(?:" + "|".join(sorted(_WHOLE, key=len, reverse=True)) + r")(?![a-z])")
_ACCENTS = str.maketrans({"ß": "ss", "ł": "l", "Ł": "L", "ø": "o", "æ": "ae"})


def english(header: str) -> str:
    """A header with the words of these languages put into English, in small letters and without accents."""
    text = unicodedata.normalize("NFKD", header.translate(_ACCENTS))
    text = "".join(c for c in text if not unicodedata.combining(c) or c == "°")
    text = re.sub(r"(?<=[a-z]{2})(?=[A-Z])", " ", text).replace("_", " ").replace("-", " ").replace("'", " ").lower()
    text = _STEM.sub(lambda m: f" {_STEMS[m[0]]} ", " ".join(text.split()))
    return " ".join(_WORD.sub(lambda m: _WHOLE[m[0]], text).split())

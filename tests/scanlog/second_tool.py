"""A generic scan tool that logs a drive of the second engine: sampling, rounding, spelling, and damage to the file.

Resolutions and ranges are those of SAE J1979 / ISO 15031-5, service 01 (from memory, checked against the standard's
formulas in the tests). Names, layouts and languages are invented: trade words, put together at random.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tests.scanlog.second_engine import STEP, Array, Run


@dataclass(frozen=True)
class Item:
    """How the standard carries one value: smallest step and range, in `unit`."""

    step: float
    low: float
    high: float
    unit: str


STANDARD = {
    "status": Item(1, 0, 255, ""),  # 03, bits: 1 cold, 2 closed, 4 open by load or overrun
    "load": Item(100 / 255, 0, 100, "%"),  # 04
    "coolant": Item(1, -40, 215, "°C"),  # 05
    "short": Item(100 / 128, -100, 127 * 100 / 128, "%"),  # 06, 08
    "long": Item(100 / 128, -100, 127 * 100 / 128, "%"),  # 07, 09
    "pressure": Item(1, 0, 255, "kPa"),  # 0B
    "engine": Item(0.25, 0, 16383.75, "1/min"),  # 0C
    "speed": Item(1, 0, 255, "km/h"),  # 0D
    "ignition": Item(0.5, -64, 63.5, "°"),  # 0E
    "intake": Item(1, -40, 215, "°C"),  # 0F
    "airflow": Item(0.01, 0, 655.35, "g/s"),  # 10
    "throttle": Item(100 / 255, 0, 100, "%"),  # 11
    "upstream_v": Item(0.005, 0, 1.275, "V"),  # 14, 18
    "downstream": Item(0.005, 0, 1.275, "V"),  # 15, 19
    "since": Item(1, 0, 65535, "s"),  # 1F
    "rail": Item(10, 0, 655350, "kPa"),  # 23
    "upstream": Item(2 / 65536, 0, 65535 * 2 / 65536, "lambda"),  # 24, 28
    "purge": Item(100 / 255, 0, 100, "%"),  # 2E
    "baro": Item(1, 0, 255, "kPa"),  # 33
    "voltage": Item(0.001, 0, 65.535, "V"),  # 42
    "commanded": Item(2 / 65536, 0, 65535 * 2 / 65536, "lambda"),  # 44
    "misses": Item(1, 0, 65535, ""),  # service 06, counts
    "codes": Item(1, 0, 127, ""),  # 01, low seven bits
    "lamp": Item(1, 0, 1, ""),  # 01, high bit
}


def rounded(key: str, values: Array) -> Array:
    """The values as the standard's bytes hold them."""
    item = STANDARD[key]
    inside = np.clip(values, item.low, item.high)
    return item.low + np.round((inside - item.low) / item.step) * item.step


# unit as written, factor, offset, decimals: value in the log = standard's value * factor + offset
Unit = tuple[str, float, float, int]
UNITS: dict[str, list[Unit]] = {
    "coolant": [("°C", 1, 0, 0), ("degC", 1, 0, 0), ("°F", 1.8, 32, 0), ("C", 1, 0, 0), ("deg F", 1.8, 32, 0)],
    "short": [("%", 1, 0, 1), ("%", 1, 0, 2), ("", 0.01, 1, 3), ("factor", 0.01, 1, 4), ("pct", 1, 0, 1)],
    "pressure": [
        ("kPa", 1, 0, 0),
        ("hPa", 10, 0, 0),
        ("mbar", 10, 0, 0),
        ("inHg", 0.2953, 0, 1),
        ("psi", 0.14504, 0, 1),
    ],
    "engine": [("1/min", 1, 0, 0), ("rpm", 1, 0, 0), ("rpm", 1, 0, 2), ("U/min", 1, 0, 0), ("min-1", 1, 0, 0)],
    "speed": [("km/h", 1, 0, 0), ("kph", 1, 0, 0), ("mph", 0.62137, 0, 0)],
    "ignition": [("°", 1, 0, 1), ("deg", 1, 0, 1)],
    "airflow": [("g/s", 1, 0, 2), ("gm/s", 1, 0, 1), ("kg/h", 3.6, 0, 1), ("lb/min", 0.132277, 0, 3)],
    "load": [("%", 1, 0, 1), ("pct", 1, 0, 0)],
    "upstream_v": [("V", 1, 0, 3), ("mV", 1000, 0, 0), ("Volt", 1, 0, 2)],
    "since": [("s", 1, 0, 0), ("sec", 1, 0, 0)],
    "rail": [("kPa", 1, 0, 0), ("bar", 0.01, 0, 1), ("MPa", 0.001, 0, 2), ("psi", 0.14504, 0, 0)],
    "upstream": [("lambda", 1, 0, 3), ("", 1, 0, 3), ("AFR", 14.7, 0, 2), (":1", 14.7, 0, 1)],
    "none": [("", 1, 0, 0)],
}
ALSO = {"intake": "coolant", "long": "short", "baro": "pressure", "throttle": "load", "purge": "load"}
ALSO |= {"downstream": "upstream_v", "commanded": "upstream", "voltage": "upstream_v"}
ALSO |= dict.fromkeys(("status", "misses", "codes", "lamp"), "none")

BANKED = ("status", "short", "long", "upstream", "upstream_v", "downstream")

# {b}: number of the bank, {c}: of the cylinder
NAMES: dict[str, dict[str, list[str]]] = {
    "en": {
        "time": ["Time", "Elapsed time", "t", "Timestamp"],
        "status": ["Fuel system {b} status", "FUELSYS{b}", "Fuel loop B{b}"],
        "load": ["Calculated load", "Engine load", "LOAD"],
        "coolant": ["Engine coolant temperature", "ECT", "Coolant temp"],
        "short": ["Short term fuel trim bank {b}", "STFT{b}", "Fuel trim short B{b}", "ST trim bank {b}"],
        "long": ["Long term fuel trim bank {b}", "LTFT{b}", "Fuel trim long B{b}", "LT trim bank {b}"],
        "pressure": ["Intake manifold absolute pressure", "MAP", "Manifold pressure"],
        "engine": ["Engine speed", "RPM", "Eng speed"],
        "speed": ["Vehicle speed", "VSS", "Road speed"],
        "ignition": ["Ignition timing advance", "Spark advance", "Timing"],
        "intake": ["Intake air temperature", "IAT", "Intake temp"],
        "airflow": ["Mass air flow", "MAF", "Airflow rate"],
        "throttle": ["Throttle position", "TPS", "Abs throttle"],
        "upstream_v": ["O2 sensor B{b}S1 voltage", "O2S{b}1", "Oxygen sensor bank {b} sensor 1"],
        "upstream": ["Lambda B{b}S1", "Wide range O2 B{b}S1 equivalence ratio", "EQ RAT {b}1"],
        "downstream": ["O2 sensor B{b}S2 voltage", "O2S{b}2", "Oxygen sensor bank {b} sensor 2"],
        "since": ["Time since engine start", "Run time"],
        "rail": ["Fuel rail pressure", "Rail pressure", "FRP"],
        "purge": ["Commanded evaporative purge", "EVAP purge", "Purge duty"],
        "baro": ["Barometric pressure", "BARO"],
        "voltage": ["Control module voltage", "Battery"],
        "commanded": ["Commanded equivalence ratio", "Lambda target"],
        "misses": ["Misfire count cylinder {c}", "Misfires cyl {c}", "MISF{c}"],
        "codes": ["Number of DTCs", "DTC count"],
        "lamp": ["MIL", "MIL status"],
    },
    "de": {
        "time": ["Zeit", "Messzeit", "Uhrzeit"],
        "status": ["Status Kraftstoffsystem Bank {b}", "Lambdaregelung B{b}"],
        "load": ["Berechnete Last", "Motorlast"],
        "coolant": ["Kühlmitteltemperatur", "Motortemperatur", "Kuehlmitteltemp."],
        "short": ["Kurzzeit-Kraftstofftrimm Bank {b}", "Kurzzeittrimm B{b}", "Gemischkorrektur kurz Bank {b}"],
        "long": ["Langzeit-Kraftstofftrimm Bank {b}", "Langzeittrimm B{b}", "Gemischkorrektur lang Bank {b}"],
        "pressure": ["Saugrohrdruck", "Saugrohrdruck absolut"],
        "engine": ["Motordrehzahl", "Drehzahl"],
        "speed": ["Fahrzeuggeschwindigkeit", "Geschwindigkeit"],
        "ignition": ["Zündwinkel", "Zuendzeitpunkt"],
        "intake": ["Ansauglufttemperatur", "Ansaugluft Temp"],
        "airflow": ["Luftmasse", "Luftmassenstrom"],
        "throttle": ["Drosselklappenstellung", "Drosselklappe"],
        "upstream_v": ["Lambdasonde Bank {b} Sonde 1 Spannung", "Sondenspannung B{b}S1"],
        "upstream": ["Lambda Bank {b} Sonde 1", "Lambdawert B{b}S1"],
        "downstream": ["Lambdasonde Bank {b} Sonde 2 Spannung", "Sondenspannung B{b}S2"],
        "since": ["Zeit seit Motorstart"],
        "rail": ["Raildruck", "Kraftstoffdruck Verteilerrohr"],
        "purge": ["Tankentlüftung", "Tankentlueftungsventil Tastverhältnis"],
        "baro": ["Umgebungsdruck", "Luftdruck"],
        "voltage": ["Bordspannung", "Spannung Steuergerät"],
        "commanded": ["Lambda Soll"],
        "misses": ["Aussetzer Zylinder {c}", "Zündaussetzer Zyl. {c}"],
        "codes": ["Anzahl Fehlercodes"],
        "lamp": ["Motorkontrollleuchte"],
    },
    "fr": {
        "time": ["Temps", "Heure"],
        "status": ["Etat boucle carburant rangée {b}", "Système carburant {b}"],
        "load": ["Charge calculée", "Charge moteur"],
        "coolant": ["Température liquide de refroidissement", "Temp. eau moteur"],
        "short": ["Correction carburant court terme rangée {b}", "Correction court terme B{b}"],
        "long": ["Correction carburant long terme rangée {b}", "Correction long terme B{b}"],
        "pressure": ["Pression tubulure admission", "Pression collecteur admission"],
        "engine": ["Régime moteur", "Regime"],
        "speed": ["Vitesse véhicule", "Vitesse"],
        "ignition": ["Avance allumage"],
        "intake": ["Température air admission", "Temp. air"],
        "airflow": ["Débit d'air massique", "Débit massique air"],
        "throttle": ["Position papillon", "Ouverture papillon"],
        "upstream_v": ["Tension sonde O2 rangée {b} capteur 1", "Sonde amont B{b}"],
        "upstream": ["Lambda rangée {b} capteur 1", "Richesse lambda amont B{b}"],
        "downstream": ["Tension sonde O2 rangée {b} capteur 2", "Sonde aval B{b}"],
        "since": ["Temps depuis démarrage"],
        "rail": ["Pression rampe carburant", "Pression rampe"],
        "purge": ["Purge canister", "Commande purge canister"],
        "baro": ["Pression atmosphérique"],
        "voltage": ["Tension batterie"],
        "commanded": ["Lambda consigne"],
        "misses": ["Ratés cylindre {c}", "Rates allumage cyl. {c}"],
        "codes": ["Nombre de codes défaut"],
        "lamp": ["Témoin moteur"],
    },
    "es": {
        "time": ["Tiempo", "Hora"],
        "status": ["Estado sistema combustible {b}"],
        "load": ["Carga calculada", "Carga del motor"],
        "coolant": ["Temperatura refrigerante", "Temp. refrigerante motor"],
        "short": ["Ajuste combustible corto plazo banco {b}", "Ajuste corto B{b}"],
        "long": ["Ajuste combustible largo plazo banco {b}", "Ajuste largo B{b}"],
        "pressure": ["Presión colector admisión", "Presion absoluta colector"],
        "engine": ["Régimen motor", "Revoluciones motor"],
        "speed": ["Velocidad vehículo", "Velocidad"],
        "ignition": ["Avance encendido"],
        "intake": ["Temperatura aire admisión"],
        "airflow": ["Flujo masa de aire", "Caudal de aire"],
        "throttle": ["Posición mariposa"],
        "upstream_v": ["Voltaje sonda lambda banco {b} sensor 1", "Sonda O2 B{b}S1"],
        "upstream": ["Lambda banco {b} sensor 1"],
        "downstream": ["Voltaje sonda lambda banco {b} sensor 2", "Sonda O2 B{b}S2"],
        "since": ["Tiempo desde arranque"],
        "rail": ["Presión rampa combustible", "Presion de riel"],
        "purge": ["Purga canister", "Purga EVAP"],
        "baro": ["Presión barométrica"],
        "voltage": ["Voltaje módulo"],
        "commanded": ["Lambda deseada"],
        "misses": ["Fallos encendido cilindro {c}"],
        "codes": ["Número de códigos"],
        "lamp": ["Testigo motor"],
    },
    "it": {
        "time": ["Tempo", "Ora"],
        "status": ["Stato sistema carburante {b}"],
        "load": ["Carico calcolato", "Carico motore"],
        "coolant": ["Temperatura liquido refrigerante", "Temp. acqua motore"],
        "short": ["Correzione carburante breve termine bancata {b}", "Correzione breve B{b}"],
        "long": ["Correzione carburante lungo termine bancata {b}", "Correzione lunga B{b}"],
        "pressure": ["Pressione collettore aspirazione", "Pressione aspirazione"],
        "engine": ["Giri motore", "Regime motore"],
        "speed": ["Velocità veicolo", "Velocita"],
        "ignition": ["Anticipo accensione"],
        "intake": ["Temperatura aria aspirata"],
        "airflow": ["Portata massica aria", "Massa aria"],
        "throttle": ["Posizione farfalla"],
        "upstream_v": ["Tensione sonda lambda bancata {b} sensore 1", "Sonda a monte B{b}"],
        "upstream": ["Lambda bancata {b} sensore 1"],
        "downstream": ["Tensione sonda lambda bancata {b} sensore 2", "Sonda a valle B{b}"],
        "since": ["Tempo da avviamento"],
        "rail": ["Pressione rail", "Pressione carburante rail"],
        "purge": ["Lavaggio canister", "Valvola canister"],
        "baro": ["Pressione atmosferica"],
        "voltage": ["Tensione batteria"],
        "commanded": ["Lambda obiettivo"],
        "misses": ["Mancate accensioni cilindro {c}"],
        "codes": ["Numero codici guasto"],
        "lamp": ["Spia motore"],
    },
    "nl": {
        "time": ["Tijd"],
        "status": ["Status brandstofsysteem bank {b}"],
        "load": ["Berekende belasting", "Motorbelasting"],
        "coolant": ["Koelvloeistoftemperatuur", "Koelwatertemp"],
        "short": ["Brandstoftrim kort bank {b}", "Korte termijn brandstofcorrectie bank {b}"],
        "long": ["Brandstoftrim lang bank {b}", "Lange termijn brandstofcorrectie bank {b}"],
        "pressure": ["Inlaatspruitstukdruk", "Inlaatdruk"],
        "engine": ["Motortoerental", "Toerental"],
        "speed": ["Voertuigsnelheid", "Snelheid"],
        "ignition": ["Ontstekingstijdstip"],
        "intake": ["Inlaatluchttemperatuur"],
        "airflow": ["Luchtmassa", "Luchtmassastroom"],
        "throttle": ["Gasklepstand"],
        "upstream_v": ["Lambdasonde bank {b} sensor 1 spanning"],
        "upstream": ["Lambda bank {b} sensor 1"],
        "downstream": ["Lambdasonde bank {b} sensor 2 spanning"],
        "since": ["Tijd sinds motorstart"],
        "rail": ["Raildruk", "Brandstofraildruk"],
        "purge": ["Dampafzuiging", "Koolstofbus spoeling"],
        "baro": ["Luchtdruk"],
        "voltage": ["Accuspanning"],
        "commanded": ["Gewenste lambda"],
        "misses": ["Overslagen cilinder {c}"],
        "codes": ["Aantal foutcodes"],
        "lamp": ["Motorlampje"],
    },
    "pl": {
        "time": ["Czas"],
        "status": ["Status układu paliwowego {b}"],
        "load": ["Obciążenie silnika"],
        "coolant": ["Temperatura płynu chłodzącego"],
        "short": ["Korekta krótkoterminowa bank {b}"],
        "long": ["Korekta długoterminowa bank {b}"],
        "pressure": ["Ciśnienie w kolektorze"],
        "engine": ["Obroty silnika"],
        "speed": ["Prędkość pojazdu"],
        "ignition": ["Kąt zapłonu"],
        "intake": ["Temperatura powietrza dolotowego"],
        "airflow": ["Masowy przepływ powietrza", "Przepływ powietrza"],
        "throttle": ["Położenie przepustnicy"],
        "upstream_v": ["Sonda lambda bank {b} czujnik 1 napięcie"],
        "upstream": ["Lambda bank {b} czujnik 1"],
        "downstream": ["Sonda lambda bank {b} czujnik 2 napięcie"],
        "since": ["Czas od uruchomienia"],
        "rail": ["Ciśnienie paliwa w listwie"],
        "purge": ["Przewietrzanie filtra par paliwa"],
        "baro": ["Ciśnienie atmosferyczne"],
        "voltage": ["Napięcie sterownika"],
        "commanded": ["Lambda zadana"],
        "misses": ["Wypadanie zapłonu cylinder {c}"],
        "codes": ["Liczba kodów"],
        "lamp": ["Kontrolka silnika"],
    },
}

STATUS_WORDS = {
    "en": {0: "off", 1: "OL", 2: "CL", 4: "OL-Drive"},
    "de": {0: "aus", 1: "offen", 2: "geschlossen", 4: "offen (Fahrzustand)"},
    "fr": {0: "arrêt", 1: "boucle ouverte", 2: "boucle fermée", 4: "boucle ouverte (conduite)"},
}


@dataclass(frozen=True)
class Tool:
    """How a log is written."""

    rate: float  # rows a second
    per_row: int  # values that are new in each row; the others are held, or left empty
    held: bool
    language: str
    style: str  # where the unit stands: brackets, parens, underscore, comma, row, front, none
    separator: str
    decimal: str
    time: str  # seconds, ms, clock, date
    status: str  # number, words
    drop: frozenset[str]  # quantities that are not logged
    first: bool = False  # always the first spelling and unit of the lists below


def draw_tool(rng: np.random.Generator, keep: Sequence[str] = (), **fixed: object) -> Tool:
    """A way of logging at random; the quantities in `keep` are logged in any case."""
    language = str(rng.choice(["en", "en", "en", "de", "de", "fr", "es", "it", "nl", "pl"]))
    decimal = "," if language != "en" and rng.random() < 0.4 else "."
    often_missing = {"airflow": 0.12, "pressure": 0.35, "coolant": 0.1, "status": 0.35, "purge": 0.35, "load": 0.3}
    often_missing |= {"downstream": 0.4, "upstream": 0.25, "upstream_v": 0.25, "rail": 0.3, "misses": 0.6}
    often_missing |= {"ignition": 0.5, "intake": 0.4, "throttle": 0.4, "since": 0.6, "baro": 0.7, "voltage": 0.6}
    often_missing |= {"commanded": 0.6, "codes": 0.7, "lamp": 0.7, "speed": 0.15}
    gone = {key for key, chance in often_missing.items() if rng.random() < chance and key not in keep}
    rate = float(rng.choice([1, 1, 2, 2, 4, 5, 10]))
    drawn: dict[str, object] = {
        "rate": rate,
        "per_row": int(rng.integers(3, 9)) if rate >= 2 else 99,
        "held": bool(rng.random() < 0.75),
        "language": language,
        "style": str(rng.choice(["brackets", "parens", "underscore", "comma", "row", "front", "none"])),
        "separator": ";" if decimal == "," else str(rng.choice([",", ",", ";", "\t"])),
        "decimal": decimal,
        "time": str(rng.choice(["seconds", "seconds", "ms", "clock", "date"])),
        "status": str(rng.choice(["number", "words"])) if language in STATUS_WORDS else "number",
        "drop": frozenset(gone),
    }
    tool = Tool(**(drawn | fixed))  # type: ignore[arg-type]
    return tool


def rail_pressure(run: Run) -> Array:
    """kPa: rises with load (direct injection), is held when the engine stops and bleeds off: over an hour (practice),
    or over ten minutes where an injector leaks."""
    engine, way = run.engine, run.way
    running = engine.rail / 1000 * (1 + (1.8 * run.air.load if engine.direct else 0.0 * run.air.load))
    out = np.where(way.running, running, 0.0)
    bleeds = 600.0 if run.fault.family == "injector-leak" else 3600.0
    last = np.maximum.accumulate(np.where(way.running, np.arange(len(out)), -1))
    standing = ~way.running & (last >= 0)
    stood = (np.arange(len(out)) - last) * STEP
    before = running[np.maximum(last - 10, 0)]
    out[standing] = (before * np.exp(-stood / bleeds))[standing]
    return np.asarray(out)


def values(run: Run, rng: np.random.Generator) -> dict[str, Array]:
    """Every quantity that the controller could tell, dense, rounded as in the standard; key `name:bank` or `name`."""
    engine, air, way = run.engine, run.air, run.way
    n = len(run.clock)

    def noisy(x: Array, spread: float) -> Array:
        return x + rng.normal(0, spread, n)

    load = 100 * np.clip(air.load, 0, 1)
    spark = np.where(way.running, 8 + 24 * np.clip(way.engine / 3000, 0, 1) * (1.25 - air.load), 0.0)
    load = np.where(way.engine > 100, load, 0.0)
    rail = rail_pressure(run)
    out: dict[str, Array] = {
        "engine": noisy(way.engine, 4.0) * (way.engine > 1),
        "speed": way.speed * 3.6,
        "load": noisy(load, 0.4),
        "coolant": run.coolant_read,
        "intake": air.intake,
        "pressure": noisy(air.pressure / 1000, 0.4),
        "throttle": noisy(12 + 78 * air.opening, 0.3),
        "ignition": noisy(spark, 0.8),
        "since": np.cumsum(way.running) * STEP,
        "purge": 100 * air.duty,
        "baro": np.full(n, engine.baro / 1000),
        "voltage": noisy(np.where(way.running, 14.1, 12.4), 0.03),
        "commanded": run.target,
        "codes": np.zeros(n),
        "lamp": np.zeros(n),
    }
    if engine.metering == "flow":
        out["airflow"] = noisy(run.metered * 1000, 0.01) * (1 + rng.normal(0, 0.006, n))
        if engine.charged is False and rng.random() < 0.4:
            del out["pressure"]
    elif run.fault.family == "meter-scale":
        out["pressure"] = noisy(air.pressure / 1000 * (1 + run.fault.amount / 100 * run.act), 0.4)
    if engine.direct or rng.random() < 0.25:
        out["rail"] = noisy(rail, 8.0 if not engine.direct else 60.0)
    for b in range(engine.banks):
        s = f":{b + 1}"
        out["status" + s] = run.status[b].astype(float)
        out["short" + s] = 100 * run.short[b]
        out["long" + s] = 100 * run.long[b]
        if engine.wide:
            out["upstream" + s] = run.upstream[b]
        else:
            out["upstream_v" + s] = noisy(0.45 - 0.4 * np.tanh((run.upstream[b] - 1) / 0.012), 0.015)
        out["downstream" + s] = run.downstream[b]
    for c in range(1, engine.cylinders + 1):
        counts = np.cumsum(rng.random(n) < way.engine / 120 * STEP * 2e-5).astype(float)
        out[f"misses:{c}"] = counts + (run.misses if run.fault.cylinder == c else 0)
    return {key: rounded(key.split(":")[0], x) for key, x in out.items()}


def spelled(tool: Tool, key: str, rng: np.random.Generator, names: dict[str, str], units: dict[str, Unit]) -> str:
    """The column's heading; the same wording and unit for both banks, and for short and long trims."""
    kind, _, place = key.partition(":")
    if kind not in names:
        choices = NAMES[tool.language][kind]
        i = int(rng.integers(len(choices))) * (not tool.first)
        names[kind] = choices[i]
        if kind in ("short", "long"):
            names["short"], names["long"] = NAMES[tool.language]["short"][i], NAMES[tool.language]["long"][i]
    group = ALSO.get(kind, kind)
    if group not in units:
        choice = UNITS[group][int(rng.integers(len(UNITS[group])))]
        if tool.first or (tool.style == "none" and rng.random() < 0.7):
            choice = UNITS[group][0]  # without a unit in the heading tools mostly write the standard's
        units[group] = choice
    name = names[kind].format(b=place, c=place)
    unit = units[group][0]
    if not unit or tool.style in ("none", "row"):
        return name
    flat = unit.replace("/", "_").replace("%", "pct").replace("°", "deg").replace(" ", "_").replace(":", "_")
    return {
        "brackets": f"{name} [{unit}]",
        "parens": f"{name} ({unit})",
        "underscore": f"{name.replace(' ', '_').lower()}_{flat}",
        "comma": f"{name}, {unit}",
        "front": f"({unit}) {name}",
    }[tool.style]


def moment(tool: Tool, t: float, start: float) -> str:
    """The time column's text for `t` seconds after the first row."""
    if tool.time == "seconds":
        return f"{t:.2f}".replace(".", tool.decimal)
    if tool.time == "ms":
        return f"{t * 1000:.0f}"
    at = start + t
    clock = f"{int(at // 3600) % 24:02d}:{int(at // 60) % 60:02d}:{at % 60:06.3f}"
    return clock if tool.time == "clock" else f"2021-05-17 {clock}"


@dataclass(frozen=True)
class Written:
    """A log before it is text: lines of cells, and what the columns are."""

    head: list[list[str]]
    rows: list[list[str]]
    keys: list[str]  # quantity (and bank) of each column after the time
    times: Array


def write(
    run: Run,
    tool: Tool,
    rng: np.random.Generator,
    gaps: Sequence[tuple[float, float]] = (),
    fixed_units: Mapping[str, Unit] | None = None,
) -> Written:
    """What the tool records: one row a tick, `per_row` values new in each (round robin), nothing within `gaps`."""
    dense = values(run, rng)
    keys = [key for key in dense if key.split(":")[0] not in tool.drop]
    order = [keys[i] for i in rng.permutation(len(keys))] if rng.random() < 0.5 else keys
    names: dict[str, str] = {}
    units: dict[str, Unit] = dict(fixed_units or {})
    head = [spelled(tool, key, rng, names, units) for key in order]
    times_ = NAMES[tool.language]["time"]
    time = times_[int(rng.integers(len(times_))) * (not tool.first)]
    unit = {"seconds": "s", "ms": "ms"}.get(tool.time, "")
    marked = {"brackets": f"{time} [{unit}]", "parens": f"{time} ({unit})", "underscore": f"{time.lower()}_{unit}"}
    heads = [[marked.get(tool.style, time) if unit else time, *head]]
    if tool.style == "row":
        heads.append([unit, *(units[ALSO.get(k.split(":")[0], k.split(":")[0])][0] for k in order)])
    times = np.arange(0, run.seconds - STEP, 1 / tool.rate)
    times = times + np.abs(rng.normal(0, 0.02 / tool.rate, len(times)))  # a tool is never quite on time
    keep = np.ones(len(times), dtype=bool)
    for a, b in gaps:
        keep &= ~((times >= a) & (times < b))
    at = np.minimum((times / STEP).astype(int), len(run.clock) - 1)
    columns: list[list[str]] = []
    per_row = min(tool.per_row, len(order))
    ticks = np.arange(len(times))
    for i, key in enumerate(order):
        kind = key.split(":")[0]
        _, factor, offset, decimals = units[ALSO.get(kind, kind)]
        if kind == "voltage":
            factor, decimals = (1.0, max(1, decimals)) if factor == 1 else (factor, decimals)
        # row r reads the values r * per_row ... r * per_row + per_row - 1, counted round the list
        turn = (i - ticks * per_row) % len(order)
        fresh = turn < per_row
        last = np.maximum.accumulate(np.where(fresh, ticks, -1))
        sample = dense[key][at[np.maximum(last, 0)]] * factor + offset
        if kind == "status" and tool.status == "words":
            words = STATUS_WORDS[tool.language]
            texts = [words[int(x)] for x in sample]
        else:
            texts = [f"{x:.{decimals}f}".replace(".", tool.decimal) for x in sample]
        shown = fresh if not tool.held else last >= 0
        columns.append([x if y else "" for x, y in zip(texts, shown, strict=True)])
    start = float(rng.integers(7 * 3600, 19 * 3600))
    rows = [
        [moment(tool, float(times[r]), start), *(column[r] for column in columns)]
        for r in range(len(times))
        if keep[r] and any(column[r] for column in columns)
    ]
    return Written(heads, rows, order, times[keep])


def text(tool: Tool, written: Written) -> str:
    """The file's text; cells that hold the separator are quoted."""

    def line(cells: Sequence[str]) -> str:
        return tool.separator.join(f'"{c}"' if tool.separator in c else c for c in cells)

    return "\n".join(line(cells) for cells in [*written.head, *written.rows]) + "\n"


# ---------------------------------------------------------------- damage


def cut_off(written: Written, rng: np.random.Generator) -> list[str]:
    """The last row ends in the middle of a cell."""
    last = written.rows[-1]
    written.rows[-1] = [*last[: len(last) // 2], last[len(last) // 2][:1]]
    return ["the last line is cut off"]


def headed_again(written: Written, rng: np.random.Generator) -> list[str]:
    """The heading comes again where the tool was started anew."""
    third = len(written.rows) // 3
    for at in (2 * third, third):
        written.rows.insert(at, list(written.head[0]))
    return [f"the heading comes again as data row {third + 1} and {2 * third + 2}"]


def frozen(written: Written, rng: np.random.Generator, kind: str = "coolant") -> list[str]:
    """One column stands still from a fifth of the drive on."""
    at = len(written.rows) // 5
    for i, key in enumerate(written.keys):
        if key.split(":")[0] == kind:
            value = next(row[i + 1] for row in written.rows[at:] if row[i + 1])
            for row in written.rows[at:]:
                row[i + 1] = value if row[i + 1] else ""
            return [f"{kind} stands still from data row {at + 1} on"]
    raise ValueError(f"no column {kind}")


def clock_back(written: Written, rng: np.random.Generator) -> list[str]:
    """The time column goes back by a fifth of the drive, once."""
    half, fifth = len(written.rows) // 2, len(written.rows) // 5
    moments = [row[0] for row in written.rows]
    for r in range(half, len(written.rows)):
        written.rows[r][0] = moments[r - fifth]
    return [f"the clock goes back at data row {half + 1}"]


def unit_changed(written: Written, rng: np.random.Generator, kind: str = "coolant") -> list[str]:
    """A column changes from degrees Celsius to Fahrenheit halfway (it must have been written in Celsius)."""
    half = len(written.rows) // 2
    for i, key in enumerate(written.keys):
        if key == kind:
            for row in written.rows[half:]:
                if row[i + 1]:
                    row[i + 1] = f"{float(row[i + 1].replace(',', '.')) * 1.8 + 32:.0f}"
            return [f"{kind} changes from degrees Celsius to Fahrenheit at data row {half + 1}"]
    raise ValueError(f"no column {kind}")


def jumps(written: Written, rng: np.random.Generator, kind: str = "coolant") -> list[str]:
    """Single values far off (a loose contact), and a tenth of all rows missing."""
    i = next(i for i, key in enumerate(written.keys) if key == kind) + 1
    spots = sorted(rng.choice(len(written.rows), 12, replace=False))
    for r in spots:
        if written.rows[r][i]:
            written.rows[r][i] = "-40"
    for r in sorted(rng.choice(len(written.rows), len(written.rows) // 10, replace=False), reverse=True):
        del written.rows[r]
    return [f"{kind} jumps to -40 in single rows", "a tenth of the rows is missing"]

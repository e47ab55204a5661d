"""Headers to quantities, and a person's mapping.

The parameters' names and short names are those of SAE J1979 / ISO 15031-5, annex B, from memory.
"""

from __future__ import annotations

import pytest

from reasoner.scanlog.columns import QUANTITIES, PlacedQuantity, assign, recognise
from reasoner.scanlog.mapping import propose, read_mapping
from reasoner.scanlog.reading import LogTable, NoLog, read_log

KNOWN = [
    ("Time (s)", "time", 0, "s"),
    ("elapsed [ms]", "time", 0, "ms"),
    ("Unix time", "time", 0, "s"),
    ("epoch_ms", "time", 0, "ms"),
    ("Engine RPM", "engine speed", 0, "rpm"),
    ("engine_speed_rpm", "engine speed", 0, "rpm"),
    ("Vehicle Speed Sensor", "road speed", 0, "km/h"),
    ("Speed (mph)", "road speed", 0, "mph"),
    ("Engine Coolant Temperature (°C)", "coolant temperature", 0, "°C"),
    ("Coolant temp, F", "coolant temperature", 0, "°F"),
    ("ECT", "coolant temperature", 0, "°C"),
    ("Intake Air Temperature [degC]", "intake air temperature", 0, "°C"),
    ("Short Term Fuel Trim - Bank 1 (%)", "short-term trim", 1, "%"),
    ("short_trim_b2 [%]", "short-term trim", 2, "%"),
    ("SHRTFT1", "short-term trim", 1, "%"),
    ("LONGFT2", "long-term trim", 2, "%"),
    ("Long term fuel trim", "long-term trim", 1, "%"),
    ("Air Flow Rate from Mass Air Flow Sensor (g/s)", "airflow", 0, "g/s"),
    ("Mass airflow g/s", "airflow", 0, "g/s"),
    ("Intake air °C", "intake air temperature", 0, "°C"),
    ("Road speed km/h", "road speed", 0, "km/h"),
    ("MAF (lb/min)", "airflow", 0, "lb/min"),
    ("Intake Manifold Absolute Pressure (inHg)", "manifold pressure, absolute", 0, "inHg"),
    ("Calculated LOAD value (%)", "calculated load", 0, "%"),
    ("Absolute load value (%)", "absolute load", 0, "%"),
    ("Fuel System 2 Status", "fuel system", 2, ""),
    ("FUELSYS1", "fuel system", 1, ""),
    ("Commanded Evaporative Purge (%)", "purge, commanded", 0, "%"),
    ("EVAP_PCT", "purge, commanded", 0, "%"),
    ("Fuel Level Input (%)", "fuel level", 0, "%"),
    ("Fuel Rail Pressure (MPa)", "rail pressure", 0, "MPa"),
    ("Rail pressure commanded (bar)", "rail pressure, commanded", 0, "bar"),
    ("Time Since Engine Start (s)", "time since start", 0, "s"),
    ("Oxygen Sensor Bank 2 Sensor 1 Equivalence Ratio", "lambda", 2, ""),
    ("EQ_RAT11", "lambda", 1, ""),
    ("EQ_RAT", "lambda, commanded", 0, ""),
    ("Commanded Equivalence Ratio", "lambda, commanded", 0, ""),
    ("Control module voltage (V)", "controller voltage", 0, "V"),
    ("Misfire count cylinder 3", "misfires", 3, ""),
    ("maf_g_s", "airflow", 0, "g/s"),
    ("airflow_lb_min", "airflow", 0, "lb/min"),
    ("mass_air_flow_kg_h_filtered", "airflow", 0, "kg/h"),
    ("air_mass_g_per_s", "airflow", 0, "g/s"),
    ("MAF_gps", "airflow", 0, "g/s"),
    ("kPa manifold pressure", "manifold pressure, absolute", 0, "kPa"),
    ("coolant_degC", "coolant temperature", 0, "°C"),
    ("ect_c", "coolant temperature", 0, "°C"),
    ("rail_bar", "rail pressure", 0, "bar"),
    ("t_ms", "time", 0, "ms"),
    ("n_rpm", "engine speed", 0, "rpm"),
    ("stft_b2_pct", "short-term trim", 2, "%"),
    ("ltft2", "long-term trim", 2, "%"),
    ("Ignition timing advance", "ignition advance", 0, "deg"),
    ("O2S12", "sensor behind the catalyst", 1, "V"),
    ("downstream O2 sensor bank 2 (mV)", "sensor behind the catalyst", 2, "mV"),
    ("MIL status", "warning lamp", 0, ""),
    ("Fuel System Status 2", "fuel system", 2, ""),
    ("Throttle Pos (%)", "throttle", 0, "%"),
    ("DTCs", "codes", 0, ""),
]


@pytest.mark.parametrize(("header", "quantity", "place", "unit"), KNOWN)
def test_what_is_known(header: str, quantity: str, place: int, unit: str) -> None:
    use = recognise(header)
    assert (use.key, use.unit) == (PlacedQuantity(quantity, place), unit)


# Trade words of everyday use in these languages; practice.
ABROAD = [
    ("Correction court terme banc 2 (%)", "short-term trim", 2, "%"),
    ("Langzeitadaption Bank 2 (%)", "long-term trim", 2, "%"),
    ("Lambda banc 1 sonde 1", "lambda", 1, ""),
    ("Tension sonde O2 aval banc 2 (V)", "sensor behind the catalyst", 2, "V"),
    ("Etat boucle 2", "fuel system", 2, ""),
    ("korttidsbränsletrim_bank_2_factor", "short-term trim", 2, "%"),
    ("Insugningsrörstryck [psi]", "manifold pressure, absolute", 0, "psi"),
    ("lambdasond_bank_1_sensor_2_spänning_V", "sensor behind the catalyst", 1, "V"),
    ("Otáčky motoru", "engine speed", 0, "rpm"),
    ("Dlouhodobá korekce paliva řada 2 [%]", "long-term trim", 2, "%"),
    ("Teplota chladicí kapaliny (C)", "coolant temperature", 0, "°C"),
    ("Richesse lambda amont B1 [lambda]", "lambda", 1, "lambda"),
    ("Estado do sistema de combustível 1", "fuel system", 1, ""),
    ("Motordrehzahl (1/min)", "engine speed", 0, "rpm"),
    ("Kühlmitteltemperatur [°C]", "coolant temperature", 0, "°C"),
    ("Luftmasse kg/h", "airflow", 0, "kg/h"),
    ("Kurzzeit-Kraftstoffkorrektur Bank 1 [%]", "short-term trim", 1, "%"),
    ("Langzeitkorrektur Bank 2 (%)", "long-term trim", 2, "%"),
    ("Saugrohrdruck hPa", "manifold pressure, absolute", 0, "mbar"),
    ("Raildruck Soll (bar)", "rail pressure, commanded", 0, "bar"),
    ("Tankentlüftung %", "purge, commanded", 0, "%"),
    ("Uhrzeit", "time", 0, "s"),
    ("Régime moteur (tr/min)", "engine speed", 0, "rpm"),
    ("Température du liquide de refroidissement (°C)", "coolant temperature", 0, "°C"),
    ("Débit massique d'air (g/s)", "airflow", 0, "g/s"),
    ("Correction carburant court terme banc 1 (%)", "short-term trim", 1, "%"),
    ("Pression collecteur d'admission (kPa)", "manifold pressure, absolute", 0, "kPa"),
    ("Régimen del motor (rpm)", "engine speed", 0, "rpm"),
    ("Flujo de masa de aire (g/s)", "airflow", 0, "g/s"),
    ("Ajuste de combustible a largo plazo banco 2 (%)", "long-term trim", 2, "%"),
    ("Giri motore", "engine speed", 0, "rpm"),
    ("Portata massa aria (g/s)", "airflow", 0, "g/s"),
    ("Correzione carburante breve termine", "short-term trim", 1, "%"),
    ("Temperatura do líquido de arrefecimento", "coolant temperature", 0, "°C"),
    ("Obroty silnika", "engine speed", 0, "rpm"),
    ("Temperatura płynu chłodzącego", "coolant temperature", 0, "°C"),
    ("Korekta długoterminowa bank 1", "long-term trim", 1, "%"),
    ("Toerental", "engine speed", 0, "rpm"),
    ("Koelvloeistoftemperatuur", "coolant temperature", 0, "°C"),
    ("Tension sonde banc 1 sonde 2 [V]", "sensor behind the catalyst", 1, "V"),
    ("Tensione sonda bancata 2 sonda 1", "oxygen sensor", 2, "V"),
    ("Voltaje sensor oxígeno banco 1 sensor 2", "sensor behind the catalyst", 1, "V"),
    ("Estado sistema de combustible", "fuel system", 1, ""),
    ("Comando valvola canister [%]", "purge, commanded", 0, "%"),
    ("Zündaussetzer gesamt", "misfires", 0, ""),
    ("Ratés d'allumage cylindre 3", "misfires", 3, ""),
]


@pytest.mark.parametrize(("header", "quantity", "place", "unit"), ABROAD)
def test_names_in_other_languages(header: str, quantity: str, place: int, unit: str) -> None:
    use = recognise(header)
    assert (use.key, use.unit) == (PlacedQuantity(quantity, place), unit)


def log_of(header: str, rows: list[str]) -> LogTable:
    table = read_log("\n".join([header, *rows]).encode())
    assert isinstance(table, LogTable)
    return table


@pytest.mark.parametrize(
    ("header", "key", "before", "after", "same"),
    [
        ("coolant (°C)", PlacedQuantity("coolant temperature"), 90.0, 194.0, 90.0),
        ("manifold pressure (kPa)", PlacedQuantity("manifold pressure, absolute"), 40.0, 5.8, 40.0),
        ("MAF (g/s)", PlacedQuantity("airflow"), 4.0, 14.4, 4.0),
        ("STFT1 (%)", PlacedQuantity("short-term trim", 1), -8.0, 0.92, -8.0),
        ("lambda bank 1", PlacedQuantity("lambda", 1), 1.0, 14.64, 1.0),
    ],
)
def test_a_column_that_goes_on_in_another_unit_is_said(
    header: str, key: PlacedQuantity, before: float, after: float, same: float
) -> None:
    wave = [0.001 * (i % 9) for i in range(200)]
    rows = [f"{i},800,{(before if i < 120 else after) + wave[i]:.5f}" for i in range(200)]
    table = log_of(f"time (s),rpm,{header}", rows)
    assert table.series[key][:100].mean() == pytest.approx(same, rel=0.02)
    assert table.series[key][130:].mean() == pytest.approx(same, rel=0.03, abs=0.5)
    assert any("from line 122 on" in fault for fault in table.faults)


def test_a_coolant_that_falls_and_comes_back_has_not_changed_its_unit() -> None:
    """40 to 89 might be degC that go on as degF; but it had fallen from 89 before."""
    cold = [(89 if not 120 <= i < 300 else 40) for i in range(600)]
    table = log_of("time (s),coolant (°C)", [f"{i},{c}" for i, c in enumerate(cold)])
    assert table.series[PlacedQuantity("coolant temperature")].tolist() == cold
    assert not any("taken into account" in said for said in table.faults)


def test_one_unit_throughout_is_left_alone() -> None:
    speeds = [0, 0, 30, 60, 90, 60, 30, 0]
    table = log_of("time (s),rpm,speed (km/h)", [f"{i},800,{speeds[i // 25]}" for i in range(200)])
    assert not table.faults
    assert table.series[PlacedQuantity("road speed")].max() == 90


def test_units_in_a_row_above() -> None:
    table = read_log(b"s;1/min;lb/min\ntime;n;MAF\n" + b"".join(b"%d;800;0.5\n" % i for i in range(40)))
    assert isinstance(table, LogTable)
    assert table.series[PlacedQuantity("airflow")][0] == pytest.approx(0.5 * 453.59237 / 60)


def test_trims_as_factors_with_a_long_one_that_stands_still() -> None:
    rows = [f"{i},800,{0.95 + 0.01 * (i % 5):.2f},0.90" for i in range(60)]
    table = log_of("time (s),rpm,STFT1,LTFT1", rows)
    assert table.series[PlacedQuantity("long-term trim", 1)][0] == pytest.approx(-10)
    assert table.series[PlacedQuantity("short-term trim", 1)].min() == pytest.approx(-5)


def test_codes_and_the_lamp() -> None:
    rows = [f"{i},800,{'P0172; P0175' if i > 30 else ''},{'on' if i > 30 else 'off'}" for i in range(60)]
    table = log_of("time (s),rpm,DTCs,MIL", rows)
    assert table.codes == (("P0172", 33), ("P0175", 33))
    assert table.series[PlacedQuantity("warning lamp")].sum() == 29


@pytest.mark.parametrize(
    "header",
    [
        "Coolant fan speed",
        "Desired idle speed (rpm)",
        "Catalyst temperature bank 1 sensor 1 (°C)",
        "Fuel trim bank 1",
        "Short term secondary O2 trim bank 1",
        "Lambda bank 1 sensor 2",
        "Temperature",
        "Coolant temperature (kPa)",
        "Time to first",
        "Gear",
        "",
        "12",
    ],
)
def test_what_is_not_known_is_left_open_with_a_reason(header: str) -> None:
    use = recognise(header)
    assert use.key is None
    assert use.note


def test_the_first_of_two_is_used_and_the_second_said() -> None:
    uses = assign(["time (s)", "Engine speed (rpm)", "RPM"])
    assert [u.key is not None for u in uses] == [True, True, False]
    assert "Engine speed (rpm)" in uses[2].note


def test_a_row_of_units_below_is_taken_where_the_header_has_none() -> None:
    uses = assign(["time", "MAF", "ECT (°C)"], ["ms", "lb/min", "°F"])
    assert [(u.unit, u.unit_from) for u in uses] == [("ms", "row below"), ("lb/min", "row below"), ("°C", "header")]


LOG = b"Zeit;N;Kraftstoff links\n0;800;-12\n1;810;-13\n"


def test_a_mapping_is_proposed_edited_and_read() -> None:
    proposed = propose(LOG, "log.csv")
    assert isinstance(proposed, str)
    assert '"Kraftstoff links": not used' in proposed
    edited = (
        proposed.replace('"Zeit": not used   # not known', '"Zeit": {quantity: time, unit: s}')
        .replace('"N": not used   # not known', '"N": {quantity: engine speed, unit: rpm}')
        .replace(
            '"Kraftstoff links": not used   # not known',
            '"Kraftstoff links": {quantity: short-term trim, bank: 2, unit: "%"}',
        )
        .replace("every: 1.0", "# every: 1.0")
    )
    columns, problems = read_mapping(edited.encode(), "columns.yaml")
    assert not problems
    assert columns is not None
    table = read_log(LOG, columns)
    assert isinstance(table, LogTable)
    assert table.series[PlacedQuantity("short-term trim", 2)].tolist() == [-12, -13]


def test_what_is_proposed_can_be_read_as_it_is() -> None:
    log = b'Time (s),Engine speed (rpm),SHRTFT1,Lambda bank 1,Rail pressure commanded (bar),odd: "one"\n'
    log += b"0,1,2,1,50,4\n1,1,2,1,50,4\n"
    proposed = propose(log)
    assert isinstance(proposed, str)
    columns, problems = read_mapping(proposed.encode(), "columns.yaml")
    assert not problems
    plain, mapped = read_log(log), read_log(log, columns)
    assert isinstance(plain, LogTable)
    assert isinstance(mapped, LogTable)
    assert {k: v.tolist() for k, v in plain.series.items()} == {k: v.tolist() for k, v in mapped.series.items()}


def test_rows_without_a_clock_need_their_distance() -> None:
    log = b"Engine speed (rpm),SHRTFT1\n" + b"800,-3\n" * 20
    assert "no column of time" in read_log(log).why  # type: ignore[union-attr]
    text = b'columns:\n  "Engine speed (rpm)": {quantity: engine speed}\n  SHRTFT1: {quantity: short-term trim}\n'
    text += b"every: 0.5\n"
    columns, _ = read_mapping(text, "c.yaml")
    table = read_log(log, columns)
    assert isinstance(table, LogTable)
    assert table.seconds.tolist() == [0.5 * i for i in range(20)]


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("columns:\n  A: {quantity: engine sped}\n", "unknown-name"),
        ("columns:\n  A: {quantity: coolant temperature, unit: kPa}\n", "bad-unit"),
        ("columns:\n  A: {quantity: short-term trim, bank: 9}\n", "bad-number"),
        ("columns:\n  A: {unit: kPa}\n", "missing-key"),
        ("columns:\n  A: {quantity: airflow, colour: red}\n", "unknown-key"),
        ("columns:\n  A: engine speed\n", "bad-shape"),
        ("colums:\n  A: {quantity: airflow}\n", "unknown-key"),
        ("columns:\n  A: {quantity: airflow}\nevery: soon\n", "bad-number"),
        ("every: 0.5\n", "empty-file"),
        ("columns: {A: &x {quantity: airflow}}\n", "alias"),
    ],
)
def test_mistakes_in_a_mapping_have_a_place(text: str, kind: str) -> None:
    columns, problems = read_mapping(text.encode(), "c.yaml")
    assert columns is None
    assert [p.kind for p in problems] == [kind]
    assert problems[0].place.line >= 1


def test_quantities_have_names_and_units_that_convert() -> None:
    from reasoner.measure.units import find_unit

    assert len({q.name for q in QUANTITIES}) == len(QUANTITIES)
    assert all(find_unit(q.unit) for q in QUANTITIES if q.unit)
    assert all(
        recognise(q.name).key == PlacedQuantity(q.name, 1 if q.at == "bank" else 0)
        for q in QUANTITIES
        if q.name != "misfires"
    )


def test_numbers_are_not_proposed_as_names_of_columns() -> None:
    rows = "\n".join(f"{i}.0,800,{i}" for i in range(20))
    assert isinstance(propose(rows.encode()), NoLog)

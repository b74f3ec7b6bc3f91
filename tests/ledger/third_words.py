"""Twenty people who log rides, each with words of their own: the third corpus's hands.

Written without a look at the reader's vocabulary and at the other two corpora: home builders, a
battery app, phone and watch exports, home-made loggers, in seven languages. All wordings are
invented here; none is a product's.

A word is `header|unit`: `{s}` stands for the side, which goes where a file is of one side; `?` after
the unit marks a column whose log does not say enough to be sure; `!` that the number counts the
other way round. Several ways are parted by ` / `.
"""

from __future__ import annotations

from dataclasses import dataclass, field

SIDES = {
    "en": {"left": "left", "right": "right", "front": "front", "rear": "rear"},
    "en1": {"left": "L", "right": "R", "front": "F", "rear": "R"},
    "ens": {"left": "l", "right": "r", "front": "fr", "rear": "re"},
    "de": {"left": "links", "right": "rechts", "front": "vorn", "rear": "hinten"},
    "de1": {"left": "li", "right": "re", "front": "vorn", "rear": "hint"},
    "fr": {"left": "gauche", "right": "droite", "front": "avant", "rear": "arrière"},
    "es": {"left": "izq", "right": "der", "front": "delantero", "rear": "trasero"},
    "it": {"left": "sinistro", "right": "destro", "front": "anteriore", "rear": "posteriore"},
    "pt": {"left": "esquerdo", "right": "direito", "front": "dianteiro", "rear": "traseiro"},
    "nl": {"left": "links", "right": "rechts", "front": "voor", "rear": "achter"},
}


@dataclass(frozen=True)
class Hand:
    """One person's way to log."""

    who: str
    sides: str
    words: dict[str, str]
    layouts: tuple[str, ...]  # wide | sides | long
    times: tuple[str, ...]
    id_header: str = ""
    mark: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    form: tuple[str, ...] = ()  # preamble, comments, units_row, quoted, repeated, spaced, trailing
    bms: dict[str, str] = field(default_factory=dict)
    gps: dict[str, str] = field(default_factory=dict)
    junk: tuple[str, ...] = ()  # columns that are no channel: count, version, signal, lap, memory


HANDS = (
    Hand("bench notebook", "en", {
        "time": "timestamp", "battery_a": "{s} drive battery amps|A", "voltage_v": "{s} supply volts|V",
        "phase_a": "{s} motor amps|A / {s} phase amps|A", "rpm": "{s} shaft rpm|rpm",
        "demand": "{s} twist grip %|% / {s} throttle grip %|%", "duty": "{s} duty %|%",
        "motor_c": "{s} winding temp C|°C / {s} motor temp C|°C", "controller_c": "{s} heatsink temp C|°C",
    }, ("wide", "sides"), ("iso_z", "s"),
        bms={"pack_v": "pack volts|V", "pack_a": "pack amps|A", "pack_c": "pack temp C|°C",
             "soc": "charge left %|%"},
        gps={"speed": "gps speed km/h|km/h", "lat": "lat|°", "lon": "lon|°", "alt": "alt m|m"},
        junk=("count",)),
    Hand("garage in the south", "de", {
        "time": "Zeit [s]", "battery_a": "Akkustrom {s} [A]|A / Strom Batterie {s} [A]|A",
        "voltage_v": "Klemmenspannung {s} [V]|V / Akkuspannung {s} [V]|V",
        "phase_a": "Motorstrom {s} [A]|A / Phasenstrom {s} [A]|A", "rpm": "Drehzahl {s} [1/min]|rpm",
        "demand": "Gasgriff {s} [%]|%", "duty": "Aussteuerung {s} [%]|% / Tastgrad {s} [%]|%",
        "motor_c": "Wicklung {s} [°C]|°C", "controller_c": "Endstufe {s} [°C]|°C / Regler {s} [°C]|°C",
    }, ("wide", "sides"), ("s", "datetime_de"), mark=";", decimal=",", encoding="cp1252",
        bms={"pack_v": "Batteriespannung [V]|V", "pack_a": "Batteriestrom [A]|A",
             "pack_c": "Akkutemperatur [°C]|°C", "soc": "Ladezustand [%]|%"},
        gps={"speed": "Tempo GPS [km/h]|km/h", "lat": "Breite [°]|°", "lon": "Länge [°]|°",
             "alt": "Höhe [m]|m"}),
    Hand("struct dump", "ens", {
        "time": "tick_ms", "battery_a": "{s}_ibat_ma|mA", "voltage_v": "{s}_vbat_mv|mV",
        "phase_a": "{s}_iph_ma|mA / {s}_iphase_ma|mA", "erpm": "{s}_erpm|electrical rpm",
        "demand": "{s}_thr|0-1", "duty": "{s}_duty|0-1", "motor_c": "{s}_tmot_c|°C",
        "controller_c": "{s}_tctl_c|°C / {s}_tfet_c|°C",
    }, ("wide", "sides"), ("ms", "wrap_ms"),
        bms={"pack_v": "vpack_mv|mV", "pack_a": "ipack_ma|mA", "soc": "soc_pct|%"},
        gps={"lat": "lat_e7|1e-7 °", "lon": "lon_e7|1e-7 °", "alt": "alt_mm|mm", "speed": "gspd_mm_s|mm/s"},
        junk=("count", "version", "signal")),
    Hand("phone app, imperial", "en", {
        "time": "Time", "battery_a": "{s} Battery Current (A)|A", "voltage_v": "{s} Battery Voltage (V)|V",
        "phase_a": "{s} Phase Current (A)|A", "wheel": "{s} Wheel Speed (mph)|mph", "rpm": "{s} Motor RPM|rpm",
        "demand": "{s} Throttle (%)|%", "power": "{s} Power (W)|W", "motor_c": "{s} Motor (°F)|°F",
        "controller_c": "{s} Controller (°F)|°F",
    }, ("wide", "sides"), ("ampm", "clock"), form=("preamble", "quoted"),
        bms={"pack_v": "Pack (V)|V", "pack_a": "Pack (A)|A", "pack_c": "Pack (°F)|°F", "soc": "Charge (%)|%"},
        gps={"lat": "Latitude|°", "lon": "Longitude|°", "alt": "Elevation (ft)|ft", "speed": "GPS (mph)|mph",
             "course": "Heading (°)|°"}, junk=("signal",)),
    Hand("wrist watch export", "en1", {
        "time": "seconds", "battery_a": "{s} Ibatt (A)|A", "voltage_v": "{s} Vbatt (V)|V",
        "phase_a": "{s} Iphase (A)|A", "rpm": "{s} motor rev/min|rpm", "demand": "{s} demand (%)|%",
        "motor_c": "{s} T motor (degC)|°C", "controller_c": "{s} T controller (degC)|°C",
    }, ("sides", "wide"), ("s",),
        bms={"pack_v": "Vpack (V)|V", "pack_a": "Ipack (A)|A", "soc": "SOC (%)|%"},
        gps={"lat": "position lat|°", "lon": "position long|°", "alt": "elev m|m", "speed": "m/s over ground|m/s",
             "course": "course deg|°"}, junk=("lap", "pulse")),
    Hand("battery minder", "en", {
        "time": "date/time", "battery_a": "{s} current / A|A", "voltage_v": "{s} voltage / V|V",
        "phase_a": "{s} phase current / A|A", "rpm": "{s} speed / rpm|rpm", "demand": "{s} throttle / %|%",
        "motor_c": "{s} motor / °C|°C", "controller_c": "{s} controller / °C|°C",
    }, ("sides", "wide"), ("iso_offset", "epoch_s"),
        bms={"pack_v": "pack voltage / mV|mV", "pack_a": "pack current / mA (charging +)|mA!",
             "cells": "cell {n} / mV|mV", "pack_c": "pack sensor / °C|°C", "soc": "state of charge / %|%",
             "low_v": "lowest cell / mV|mV", "high_v": "highest cell / mV|mV"},
        gps={"lat": "latitude / deg|°", "lon": "longitude / deg|°", "alt": "altitude / m|m",
             "speed": "ground speed / m/s|m/s"}, junk=("lap",)),
    Hand("atelier", "fr", {
        "time": "temps (s)", "battery_a": "courant batterie {s} (A)|A", "voltage_v": "tension batterie {s} (V)|V",
        "phase_a": "courant de phase {s} (A)|A / courant moteur {s} (A)|A",
        "rpm": "régime moteur {s} (tr/min)|rpm", "demand": "poignée de gaz {s} (%)|% / accélérateur {s} (%)|%",
        "duty": "rapport cyclique {s} (%)|%", "motor_c": "température moteur {s} (°C)|°C",
        "controller_c": "température contrôleur {s} (°C)|°C / température onduleur {s} (°C)|°C",
    }, ("wide", "sides"), ("s", "datetime_de"), mark=";", decimal=",",
        bms={"pack_v": "tension pack (V)|V", "pack_a": "courant pack (A)|A",
             "pack_c": "température batterie (°C)|°C", "soc": "état de charge (%)|%"},
        gps={"lat": "latitude (°)|°", "lon": "longitude (°)|°", "alt": "altitude (m)|m",
             "speed": "vitesse GPS (km/h)|km/h"}),
    Hand("taller", "es", {
        "time": "tiempo (ms)", "battery_a": "corriente batería {s} (A)|A", "voltage_v": "tensión batería {s} (V)|V",
        "phase_a": "corriente de fase {s} (A)|A / corriente motor {s} (A)|A",
        "rpm": "revoluciones motor {s} (rpm)|rpm", "demand": "acelerador {s} (%)|%",
        "duty": "ciclo de trabajo {s} (%)|%", "motor_c": "temperatura motor {s} (°C)|°C",
        "controller_c": "temperatura controlador {s} (°C)|°C",
    }, ("wide", "sides"), ("ms",), mark=";",
        bms={"pack_v": "voltaje pack (V)|V", "pack_a": "corriente pack (A)|A", "soc": "estado de carga (%)|%",
             "pack_c": "temperatura batería (°C)|°C"},
        gps={"lat": "latitud|°", "lon": "longitud|°", "alt": "altitud (m)|m", "speed": "velocidad GPS (km/h)|km/h"}),
    Hand("officina", "it", {
        "time": "tempo [s]", "battery_a": "corrente batteria {s} [A]|A", "voltage_v": "tensione batteria {s} [V]|V",
        "phase_a": "corrente di fase {s} [A]|A / corrente motore {s} [A]|A", "rpm": "giri motore {s} [giri/min]|rpm",
        "demand": "acceleratore {s} [%]|%", "duty": "ciclo di lavoro {s} [%]|%",
        "motor_c": "temperatura motore {s} [°C]|°C", "controller_c": "temperatura centralina {s} [°C]|°C",
    }, ("wide", "sides"), ("s", "clock"), mark="\t", decimal=",",
        bms={"pack_v": "tensione pacco [V]|V", "pack_a": "corrente pacco [A]|A", "soc": "stato di carica [%]|%",
             "pack_c": "temperatura pacco [°C]|°C"},
        gps={"lat": "latitudine [°]|°", "lon": "longitudine [°]|°", "alt": "quota [m]|m",
             "speed": "velocità GPS [km/h]|km/h"}),
    Hand("oficina", "pt", {
        "time": "tempo (s)", "battery_a": "corrente da bateria {s} (A)|A", "voltage_v": "tensão da bateria {s} (V)|V",
        "phase_a": "corrente de fase {s} (A)|A", "rpm": "rotação do motor {s} (rpm)|rpm",
        "demand": "acelerador {s} (%)|%", "motor_c": "temperatura do motor {s} (°C)|°C",
        "controller_c": "temperatura do controlador {s} (°C)|°C",
    }, ("wide", "sides"), ("s",), mark=";", decimal=",",
        bms={"pack_v": "tensão do pack (V)|V", "pack_a": "corrente do pack (A)|A", "soc": "estado de carga (%)|%"},
        gps={"lat": "latitude (graus)|°", "lon": "longitude (graus)|°", "alt": "altitude (m)|m",
             "speed": "velocidade GPS (km/h)|km/h"}),
    Hand("werkplaats", "nl", {
        "time": "tijd (s)", "battery_a": "accustroom {s} (A)|A / stroom accu {s} (A)|A",
        "voltage_v": "accuspanning {s} (V)|V", "phase_a": "fasestroom {s} (A)|A / motorstroom {s} (A)|A",
        "rpm": "toerental {s} (omw/min)|rpm", "demand": "gashendel {s} (%)|%",
        "motor_c": "motortemperatuur {s} (°C)|°C", "controller_c": "temperatuur regelaar {s} (°C)|°C",
    }, ("wide", "sides"), ("s", "datetime_de"), mark=";", decimal=",",
        bms={"pack_v": "pakketspanning (V)|V", "pack_a": "pakketstroom (A)|A", "soc": "laadtoestand (%)|%"},
        gps={"lat": "breedtegraad|°", "lon": "lengtegraad|°", "alt": "hoogte (m)|m",
             "speed": "snelheid GPS (km/u)|km/h"}),
    Hand("bus listener", "en", {
        "time": "t", "battery_a": "i_bat [A]|A / I_dc [A]|A", "voltage_v": "u_bat [V]|V / U_dc [V]|V",
        "phase_a": "i_ph [A]|A / I_motor [A]|A", "erpm": "n_el [1/min]|electrical rpm?", "demand": "thr [%]|%",
        "duty": "duty [%]|%", "motor_c": "T_mot [°C]|°C", "controller_c": "T_inv [°C]|°C / T_ctrl [°C]|°C",
    }, ("long",), ("s", "epoch_ms"), id_header="drive / side / unit / controller",
        bms={"pack_v": "U_pack [V]|V", "pack_a": "I_pack [A]|A"},
        gps={"lat": "lat [deg]|°", "lon": "lon [deg]|°", "alt": "h [m]|m", "speed": "v_gps [m/s]|m/s"}),
    Hand("engineer with a units row", "de1", {
        "time": "Zeit|s", "battery_a": "I Batt {s}|A", "voltage_v": "U Batt {s}|V", "phase_a": "I Phase {s}|A",
        "rpm": "n Motor {s}|rpm", "demand": "Gas {s}|%", "duty": "PWM {s}|%", "motor_c": "T Motor {s}|°C",
        "controller_c": "T Regler {s}|°C",
    }, ("wide", "sides"), ("s",), mark=";", decimal=",", form=("units_row",),
        bms={"pack_v": "U Pack|V", "pack_a": "I Pack|A", "pack_c": "T Pack|°C", "soc": "SoC|%"},
        gps={"lat": "GPS Breite|°", "lon": "GPS Länge|°", "alt": "GPS Höhe|m", "speed": "GPS Tempo|km/h"}),
    Hand("integers only", "en", {
        "time": "time [ms]", "battery_a": "{s} batt current [cA]|cA / {s} batt current [0.1 A]|dA",
        "voltage_v": "{s} batt voltage [0.1 V]|dV / {s} batt voltage [cV]|cV",
        "phase_a": "{s} phase current [0.1 A]|dA", "erpm": "{s} electrical rpm|electrical rpm",
        "demand": "{s} throttle [0.1 %]|0.1 %", "motor_c": "{s} motor temp [0.1 °C]|0.1 °C",
        "controller_c": "{s} controller temp [0.1 °C]|0.1 °C",
    }, ("wide", "sides"), ("ms", "us"),
        bms={"pack_v": "pack voltage [0.1 V]|dV", "pack_a": "pack current [0.1 A]|dA", "soc": "soc [%]|%"},
        gps={"lat": "latitude [1e-7 deg]|1e-7 °", "lon": "longitude [1e-7 deg]|1e-7 °",
             "alt": "altitude [cm]|cm", "speed": "ground speed [cm/s]|cm/s"}, junk=("count", "memory")),
    Hand("spreadsheet lover", "en", {
        "time": "Time", "battery_a": "Battery amps, {s}|A", "voltage_v": "Battery volts, {s}|V",
        "phase_a": "Phase amps, {s}|A", "rpm": "Motor rpm, {s}|rpm", "demand": "Throttle %, {s}|%",
        "motor_c": "Motor temperature °C, {s}|°C", "controller_c": "Controller temperature °C, {s}|°C",
    }, ("wide", "sides"), ("two", "ampm"), form=("quoted", "trailing"),
        bms={"pack_v": "Pack volts|V", "pack_a": "Pack amps|A", "soc": "Charge %|%", "pack_c": "Pack temperature °C|°C"},
        gps={"lat": "Latitude|°", "lon": "Longitude|°", "alt": "Altitude, m|m", "speed": "GPS speed, km/h|km/h"}),
    Hand("terminal table", "en", {
        "time": "elapsed", "battery_a": "bat_cur_{s} A|A", "voltage_v": "bat_volt_{s} V|V",
        "phase_a": "ph_cur_{s} A|A", "rpm": "mot_rpm_{s}|rpm", "demand": "throttle_{s} %|%", "power": "power_{s} kW|kW",
        "motor_c": "mot_temp_{s} C|°C", "controller_c": "ctrl_temp_{s} C|°C",
    }, ("wide",), ("s",), mark="|", form=("comments", "spaced"),
        bms={"pack_v": "pack_volt V|V", "pack_a": "pack_cur A|A", "soc": "soc %|%"},
        gps={"lat": "lat deg|°", "lon": "lon deg|°", "alt": "alt m|m", "speed": "gps_speed kn|kn"}),
    Hand("office export", "de", {
        "time": "Datum und Uhrzeit", "battery_a": "Batteriestrom {s} in A|A", "voltage_v": "Batteriespannung {s} in V|V",
        "phase_a": "Phasenstrom {s} in A|A", "rpm": "Motordrehzahl {s} in U/min|rpm", "demand": "Gas {s} in %|%",
        "power": "Leistung {s} in kW|kW", "motor_c": "Motortemperatur {s} in °C|°C",
        "controller_c": "Controllertemperatur {s} in °C|°C",
    }, ("wide", "sides"), ("datetime_de",), mark="\t", decimal=",", encoding="utf-16",
        bms={"pack_v": "Packspannung in V|V", "pack_a": "Packstrom in A|A", "soc": "SOC in %|%",
             "pack_c": "Packtemperatur in °C|°C"},
        gps={"lat": "Breitengrad|°", "lon": "Längengrad|°", "alt": "Höhe in m|m",
             "speed": "GPS-Geschwindigkeit in km/h|km/h"}),
    Hand("logger that restarts", "en1", {
        "time": "uptime s", "battery_a": "battI_{s} (A)|A", "voltage_v": "battV_{s} (V)|V", "phase_a": "phaseI_{s} (A)|A",
        "rpm": "rpm_{s}|rpm", "demand": "throttle_{s} (0-1)|0-1", "duty": "duty_{s} (0-1)|0-1",
        "motor_c": "motorT_{s} (C)|°C", "controller_c": "ctrlT_{s} (C)|°C",
    }, ("wide", "sides"), ("s",), form=("repeated", "comments"),
        bms={"pack_v": "packV (V)|V", "pack_a": "packI (A)|A", "soc": "soc (0-1)|0-1"},
        gps={"lat": "lat|°", "lon": "lon|°", "alt": "alt (m)|m", "speed": "gpsspeed (m/s)|m/s"}, junk=("version",)),
    Hand("kart paddock", "en", {
        "time": "Time (s)", "battery_a": "{s} inverter DC current (A)|A", "voltage_v": "{s} inverter DC link (V)|V",
        "phase_a": "{s} inverter phase current (A)|A", "rpm": "{s} motor revs (rpm)|rpm",
        "demand": "{s} pedal (%)|%", "motor_c": "{s} stator temp (°C)|°C", "controller_c": "{s} inverter temp (°C)|°C",
    }, ("wide", "sides"), ("s", "epoch_s"), form=("preamble",),
        bms={"pack_v": "accumulator voltage (V)|V", "pack_a": "accumulator current (A)|A",
             "pack_c": "accumulator temp (°C)|°C", "soc": "accumulator SOC (%)|%"},
        gps={"lat": "GPS lat (deg)|°", "lon": "GPS lon (deg)|°", "alt": "GPS alt (m)|m", "speed": "GPS speed (m/s)|m/s"},
        junk=("lap", "count")),
    Hand("no units at all", "en1", {
        "time": "Time", "battery_a": "Batt Amps {s}|A", "voltage_v": "Batt Volts {s}|V", "phase_a": "Phase Amps {s}|A",
        "rpm": "Motor RPM {s}|rpm", "demand": "Throttle {s}|%", "motor_c": "Motor Temp {s}|°C",
        "controller_c": "Controller Temp {s}|°C",
    }, ("wide", "sides"), ("s", "ms"),
        bms={"pack_v": "Pack Volts|V", "pack_a": "Pack Amps|A", "soc": "SOC|%", "pack_c": "Pack Temp|°C"},
        gps={"lat": "Lat|°", "lon": "Lon|°", "alt": "Alt|m?", "speed": "GPS Speed|km/h"}),
)  # fmt: skip

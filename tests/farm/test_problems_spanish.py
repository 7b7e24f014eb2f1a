"""What is wrong in a farm's files, said in Spanish: every kind of error, key, value and mend."""

from typing import Any

import pytest

from tests.farm.validation.test_sources import MAPPED
from tests.farm.validation.test_stations import CSV, METAR, MODBUS, MQTT, NMEA
from watcher.farm.load import load
from watcher.i18n.language import language

SPANISH = language("es")

OTHER_BOOM = """[sprayers.other]
boom_width = "60 ft"
boom_height = "20 in"
speed = "6 mph"
tank = "500 gal"
field_efficiency = "65 %"
fill_time = "20 min"
tips = ["fan"]

"""
SLIPS = [
    # what was written, what is written now, the key told, what is wrong, the mend
    (
        'carrier = "15 gal/acre"',
        "carrier = 15",
        "setups.fan.carrier = 15",
        "un número solo no tiene unidad",
        "escriba un número con su unidad, como gal/acre o L/ha; por ejemplo",
    ),
    ('"6 mph"', '"6 mpg"', 'speed = "6 mpg"', '"mpg" (¿quiso decir "mph"?)', "mph o km/h"),
    ('"90 ft"', '"900 ft"', 'boom_width = "900 ft"', "fuera de lo creíble, de 1.64 ft", "revise"),
    ('tank = "1000 gal"\n', "", "sprayers.boom.tank", "falta", "agréguelo: lo que cabe en el"),
    (
        "tank =",
        'tnak = "1 gal"\ntank =',
        "boom.tnak",
        "esta clave",
        '¿quiso decir "tank"? claves de',
    ),
    (
        '"flat fan"',
        '"fan"',
        'nozzle = "fan"',
        "no es una de las opciones",
        "opciones: flat fan, pre",
    ),
    ('kind = "push"', 'every = "9 s"', "sources.yard.kind", "falta", "agregue kind: uno de nws"),
    ("2026-06-18", "20260618", "south.latest = 20260618", "debe ser una fecha", "sin comillas"),
    ("21:30:00", "2130", "quiet_hours.start = 2130", "una hora del día", "con segundos"),
    ('["coarse"]', '"coarse"', 'setups = "coarse"', "no es una lista", "escriba una lista"),
    (
        "[fields.north]",
        '[fields."a b"]',
        'fields."a b"',
        "este nombre no se puede",
        "letras, cifras",
    ),
    ('crop = "corn"', 'crop = ""', 'north.crop = ""', "está vacío", "escriba algo"),
    ('crop = "corn"', "crop = 7", "north.crop = 7", "no es texto", "entre comillas"),
    ('crop = "corn"', f'crop = "{"x" * 201}"', "crop", "más de 200 caracteres", "acórtelo"),
    ("[farm]", "[judging]\nmargin = 2\n[farm]", "margin = 2", "menor o igual que 1", "revise el"),
    ("[farm]", "[judging]\nmargin = -1\n[farm]", "margin = -1", "mayor o igual que 0", "revise el"),
    ("[farm]", "[judging]\ncalm_share = 0\n[farm]", "calm_share = 0", "mayor que 0", "revise el"),
    ("[farm]", '[judging]\nmargin = "1"\n[farm]', 'margin = "1"', "ser un número", "sin comillas"),
    ("[recipients.grower]", "[recipients.grower]\nmost_an_hour = 1.5", "1.5", "número entero", "4"),
    ("wind = {", 'wind = "10 mph"\ndelta_t = {', "contact.wind", "no es una tabla", "una tabla"),
    ('units = "us"', 'units = "us"\nlanguage = "xx"', 'language = "xx"', "opciones", "en, es"),
    (
        'window = "contact"',
        'window = "contat"',
        'window = "contat"',
        "no hay [windows.contat]",
        "¿",
    ),
    ('["coarse"]', '["coarse", 7]', "fields.south.setups (elemento 2) = 7", "no es texto", "texto"),
    ("[neighbours.orchard]", "[neighbours.south]", "south", "el mismo nombre", "dé otro nombre"),
    (
        "America/Chicago",
        "America/Chicgo",
        "time_zone",
        "no es una zona horaria",
        "escriba su nombre",
    ),
    ("America/Chicago", "America/Denver", "time_zone", "las parcelas están en", "revise los"),
    ("quiet_hours", "hears = []\nquiet_hours", "grower.hears", "está vacío", "de qué se le avisa"),
    ("05:00:00", "21:30:00", "quiet_hours", "todo el día o nunca", "deles horas distintas"),
    ("[farm]", "[brief]\nevening = 05:00:00\n[farm]", "evening", "no es después", "24 horas"),
    (
        'low = "3 mph"',
        'low = "11 mph"',
        "contact.wind",
        "nunca puede abrirse: low 11.0",
        "intercambie",
    ),
    ('low = "3 mph", ', "", "contact.wind", "un límite inferior (low)", "el aire quieto"),
    ('low = "4 h"', 'high = "4 h"', "rain_free_after.high", "no significa nada", "solo cuenta low"),
    (
        'rain_free_after = { low = "4 h" }',
        "rain_free_after = {}",
        "after",
        "no nombra",
        "escriba low",
    ),
    ('low = "4 h"', 'low = "9 d"', "rain_free_after", "más allá de judging.horizon", "espacio"),
    (
        '"fine", origin',
        '"very coarse", origin',
        "south.setups",
        "nunca se puede pulverizar",
        "gruesa",
    ),
    (
        'weeds = "weedy"',
        'weeds = "weedy"\nlimits = { wind = { high = "12 mph" } }',
        'limits.wind.high = "12 mph"',
        "es más flojo que el de la etiqueta, 10.0 mph",
        "una parcela solo puede estrechar su ventana",
    ),
    ('"41 psi"', '"90 psi"', 'pressure = "90 psi"', 'de tamaño "03" pide', "revise carrier"),
    ('"coarse"\ncarrier', '"very fine"\ncarrier', "droplets", 'gotas de "medium" a', "en la tabla"),
    (
        'kind = "open_meteo"',
        'kind = "open_meteo"\nevery = "4 h"',
        "silent_after",
        "caducaría",
        "largo",
    ),
    (
        "[setups.fan]",
        OTHER_BOOM + "[setups.fan]",
        'tips = "fan"',
        "es un equipo de otra pulverizadora",
        "nombre solo equipos",
    ),
]


@pytest.mark.parametrize(("was", "now", "key", "wrong", "mend"), SLIPS)
def test_a_slip_is_told_in_spanish(
    farm: Any, was: str, now: str, key: str, wrong: str, mend: str
) -> None:
    _refused(farm.edit(was, now), key, wrong, mend)


STATIONS = [
    (MQTT, '"km/h"', '"degC"', "quantities.wind.unit", "no sirve aquí", "escriba un número con su"),
    (
        MQTT,
        'at = "wind"',
        'at = "wind["',
        "wind.at",
        "no es una expresión JMESPath",
        "jmespath.org",
    ),
    (
        MQTT,
        '["wind"]',
        '["wind", "gust"]',
        "measures",
        "gust, que quantities no asigna",
        "ponga en",
    ),
    (
        MQTT,
        'payload = "mapped"',
        'payload = "readings"',
        "mast.payload",
        'no es "mapped"',
        'escriba "mapped"',
    ),
    (MQTT, '"broker.example"', '"mqtt://b"', "mast.host", "no es un equipo de la red", "http://"),
    (MODBUS, '"wind_spread"', '"gust"', "measures", "que registers no asigna", "ponga en measures"),
    (MODBUS, "address = 10", "address = 70000", "70000", "menor o igual que 65535", "revise"),
    (CSV, "measures", 'time_zone = "Mars/B"\nmeasures', "time_zone", "no es una zona", '"-06:00"'),
    (CSV, "measures", 'encoding = "utf-9"\nmeasures', "encoding", "no se conoce, o", '"latin-1"'),
    (METAR, "KXYZ", "kxyz", 'station = "kxyz"', "no es un indicativo", "en mayúsculas"),
    (METAR, "https://", "ftp://", "mast.url", "no es una dirección web", "empiécela con https://"),
    (
        METAR,
        'url = "https://reports.example/kxyz"',
        "",
        "mast.url",
        "exactamente uno",
        "diga dónde",
    ),
    (NMEA, "tcp://", "udp://", "mast.address", "donde se oiga un instrumento", "puerto serie"),
    (NMEA, "address", "baud = 1200\naddress", "mast.baud = 1200", "opciones", "4800, 9600"),
]


@pytest.mark.parametrize(("station", "was", "now", "key", "wrong", "mend"), STATIONS)
def test_a_slip_in_a_station_is_told_in_spanish(
    farm: Any, station: str, was: str, now: str, key: str, wrong: str, mend: str
) -> None:
    _refused(farm.add(station).edit(was, now), key, wrong, mend)


def test_an_upper_thermometer_without_a_height_is_told_in_spanish(farm: Any) -> None:
    farm.add(MAPPED).edit('kind = "push"', 'kind = "push"\nmeasures = ["temperature_upper"]')
    _refused(farm, "heights.temperature_upper", "falta, y se mide", "diga a qué altura está")


BOUNDARIES = [
    (
        [[[0, 0], [1, 0], [1, 1], [0, 1]]],
        "un anillo no está cerrado: empieza en longitud",
        "termine",
    ),
    ([[[0, 0], [1, 0], [0, 0]]], "un anillo tiene 3 posiciones", "al menos 3 esquinas"),
    ([[[0, 0], [1, 1], [1, 0], [0, 1], [0, 0]]], "se cruza o se toca a sí mismo en", "dibuje"),
    (
        [[[6e5, 4e6], [7e5, 4e6], [7e5, 5e6], [6e5, 4e6]]],
        "no es un lugar en grados",
        "no en metros",
    ),
    ([[["0", "0"], ["1", "0"], ["1", "1"], ["0", "0"]]], "contiene '0'", "escriba números"),
    ([], "no es una lista, o está vacía", "exporte el contorno otra vez"),
]


@pytest.mark.parametrize(("coordinates", "wrong", "mend"), BOUNDARIES)
def test_a_boundary_that_is_none_is_told_in_spanish(
    farm: Any, coordinates: Any, wrong: str, mend: str
) -> None:
    _refused(farm.draw("south", coordinates), 'feature "south"', wrong, mend)


def test_a_field_without_a_boundary_is_told_in_spanish(farm: Any) -> None:
    farm.feature("orchard")["id"] = "orchrd"
    _refused(farm, "neighbours.orchard", "el id", '¿quiso decir "orchrd"? "features" sin tabla')
    _refused(farm, 'feature "orchrd"', "ni [fields.orchrd] ni", "agregue uno de los dos")


def test_a_field_far_away_is_told_in_spanish(farm: Any) -> None:
    farm.draw("south", farm.square(0, -2.0))
    _refused(farm, "fields.south", "está a 222 km del centro de la finca", "revise sus coordenadas")


def test_two_fields_that_overlap_are_told_in_spanish(farm: Any) -> None:
    farm.draw("south", farm.square(0, -0.004))
    _refused(farm, "feature", 'se solapa con "', "mueva la línea")


def test_what_is_no_toml_is_told_in_spanish_with_its_place(farm: Any) -> None:
    _refused(farm.edit('units = "us"', "units = us"), "línea 5, columna 9", "no es TOML", "comilla")


def test_a_farm_file_names_the_language_of_its_mistakes(farm: Any) -> None:
    assert farm.edit('"weedy"', '"many"').error().language is None
    farm.edit('units = "us"', 'units = "us"\nlanguage = "es"')
    error = farm.error()
    assert error.language == SPANISH
    assert 'fields.north.weeds = "many": no es una de las opciones' in error.render(SPANISH)
    load(farm.edit('"many"', '"weedy"').write())


def _refused(farm: Any, key: str, wrong: str, mend: str) -> None:
    """Some problem says all three, each in its place."""
    texts = [problem.render(SPANISH) for problem in farm.error().problems]
    found = [text.splitlines() for text in texts if key in text and wrong in text and mend in text]
    assert found, "\n".join(texts)
    assert any(wrong in first and mend in second for first, second in found)

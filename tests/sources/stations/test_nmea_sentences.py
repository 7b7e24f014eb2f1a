"""Sentences of NMEA 0183. Three are from elsewhere, checksums and all; the others are made here."""

from pathlib import Path

import pytest

from tests.support.nmea import sentence
from watcher.sources.stations.nmea_sentences import Sentences

KNOT = 1852 / 3600
MAST = Sentences(mast_points_deg=10.0)
NAMED = Sentences(transducers={"TempAir": "temperature", "RH": "humidity", "Baro": "pressure"})


def test_the_checksum_worked_here_is_the_standards() -> None:
    assert sentence("IIMWV,271.0,R,000.2,N,A") == b"$IIMWV,271.0,R,000.2,N,A*3B\r\n"


@pytest.mark.parametrize(
    ("unit", "factor"), [("N", KNOT), ("M", 1.0), ("K", 1 / 3.6), ("S", 0.44704)]
)
def test_the_wind_angle_turns_with_the_mast(unit: str, factor: float) -> None:
    found = MAST.sample(sentence(f"WIMWV,355.0,R,10.0,{unit},A"))
    assert found == {
        "wind_m_s": pytest.approx(10 * factor, rel=1e-4),
        "wind_from_deg": pytest.approx(5.0),
    }


def test_without_knowing_the_mast_a_relative_angle_is_no_direction() -> None:
    assert Sentences().sample(sentence("WIMWV,355.0,R,10.0,M,A")) == {"wind_m_s": 10.0}


@pytest.mark.parametrize(
    "body",
    [
        "WIMWV,355.0,R,10.0,M,V",
        "WIMWV,355.0,T,10.0,M,A",
        "WIMWV,,R,,M,A",
        "WIMWV,,R,,M,V",
        "WIMWV,x,R,nan,M,A",
        "WIMWV,,R,10.0,X,A",
        "WIMWV",
    ],
)
def test_a_wind_that_is_void_missing_or_of_no_known_unit_is_none(body: str) -> None:
    assert MAST.sample(sentence(body if "," in body else f"{body},")) == {}


@pytest.mark.parametrize(
    ("body", "speed"),
    [
        ("WIMWD,131.5,T,128.6,M,0.8,N,0.4,M", 0.4),
        ("WIMWD,131.5,T,128.6,M,0.8,N,,M", 0.8 * KNOT),
        ("WIMWD,131.5,T,,M,,N,0.4,M", 0.4),
    ],
)
def test_true_wind_direction_and_speed_are_read(body: str, speed: float) -> None:
    assert MAST.sample(sentence(body)) == {
        "wind_m_s": pytest.approx(speed),
        "wind_from_deg": 131.5,
    }


def test_a_magnetic_direction_is_not_taken_for_the_true_one() -> None:
    assert MAST.sample(sentence("WIMWD,,T,128.6,M,0.8,N,0.4,M")) == {"wind_m_s": 0.4}


def test_the_weather_composite_is_read() -> None:
    found = Sentences().sample(
        b"$WIMDA,30.2269,I,1.0236,B,17.7,C,,,43.3,,5.0,C,131.5,T,128.6,M,0.8,N,0.4,M*54"
    )
    assert found == {
        "pressure_pa": pytest.approx(102_360.0),
        "temp_c": 17.7,
        "humidity_pct": 43.3,
        "dew_point_c": 5.0,
        "wind_from_deg": 131.5,
        "wind_m_s": 0.4,
    }


def test_empty_fields_of_the_composite_are_missing() -> None:
    assert Sentences().sample(sentence("WIMDA,,I,,B,17.7,C,,,,,,C,,T,,M,,N,,M")) == {"temp_c": 17.7}


def test_pressure_in_inches_is_read_where_there_are_no_bars() -> None:
    found = Sentences().sample(sentence("WIMDA,30.2269,I,,B,,C,,,,,,C,,T,,M,,N,,M"))
    assert found == {"pressure_pa": pytest.approx(102_360.0, rel=1e-4)}


def test_transducers_are_read_by_the_names_told() -> None:
    found = NAMED.sample(
        sentence("WIXDR,C,17.09,C,TempAir,C,21.0,C,TempHull,H,61.5,P,RH,P,1.0137,B,Baro")
    )
    assert found == {
        "temp_c": 17.09,
        "humidity_pct": 61.5,
        "pressure_pa": pytest.approx(101_370.0),
    }


def test_a_transducer_of_no_known_unit_is_refused() -> None:
    with pytest.raises(ValueError, match="TempAir"):
        NAMED.sample(sentence("WIXDR,C,62.0,F,TempAir"))


def test_a_transducer_of_another_kind_than_told_is_refused() -> None:
    with pytest.raises(ValueError, match="does not fit"):
        NAMED.sample(sentence("WIXDR,P,1.0137,B,TempAir"))


@pytest.mark.parametrize("body", ["WIXDR,C,,C,TempAir", "WIXDR,C,17.09", "WIXDR,"])
def test_a_transducer_that_says_nothing_is_missing(body: str) -> None:
    assert NAMED.sample(sentence(body)) == {}


@pytest.mark.parametrize(
    "body", ["GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,,M,,", "WIQQQ,1"]
)
def test_sentences_of_other_things_say_nothing(body: str) -> None:
    assert MAST.sample(sentence(body)) == {}


@pytest.mark.parametrize(
    "line",
    [
        b"$WIMWV,355.0,R,10.0,M,A\r\n",
        b"$WIMWV,355.0,R,90.0,M,A*" + sentence("WIMWV,355.0,R,10.0,M,A")[-4:],
        sentence("WIMWV,355.0,R,10.0,M,A")[5:],
        b"355.0,R,10.0,M,A*00\r\n",
        b"\xff\xfe\x00garbage\n",
        b"\n",
        b"$WIMWV,355.0,R,10.0,M,A*GG\r\n",
    ],
)
def test_a_line_without_its_right_checksum_is_refused(line: bytes) -> None:
    with pytest.raises(ValueError, match=r"."):
        MAST.sample(line)


def test_any_single_byte_changed_on_the_way_is_noticed() -> None:
    good = sentence("WIMWV,355.0,R,10.0,M,A").strip()
    said = MAST.sample(good)
    for index in range(len(good)):
        for flip in (0x01, 0x04, 0x10):
            spoilt = good[:index] + bytes([good[index] ^ flip]) + good[index + 1 :]
            try:
                found = MAST.sample(spoilt)
            except ValueError:
                continue
            assert found in ({}, said), spoilt


def test_sentences_at_hand_are_read(shared: Path) -> None:
    wind, composite, transducers = (shared / "feeds/nmea/lines.txt").read_bytes().splitlines()
    assert MAST.sample(wind) == {
        "wind_m_s": pytest.approx(0.2 * KNOT),
        "wind_from_deg": pytest.approx(281.0),
    }
    assert len(MAST.sample(composite)) == 6
    named = Sentences(transducers={"T-N1052": "temperature"})
    assert named.sample(transducers) == {"temp_c": 17.09}

"""The catalogue of quantities: nothing is missing of any, and everything there is is in it."""

from dataclasses import fields

import pytest

from watcher.farm.source_entry import SourceEntry
from watcher.i18n.language import SOURCE, codes, language
from watcher.store import export, export_means
from watcher.store.tables import ForecastHour, Observation, WeatherBin
from watcher.units import read
from watcher.weather.quantities import BY_NAME, CATALOGUE, COLUMNS
from watcher.weather.quantity import Height, Quantity
from watcher.weather.series import Site, WeatherSeries


def test_names_and_columns_are_used_once() -> None:
    assert len(BY_NAME) == len(CATALOGUE) == len(set(COLUMNS))


def test_the_series_has_an_array_for_each_and_no_other() -> None:
    apart = {"times", "site", "source", "bounds", "runs"}
    assert tuple(f.name for f in fields(WeatherSeries) if f.name not in apart) == COLUMNS


@pytest.mark.parametrize("table", [Observation, WeatherBin, ForecastHour])
def test_the_log_has_a_column_for_each(table: type) -> None:
    assert set(COLUMNS) <= set(table.__table__.columns.keys())


@pytest.mark.parametrize("quantity", CATALOGUE, ids=COLUMNS)
class TestEntry:
    def test_it_has_words_in_every_language(self, quantity: Quantity) -> None:
        wanted = {str(quantity.words), *([str(quantity.chart.title)] if quantity.chart else [])}
        for code in codes():
            if code != SOURCE:
                assert wanted <= {e.id for e in language(code).catalog if e.string}

    def test_it_has_a_range_with_its_source(self, quantity: Quantity) -> None:
        assert quantity.ranges
        for limit in quantity.ranges:
            assert limit.low < limit.high
            assert limit.source

    def test_exports_have_a_column_with_its_unit(self, quantity: Quantity) -> None:
        assert export.HEADINGS[quantity.column] == quantity.heading
        assert quantity.heading.endswith(")")
        assert {quantity.mean_heading, f"mean {quantity.heading}"} & set(export_means.COLUMNS)

    def test_its_example_is_read_in_its_unit(self, quantity: Quantity) -> None:
        assert isinstance(read(quantity.kind.example, quantity.kind), float)

    def test_its_height_is_one_of_a_site(self, quantity: Quantity) -> None:
        heights = {f.name for f in fields(Site)}
        assert quantity.height is Height.NONE or quantity.height.value in heights

    def test_a_station_may_measure_it_where_one_can(self, quantity: Quantity) -> None:
        entry = {"silent_after": "15 min", "measures": [quantity.name]}
        if quantity.measured:
            assert SourceEntry.model_validate(entry).measures == (quantity.name,)
        else:
            with pytest.raises(ValueError, match="measures"):
                SourceEntry.model_validate(entry)

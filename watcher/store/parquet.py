"""Rows of readings to a Parquet file and back. pyarrow is asked for only then: it is an extra."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pyarrow as pa

_ROWS_AT_ONCE = 10_000

Row = tuple[str, int, Sequence[float | None], str]
"""Source, epoch seconds, a value for each column of a quantity, flags in words."""


class NoParquetError(Exception):
    """Parquet cannot be written or read here; the text says what to install."""


def write(file: Path, headings: Mapping[str, str], rows: Iterable[Row]) -> int:
    """Write rows; return how many.

    ``headings`` are the quantities' columns and what is said of each, its unit in brackets.
    """
    _check()
    from pyarrow import RecordBatch, parquet  # noqa: PLC0415

    schema = _schema(headings)
    written = 0
    rows = iter(rows)
    with parquet.ParquetWriter(file, schema) as out:
        while block := list(islice(rows, _ROWS_AT_ONCE)):
            sources, times, values, flags = zip(*block, strict=True)
            milliseconds = [1000 * time for time in times]
            columns = [sources, milliseconds, *zip(*values, strict=True), flags]
            out.write_batch(RecordBatch.from_arrays(_arrays(columns, schema), schema=schema))
            written += len(block)
    return written


def read(file: Path) -> Iterator[dict[str, list[Any]]]:
    """Yield the file's columns as lists, block by block; ``time`` in epoch seconds."""
    _check()
    from pyarrow import ArrowInvalid, parquet, timestamp  # noqa: PLC0415

    try:
        opened = parquet.ParquetFile(file)
    except ArrowInvalid as error:
        raise ValueError(f"{file} is not a Parquet file ({error})") from error
    with opened:
        for batch in opened.iter_batches(batch_size=_ROWS_AT_ONCE):
            columns = dict(zip(batch.schema.names, batch.columns, strict=True))
            rows = {name: column.to_pylist() for name, column in columns.items() if name != "time"}
            if "time" in columns:
                seconds = columns["time"].cast(timestamp("s", tz="UTC"), safe=False)
                rows["time"] = seconds.cast("int64").to_pylist()
            yield rows


def _schema(headings: Mapping[str, str]) -> "pa.Schema":
    import pyarrow as pa  # noqa: PLC0415

    quantities = [
        pa.field(name, pa.float64(), metadata={"unit": _unit(words), "heading": words})
        for name, words in headings.items()
    ]
    return pa.schema(
        [
            pa.field("source", pa.string(), nullable=False),
            pa.field("time", pa.timestamp("ms", tz="UTC"), nullable=False),
            *quantities,
            pa.field("flags", pa.string(), nullable=False),
        ]
    )


def _unit(heading: str) -> str:
    return heading.rpartition("(")[2].removesuffix(")")


def _arrays(columns: Sequence[Sequence[Any]], schema: "pa.Schema") -> "list[pa.Array]":
    import pyarrow as pa  # noqa: PLC0415

    return [pa.array(c, type=field.type) for c, field in zip(columns, schema, strict=True)]


def _check() -> None:
    try:
        import pyarrow  # noqa: F401, PLC0415
    except ImportError as error:
        raise NoParquetError(
            "Parquet needs pyarrow, which is not installed; install this program with its "
            '"parquet" extra: pip install "field-weather-watch[parquet]"'
        ) from error

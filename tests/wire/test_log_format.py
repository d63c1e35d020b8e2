from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchdog.core.inputs import Reading
from watchdog.wire.log_format import LogError, LogRow, Tally, csv_rows, format_json_row, format_row, header_line
from watchdog.wire.log_lines import json_rows

HEADER = "time,printer,heater,temperature_c,target_c,duty,power_w"


def seconds(stamp: str) -> float | None:
    if stamp == "late":
        return None
    return float(stamp)


def read(*lines: str, tally: Tally | None = None, torn_end: bool = False) -> list[LogRow]:
    return list(csv_rows([line + "\n" for line in lines], seconds, tally or Tally(), torn_end=torn_end))


def read_json(*lines: str, tally: Tally | None = None, torn_end: bool = False) -> list[LogRow]:
    return list(json_rows([line.encode() + b"\n" for line in lines], seconds, tally or Tally(), torn_end=torn_end))


def test_a_row_becomes_a_reading_and_keeps_its_stamp() -> None:
    rows = read(HEADER, "1.50,anvil,bed,61.2,60,0.4,310")
    assert rows == [("1.50", Reading("anvil", "bed", 1.5, 61.2, 60.0, 0.4, 310.0))]


def test_empty_cells_were_not_reported_and_zero_is_zero() -> None:
    rows = read(HEADER, "1,anvil,bed,,,,", "2,anvil,bed,0,0,0,0")
    assert [row[1][3:7] for row in rows] == [(None, None, None, None), (0.0, 0.0, 0.0, 0.0)]


def test_a_row_without_a_heater_is_metered_power() -> None:
    assert read(HEADER, "1,anvil,,,,,310.5") == [("1", Reading("anvil", "", 1.0, power_w=310.5))]


@pytest.mark.parametrize("order", [(6, 5, 4, 3, 2, 1, 0), (3, 0, 1, 2, 6, 5, 4), (0, 1, 2, 3, 4, 5, 6)])
def test_columns_come_in_any_order(order: Sequence[int]) -> None:
    cells = ["1", "anvil", "bed", "61.2", "60", "0.4", "310"]
    rows = read(",".join(HEADER.split(",")[place] for place in order), ",".join(cells[place] for place in order))
    assert rows == [("1", Reading("anvil", "bed", 1.0, 61.2, 60.0, 0.4, 310.0))]


@pytest.mark.parametrize("place", [0, 3, 7])
def test_the_sensor_column_may_stand_anywhere(place: int) -> None:
    names, cells = HEADER.split(","), ["1", "anvil", "bed", "61.2", "", "", ""]
    names.insert(place, "sensor")
    cells.insert(place, "glued")
    assert read(",".join(names), ",".join(cells))[0][1] == Reading("anvil", "bed", 1.0, 61.2, sensor="glued")


@pytest.mark.parametrize("cell", ["NAN", "inf", "-", "1_0", " 12", "٦١", "3000.1", "-300", "61,2", "true", "1e999", "=1+1"])
def test_garbage_in_a_cell_is_not_reported_and_every_time_counted(cell: str) -> None:
    tally = Tally()
    rows = read(HEADER, f'1,anvil,bed,"{cell}",60,,', f'2,anvil,bed,"{cell}",60,,', tally=tally)
    assert [row[1].temperature_c for row in rows] == [None, None]
    assert [row[1].target_c for row in rows] == [60.0, 60.0]
    assert tally.unreadable == 2
    assert tally.first_unreadable.startswith("line 2: temperature_c is ")


def test_a_duty_or_power_beyond_reason_is_not_reported() -> None:
    tally = Tally()
    assert read(HEADER, "1,anvil,bed,61,60,40,1e9", tally=tally)[0][1][5:7] == (None, None)
    assert tally.unreadable == 2


def test_a_target_below_zero_is_off() -> None:
    assert read(HEADER, "1,anvil,bed,61,-1,,")[0][1].target_c == 0.0


@pytest.mark.parametrize(
    ("lines", "line", "says"),
    [
        ([], 1, "header is missing"),
        (["time,printer,heater,temperature_c,target_c,duty"], 1, 'missing "power_w"'),
        ([HEADER + ",humidity"], 1, 'unknown column "humidity"'),
        ([HEADER + ",duty"], 1, 'twice "duty"'),
        (["1,anvil,bed,61.2,60,0.4,310"], 1, "unknown column"),
        ([HEADER, "1,anvil,bed,61,60,0.4,310", "2,anvil,bed"], 3, "3 columns, but the header has 7"),
        ([HEADER, "1,anvil,bed,61,2,60,0.4,310"], 2, "8 columns"),
        ([HEADER, "noon,anvil,bed,61,60,0.4,310"], 2, "noon"),
        ([HEADER, "1,,bed,61,60,0.4,310"], 2, "printer is missing"),
        ([HEADER, '1,"anvil"x,bed,61,60,0.4,310'], 2, "not CSV"),
    ],
)
def test_a_broken_structure_is_an_error_with_its_line(lines: list[str], line: int, says: str) -> None:
    with pytest.raises(LogError, match=says) as raised:
        read(*lines)
    assert raised.value.line == line


@pytest.mark.parametrize("tail", ["2,anvil,b", "2", '2,"anvil', "noo,anvil,bed,61,60,0.4,310"])
def test_a_last_line_that_broke_off_is_noted_and_the_rest_kept(tail: str) -> None:
    tally = Tally()
    rows = list(csv_rows([HEADER + "\n", "1,anvil,bed,61,60,,\n", tail], seconds, tally, torn_end=True))
    assert len(rows) == 1
    assert tally.torn


def test_a_broken_line_in_the_middle_stays_an_error_even_if_the_end_is_torn() -> None:
    with pytest.raises(LogError, match="line 2"):
        read(HEADER, "1,anvil", "2,anvil,bed,61,60,,", torn_end=True)
    with pytest.raises(LogError, match="line 1"):
        read_json("{", '{"time": 1, "printer": "anvil"}', torn_end=True)


def test_late_rows_and_empty_lines_are_passed_over() -> None:
    tally = Tally()
    late = "late,anvil,bed,61,60,,"
    assert len(read(HEADER, "1,anvil,bed,61,60,,", "", late, late, "2,anvil,bed,61,60,,", tally=tally)) == 2
    assert tally.late == 2
    late = '{"time": "late", "printer": "anvil"}'
    assert len(read_json(late, late, "", '{"time": 2, "printer": "anvil"}', tally=tally)) == 1
    assert tally.late == 4


def test_json_lines_carry_the_same_and_an_unknown_target() -> None:
    rows = read_json(
        '{"time": 1.5, "printer": "anvil", "heater": "bed", "temperature_c": 61.2, "target_c": null}',
        '{"time": "2", "printer": "anvil", "power_w": 310}',
    )
    assert rows == [
        ("1.5", Reading("anvil", "bed", 1.5, 61.2, target_unknown=True)),
        ("2", Reading("anvil", "", 2.0, power_w=310.0)),
    ]


@pytest.mark.parametrize("value", ["true", '"61.2"', "[]", "3000.1", "1e300"])
def test_garbage_in_a_json_value_is_not_reported_and_counted(value: str) -> None:
    tally = Tally()
    rows = read_json(f'{{"time": 1, "printer": "anvil", "heater": "bed", "temperature_c": {value}, "target_c": 60}}', tally=tally)
    assert rows == [("1", Reading("anvil", "bed", 1.0, None, 60.0))]
    assert tally.unreadable == 1


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("[1]", "not a JSON object"),
        ("{", "not JSON"),
        ('{"time": 1, "printer": "anvil", "hot": 1}', 'unknown key "hot"'),
        ('{"printer": "anvil"}', "time is missing"),
        ('{"time": true, "printer": "anvil"}', "time is missing"),
        ('{"time": "noon", "printer": "anvil"}', "noon"),
        ('{"time": 1}', "printer is missing"),
        ('{"time": 1, "printer": 7}', "printer must be text"),
        ('{"time": 1, "printer": "anvil", "heater": 7}', "heater must be text"),
    ],
)
def test_a_broken_json_line_is_an_error_with_its_line(line: str, says: str) -> None:
    with pytest.raises(LogError, match=says) as raised:
        read_json('{"time": 1, "printer": "anvil"}', line)
    assert raised.value.line == 2


names = st.text(st.characters(codec="utf-8", exclude_categories=["Cc"]), min_size=1, max_size=8)
readings = st.builds(
    Reading,
    printer=names,
    heater=names | st.just(""),
    at=st.floats(0, 1e9),
    temperature_c=st.none() | st.floats(-273, 3000),
    target_c=st.none() | st.floats(0, 3000),
    duty=st.none() | st.floats(0, 1.05),
    power_w=st.none() | st.floats(-100, 1e6),
    sensor=names | st.just(""),
    target_unknown=st.just(False),
    retained=st.just(False),
)


@given(st.lists(readings, max_size=8), st.booleans())
def test_what_is_written_as_csv_reads_back_the_same(wanted: list[Reading], sensors: bool) -> None:  # noqa: FBT001 - drawn by hypothesis
    text = header_line(sensors=sensors) + "".join(format_row(repr(item.at), item, sensors=sensors) for item in wanted)
    tally = Tally()
    found = [row[1] for row in csv_rows(_lines(text), seconds, tally)]
    assert found == [item if sensors else item._replace(sensor="") for item in wanted]
    assert tally.unreadable == 0


def _lines(text: str) -> list[str]:
    """Lines as a file opened with newline="" gives them: split at line feeds alone."""
    return [line + "\n" for line in text.split("\n")[:-1]]


@given(st.lists(readings, max_size=8), st.booleans())
def test_what_is_written_as_json_lines_reads_back_the_same(wanted: list[Reading], unknown: bool) -> None:  # noqa: FBT001 - drawn by hypothesis
    wanted = [item._replace(target_c=None, target_unknown=True) if unknown else item for item in wanted]
    lines = b"".join(format_json_row(repr(item.at), item) for item in wanted).splitlines(keepends=True)
    assert [row[1] for row in json_rows(lines, seconds, Tally())] == wanted


def test_a_retained_temperature_is_not_written_as_if_it_were_fresh() -> None:
    old = Reading("anvil", "bed", 1.0, 61.2, 60.0, retained=True)
    assert format_row("1", old) == "1,anvil,bed,,60.0,,\n"
    assert b"temperature_c" not in format_json_row("1", old)

"""Trends as people export them: every form that is read, and every mistake told by its line."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from simfan.api import Case, load
from simfan.errors import RunError, ScenarioError
from simfan.trends import stamps
from simfan.trends.mapping import reading_of, strategy_of, with_words
from simfan.trends.reader import read
from simfan.trends.trend import Trend

CASE = load("scenarios/ten-lines.toml")
PV = ("time=Time", "setpoint=SP [m3/h]", "measured_value=PV [m3/h]")


def trend(folder: Path, text: str | bytes, columns: tuple[str, ...] = PV,
          quality: tuple[str, ...] = (), **words: str) -> Trend:
    file = folder / "log.csv"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    said = with_words(None, columns, quality)
    said = said.model_copy(update=words)
    return read(file, reading_of(CASE, "damper", said))


def rows(times: list[str], mark: str = ",", values: str = "16200{0}16000") -> str:
    head = f"Time{mark}SP{mark}PV\n"
    return head + "".join(f"{t}{mark}{values.format(mark)}\n" for t in times)


STAMPS = {
    "iso with T": "2025-03-04T05:06:07",
    "iso with a space and thousandths": "2025-03-04 05:06:07.000",
    "iso with an offset": "2025-03-04T06:06:07+01:00",
    "iso in universal time": "2025-03-04T05:06:07Z",
    "day first with dots": "04.03.2025 05:06:07",
    "day first with a fraction": "4.3.2025 5:06:07,00",
    "name of the month": "04-Mar-2025 05:06:07",
    "year of two digits": "04-Mar-25 05:06:07",
    "half days": "4 Mar 2025 5:06:07 AM",
    "slashes from the year on": "2025/03/04 05:06:07",
}


@pytest.mark.parametrize("text", STAMPS.values(), ids=STAMPS.keys())
def test_a_time_stamp_is_read_as_the_standard_library_reads_its_plain_form(text: str) -> None:
    expected = datetime(2025, 3, 4, 5, 6, 7, tzinfo=UTC).timestamp()
    form = stamps.FORMS[str(stamps.form_of([text]))]
    assert stamps.all_seconds(form, np.array([text, text])) == pytest.approx([expected] * 2)


@pytest.mark.parametrize("text", ["05:06", "2025-02-30 00:00:00", "32.01.2025 00:00:00",
                                  "2025-01-01 24:30:00", "2025-01-01 10:61:00", "13:05 PM"])
def test_what_is_no_time_stamp_is_not_read(text: str) -> None:
    assert stamps.form_of([text]) is None


def test_stamps_that_may_be_of_either_month_are_asked_about(tmp_path: Path) -> None:
    text = rows(["03/04/2025 10:00:00", "03/04/2025 10:00:01", "03/04/2025 10:00:02"])
    with pytest.raises(ScenarioError, match="either month"):
        trend(tmp_path, text)
    read_ = trend(tmp_path, text, time_format="%d/%m/%Y %H:%M:%S")
    assert read_.time.tolist() == [0.0, 1.0, 2.0]


def test_a_day_beyond_twelve_settles_which_is_the_month(tmp_path: Path) -> None:
    text = rows(["03/14/2025 23:59:59", "03/15/2025 00:00:00", "03/15/2025 00:00:01"])
    assert trend(tmp_path, text).time.tolist() == [0.0, 1.0, 2.0]


def test_units_become_si(tmp_path: Path) -> None:
    """16200 m³/h is 4.5 m³/s."""
    read_ = trend(tmp_path, rows(["2025-01-01 00:00:00", "2025-01-01 00:00:01"]))
    assert read_.signals["setpoint"] == pytest.approx([4.5, 4.5])


def test_a_drive_speed_in_rpm_hertz_and_percent_is_the_same(tmp_path: Path) -> None:
    """At 50 Hz the fan turns at the motor's rated speed, 1480 rpm at 1.33 % slip on 4 poles."""
    rated = CASE.motor.rated_speed / CASE.fan.rated.speed
    told = {"rpm": 1480.0 * rated, "Hz": 50.0, "%": 100.0 * rated}
    for unit, value in told.items():
        text = f"t,n\n0,{value!r}\n1,{value!r}\n"
        found = trend(tmp_path, text, ("time=t [s]", f"speed_ratio=n [{unit}]"))
        assert found.signals["speed_ratio"] == pytest.approx([rated, rated], rel=1e-12)


@pytest.mark.parametrize("mark", [";", "\t", "|"])
def test_a_decimal_comma_is_recognised_and_told(tmp_path: Path, mark: str) -> None:
    times = ["04.03.2025 05:06:07,5", "04.03.2025 05:06:08,5"]
    found = trend(tmp_path, rows(times, mark, "16200{0}15999,5"))
    assert found.signals["measured_value"] == pytest.approx([15999.5 / 3600.0] * 2)
    assert "decimals take a comma in this file" in found.notes


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_file_is_read_in_the_encodings_that_programs_write(tmp_path: Path, encoding: str) -> None:
    text = "Zeit,Sollwert °,PV\n0,16200,16000\n1,16200,16000\n".encode(encoding)
    columns = ("time=Zeit [s]", "setpoint=Sollwert ° [m3/h]", "measured_value=PV [m3/h]")
    assert trend(tmp_path, text, columns).signals["setpoint"] == pytest.approx([4.5, 4.5])


def test_a_preamble_comments_and_empty_lines_are_left_out(tmp_path: Path) -> None:
    text = "Archive\nTag list,2\n\n" + rows(["0", "1"]).replace("\n0", "\n# begun\n\n0")
    found = trend(tmp_path, text, ("time=Time [s]", "setpoint=SP [m3/h]"))
    assert found.time.tolist() == [0.0, 1.0]


def test_a_line_of_units_is_skipped_and_told(tmp_path: Path) -> None:
    text = rows(["s", "0", "1"]).replace("s,16200,16000", "s,m3/h,m3/h")
    found = trend(tmp_path, text, ("time=Time [s]", *PV[1:]))
    assert len(found.time) == 2
    assert any("tells units" in note for note in found.notes)


def test_a_line_of_units_that_is_not_what_the_mapping_says_is_refused(tmp_path: Path) -> None:
    text = rows(["s", "0", "1"]).replace("s,16200,16000", "s,m3/s,m3/h")
    with pytest.raises(ScenarioError, match=r'line 2.*"m3/s" under SP.*m3/h'):
        trend(tmp_path, text, ("time=Time [s]", *PV[1:]))


@pytest.mark.parametrize("word", ["", "NaN", "Bad", "No Data", "nan", "#N/A", "-"])
def test_a_missing_number_is_no_number(tmp_path: Path, word: str) -> None:
    text = rows(["0", "1", "2"]).replace("1,16200,16000", f"1,16200,{word}")
    found = trend(tmp_path, text, ("time=Time [s]", *PV[1:]))
    assert found.good["measured_value"].tolist() == [True, False, True]
    assert found.good["setpoint"].all()


def test_a_word_of_its_own_for_a_missing_number_is_named_in_the_scenario(tmp_path: Path) -> None:
    text = rows(["0", "1", "2"]).replace("1,16200,16000", "1,16200,Sensor off")
    columns = ("time=Time [s]", *PV[1:])
    with pytest.raises(ScenarioError, match=r'line 3.*"Sensor off" under PV.*trend\.bad'):
        trend(tmp_path, text, columns)
    found = trend(tmp_path, text, columns, bad=("sensor off",))
    assert found.good["measured_value"].tolist() == [True, False, True]


def test_a_column_of_quality_decides_what_is_good(tmp_path: Path) -> None:
    text = "t,PV,Q\n0,16000,Good\n1,0,Comm fault\n2,16000,192\n"
    found = trend(tmp_path, text, ("time=t [s]", "measured_value=PV [m3/h]"),
                  ("measured_value=Q",))
    assert found.good["measured_value"].tolist() == [True, False, True]
    assert any("comm fault" in note for note in found.notes)


OSLO_BACK = ["2025-10-26 02:59:58", "2025-10-26 02:59:59", "2025-10-26 02:00:00",
             "2025-10-26 02:00:01"]
OSLO_FORTH = ["2025-03-30 01:59:58", "2025-03-30 01:59:59", "2025-03-30 03:00:00",
              "2025-03-30 03:00:01"]


@pytest.mark.parametrize("times", [OSLO_BACK, OSLO_FORTH], ids=["repeated hour", "missing hour"])
@pytest.mark.parametrize("zone", ["Europe/Oslo", None])
def test_time_runs_on_through_daylight_saving_and_it_is_told(
        tmp_path: Path, times: list[str], zone: str | None) -> None:
    """The clocks of Norway changed on 30 March and 26 October 2025 at 01:00 universal time, by
    directive 2000/84/EC."""
    found = trend(tmp_path, rows(times), **({"zone": zone} if zone else {}))
    assert found.time.tolist() == [0.0, 1.0, 2.0, 3.0]
    assert not found.gaps
    assert any("daylight saving" in note for note in found.notes)


def test_a_whole_repeated_hour_stays_two_hours(tmp_path: Path) -> None:
    minutes = [f"2025-10-26 02:{m:02d}:00" for m in range(60)]
    times = ["2025-10-26 01:59:00", *minutes, *minutes, "2025-10-26 03:00:00"]
    for zone in ({"zone": "Europe/Oslo"}, {}):
        found = trend(tmp_path, rows(times), **zone)
        assert found.time[-1] == pytest.approx(7260.0)
        assert np.diff(found.time) == pytest.approx(np.full(121, 60.0))


def test_stamps_of_an_hour_that_a_zone_leaves_out_are_doubted(tmp_path: Path) -> None:
    """Directive 2000/84/EC, as above: no clock of Norway showed 02:30 on 30 March 2025."""
    times = [f"2025-03-30 02:{m:02d}:00" for m in range(10)]
    found = trend(tmp_path, rows(times), zone="Europe/Oslo")
    assert any(note.startswith("10 of the time stamps are of an hour") for note in found.notes)
    assert not any("leaves out" in note for note in trend(tmp_path, rows(times)).notes)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-32"])
def test_text_that_tells_its_encoding_is_read_by_it(tmp_path: Path, encoding: str) -> None:
    found = trend(tmp_path, rows(["2025-01-01 00:00:00", "2025-01-01 00:00:01"]).encode(encoding))
    assert found.signals["setpoint"] == pytest.approx([4.5, 4.5])


def test_stamps_with_their_offset_need_no_guess(tmp_path: Path) -> None:
    times = ["2025-10-26T02:59:59+02:00", "2025-10-26T02:00:00+01:00", "2025-10-26T02:00:01+01:00"]
    found = trend(tmp_path, rows(times))
    assert found.time.tolist() == [0.0, 1.0, 2.0]
    assert not any("daylight" in note for note in found.notes)


def test_an_hour_without_samples_in_the_afternoon_is_a_gap(tmp_path: Path) -> None:
    times = ["2025-03-30 13:29:58", "2025-03-30 13:29:59", "2025-03-30 14:30:00",
             "2025-03-30 14:30:01"]
    found = trend(tmp_path, rows(times))
    assert [(g.start_s, g.end_s) for g in found.gaps] == [(1.0, 3602.0)]


def test_rows_that_are_there_twice_count_once(tmp_path: Path) -> None:
    found = trend(tmp_path, rows(["0", "1", "1", "2"]), ("time=Time [s]", *PV[1:]))
    assert found.time.tolist() == [0.0, 1.0, 2.0]
    assert any("twice" in note for note in found.notes)


def test_gaps_are_of_the_file_or_of_one_signal(tmp_path: Path) -> None:
    text = "t,SP,PV\n" + "".join(f"{t},16200,{'' if 20 <= t < 40 else 16000}\n"
                                 for t in range(100) if not 60 <= t < 80)
    found = trend(tmp_path, text, ("time=t [s]", *PV[1:]))
    assert [(g.start_s, g.end_s, g.signal) for g in found.gaps] == [
        (19.0, 40.0, "measured_value"), (59.0, 80.0, "")]


def test_headings_are_found_whatever_their_case_and_spaces(tmp_path: Path) -> None:
    found = trend(tmp_path, "TIME ,  sp,Pv\n0,16200,1\n1,16200,1\n",
                  ("time=Time [s]", "setpoint=SP [m3/h]"))
    assert found.signals["setpoint"] == pytest.approx([4.5, 4.5])


def test_a_heading_may_carry_its_own_brackets(tmp_path: Path) -> None:
    text = "t [min],SP [m3/h],PV (raw)\n0,16200,4.4\n1,16200,4.4\n"
    found = trend(tmp_path, text, ("time=t [min]", "setpoint=SP [m3/h]",
                                   "measured_value=PV (raw) [m3/s]"))
    assert found.time.tolist() == [0.0, 60.0]
    assert found.signals["measured_value"] == pytest.approx([4.4, 4.4])


GOOD = "t,SP,PV\n0,16200,16000\n1,16200,16000\n2,16200,16000\n"
COUNTED = ("time=t [s]", *PV[1:])
BAD_FILES: dict[str, tuple[str | bytes, tuple[str, ...], list[str]]] = {
    "an empty file": ("", COUNTED, ["an empty file"]),
    "a workbook": (b"PK\x03\x04\0\0rest", COUNTED, ["a binary file", "save the sheet"]),
    "no heading of time": (GOOD.replace("t,", "clock,"), COUNTED, ['no column "t [s]"', "line 1"]),
    "headings alone": ("t,SP,PV\n", COUNTED, ["no rows of numbers"]),
    "one row": ("t,SP,PV\n0,1,1\n", COUNTED, ["one row", "two rows at least"]),
    "a missing column": (GOOD.replace("PV", "Flow"), COUNTED,
                         ['no column "PV [m3/h]" for measured_value', '"Flow"']),
    "a nearly right heading": (GOOD.replace("PV", "PV1"), COUNTED,
                               ["for measured_value", 'did you mean "PV1"?']),
    "a heading twice": ("t,SP,PV,PV\n0,1,1,1\n1,1,1,1\n", COUNTED,
                        ["2 times", "each heading once"]),
    "text in a number": (GOOD.replace("1,16200,16000", "1,16200,abc"), COUNTED,
                         ["line 3", '"abc" under PV', "a number"]),
    "a unit in a cell": (GOOD.replace("1,16200,16000", "1,16200,16000 m3/h"), COUNTED,
                         ["line 3", "the unit stands with the column"]),
    "an endless number": (GOOD.replace("1,16200,16000", "1,16200,inf"), COUNTED,
                          ["line 3", '"inf" under PV']),
    "a number beyond all": (GOOD.replace("1,16200,16000", "1,16200,3.4028235e38"), COUNTED,
                            ["line 3", '"3.4028235e38" under PV', "trend.bad"]),
    "a packed file": (b"\x1f\x8b\x08\0\0\0\0\0", COUNTED, ["a binary file", "unpack it"]),
    "a letter that is none": (GOOD.encode() + b"3,16200,\0\n", COUNTED, ["a binary file", "UTF-8"]),
    "a day that is none": (rows(["2025-02-28 10:00:00", "2025-02-30 10:00:00"]), PV,
                           ["line 3", "a day and a time that exist"]),
    "an hour that comes thrice": (rows([f"2025-10-26 02:{m:02d}:00" for m in range(60)] * 3), PV,
                                  ["line 122", "time that rises"]),
    "an underscore in a number": (GOOD.replace("1,16200,16000", "1,16_200,16000"), COUNTED,
                                  ["line 3", '"16_200" under SP']),
    "decimal commas between commas": (GOOD.replace("1,16200,16000", "1,16200,16000,5"), COUNTED,
                                      ["line 3", "4 values in a row", "decimals take a point"]),
    "thousands": (GOOD.replace(",", ";").replace("1;16200;16000", "1;16200;16.000,5"), COUNTED,
                  ["line 3", "thousands take nothing"]),
    "a short row": (GOOD.replace("1,16200,16000", "1,16200"), COUNTED,
                    ["line 3", "2 values in a row", "3, one for each heading"]),
    "a lonely quotation mark": (GOOD.replace("1,16200,16000", '1,"16200,16000'), COUNTED,
                                ["line 3", "quotation mark"]),
    "time that goes back": ("t,SP,PV\n0,1,1\n2,1,1\n1,1,1\n", COUNTED,
                            ["line 4", "1 after 2", "time that rises"]),
    "a clock set back": (rows(["2025-01-01 10:00:00", "2025-01-01 10:00:10",
                               "2025-01-01 09:58:00"]), PV,
                         ["line 4", "2025-01-01 09:58:00 after 2025-01-01 10:00:10"]),
    "the same time twice": ("t,SP,PV\n0,1,1\n1,1,1\n1,1,2\n", COUNTED,
                            ["line 4", "1 twice", "fractions of a second"]),
    "a time that is none": (rows(["2025-01-01 10:00:00", "soon", "2025-01-01 10:00:02"]), PV,
                            ["line 3", '"soon" under Time', "a time stamp like"]),
    "an empty time": (GOOD.replace("1,16200", ",16200"), COUNTED,
                      ["line 3", "an empty cell under t", "a number"]),
    "counted time without its unit": (rows(["0", "1"]), PV,
                                      ['"0" under Time', 'trend.columns.time = "Time [s]"']),
}  # fmt: skip


@pytest.mark.parametrize(("text", "columns", "said"), BAD_FILES.values(), ids=BAD_FILES.keys())
def test_a_bad_file_is_told_in_a_sentence(tmp_path: Path, text: str | bytes,
                                          columns: tuple[str, ...], said: list[str]) -> None:
    with pytest.raises(ScenarioError) as error:
        trend(tmp_path, text, columns)
    for words in said:
        assert words in str(error.value)
    assert all(problem.file == "log.csv" for problem in error.value.problems)


def test_many_mistakes_are_told_at_once_the_first_of_each_kind(tmp_path: Path) -> None:
    lines = ["t,SP,PV", *(f"{t},16200,{'oops' if t % 3 == 0 else 16000}" for t in range(300)),
             "300,16200", "301,wrong,16000"]
    with pytest.raises(ScenarioError) as error:
        trend(tmp_path, "\n".join(lines) + "\n", COUNTED)
    told = str(error.value)
    assert told.count('"oops" under PV') == 5
    assert "95 more like it in the file" in told
    assert "2 values in a row" in told
    assert '"wrong" under SP' in told


def test_mistakes_in_a_later_block_have_their_line(tmp_path: Path) -> None:
    lines = ["t,SP,PV", *(f"{t},16200,16000" for t in range(50_000)), "50000,16200,oops"]
    with pytest.raises(ScenarioError, match=r"line 50002.*oops"):
        trend(tmp_path, "\n".join(lines) + "\n", COUNTED)


def test_blocks_make_one_trend(tmp_path: Path) -> None:
    n = 45_000
    lines = ["t,SP,PV", *(f"{0.5 * t},16200,{t % 97 or ''}" for t in range(n))]
    found = trend(tmp_path, "\n".join(lines) + "\n", COUNTED)
    expected = np.arange(n) % 97 / 3600.0
    assert found.time == pytest.approx(0.5 * np.arange(n))
    assert found.signals["measured_value"][found.good["measured_value"]] == pytest.approx(
        expected[np.arange(n) % 97 > 0])


@pytest.mark.parametrize(("columns", "said"), [
    (("setpoint=SP [m3/h]",), "heading of the column of time"),
    (("time=t [s]",), "no column of a signal"),
    (("time=t [s]", "setpoint=SP"), "without a unit"),
    (("time=t [s]", "setpoint=SP [kPa]"), "kPa is a unit of pressure"),
    (("time=t [furlong]", "setpoint=SP [m3/h]"), "furlong"),
    (("time=t [s]", "speed_ratio=n [bar]"), "rpm"),
    (("time=t [s]", "inlet_vanes=y [%]"), "a column for inlet_vanes"),
])
def test_a_mapping_that_cannot_be_is_told(columns: tuple[str, ...], said: str) -> None:
    with pytest.raises(ScenarioError, match=said):
        reading_of(CASE, "damper", with_words(None, columns, ()))


def test_words_of_the_command_line_that_are_no_pair_are_told() -> None:
    with pytest.raises(RunError, match=r"--column: got .*setpoint"):
        with_words(None, ("setpoint",), ())
    with pytest.raises(RunError, match="did you mean setpoint"):
        with_words(None, ("setpiont=SP [m3/h]",), ())


def test_the_strategy_is_asked_for_where_there_are_several() -> None:
    with pytest.raises(RunError, match="Which strategy did the plant run"):
        strategy_of(CASE, None)
    with pytest.raises(RunError, match="did you mean damper"):
        strategy_of(CASE, "dampre")
    assert isinstance(CASE, Case)

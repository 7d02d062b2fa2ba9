"""The command line: words, exit codes, and what goes to which stream. Runs are drawn by hand."""

import json
import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import click
import pytest
from click.testing import CliRunner, Result

from simfan import __version__, api, cli
from simfan.compare import compare
from simfan.errors import Problem, RunError, ScenarioError
from simfan.plant.case import Criteria
from simfan.report import progress
from simfan.report.progress import Progress
from tests import synthetic

LOAD, SMALL_MAP, SMALL_TUNE = api.load, api.operating_map, api.tune
TEN_LINES = Path(__file__).parent.parent / "scenarios" / "ten-lines.toml"
CRITERIA = Criteria(time_outside_band=60.0)
RUNS = {
    "damper-at-kiln": synthetic.history("damper-at-kiln", surge=(190.0, 258.0)),
    "variable-speed": synthetic.history("variable-speed", "variable speed"),
}
STOPPED = synthetic.history("variable-speed", "variable speed", stopped="flow is no number at 9 s")


@pytest.fixture
def file(tmp_path, monkeypatch):
    """A scenario file, behind it an api that answers with the runs above."""
    path = tmp_path / "kiln.toml"
    path.write_text("title = 'any'\n")
    case = SimpleNamespace(strategies=dict.fromkeys(RUNS), criteria=CRITERIA,
                           control=SimpleNamespace(max_sensitivity=1.6))

    def side_by_side(case, names=None, progress=None):
        return compare([RUNS[name] for name in names or RUNS], CRITERIA)

    fakes = {
        "load": lambda path: case,
        "compare": side_by_side,
        "operating_map": lambda case, names=None: SMALL_MAP(LOAD(TEN_LINES), points=5),
        "tune": lambda case, names, *a, **k: SMALL_TUNE(
            LOAD(TEN_LINES), list(LOAD(TEN_LINES).strategies), 1.6),
        "run": lambda case, name, progress=None, audit=False: RUNS[name],
        "describe": lambda case: ["density 1.133 kg/m3, speed of sound 349 m/s"],
        "assumed": lambda case: ["control.span: 90 m3/s, 1.2 × the largest rated flow"],
        "is_compiled": lambda: True,
        "warm_up": lambda: None,
        "schema": lambda: {"type": "object"},
        "starter": lambda: "# a scenario\n",
    }
    for name, fake in fakes.items():
        monkeypatch.setattr(api, name, fake, raising=False)
    return path


def call(*words: object) -> Result:
    return CliRunner().invoke(cli.main, [str(w) for w in words])


def test_compare_answers_and_exits_with_zero(file):
    done = call("compare", file)
    assert done.exit_code == 0
    assert "1 of 2 strategies meet the criteria: variable-speed." in done.stdout
    assert done.stderr == ""


def test_only_the_named_strategies_are_compared_each_once(file):
    names = ("--strategy", "variable-speed", "--strategy", "variable-speed")
    told = json.loads(call("compare", file, "--json", *names).stdout)
    assert [s["name"] for s in told["strategies"]] == ["variable-speed"]


def test_run_tells_one_strategy(file):
    told = json.loads(call("run", file, "--strategy", "damper-at-kiln", "--json").stdout)
    assert [s["name"] for s in told["strategies"]] == ["damper-at-kiln"]


def test_run_passes_the_wish_for_an_audit_on(file, monkeypatch):
    asked = []

    def audited(case, name, progress=None, audit=False):
        asked.append(audit)
        return RUNS[name]

    monkeypatch.setattr(api, "run", audited)
    call("run", file, "--strategy", "variable-speed", "--audit")
    call("run", file, "--strategy", "variable-speed")
    assert asked == [True, False]


def test_a_missed_criterion_is_an_error_only_when_strict(file):
    assert call("compare", file).exit_code == 0
    assert call("compare", file, "--strict").exit_code == 1
    assert call("compare", file, "--strict", "--strategy", "variable-speed").exit_code == 0


def test_a_run_that_stopped_counts_before_a_missed_criterion(file, monkeypatch):
    monkeypatch.setitem(RUNS, "variable-speed", STOPPED)
    done = call("compare", file, "--strict")
    assert done.exit_code == 3
    assert "surge cycles" in done.stdout, "the others are still told"
    assert "flow is no number at 9 s" in done.stdout


def test_bad_input_counts_before_everything(file, monkeypatch):
    problems = [
        Problem(("fan", "flow"), '"45"', "a volume flow", "the unit is missing", 12, "kiln.toml"),
        Problem(("motor", "rating"), '"315 km"', "a power", "km is a length", 20, "kiln.toml"),
    ]

    def broken(path):
        raise ScenarioError(problems)

    monkeypatch.setattr(api, "load", broken)
    done = call("compare", file, "--strict")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert "2 mistakes in kiln.toml. Nothing was run." in done.stderr
    paragraphs = done.stderr.strip().split("\n\n")
    assert len(paragraphs) == 3
    words = " ".join(paragraphs[1].split())
    assert words == (
        'kiln.toml, line 12, fan.flow got "45" allowed a volume flow hint the unit is missing'
    )


def test_mistakes_are_wrapped_to_the_terminal(file, monkeypatch):
    long = Problem(("fan",), "x" * 30, "word " * 60, "hint " * 40, 3, "kiln.toml")
    monkeypatch.setattr(api, "load", lambda path: (_ for _ in ()).throw(ScenarioError([long])))
    assert max(map(len, call("check", file).stderr.splitlines())) <= 80


def test_mistakes_found_late_get_their_line_too(file, monkeypatch):
    file.write_text('title = "any"\n\n[fan]\ninertia = "280 kg m2"\n')

    def late(case, names=None, progress=None):
        raise ScenarioError([Problem(("fan", "inertia"), "280", "more", "")])

    monkeypatch.setattr(api, "compare", late)
    done = call("compare", file)
    assert done.exit_code == 2
    assert "kiln.toml, line 4, fan.inertia" in done.stderr


def test_an_unknown_strategy_is_told_with_the_nearest_names(file):
    for command in ("compare", "run"):
        done = call(command, file, "--strategy", "variable-sped")
        assert done.exit_code == 2
        words = " ".join(done.stderr.split())
        assert 'no strategy "variable-sped"' in words
        assert "did you mean variable-speed" in words
        assert "It has: damper-at-kiln, variable-speed." in words


@pytest.mark.parametrize("words", [("compare",), ("compar",), ("compare", "f", "--units", "uk")])
def test_a_wrong_call_exits_with_two(file, words):
    done = call(*words)
    assert done.exit_code == 2
    assert "Usage" in done.stderr


def test_a_file_that_is_not_there_is_a_sentence(tmp_path):
    done = call("check", tmp_path / "no-such.toml")
    assert done.exit_code == 2
    assert "no-such.toml" in done.stderr
    assert "Traceback" not in done.output


def test_json_is_alone_on_stdout(file, tmp_path):
    done = call("compare", file, "--json", "--out", tmp_path / "out")
    told = json.loads(done.stdout)
    assert told["scenario"]["file"] == "kiln.toml"
    assert told["scenario"]["fingerprint"]
    assert "Wrote" in done.stderr
    assert told == json.loads((tmp_path / "out" / "result.json").read_text(encoding="utf-8"))


def test_the_first_compilation_is_announced_on_stderr(file, monkeypatch):
    done = []
    monkeypatch.setattr(api, "is_compiled", lambda: False)
    monkeypatch.setattr(api, "warm_up", lambda: done.append(1))
    assert "Compiling the solver, once" in call("compare", file, "--json").stderr
    assert call("compare", file, "--quiet").stderr == ""
    assert len(done) == 2


def test_quiet_prints_the_verdicts_alone(file):
    done = call("compare", file, "--quiet")
    assert "damper-at-kiln: surging for 67.2 s (68 cycles" in done.stdout
    assert "IAE" not in done.stdout


def test_a_folder_that_cannot_be_written_is_told_before_the_run(file, tmp_path, monkeypatch):
    monkeypatch.setattr(api, "compare", lambda *a: pytest.fail("ran all the same"))
    (tmp_path / "taken").write_text("a file")
    done = call("compare", file, "--out", tmp_path / "taken" / "out")
    assert done.exit_code == 2
    assert "cannot be written" in " ".join(done.stderr.split())


def test_when_the_disk_fills_up_the_result_is_still_told(file, tmp_path, monkeypatch):
    from simfan.report import files

    def full(*args):
        raise RunError("out/result.json cannot be written: No space left on device.")

    monkeypatch.setattr(files, "write", full)
    done = call("compare", file, "--out", tmp_path / "out")
    assert done.exit_code == 2
    assert "1 of 2 strategies meet the criteria" in done.stdout
    assert "No space left" in done.stderr


def test_check_says_what_the_plant_is_and_what_was_assumed(file):
    done = call("check", file)
    assert done.exit_code == 0
    assert "kiln.toml: no mistakes found." in done.stdout
    assert "speed of sound 349 m/s" in done.stdout
    assert "control.span: 90 m3/s" in done.stdout


def test_schema_is_json(file):
    assert json.loads(call("schema").stdout) == {"type": "object"}


def test_new_writes_a_starter_and_never_over_a_file(file, tmp_path):
    path = tmp_path / "mine.toml"
    assert call("new", path).exit_code == 0
    assert path.read_text() == "# a scenario\n"
    path.write_text("my own work")
    done = call("new", path)
    assert done.exit_code == 2
    assert "exists already" in " ".join(done.stderr.split())
    assert path.read_text() == "my own work"


def test_new_in_a_folder_that_is_not_there_is_a_sentence(file, tmp_path):
    done = call("new", tmp_path / "nowhere" / "mine.toml")
    assert done.exit_code == 2
    assert "cannot be written" in " ".join(done.stderr.split())


def test_warm_up_compiles_what_is_not_compiled(file, monkeypatch):
    done = []
    monkeypatch.setattr(api, "warm_up", lambda: done.append(1))
    call("warm-up")
    monkeypatch.setattr(api, "is_compiled", lambda: False)
    assert call("warm-up").exit_code == 0
    assert done == [1]


def test_ctrl_c_ends_with_a_word(file, monkeypatch):
    def interrupted(*args):
        raise KeyboardInterrupt

    monkeypatch.setattr(api, "compare", interrupted)
    done = call("compare", file)
    assert done.exit_code == 130
    assert done.stderr.strip() == "Stopped by you."


def fault(*args):
    raise ZeroDivisionError("in the middle")


def test_a_fault_of_simfan_is_called_that(file, monkeypatch):
    monkeypatch.setattr(api, "compare", fault)
    done = call("compare", file)
    assert done.exit_code == 70
    words = " ".join(done.stderr.split())
    assert f"a fault of simfan {__version__}, not of your input: ZeroDivisionError" in words
    assert "--debug" in words


@pytest.mark.parametrize("how", ["option", "environment"])
def test_debug_shows_the_fault_itself(file, monkeypatch, how):
    monkeypatch.setattr(api, "compare", fault)
    if how == "environment":
        monkeypatch.setenv("SIMFAN_DEBUG", "1")
    done = call(*(["--debug"] if how == "option" else []), "compare", file)
    assert isinstance(done.exception, ZeroDivisionError)


class Terminal:
    """A stream that says it is a terminal, and a clock that the test moves."""

    def __init__(self, is_terminal: bool = True) -> None:
        self.text, self.now, self.is_terminal = "", 100.0, is_terminal

    def write(self, text: str) -> None:
        self.text += text

    def flush(self) -> None: ...

    def isatty(self) -> bool:
        return self.is_terminal


@pytest.mark.parametrize(("is_terminal", "after", "shown"),
                         [(True, 0.9, False), (True, 1.1, True), (False, 5.0, False)])  # fmt: skip
def test_progress_is_shown_after_a_second_on_a_terminal_only(
    monkeypatch, is_terminal, after, shown
):
    screen = Terminal(is_terminal)
    monkeypatch.setattr(progress, "time", SimpleNamespace(monotonic=lambda: screen.now))
    with Progress(screen) as tell:  # type: ignore[arg-type]
        screen.now += after
        tell("damper", 0.42)
    assert ("damper:  42 %" in screen.text) == shown
    assert screen.text == "" or screen.text.endswith("\r"), "the line is wiped at the end"


HEAVY = ("numba", "numpy", "scipy", "matplotlib", "control", "pydantic", "simpy", "rich", "bokeh",
         "jinja2", "markupsafe", "dask", "distributed")  # fmt: skip


def python(code: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120)


@pytest.mark.parametrize("code", ["import simfan", "from simfan.cli import main; main(['--help'])"])
def test_help_and_import_load_nothing_heavy(code):
    wrapped = (
        f"import sys\ntry:\n    {code}\nexcept SystemExit: pass\n"
        f"print('loaded', [m for m in {HEAVY} if m in sys.modules])"
    )
    done = python(wrapped)
    assert done.stdout.splitlines()[-1] == "loaded []", done.stderr


def test_help_fits_the_terminal_and_names_every_command():
    done = python("from simfan.cli import main; main(['--help'])")
    assert done.returncode == 0
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert re.findall(r"^  ([a-z-]+) ", done.stdout.split("Commands:")[1], re.M) == sorted(
        cli.main.commands
    )


def test_every_option_has_a_help_text():
    bare = [
        f"{name} {option.name}"
        for name, command in cli.main.commands.items()
        for option in command.params
        if isinstance(option, click.Option) and not option.help
    ]
    assert bare == []


@pytest.mark.parametrize("command", ["report", "compare", "map", "tune"])
def test_a_folder_that_was_made_for_nothing_is_taken_away(command, tmp_path):
    """And the one that it was made in; one that was there stays."""
    (tmp_path / "bad.toml").write_text("title = 1\n")
    (tmp_path / "there").mkdir()
    for out in ("new/deeper", "there", "there/new"):
        done = call(command, tmp_path / "bad.toml", "--out", tmp_path / out)
        assert done.exit_code == 2
        assert "title" in done.stderr
    assert sorted(p.name for p in tmp_path.rglob("*")) == ["bad.toml", "there"]


def test_a_report_from_python_leaves_no_empty_folder_either(tmp_path):
    case = LOAD(TEN_LINES)
    with pytest.raises(RunError, match="no strategy 'turbine'"):
        api.report(case, tmp_path / "out", ["turbine"])
    assert not list(tmp_path.iterdir())

"""Which strategy a report recommends: by the rule that it prints, and by nothing else."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from simfan.choice import RULE, choose
from simfan.compare import Comparison, StrategyResult, compare
from simfan.plant.case import Criteria
from tests import synthetic


def result(name: str, kwh: float, meets: bool = True) -> StrategyResult:
    made = compare([synthetic.history(name)], Criteria()).strategies[0]
    assert made.measures is not None
    measures = replace(made.measures, energy=replace(made.measures.energy, electrical_kwh=kwh))
    return replace(made, measures=measures, misses=() if meets else (object(),),  # type: ignore[arg-type]
                   findings=(), verdict="meets" if meets else "misses")


def among(*results: StrategyResult) -> Comparison:
    return Comparison(results[0] and compare([synthetic.history("x")], Criteria()).scenario,
                      Criteria(), results)


def year(kwh: float, unserved: float = 0.0, beyond: float = 0.0) -> Any:
    return SimpleNamespace(electrical_kwh=kwh, hours_not_reachable=unserved,
                           hours_out_of_criteria=beyond)


def test_no_saving_buys_a_missed_criterion() -> None:
    found = choose(among(result("cheap", 1.0, meets=False), result("dear", 1000.0)), {})
    assert found.name == "dear"
    assert found.out == {"cheap": "misses"}


def test_none_is_chosen_where_none_meets_the_criteria() -> None:
    found = choose(among(result("a", 1.0, meets=False), result("b", 2.0, meets=False)), {})
    assert found.name is None
    assert set(found.out) == {"a", "b"}
    assert found.energy_kwh == {}


def test_an_undecidable_strategy_is_not_chosen() -> None:
    doubtful = replace(result("doubtful", 1.0), decidable=False)
    assert choose(among(doubtful, result("sure", 2.0)), {}).name == "sure"


@pytest.mark.parametrize(("second", "equal"), [(1.019, ("b",)), (1.021, ()), (10.0, ())])
def test_energies_within_two_percent_are_named_as_equal(second: float, equal: tuple[str, ...]
                                                        ) -> None:
    found = choose(among(result("b", 100.0 * second), result("a", 100.0)), {})
    assert found.name == "a"
    assert found.equal == equal


def test_the_order_of_the_scenario_does_not_matter() -> None:
    one, other = result("a", 5.0), result("b", 4.0)
    assert choose(among(one, other), {}).name == choose(among(other, one), {}).name == "b"


def test_the_year_weighs_more_than_the_run() -> None:
    found = choose(among(result("a", 1.0), result("b", 2.0)), {"a": year(900.0), "b": year(800.0)})
    assert (found.name, found.over) == ("b", "year")


def test_energy_that_is_saved_by_not_serving_does_not_count() -> None:
    found = choose(among(result("a", 1.0), result("b", 2.0)),
                   {"a": year(10.0, unserved=500.0), "b": year(800.0)})
    assert found.name == "b"
    assert "500 h" in found.out["a"]


def test_energy_of_hours_beyond_a_limit_does_not_count() -> None:
    found = choose(among(result("a", 1.0), result("b", 2.0)),
                   {"a": year(10.0, beyond=300.0), "b": year(800.0)})
    assert found.name == "b"
    assert "300 h" in found.out["a"]


def test_where_none_serves_the_whole_year_the_run_decides_and_it_is_said() -> None:
    found = choose(among(result("a", 1.0), result("b", 2.0)),
                   {"a": year(10.0, 5.0), "b": year(8.0, 5.0)})
    assert (found.name, found.over) == ("a", "run")
    assert any("serves every hour" in note for note in found.notes)


def test_the_rule_says_what_it_does_not_weigh() -> None:
    assert "Nothing else is weighed" in RULE
    assert "2 %" in RULE

"""The first page of a bound report: question, answer, why, what it costs, what to watch."""

from collections.abc import Iterator

from simfan.bound import Bound, tightest
from simfan.choice import RULE
from simfan.compare import StrategyResult
from simfan.metrics.year import YearEnergy
from simfan.report.bound_blocks import Block, Chapter, Grid, Heading, Points, Words
from simfan.report.excursions import told
from simfan.report.procedures import never_begun
from simfan.report.stress_page import LAID
from simfan.report.stress_words import required
from simfan.report.wording import reworded
from simfan.sheets.record import room_of
from simfan.units import System, convert, preferred, significant

RULES = ("The maker's curve and stall line, local codes and licensed practice rule. Surge, "
         "overspeed, motor overload and draft excursions hurt people: this report helps to choose "
         "and to tune, it is no protection system, and nothing in it is validated on your plant.")
BREAKS = "What breaks it"
"""Title of the chapter on the search."""
MOST_OUT = 3


def answer(bound: Bound, system: System) -> Chapter:
    """Question and answer."""
    return Chapter("answer", "The answer", tuple(_blocks(bound, system)))


def _blocks(bound: Bound, system: System) -> Iterator[Block]:
    yield Words(sentence(bound), lead=True)
    yield _table(bound, system)
    for title, lines in (("Why", _why(bound, system)), ("What it costs", _costs(bound)),
                         ("What to watch", _watch(bound, system))):
        found = tuple(lines)
        if found:
            yield Heading(title)
            yield Points(found)
    yield Words(RULE, small=True)
    yield Words(RULES, small=True)


def sentence(bound: Bound) -> str:
    """Which strategy, in one sentence."""
    choice = bound.choice
    if choice.name is None:
        return ("None: no strategy of this scenario meets all its criteria, so none is "
                "recommended." if len(bound.comparison.strategies) > 1 else
                "No: the strategy does not meet all criteria of this scenario.")
    lead = f"Take {choice.name}."
    if choice.equal:
        lead += (f" By energy {_all(choice.equal)} {'is' if len(choice.equal) == 1 else 'are'} as "
                 "good: let price, wear and room decide between them.")
    return lead


def _all(names: tuple[str, ...]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _table(bound: Bound, system: System) -> Grid:
    years = bound.overview.years
    money = next((y.currency for y in years.values() if y.cost is not None), "")
    head = ["Strategy", "meets all criteria", "tightest criterion", "its room [%]",
            "lowest stall margin [%]", "run, from supply [kWh]"]
    head += ["year, from supply [MWh]", "not served [h]", "beyond a limit [h]"] if years else []
    head += [f"year [{money}]"] if money else []
    rows = (_row(bound, r, years.get(r.name), bool(years), bool(money))
            for r in bound.comparison.strategies)
    return Grid(tuple(head), tuple(rows), "Every strategy of the scenario, run over the same "
                "timeline. Room: distance to the limit as a share of it; for a settling time how "
                "far within its band the value stays from that time on, as a share of the band's "
                "half width; for stall margin and surge a share of the flow at the stall line. - : "
                "no such number, result.json says why. ◄: the strategy of the answer.")


def _row(bound: Bound, result: StrategyResult, year: YearEnergy | None, years: bool, money: bool
         ) -> tuple[str, ...]:
    near, m = tightest(result), result.measures
    name = f"{result.name} ◄" if result.name == bound.choice.name else result.name
    meets = ("yes" if result.meets_criteria else "✗ stopped" if result.stopped else
             "✗ no" if result.decidable else "✗ not decidable")
    row = [name, meets, near.name.replace("_", " ") if near else "-",
           "-" if near is None else "missed" if near.room < 0.0 else
           significant(100.0 * near.room),
           _number(m.excursions.lowest_stall_margin_percent if m else None),
           _number(m.energy.electrical_kwh if m else None)]
    if years:
        kwh = year.electrical_kwh if year else None
        row += [_number(None if kwh is None else kwh / 1000.0),
                _number(year.hours_not_reachable if year else None),
                _number(year.hours_out_of_criteria if year else None)]
    if money:
        row.append(_number(year.cost if year else None))
    return tuple(row)


def _number(value: float | None) -> str:
    return "-" if value is None else significant(float(value))


def _why(bound: Bound, system: System) -> Iterator[str]:
    choice, chosen = bound.choice, bound.chosen
    if chosen:
        yield f"{chosen.name} {reworded(chosen.verdict, system)}"
        over = "a year of the load profile" if choice.over == "year" else "the run"
        ranked = [f"{name} {_energy(e, choice.over)}" for name, e in choice.energy_kwh.items()]
        yield f"from the supply over {over}: {', '.join(ranked)}"
    yield from choice.notes
    out = list(choice.out.items())
    for name, why in out[:MOST_OUT] if chosen else out:
        yield f"not {name}: {reworded(why, system)}"
    if chosen and len(out) > MOST_OUT:
        yield f"nor {', '.join(name for name, _ in out[MOST_OUT:])}: see the comparison"


def _energy(kwh: float, over: str) -> str:
    return f"{significant(kwh / 1000.0)} MWh" if over == "year" else f"{significant(kwh)} kWh"


def _costs(bound: Bound) -> Iterator[str]:
    chosen = bound.chosen
    if chosen is None:
        return
    year = bound.overview.years.get(chosen.name)
    if chosen.name in bound.costs:
        money = year.currency if year else ""
        yield f"to buy and install: {significant(bound.costs[chosen.name])} {money}".rstrip()
    if year and year.electrical_kwh is not None:
        said = f"in a year: {significant(year.electrical_kwh / 1000.0)} MWh from the supply"
        said += f", {significant(year.cost)} {year.currency}" if year.cost is not None else ""
        said += f", {significant(year.co2_kg / 1000.0)} t of CO2" if year.co2_kg is not None else ""
        yield said
        yield from _beside(bound, chosen.name, year)
    elif chosen.measures:
        energy = chosen.measures.energy
        price = "" if energy.cost is None else f", {significant(energy.cost)} {energy.currency}"
        yield (f"in the run: {_number(energy.electrical_kwh)} kWh from the supply{price}; the "
               "scenario has no [year], so nothing is said of a year")


def _beside(bound: Bound, name: str, year: YearEnergy) -> Iterator[str]:
    if year.saved_kwh is not None and year.baseline:
        said = f"against {year.baseline}: {significant(year.saved_kwh / 1000.0)} MWh less a year"
        if year.saving is not None:
            said += f", {significant(year.saving)} {year.currency}"
        if year.payback_years is not None:
            more = bound.costs[name] - bound.costs[year.baseline]
            said += "; it costs no more to install" if more <= 0.0 else (
                f"; the {significant(more)} {year.currency} that it costs more are paid back in "
                f"{significant(year.payback_years)} years, without interest")
        yield said
        base = bound.overview.years.get(year.baseline)
        if base and base.hours_out_of_criteria:
            hours = significant(base.hours_out_of_criteria)
            yield (f"of that saving, what falls into {hours} h of the year is over a plant that "
                   f"could not be run so: {year.baseline} is beyond a limit there")


def _watch(bound: Bound, system: System) -> Iterator[str]:
    chosen = bound.chosen
    if chosen is None:
        yield ("what each strategy misses stands in the table of the comparison; change the "
               "scenario, its criteria or the plant, and ask again")
        return
    yield from _criterion(chosen)
    yield from _stressed(bound, system)
    yield from _range(bound, system)
    if idle := never_begun(bound.comparison):
        yield (f"{' and '.join(idle)}: described and on the sheets, but never begun in this run: "
               "not tested")
    if chosen.assumed_part_s > 0.0:
        yield (f"the run lies {significant(chosen.assumed_part_s)} s on parts of the curve that "
               "the maker did not give: ask for them")
    yield from (line if line.startswith("and ") or line.endswith("not judged") else
                f"it left its bounds: {line}" for line in told(chosen, system, most=2))


def _criterion(chosen: StrategyResult) -> Iterator[str]:
    near = tightest(chosen)
    if near:
        unit = f" {near.unit}" if near.unit else ""
        yield (f"tightest of the criteria: {near.name.replace('_', ' ')}, limit "
               f"{significant(near.limit)}{unit}, room {significant(100.0 * near.room)} % "
               f"{room_of(near.name, near.limit)}")


def _stressed(bound: Bound, system: System) -> Iterator[str]:
    answer = bound.stress
    if answer is None:
        yield f"not searched for the move that breaks it: {bound.why_no_stress}"
        return
    broken = [f"{required(v.requirement, system)} (in {v.failures} of {v.fresh} runs "
              f"{LAID.get(answer.sampling, answer.sampling)})"
              for v in answer.verdicts if v.worst.distance < 0.0]
    if broken:
        yield (f"a search of {answer.runs} runs broke: {', '.join(broken)}; the chapter "
               f'"{BREAKS}" has the smallest change that does it')
    else:
        yield (f"a search of {answer.runs} runs broke nothing; that is no proof that nothing "
               "breaks it")
    if bound.stress_assumed:
        yield "what was varied in that search is an assumption of this report"


def _range(bound: Bound, system: System) -> Iterator[str]:
    """Ms and its range: margins are of small moves."""
    chosen = bound.chosen
    found = chosen.history.facts.robustness if chosen else None
    if chosen and found and found.sensitivity is not None and found.low is not None:
        kind = chosen.history.facts.held_kind
        unit = preferred(kind, system)
        ends = " to ".join(significant(convert(x or 0.0, kind, unit))
                           for x in (found.low, found.high))
        yield (f"Ms {significant(found.sensitivity)} over {ends} {unit}, for small moves; beyond "
               "that range, and for moves that an element's rate limits, nothing is promised")

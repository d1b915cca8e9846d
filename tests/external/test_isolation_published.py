"""The isolation's reckoning against published orders, bounds and figures, and against exact enumeration.

No Bayesian-network library is a dependency for this: those that we know pull in more than the rest of the project. The
posteriors are held to enumeration of the joint distribution, and to such a library where one is installed.
"""

from __future__ import annotations

import importlib
import itertools
import json
import math
import warnings
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.family_plans import load_family_plan
from wakerail.planning.belief import prior
from wakerail.planning.course import Course
from wakerail.planning.exact import ExactPlan
from wakerail.planning.lookahead import LookAhead
from wakerail.planning.model import Action, BootWay, Cause, CauseSort, Check, FamilyPlan, Likelihood, Watching
from wakerail.planning.observations import BootWatched, CheckSeen
from wakerail.planning.problem import Problem, bits, make_problem


def row_of_repairs(chances, costs_s) -> FamilyPlan:
    """Return a device whose parts are tried one at a time, since each way to boot lets one part alone be off.

    What was tried is put back at no cost, and the last part that is left is tried as well, to confirm it.
    """
    names = [f"part-{number}" for number in range(len(chances))]
    ways = tuple(BootWay(f"with all but {name}", frozenset(names) - {name}) for name in names)
    return FamilyPlan(
        family="row",
        causes=tuple(Cause(name, CauseSort.PART, chance) for name, chance in zip(names, chances, strict=True)),
        actions=tuple(
            Action(name, frozenset({name}), cost_s, 0.0) for name, cost_s in zip(names, costs_s, strict=True)
        ),
        ways=ways,
        watching=Watching(0.0, 0.0, 0.0),
        reversal_s=0.0,
    )


def repair_cost(chances, costs, order) -> float:
    """Expected cost of repair actions in an order: each costs as long as the fault is not found before it."""
    left, total = 1.0, 0.0
    for one in order:
        total += costs[one] * left
        left -= chances[one]
    return total


RATIO_EXAMPLES = [
    # P, C, the best order's expected cost; computed by trying all orders (check-values 6.1)
    ([0.4, 0.3, 0.2, 0.1], [8.0, 3.0, 1.0, 2.0], 7.6, 2),
    ([0.5, 0.3, 0.2], [10.0, 4.0, 2.0], 10.2, 2),
]


@pytest.mark.parametrize(("chances", "costs", "least", "first"), RATIO_EXAMPLES)
def test_single_parts_go_by_the_ratio_of_chance_to_cost(chances, costs, least, first):
    """J. B. Kadane and H. A. Simon 1977; D. Heckerman, J. S. Breese and K. Rommelse, Commun. ACM 38(3), 1995."""
    plan = row_of_repairs(chances, costs)
    problem = make_problem(plan, prior(plan), None)
    exact = ExactPlan(problem)
    assert exact.cost_s(problem.all, 0, False) == pytest.approx(least)
    after = exact.best(problem.all, 0, False)
    assert after is not None
    assert [problem.actions[one] for one in bits(after)] == [f"part-{first}"]


@given(st.lists(st.tuples(st.floats(0.05, 1.0), st.floats(0.5, 9.0)), min_size=2, max_size=5))
@settings(max_examples=20, deadline=None)
def test_the_ratio_order_is_the_least_of_all_orders(pairs):
    """And the exact plan finds it, where parts can be tried one at a time only."""
    total = sum(chance for chance, _ in pairs)
    chances, costs = [chance / total for chance, _ in pairs], [cost for _, cost in pairs]
    by_ratio = sorted(range(len(pairs)), key=lambda one: -chances[one] / costs[one])
    least = min(repair_cost(chances, costs, order) for order in itertools.permutations(range(len(pairs))))
    assert repair_cost(chances, costs, by_ratio) == pytest.approx(least)
    plan = row_of_repairs(chances, costs)
    problem = make_problem(plan, prior(plan), None)
    assert ExactPlan(problem).cost_s(problem.all, 0, False) == pytest.approx(least)


def free_to_unplug(chances, try_s=1.0) -> Problem:
    """Return the problem of parts that cost nothing to unplug, in any group, where only tries count."""
    names = [f"part-{number:02}" for number in range(len(chances))]
    plan = FamilyPlan(
        family="free",
        causes=tuple(Cause(name, CauseSort.PART, chance) for name, chance in zip(names, chances, strict=True)),
        actions=tuple(Action(name, frozenset({name}), 0.0, 0.0) for name in names),
        ways=(BootWay("pads"),),
        watching=Watching(try_s, 0.0, 0.0),
        reversal_s=0.0,
    )
    return make_problem(plan, prior(plan), None)


@pytest.mark.parametrize("count", [2, 4, 8])
def test_halving_finds_one_of_many_in_log2_tries(count):
    """Counting argument: exactly one faulty of n takes ceil(log2 n) tests (check-values 6.3).

    Only where every boot showed the fault is it still to be seen to leave: one of n causes, one try more.
    """
    problem = free_to_unplug([1.0] * count)
    expected = math.log2(count) + 1 / count
    assert ExactPlan(problem).cost_s(problem.all, 0, False) == pytest.approx(expected)
    assert LookAhead(problem, 0, cleared=False).found[0] == pytest.approx(expected)


@pytest.mark.parametrize("count", [10, 12, 16])
def test_look_ahead_halves_as_well(count):
    """Between log2 n and ceil(log2 n) tries, and one for the last."""
    problem = free_to_unplug([1.0] * count)
    found = LookAhead(problem, 0, cleared=False).found[0]
    assert math.log2(count) <= found <= math.ceil(math.log2(count)) + 1 / count


def huffman(weights) -> float:
    """Expected length of the best prefix code: D. A. Huffman, Proc. IRE 40(9), 1952."""
    heap, total = sorted(weights), 0.0
    while len(heap) > 1:
        joined = heap.pop(0) + heap.pop(0)
        total += joined
        heap = sorted([*heap, joined])
    return total


def test_huffmans_example():
    """Five messages 0.4, 0.2, 0.2, 0.1, 0.1 take 2.2 digits (textbook example, from memory)."""
    assert huffman([0.4, 0.2, 0.2, 0.1, 0.1]) == pytest.approx(2.2)


@given(st.lists(st.floats(0.02, 1.0), min_size=2, max_size=7))
@settings(max_examples=20, deadline=None)
def test_tries_alone_cost_what_the_best_code_takes(weights):
    """Where any group can be off for nothing, tries are binary questions: Huffman's length, and entropy below it.

    The exact plan may pay up to the weight of one part more, to see the fault leave with the last of all.
    """
    total = sum(weights)
    chances = [weight / total for weight in weights]
    problem = free_to_unplug(chances)
    cost = ExactPlan(problem).cost_s(problem.all, 0, False)
    entropy = -sum(chance * math.log2(chance) for chance in chances)
    assert entropy - 1e-9 <= huffman(chances) <= cost + 1e-9
    assert cost <= huffman(chances) + max(chances) + 1e-9
    assert LookAhead(problem, 0, cleared=False).found[0] == pytest.approx(cost, rel=0.03)


# --- posteriors ---


def enumerate_posterior(weights, pairs, events):
    """Return the posterior by enumerating the joint distribution; ``events`` are functions of the causes at fault."""
    total = sum(weights.values())
    joint = {frozenset({one}): weight / total * (1 - pairs) for one, weight in weights.items()}
    doubles = {frozenset(two): weights[two[0]] * weights[two[1]] for two in itertools.combinations(weights, 2)}
    for two, product in doubles.items():
        joint[two] = pairs * product / sum(doubles.values())
    for event in events:
        joint = {causes: share * event(causes) for causes, share in joint.items()}
    whole = sum(joint.values())
    return {causes: share / whole for causes, share in joint.items()}


@given(
    st.lists(st.floats(0.1, 5.0), min_size=3, max_size=3),
    st.sampled_from([0.0, 0.1]),
    st.lists(st.tuples(st.sets(st.sampled_from(["a", "b"])), st.booleans()), max_size=5),
    st.booleans(),
)
@settings(max_examples=40, deadline=None)
def test_posteriors_are_those_of_the_joint_distribution(weights, pairs, tries, failed):
    miss, false = 0.07, 0.02
    names = ["a", "b", "board"]
    plan = FamilyPlan(
        family="joint",
        causes=tuple(
            Cause(name, CauseSort.BOARD if name == "board" else CauseSort.PART, weight)
            for name, weight in zip(names, weights, strict=True)
        ),
        actions=tuple(Action(name, frozenset({name}), 60.0, 60.0) for name in "ab"),
        ways=(BootWay("pads"),),
        watching=Watching(60.0, miss, false),
        checks=(Check("rail-check", 60.0, Likelihood({"board": 0.7}, 0.1)),),
        pairs=pairs,
    )
    course = Course(plan, (CheckSeen("rail-check", float(failed)),))
    events = [lambda causes: (0.7 if "board" in causes else 0.1) if failed else (0.3 if "board" in causes else 0.9)]
    for off, shown in tries:
        course = course.seen(BootWatched(frozenset(off), float(shown)))

        def event(causes, off=off, shown=shown):
            chance = false if causes <= off else 1 - miss
            return chance if shown else 1 - chance

        events.append(event)
    expected = enumerate_posterior(dict(zip(names, weights, strict=True)), pairs, events)
    expected = {causes: share for causes, share in expected.items() if pairs or len(causes) == 1}
    assert course.belief.probability == pytest.approx(expected)


@given(
    st.sampled_from([0.0, 0.1, 0.5]),
    st.lists(st.tuples(st.sets(st.sampled_from(["a", "b"])), st.sampled_from([0.02, 0.4, 0.99])), max_size=6),
)
@settings(max_examples=30, deadline=None)
def test_posteriors_with_faults_that_come_and_go_are_those_of_the_joint_distribution(comes_and_goes, tries):
    """Enumerated: cause, how steady its fault is, and for each boot whether it truly showed and what was read of it."""
    miss, false, weights = 0.05, 0.02, {"a": 3.0, "b": 1.0, "board": 2.0}
    plan = FamilyPlan(
        family="joint",
        causes=tuple(
            Cause(name, CauseSort.BOARD if name == "board" else CauseSort.PART, weight)
            for name, weight in weights.items()
        ),
        actions=tuple(Action(name, frozenset({name}), 60.0, 60.0) for name in "ab"),
        ways=(BootWay("pads"),),
        watching=Watching(60.0, miss, false, comes_and_goes=comes_and_goes),
    )
    course = Course(plan, tuple(BootWatched(frozenset(off), sure) for off, sure in tries))
    steadiness = [(miss, 1 - comes_and_goes), *((each, comes_and_goes / 3) for each in (0.25, 0.5, 0.75))]
    found = dict.fromkeys(weights, 0.0)
    missed = 0.0
    for (cause, weight), (missing, part) in itertools.product(weights.items(), steadiness):
        for truth in itertools.product([True, False], repeat=len(tries)):
            chance = weight * part
            for showed, (off, sure) in zip(truth, tries, strict=True):
                shows = false if cause in off else 1 - missing
                chance *= (shows if showed else 1 - shows) * (sure if showed else 1 - sure)
            found[cause] += chance
            missed += missing * chance
    whole = sum(found.values())
    assert course.belief.share == pytest.approx({cause: chance / whole for cause, chance in found.items()})
    assert course.miss == pytest.approx(missed / whole)


def test_posteriors_agree_with_a_bayesian_network_library(project, do_without):
    """pyAgrum's exact inference, with virtual evidence, on the network of the shipped family."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # its wrapper warns while it is made, and dies where a warning is an error
            gum = importlib.import_module("pyagrum")
    except ImportError:
        do_without("pyagrum is not installed (pip install -r tests/external/requirements.lock)")
    plan = load_family_plan(project / "config" / "devices" / "fenmoor-t3.yaml")
    plan = replace(plan, pairs=0.0)
    names = [cause.name for cause in plan.causes]
    tries = [
        ((), 0.99),
        (("back-cover", "scanner"), 0.05),
        (("back-cover", "speaker"), 0.9),
        (("back-cover", "scanner"), 0.4),
    ]
    network = gum.BayesNet("isolation")
    cause = network.add(gum.LabelizedVariable("cause", "what is at fault", names))
    total = sum(one.weight for one in plan.causes)
    network.cpt(cause).fillWith([one.weight / total for one in plan.causes])
    steady = network.add(gum.LabelizedVariable("steady", "how often it stays away", len(plan.watching.steadiness)))
    network.cpt(steady).fillWith([share for _, share in plan.watching.steadiness])
    evidence = {}
    for number, (done, sure) in enumerate(tries):
        boot = network.add(gum.LabelizedVariable(f"boot-{number}", "clean, or the fault", 2))
        network.addArc(cause, boot)
        network.addArc(steady, boot)
        for name in names:
            for level, (miss, _) in enumerate(plan.watching.steadiness):
                shown = plan.watching.false if name in plan.off(done) else 1 - miss
                network.cpt(boot)[{"cause": name, "steady": level}] = [1 - shown, shown]
        evidence[f"boot-{number}"] = [1 - sure, sure]
    check = network.add(gum.LabelizedVariable("port-check", "passed, failed", 2))
    network.addArc(cause, check)
    fails = next(one.fails for one in plan.checks if one.name == "port-check")
    for name in names:
        network.cpt(check)[{"cause": name}] = [1 - fails.given({name}), fails.given({name})]
    inference = gum.LazyPropagation(network)
    inference.setEvidence({**evidence, "port-check": 1})
    inference.makeInference()
    expected = dict(zip(names, inference.posterior("cause").tolist(), strict=True))
    seen = [*(BootWatched(frozenset(done), sure) for done, sure in tries), CheckSeen("port-check", 1.0)]
    assert Course(plan, tuple(seen)).belief.share == pytest.approx(expected)


# --- the examples beside the project ---


@pytest.fixture(scope="module")
def worked(reference):
    return json.loads((reference / "data" / "troubleshooting" / "worked_examples.json").read_text(encoding="utf-8"))


def test_the_six_states_and_five_tests(worked):
    """K. R. Pattipati and M. G. Alexandridis, IEEE Trans. SMC 20(4), 1990: the least expected cost is 2.18.

    The example is recalled from memory there, and its optimum confirmed by other dynamic programming. A test that
    fails is an action that has those states off; one at a time, as only one way to boot leaves the others connected.
    """
    example = worked["test_sequence_six_states"]
    states = [state.split()[0] for state in example["states"]]
    fails = {
        test: frozenset(
            state for state, row in zip(states, example["fails_matrix_rows_are_states"], strict=True) if row[place]
        )
        for place, test in enumerate(example["tests"])
    }
    plan = FamilyPlan(
        family="six-states",
        causes=tuple(
            Cause(state, CauseSort.PART if state != "s0" else CauseSort.BOARD, chance)
            for state, chance in zip(states, example["probability"], strict=True)
        ),
        actions=tuple(
            Action(test, off, float(cost), 0.0)
            for (test, off), cost in zip(fails.items(), example["test_cost"], strict=True)
        ),
        ways=tuple(BootWay(test, frozenset(states) - off) for test, off in fails.items()),
        watching=Watching(0.0, 0.0, 0.0),
        reversal_s=0.0,
    )
    problem = make_problem(plan, prior(plan), None)
    exact = ExactPlan(problem)
    # a boot counts as seen clean before: the example names a state by elimination, without confirming it
    assert exact.cost_s(problem.all, 0, True) == pytest.approx(example["answer"]["optimal_expected_cost"])
    after = exact.best(problem.all, 0, True)
    assert after is not None
    assert [problem.actions[one] for one in bits(after)] == [example["answer"]["a_first_test_of_an_optimal_plan"]]

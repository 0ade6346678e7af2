"""Loops over readings come to the same bits interpreted and compiled; else they were not compiled after a change."""

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel import kernels
from heartlevel.kernels import averaging, cells, digits, judging, sittings
from support import examples

FOLDER = Path(kernels.__file__).parent
LOOPS = {"averaging": averaging, "cells": cells, "digits": digits, "judging": judging, "sittings": sittings}
VALUES = st.sampled_from([np.nan, -np.inf, np.inf, -0.0, 0.0, 79.95, 80.0, 119.9, 1e-300, 1e300]) | st.floats(60, 240)


def interpreted(name: str) -> ModuleType:
    """Return a module of loops as Python reads it, whatever is compiled beside it."""
    spec = importlib.util.spec_from_file_location(f"interpreted_{name}", FOLDER / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


INTERPRETED = {name: interpreted(name) for name in LOOPS}


def same_bits(first: np.ndarray, second: np.ndarray) -> bool:
    """Compare two arrays bit by bit, but for those by which one NaN differs from another."""
    unknown = np.isnan(first)
    return np.array_equal(unknown, np.isnan(second)) and first[~unknown].tobytes() == second[~unknown].tobytes()


def test_the_tests_run_what_is_shipped():
    assert sorted(LOOPS) == sorted(path.stem for path in FOLDER.glob("*.pxd"))
    assert [name for name, module in LOOPS.items() if module.__file__.endswith(".py")] == []
    assert all(module.__file__.endswith(".py") for module in INTERPRETED.values())


@st.composite
def rules_and_rows(draw):
    """Facts with terms, rules that mention terms and earlier rules, and rows of several profiles."""
    facts, rows, profiles, rules = (draw(st.integers(*ends)) for ends in ((0, 3), (1, 12), (1, 3), (0, 4)))
    rules = rules if facts else 0
    terms_of = draw(st.lists(st.integers(1, 3), min_size=facts, max_size=facts))
    terms = sum(terms_of)
    ends = draw(st.lists(st.tuples(VALUES, VALUES), min_size=terms * profiles, max_size=terms * profiles))
    bounds = np.array(ends, dtype=np.float64).reshape(terms, profiles, 2)
    bounds[np.isnan(bounds).any(axis=2)] = np.nan
    outcome = st.integers(0, 2)
    leaves = [draw(st.lists(st.integers(0, terms + rule - 1), min_size=1, max_size=4)) for rule in range(rules)]
    tables = [draw(st.lists(outcome, min_size=3 ** len(used), max_size=3 ** len(used))) for used in leaves]
    starts = sorted({0, *draw(st.sets(st.integers(1, rows), max_size=2)), rows})
    column = st.lists(VALUES, min_size=rows, max_size=rows) | st.just([np.nan] * rows)
    return {
        "columns": [np.array(draw(column), dtype=np.float64) for _ in range(facts)],
        "first_term": np.cumsum([0, *terms_of], dtype=np.int64),
        "low": bounds[..., 0].copy(), "high": bounds[..., 1].copy(),
        "when_unknown": np.array(draw(st.lists(outcome, min_size=terms, max_size=terms)), dtype=np.int8),
        "starts": np.array(starts), "rows": rows, "terms": terms,
        "profiles": np.array([draw(st.integers(0, profiles - 1)) for _ in starts[1:]], dtype=np.int64),
        "leaves": np.array([leaf for used in leaves for leaf in used], dtype=np.int64),
        "first_leaf": np.cumsum([0, *map(len, leaves)], dtype=np.int64),
        "tables": np.array([entry for table in tables for entry in table], dtype=np.int8),
        "first_entry": np.cumsum([0, *map(len, tables)], dtype=np.int64),
    }  # fmt: skip


def judged(loops: ModuleType, case: dict) -> tuple[np.ndarray, ...]:
    places = case["terms"] + len(case["first_leaf"]) - 1
    outcomes, same = np.full((places, case["rows"]), 9, dtype=np.int8), np.full(places, 9, dtype=np.int8)
    compared = ("columns", "first_term", "low", "high", "when_unknown", "starts", "profiles")
    loops.compare(*(case[name] for name in compared), outcomes, same)
    decided = ("leaves", "first_leaf", "tables", "first_entry")
    loops.decide(outcomes, case["terms"], *(case[name] for name in decided), same, np.empty(case["rows"], dtype=np.uint16))
    facts, unlimited = len(case["columns"]), np.isnan(case["low"]).astype(np.uint8)
    fact_of = np.repeat(np.arange(facts), np.diff(case["first_term"]))
    profile = np.repeat(case["profiles"], np.diff(case["starts"]))
    wanting = np.zeros((facts, case["rows"]), dtype=np.uint8)
    loops.mark_wanting(outcomes, case["terms"], *(case[name] for name in decided[:2]), fact_of, unlimited, profile, wanting)
    return outcomes, same, wanting


@settings(max_examples=examples(200), deadline=None)
@given(rules_and_rows())
def test_rules_are_judged_alike(case):
    compiled, plain = judged(judging, case), judged(INTERPRETED["judging"], case)
    assert [array.tobytes() for array in compiled] == [array.tobytes() for array in plain]
    assert set(np.unique(compiled[0])) <= {0, 1, 2}  # nothing is left as it was handed over


@st.composite
def chosen_values(draw):
    selections, quantities, rows, cells = (draw(st.integers(*ends)) for ends in ((1, 3), (2, 3), (0, 12), (1, 4)))
    return {
        "chosen": np.array(draw(st.lists(st.booleans(), min_size=selections * rows, max_size=selections * rows)),
                           dtype=np.uint8).reshape(selections, rows),
        "values": np.array(draw(st.lists(VALUES, min_size=quantities * rows, max_size=quantities * rows)),
                           dtype=np.float64).reshape(quantities, rows),
        "cell_of": np.array(draw(st.lists(st.integers(0, cells - 1), min_size=rows, max_size=rows)), dtype=np.int64),
        "cells": cells,
    }  # fmt: skip


def averaged(loops: ModuleType, case: dict) -> list[np.ndarray]:
    given_ = (case["chosen"], case["values"], case["cell_of"])
    number, products = np.zeros((2, len(case["chosen"]), case["cells"]))
    known, mean, squares = np.zeros((3, len(case["values"]), *number.shape))
    with np.errstate(all="ignore"):
        loops.add_means(*given_, number, known, mean)
        loops.add_squares(*given_, mean, squares)
        loops.add_products(*given_, mean, products)
    return [number, known, mean, squares, products]


@settings(max_examples=examples(200), deadline=None)
@given(chosen_values())
def test_readings_are_averaged_alike(case):
    compiled, plain = averaged(averaging, case), averaged(INTERPRETED["averaging"], case)
    assert [same_bits(*pair) for pair in zip(compiled, plain, strict=True)] == [True] * 5


@pytest.mark.parametrize("loops", [averaging, INTERPRETED["averaging"]], ids=["compiled", "interpreted"])
def test_means_and_squares_are_those_of_numpy(loops):
    """Held against numpy.mean and numpy.var, a cell and selection at a time."""
    chance = np.random.default_rng(2)
    values, cell_of = chance.normal(130, 12, (2, 40)), chance.integers(0, 3, 40)
    values[1, ::7] = np.nan
    chosen = (chance.random((2, 40)) > 0.3).astype(np.uint8)
    number, known, mean, squares, _ = averaged(loops, {"chosen": chosen, "values": values, "cell_of": cell_of, "cells": 3})
    for selection, quantity, cell in np.ndindex(2, 2, 3):
        rows = (chosen[selection] == 1) & (cell_of == cell)
        recorded = values[quantity, rows & ~np.isnan(values[quantity])]
        assert (number[selection, cell], known[quantity, selection, cell]) == (rows.sum(), len(recorded))
        assert mean[quantity, selection, cell] == pytest.approx(np.mean(recorded), rel=1e-12)
        assert squares[quantity, selection, cell] == pytest.approx(np.var(recorded) * len(recorded), rel=1e-9)


def in_cells(loops: ModuleType, case: dict, values: np.ndarray) -> list[np.ndarray]:
    count, mean, squares = np.zeros((3, case["cells"]))
    with np.errstate(all="ignore"):
        loops.fill_means(case["cell_of"], values, count, mean)
        loops.fill_squares(case["cell_of"], values, mean, squares)
    return [count, mean, squares]


@settings(max_examples=examples(100), deadline=None)
@given(chosen_values(), st.booleans())
def test_values_are_averaged_by_cell_alike(case, every_other):
    whole = np.repeat(case["values"][0], 2)
    values = whole[::2] if every_other else whole[::2].copy()  # a column of a larger table need not be laid end to end
    compiled, plain = in_cells(cells, case, values), in_cells(INTERPRETED["cells"], case, values)
    assert [same_bits(*pair) for pair in zip(compiled, plain, strict=True)] == [True] * 3


@st.composite
def readings_in_order(draw):
    """Readings of up to three people, theirs in up to three sittings each, in order."""
    rows = draw(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2), st.integers(0, 3)), max_size=14))
    subject_of, sitting, limb = np.array(sorted(rows), dtype=np.int64).reshape(-1, 3).T.copy()
    pressure = st.integers(75, 84).map(float) | st.sampled_from([79.95, 120.0, 121.5])
    values = draw(st.lists(st.tuples(pressure, pressure, st.sampled_from([np.nan, 60.0, 61.5, 72.0]), st.booleans()),
                           min_size=len(rows), max_size=len(rows)))  # fmt: skip
    systolic, diastolic, pulse, chosen = np.array(values, dtype=np.float64).reshape(-1, 4).T.copy()
    return {"subject_of": subject_of, "sitting_of": subject_of * 3 + sitting, "limb_of": limb, "systolic": systolic,
            "diastolic": diastolic, "pulse": pulse, "chosen": chosen.astype(np.uint8)}  # fmt: skip


SITTINGS, SUBJECTS, LIMBS = 9, 3, 4


def in_sittings(loops: ModuleType, case: dict) -> list[np.ndarray]:
    count, nths, (falls, rises) = np.zeros(SITTINGS), np.full((3, 2, SITTINGS), np.nan), np.ones((2, SITTINGS), np.uint8)
    pressures, chosen = (case["systolic"], case["diastolic"]), (case["chosen"], case["sitting_of"])
    loops.follow_pressures(case["sitting_of"], *pressures, count, *nths, falls, rises)
    pair, extremes, before = np.full((2, SITTINGS), -1), np.full((4, SITTINGS), np.nan), np.empty_like(case["limb_of"])
    loops.find_pairs(*chosen, pair)
    loops.find_second_extremes(*chosen, case["pulse"], *extremes)
    loops.find_last_inflations(case["subject_of"], case["limb_of"], np.empty(LIMBS, dtype=np.int64), before)
    return [count, nths, falls, rises, pair, extremes, before]


@settings(max_examples=examples(200), deadline=None)
@given(readings_in_order())
def test_sittings_are_followed_alike_and_as_written_plainly(case):
    compiled, plain = in_sittings(sittings, case), in_sittings(INTERPRETED["sittings"], case)
    assert [array.tobytes() for array in compiled] == [array.tobytes() for array in plain]
    count, nths, falls, rises, pair, (highest, second_highest, lowest, second_lowest), before = compiled
    for sitting in range(SITTINGS):
        rows = np.flatnonzero(case["sitting_of"] == sitting)
        pressures = [[case["systolic"][row], case["diastolic"][row]] for row in rows]
        first, second, *_ = [*pressures, [np.nan] * 2, [np.nan] * 2]
        np.testing.assert_equal(nths[:, :, sitting].tolist(), [first, second, pressures[-1] if pressures else first])
        moves = np.diff(case["systolic"][rows])
        assert (count[sitting], falls[sitting], rises[sitting]) == (len(rows), all(moves < 0), all(moves > 0))
        used = [row for row in rows if case["chosen"][row]]
        assert pair[:, sitting].tolist() == [*used, -1, -1][:2]
        known = sorted(case["pulse"][row] for row in used if not np.isnan(case["pulse"][row]))
        expected = [*known[::-1], np.nan, np.nan][:2], [*known, np.nan, np.nan][:2]
        found = (highest, second_highest), (lowest, second_lowest)
        np.testing.assert_equal([[column[sitting] for column in two] for two in found], expected)
    for row, last in enumerate(before.tolist()):
        own = [other for other in range(row) if case["subject_of"][other] == case["subject_of"][row]]
        limb_of = case["limb_of"]
        same = [other for other in own if limb_of[other] == limb_of[row] or 0 in (limb_of[other], limb_of[row])]
        assert last == max(same, default=-1)


def counted(loops: ModuleType, case: dict) -> list[np.ndarray]:
    whole, count = np.zeros_like(case["chosen"]), np.zeros(SUBJECTS)
    multiples, both = np.zeros((3, 2, SUBJECTS)), np.zeros((3, SUBJECTS))
    given_ = (case["chosen"], case["subject_of"], case["systolic"], case["diastolic"])
    loops.count_multiples(*given_, np.array([10, 5, 2]), whole, count, multiples, both)
    return [whole, count, multiples, both]


@settings(max_examples=examples(200), deadline=None)
@given(readings_in_order())
def test_round_values_are_counted_alike_and_as_by_numpy(case):
    compiled, plain = counted(digits, case), counted(INTERPRETED["digits"], case)
    assert [array.tobytes() for array in compiled] == [array.tobytes() for array in plain]
    whole, count, multiples, both = compiled
    values = np.array([case["systolic"], case["diastolic"]])
    assert whole.tolist() == (case["chosen"] * (values == np.floor(values)).all(axis=0)).tolist()
    for subject in range(SUBJECTS):
        own = values[:, (whole == 1) & (case["subject_of"] == subject)]
        assert count[subject] == own.shape[1]
        for step, size in enumerate((10, 5, 2)):
            assert multiples[step, :, subject].tolist() == (own % size == 0).sum(axis=1).tolist()
            assert both[step, subject] == (own % size == 0).all(axis=0).sum()

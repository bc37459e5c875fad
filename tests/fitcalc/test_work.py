"""A catalogue too long to be tried is known as such before any of it is tried."""

from __future__ import annotations

import random
from dataclasses import replace

from fitcalc import solver
from fitcalc.candidates import eligible
from fitcalc.reverse import reach
from fitcalc.solver import solve
from fitcalc.work import MOST_CANDIDATES, work_of
from tests.reference.random_catalogues import body_meant_for, random_catalogue


def a_catalogue():
    rng = random.Random(5)
    catalogue = random_catalogue(rng, fronts=2, wheels=3, tyres=2, spacers=0, mounts=2, plates=2, positions=2)
    return catalogue, body_meant_for(rng, catalogue)


def lengthened(catalogue, times: int):
    """The same with each wheel and tyre so many times, each under a name of its own."""
    wheels = [replace(one, id=(one.id, n)) for one in catalogue.wheels for n in range(times)]
    tyres = [replace(one, id=(one.id, n)) for one in catalogue.tyres for n in range(times)]
    return replace(catalogue, wheels=tuple(wheels), tyres=tuple(tyres))


def test_the_work_counted_is_the_candidates_that_are_weighed():
    catalogue, body = a_catalogue()
    lists = eligible(catalogue, body)
    work = work_of(lists, catalogue.pairs)
    size = {slot.value: len(parts) for slot, parts in lists.items()}
    assert work.groups["front ends"] == (
        size["front_suspension"] * size["front_wheel"] * size["front_tyre"] * size["front_spacer"]
    )
    assert work.groups["wheelbase chains"] == size["motor_mount"] * size["plate"] * size["position"]
    assert work.candidates == sum(work.groups.values()) * size["body_mount"]
    assert work.within()


def test_a_catalogue_beyond_all_measure_is_said_to_be_so_and_nothing_of_it_is_tried(monkeypatch):
    catalogue, body = a_catalogue()
    long = lengthened(catalogue, 1000)
    assert work_of(eligible(long, body), long.pairs).candidates > MOST_CANDIDATES
    monkeypatch.setattr(solver, "search_of", lambda *_: (_ for _ in ()).throw(AssertionError("it was tried")))
    found = solve(long, body)
    assert (found.endless, found.matches, found.near_misses, found.gaps) == (True, (), (), ())
    assert found.combinations > MOST_CANDIDATES
    assert [one.endless for one in reach(long, [body], ())] == [True]


def test_a_long_catalogue_within_the_bound_is_solved():
    catalogue, body = a_catalogue()
    long = lengthened(catalogue, 20)
    assert not solve(long, body).endless
    assert solve(long, body).fitting >= solve(catalogue, body).fitting

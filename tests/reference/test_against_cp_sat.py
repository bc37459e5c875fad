"""The solver against an independent constraint solver: CP-SAT of OR-Tools (a package of the registry).

The problem is stated anew, in whole hundredths of a millimetre and without any formula of fitcalc: widths,
flushness, centring, arch and bump as linear constraints over one variable a slot. The lever of the arm and
the lock are not linear, so these cases have rigid front ends and no least lock.
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from ortools.sat.python import cp_model

from fitcalc.parts import Body, Catalogue, Criteria, Layout, PairRules
from fitcalc.solver import solve

from .random_catalogues import q, random_body, random_catalogue


def plain_case(rng: random.Random, **sizes: int) -> tuple[Catalogue, Body]:
    """A random catalogue without what is not linear, and a complete body made to fit some of it."""
    catalogue = random_catalogue(rng, tyres=2, spacers=1, criteria=Criteria(steer_min=0.0), **sizes)
    suspensions = tuple(replace(one, arm_length=None) for one in catalogue.front_suspensions)
    within = {p.id for p in (*catalogue.motor_mounts, *catalogue.plates)}
    pairs = PairRules(
        only_with=catalogue.pairs.only_with,
        never=frozenset(pair for pair in catalogue.pairs.never if pair <= within),
    )
    platform = replace(catalogue.platform, chassis_front_width=None)
    body = replace(
        random_body(rng, complete=True),
        wheelbase=q(rng.choice([84.0, 86.0, 88.0, 90.5, 96.0])),
        front_arch_width=q(rng.choice([51.0, 52.0, 53.5])),
        rear_arch_width=q(rng.choice([51.0, 52.0, 53.5])),
        front_arch_radius=q(rng.choice([13.5, 14.0, 15.5])),
        rear_arch_radius=q(rng.choice([13.0, 13.5, 14.0])),
    )
    return replace(
        catalogue, platform=platform, front_suspensions=suspensions, pairs=pairs, body_mounts=()
    ), body


def hundredths(value: float) -> int:
    return round(value * 100)


class EveryChoice(cp_model.CpSolverSolutionCallback):
    """Collects the ids of the parts of each solution."""

    def __init__(self, choices: dict[str, tuple[cp_model.IntVar, list]]) -> None:
        super().__init__()
        self.choices = choices
        self.found: set[tuple] = set()

    def on_solution_callback(self) -> None:
        self.found.add(
            tuple(
                None if parts[self.value(var)] is None else parts[self.value(var)].id
                for var, parts in self.choices.values()
            )
        )


def every_fit(catalogue: Catalogue, body: Body) -> set[tuple]:
    """All configurations that the constraint solver finds, as tuples of ids in the order of the slots."""
    model = cp_model.CpModel()
    criteria = catalogue.platform.criteria
    choices: dict[str, tuple[cp_model.IntVar, list]] = {}

    def slot(name: str, parts) -> None:
        choices[name] = (model.new_int_var(0, len(parts) - 1, name), list(parts))

    def figure(name: str, attribute: str, absent: float = 0.0) -> cp_model.IntVar:
        var, parts = choices[name]
        values = [
            hundredths(absent if p is None or getattr(p, attribute) is None else getattr(p, attribute).value)
            for p in parts
        ]
        target = model.new_int_var(min(values), max(values), f"{name}.{attribute}")
        model.add_element(var, values, target)
        return target

    def sits(rim, tyre) -> bool:
        known = rim.rim_diameter is not None and tyre.rim_diameter is not None
        return (
            not known or abs(hundredths(rim.rim_diameter.value) - hundredths(tyre.rim_diameter.value)) <= 50
        )

    for axle, hub in (("front", "front_suspensions"), ("rear", "rear_axles")):
        slot(f"{axle}_hub", getattr(catalogue, hub))
        for kind in ("wheel", "tyre", "spacer"):
            parts = [part for part in getattr(catalogue, f"{kind}s") if axle in part.axles]
            slot(f"{axle}_{kind}", [None, *parts] if kind == "spacer" else parts)
            if not choices[f"{axle}_{kind}"][1]:
                return set()
        width = figure(f"{axle}_hub", "hub_width") + 2 * (
            figure(f"{axle}_wheel", "offset")
            + figure(f"{axle}_wheel", "rim_width")
            + figure(f"{axle}_spacer", "thickness")
        )
        twice_flush = width - hundredths(getattr(body, f"{axle}_arch_width").value)
        model.add(twice_flush <= 2 * hundredths(criteria.flush_band))
        model.add(twice_flush >= -2 * hundredths(criteria.inset_limit))
        diameter = figure(f"{axle}_tyre", "diameter")
        height = hundredths(getattr(body, f"{axle}_arch_height").value)
        # A travel that is not known cannot fail.
        travel = figure(f"{axle}_hub", "bump_travel", absent=-10.0)
        model.add(2 * height - diameter - 2 * travel >= 0)
        rim_var, rims = choices[f"{axle}_wheel"]
        tyre_var, tyres = choices[f"{axle}_tyre"]
        model.add_allowed_assignments(
            [rim_var, tyre_var],
            [(i, j) for i, rim in enumerate(rims) for j, tyre in enumerate(tyres) if sits(rim, tyre)],
        )
        if axle == "front":
            radius = hundredths(body.front_arch_radius.value)
            model.add(2 * radius - diameter >= 2 * hundredths(criteria.arch_clearance))
            # Straight ahead the tyre must not touch; with a clearance above zero it does not.
    slot("mount", catalogue.motor_mounts)
    slot("plate", catalogue.plates)
    slot("position", catalogue.positions)
    length = (
        hundredths(catalogue.platform.datum.value)
        + figure("mount", "chain_length")
        + figure("plate", "chain_length")
        + figure("position", "shift")
    )
    off = hundredths(body.wheelbase.value) - length
    limit = hundredths(criteria.centring_limit)
    model.add_linear_constraint(off, -limit, limit)
    size = model.new_int_var(0, limit, "size of the centring")
    model.add_abs_equality(size, off)
    rear_diameter = figure("rear_tyre", "diameter")
    rear_radius = hundredths(body.rear_arch_radius.value)
    model.add(2 * rear_radius - rear_diameter - 2 * size >= 2 * hundredths(criteria.arch_clearance))
    mount_var, mounts = choices["mount"]
    plate_var, plates = choices["plate"]
    allowed = []
    for i, mount in enumerate(mounts):
        taken = body.layouts is None or Layout(mount.layout) in body.layouts
        if not taken or mount.id in body.fouled_by:
            continue
        for j, plate in enumerate(plates):
            needs = catalogue.pairs.only_with.get(plate.id, ())
            if all(mount.id in partners for partners in needs) and (
                frozenset((mount.id, plate.id)) not in catalogue.pairs.never
            ):
                allowed.append((i, j))
    model.add_allowed_assignments([mount_var, plate_var], allowed)
    collector = EveryChoice(choices)
    solver = cp_model.CpSolver()
    solver.parameters.enumerate_all_solutions = True
    solver.parameters.num_workers = 1
    status = solver.solve(model, collector)
    assert status in (cp_model.OPTIMAL, cp_model.FEASIBLE, cp_model.INFEASIBLE)
    return collector.found


@pytest.mark.parametrize("seed", range(25))
def test_both_solvers_find_the_same_configurations(seed: int) -> None:
    catalogue, body = plain_case(random.Random(seed))
    solution = solve(catalogue, body, limit=10**6, distinct=False)
    ours = set()
    for match in solution.matches:
        c = match.report.configuration
        chosen = (
            c.front_suspension,
            c.front_wheel,
            c.front_tyre,
            c.front_spacer,
            c.rear_axle,
            c.rear_wheel,
            c.rear_tyre,
            c.rear_spacer,
            c.motor_mount,
            c.plate,
            c.position,
        )
        ours.add(tuple(None if part is None else part.id for part in chosen))
    assert ours == every_fit(catalogue, body)


def test_the_cases_are_worth_solving() -> None:
    """Guards the check itself: among the random cases some have fits and some have none."""
    counts = [solve(*plain_case(random.Random(seed))).fitting for seed in range(25)]
    assert sum(count > 0 for count in counts) >= 8
    assert sum(count == 0 for count in counts) >= 3

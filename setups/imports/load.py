"""A plan carried out: all of it in one transaction, or nothing."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from fitcalc.said import Said
from setups.imports.columns import Kind
from setups.imports.plan import carry_out, plan_of
from setups.imports.planned import ANYBODY, By, Loaded, Plan, Problem


def load(kind: Kind, text: str, seen: str, by: By = ANYBODY) -> tuple[Plan, Loaded | None]:
    """Plan again under lock and carry it out, if it is the plan with the fingerprint ``seen``.

    Else nothing is changed, and the plan says what loading would do now. Another one who loads the same at
    the same time makes a unique constraint refuse one of the two; that one gets its new plan.
    """
    try:
        with transaction.atomic():
            plan = plan_of(kind, text, lock=True, by=by)
            if not plan.loadable or plan.fingerprint != seen:
                return plan, None
            return plan, carry_out(plan, by)
    except IntegrityError as error:
        plan = plan_of(kind, text, by=by)
        if plan.fingerprint == seen:
            plan.problems.append(refused(error))
        return plan, None


def refused(error: IntegrityError) -> Problem:
    """What to say of rows that only the database refuses."""
    told = str(error).splitlines()[0]
    return Problem(
        0,
        "",
        Said(
            "The database refuses it, and nothing was loaded: {told}. Load it in smaller parts to find the "
            "row.",
            told=told,
        ),
    )

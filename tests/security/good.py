"""What is good to send to an address of the interface, besides the least that it takes."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from setups.api import examples
from tests.club.test_api_permissions import World
from tests.setups.asking import content


def more_of(world: World) -> dict[tuple[str, str], list[Any]]:
    """Method and address, its parameters without names -> contents; the world's director sends the races'."""
    car, body, day = {"setup": world.setup.pk, "revision": 1}, world.setup.body.slug, world.day
    reading = {"quantity": "front_width", "value": 55.0, "instrument": "calliper", "uncertainty": 0.1}
    limit = {"number": "9", "wording": "Low.", "kind": "limit", "quantity": "front_width", "low": 40}
    limit |= {"high": 56.5, "rule": "guarded_acceptance", "factor": 1.5}
    listed = {"number": "8", "wording": "These.", "kind": "list", "thing": "wheel", "allows": False}
    listed |= {"items": [world.part.part.slug]}
    asked = {
        "car": car,
        "measured": {"mass": {"value": 160, "uncertainty": 0.2}},
        "fitted": {"motor": []},
        "seen": {"9": True},
    }
    found = {"key": str(uuid4()), "entry": world.entry.pk, "clause": day.clause("2.1").pk, "stage": "before"}
    found |= {"run": 1, "reading": 54.2, "instrument": "calliper", "doubt": 0.1, "note": "Twice."}
    entry = {"race_number": 9, "driver": "Bo", "setup": world.setup.pk, "race_class": day.race_class.slug}
    raced = [{"race_class": day.race_class.slug, "pinned": day.edition.pk}]
    editions, event = "/api/v1/race-classes/{}/editions/", "/api/v1/events/{}/"
    setup = content(tuning={"caster": 4, "motor": "stock"}, best_lap=9.8, photos=[], surface="carpet")
    built = {name: setup[name] for name in ("name", "platform", "position")}
    return {
        ("post", "/api/v1/fit/"): [one.value for one in examples.FIT[1:]],
        ("post", "/api/v1/solve/"): [one.value for one in examples.SOLVE[1:]],
        ("post", "/api/v1/compare/"): [{"cars": [car, examples.CONFIGURATION], "body": body}],
        ("post", "/api/v1/kit-plan/"): [{"bodies": [body], "use": "at_once", "borrow": True}],
        ("post", "/api/v1/setups/"): [setup],
        ("post", "/api/v1/drafts/"): [{"typed": {"name": "a", "best_lap": "9"}, "started_from": car}],
        ("post", "/api/v1/measurements/"): [
            reading | {"of": car, "measured_on": "2026-01-31", "note": "twice"},
            {"of": {"body": body}, "quantity": "mass", "value": 39, "instrument": "scale"},
        ],
        ("post", "/api/v1/garage/chassis/"): [built | {"parts": {"front_wheel": world.part.part.slug}}],
        ("post", editions): [{"name": "Next", "valid_from": "2042-03-01", "copy": day.edition.pk}],
        ("put", f"{editions}{{}}/"): [{"name": "After", "valid_from": "2043-03-01", "note": "Wider."}],
        ("post", f"{editions}{{}}/clauses/"): [limit, listed],
        ("put", f"{editions}{{}}/clauses/{{}}/"): [limit, listed],
        ("post", "/api/v1/legality/"): [
            asked | {"clauses": [limit]},
            asked | {"edition": day.edition.pk, "mend": True, "seen": {"5.1": True}},
        ],
        ("post", "/api/v1/events/"): [
            {"name": "Late", "date": "2031-06-01", "is_public": True, "classes": raced}
        ],
        ("post", f"{event}entries/"): [entry],
        ("put", f"{event}entries/{{}}/"): [entry | {"race_number": 10, "why": "Late."}],
        ("post", f"{event}entries/{{}}/withdraw/"): [{"out": True, "why": "Bent."}],
        ("post", f"{event}inspections/"): [found, found | {"taken_at": "2031-05-10T09:30:00Z"}],
    }

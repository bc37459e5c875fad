"""What people and programs ask for, at several sizes of library in one run, each beside SQL by hand.

Make the databases first (PostgreSQL; 10⁶ setups take 10 GB and some twenty minutes)::

    for n in 1000 100000 1000000; do
        createdb large$n; export DATABASE_URL=postgres://user@localhost/large$n
        python manage.py migrate && python manage.py demo --setups $n
    done
    DATABASE_URL=postgres://user@localhost/large1000 \\
        SIZES="1000=postgres://user@localhost/large1000 100000=… 1000000=…" \\
        pytest tests/benchmarks/test_sizes.py -o addopts= -s

Every row is timed over at least twenty requests, in turn with the SQL for the same answer. "db" is how long
the client waits for the database, "page" the whole request with its template, "CPU" what Python computed of
it. What took a second is timed five times. The goals, and what misses them and why, are in DEVELOPERS.md;
what is asserted is what must not get worse: no more queries on a larger library, the database near the SQL.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
import pytest
from django.db import connection
from django.test import Client, override_settings
from scipy.special import ndtr

from club import serving
from fitcalc.legality import CLASS_QUANTITIES, Car, DecisionRule, Limit, judge_all
from fitcalc.quantities import Quantity
from setups.models import Platform, Setup
from tests.benchmarks.beside import HEADER, Timed, beside, fetched, on

SIZES = dict(one.split("=", 1) for one in os.environ.get("SIZES", "").split())
GOAL = 1.5
CARS, CLAUSES = 1000, 30
HALF_A_MILLISECOND = 0.0005
"""A query more costs about this, whatever it asks."""

pytestmark = pytest.mark.skipif(
    not SIZES or connection.vendor != "postgresql",
    reason="wants SIZES, the addresses of databases of several sizes, and DATABASE_URL, one of them",
)

LISTED = "state IN ('verified', 'posted', 'disputed')"
BODY = "siskin-saloon-1-28"


# Bodies


def body_counts(where: str = "TRUE") -> str:
    """All facets of the bodies in one scan; the wheelbase is in a table of its own."""
    return f"""WITH found AS MATERIALIZED (
        SELECT b.id, b.scale, b.takes_rear_motor AS rear, b.takes_mid_motor AS mid,
            b.designated_front_width AS front, b.maker_id, ROUND(d.value) AS wheelbase
        FROM setups_body b
        LEFT JOIN setups_bodydimension d ON d.body_id = b.id AND d.quantity = 'wheelbase'
        WHERE {where})
    SELECT scale, rear, mid, front, maker_id, wheelbase, COUNT(*) FROM found
    GROUP BY GROUPING SETS ((scale, rear, mid), (front), (maker_id), (wheelbase))"""


def body_cards(where: str = "TRUE", order: str = "b.name, b.id", limit: int = 24) -> list[str]:
    page = f"SELECT b.id FROM setups_body b WHERE {where} ORDER BY {order} LIMIT {limit}"
    return [
        f"SELECT b.*, m.name FROM setups_body b JOIN setups_maker m ON m.id = b.maker_id WHERE {where} "
        f"ORDER BY {order} LIMIT {limit}",
        f"SELECT d.* FROM setups_bodydimension d WHERE d.body_id IN ({page})",
    ]


def body_words(*words: str) -> str:
    """What bodies say in words; no maker says these, which is asked for itself."""
    columns = "UPPER(b.name || ' ' || b.part_number || ' ' || b.full_size_car)"
    return " AND ".join(f"{columns} LIKE '%{word.upper()}%'" for word in words)


PLATFORMS = """SELECT p.*, EXISTS (SELECT 1 FROM setups_fitment f JOIN setups_part t ON t.id = f.part_id
    WHERE f.platform_id = p.id AND t.kind = 'motor_mount' AND t.layout = 'rear') FROM setups_platform p"""


def _found_by_facets() -> list[str]:
    scale, rear = "b.scale = 28", "b.takes_rear_motor"
    columns = "scale, takes_rear_motor, takes_mid_motor"
    group = f"SELECT {columns}, COUNT(*) FROM setups_body b WHERE {{}} GROUP BY {columns}"
    return [
        PLATFORMS,
        body_counts(f"{scale} AND {rear}"),
        group.format(rear),
        group.format(scale),
        *body_cards(f"{scale} AND {rear}"),
    ]


_MADE_FOR = f"""SELECT part_id FROM setups_bodypart r JOIN setups_body b ON b.id = r.body_id
    WHERE b.slug = '{BODY}' AND r.rule = 'made_for'"""
_SHELF = f"""SELECT f.part_id FROM setups_fitment f
    WHERE f.platform_id IN (SELECT id FROM setups_platform WHERE scale = 28)
    AND f.part_id IN (SELECT id FROM setups_part WHERE kind IN ('front_suspension', 'rear_axle',
        'motor_mount', 'plate', 'wheel', 'tyre', 'spacer') UNION ALL {_MADE_FOR})"""
SHELF = [
    f"SELECT d.*, p.*, m.name FROM setups_partdimension d JOIN setups_part p ON p.id = d.part_id "
    f"JOIN setups_maker m ON m.id = p.maker_id WHERE p.id IN ({_SHELF}) ORDER BY p.id, d.id",
    f"SELECT f.part_id, f.platform_id FROM setups_fitment f WHERE f.part_id IN ({_SHELF})",
    f"SELECT part_id, other_id, rule FROM setups_partpair WHERE part_id IN ({_SHELF})",
    "SELECT h.* FROM setups_mountingposition h JOIN setups_platform p ON p.id = h.platform_id "
    "WHERE p.scale = 28",
    "SELECT p.*, m.name FROM setups_platform p JOIN setups_maker m ON m.id = p.maker_id WHERE p.scale = 28",
]
BODY_ROWS = [
    f"SELECT b.*, m.name FROM setups_body b JOIN setups_maker m ON m.id = b.maker_id WHERE b.slug = '{BODY}'",
    f"SELECT d.* FROM setups_bodydimension d JOIN setups_body b ON b.id = d.body_id WHERE b.slug = '{BODY}'",
    f"SELECT r.*, p.* FROM setups_bodypart r JOIN setups_part p ON p.id = r.part_id "
    f"JOIN setups_body b ON b.id = r.body_id WHERE b.slug = '{BODY}'",
]

# Setups

COLUMNS = ("body_id", "(platform_id, state, surface, race_class_id)", "circuit", "author_id")
FIGURES = ("ROUND(front_width)", "ROUND(wheelbase)", "front_offset", "rear_offset")
BEST = "ORDER BY state DESC, confirmations DESC, posted_at DESC, id DESC LIMIT 24"
HELD = (
    "id, body_id, platform_id, state, surface, race_class_id, author_id, circuit, confirmations, posted_at, "
    "front_width, wheelbase, front_offset, rear_offset"
)
NAMES = [
    "SELECT id, slug, name, scale FROM setups_platform",
    "SELECT id, slug, name FROM setups_body WHERE id <= 60",
    "SELECT id, username, display_name FROM club_member WHERE id <= 40",
]


def setup_counts(where: str = LISTED, source: str = "setups_setup", leave: str = "") -> str:
    """All facets of the setups in one scan; of bodies, circuits and members the 40 with the most."""
    kept = [one for one in COLUMNS + FIGURES if one != leave]
    sets = ", ".join(f"({one.strip('()')})" if one.startswith("(") else f"({one})" for one in kept)
    columns = ", ".join(one.strip("()") if one.startswith("(") else one for one in kept)
    many = [one for one in ("body_id", "circuit", "author_id") if one in kept]
    rank = ", ".join(f"GROUPING({one})" for one in many)
    named = " AND ".join(f"GROUPING({one}) = 1" for one in many) or "TRUE"
    return f"""SELECT * FROM (SELECT {columns}, COUNT(*), {named} AS few,
        ROW_NUMBER() OVER (PARTITION BY {rank} ORDER BY COUNT(*) DESC) AS place
        FROM {source} WHERE {where} GROUP BY GROUPING SETS ({sets})) AS counted WHERE few OR place <= 40"""


def tallied(scope: str = "", facets: tuple[str, ...] = ("body", "circuit", "author")) -> list[str]:
    """What the tallies have of the setups in ``scope``: the 40 with the most of each facet, and what is
    changed and not added to them yet."""
    most = (
        f"(SELECT facet, value, number FROM setups_tally WHERE scope = '{scope}' AND facet = '{one}' "
        "ORDER BY number DESC, value LIMIT 40)"
        for one in facets
    )
    changed = (
        f"SELECT facet, value, SUM(number) FROM setups_tallychange WHERE scope = '{scope}' GROUP BY 1, 2"
    )
    return [" UNION ALL ".join([*most, changed])]


COMBINATIONS = """SELECT value, SUM(number) FROM (
    SELECT value, number FROM setups_tally WHERE scope = '' AND facet = 'coarse' UNION ALL
    SELECT value, number FROM setups_tallychange WHERE scope = '' AND facet = 'coarse') AS t GROUP BY value"""


def cards(page: str, order: str = "s.state DESC, s.confirmations DESC, s.posted_at DESC, s.id DESC") -> str:
    return f"""SELECT s.*, m.display_name, b.name, p.name, p.scale, c.name FROM ({page}) AS k
        JOIN setups_setup s ON s.id = k.id JOIN club_member m ON m.id = s.author_id
        JOIN setups_body b ON b.id = s.body_id JOIN setups_platform p ON p.id = s.platform_id
        LEFT JOIN club_raceclass c ON c.id = s.race_class_id ORDER BY {order}"""


def setup_words(query: str) -> list[str]:
    where = f"setup_lexemes(words) @@ $${query}$$::tsquery AND {LISTED}"
    found = f"WITH found AS MATERIALIZED (SELECT {HELD} FROM setups_setup WHERE {where}) "
    few = f"SELECT id, state, confirmations, posted_at FROM setups_setup WHERE {where}"
    page = f"WITH found AS MATERIALIZED ({few}) SELECT id FROM found {BEST}"
    return [*NAMES, found + setup_counts("TRUE", "found"), cards(page)]


def _one_body_verified() -> list[str]:
    body = f"body_id = (SELECT id FROM setups_body WHERE slug = '{BODY}')"
    both = f"{body} AND state = 'verified'"
    return [
        *NAMES,
        setup_counts(both, leave="body_id"),
        *tallied("state:verified", ("body",)),
        f"SELECT state, COUNT(*) FROM setups_setup WHERE {body} AND {LISTED} GROUP BY 1",
        cards(f"SELECT id FROM setups_setup WHERE {both} {BEST}"),
    ]


def _one_platform() -> list[str]:
    key = Platform.objects.get(slug="quillmoor-dunlin").pk
    return [
        *NAMES,
        COMBINATIONS,
        *tallied(f"platform:{key}"),
        cards(f"SELECT id FROM setups_setup WHERE platform_id = {key} AND {LISTED} {BEST}"),
    ]


def _car(setups: list[int]) -> list[str]:
    """What the pages of one setup and of several side by side need of each."""
    keys = ", ".join(map(str, setups))
    current = f"SELECT current_id FROM setups_setup WHERE id IN ({keys})"
    parts = f"SELECT part_id FROM setups_revisionpart WHERE revision_id IN ({current})"
    bodies = f"SELECT body_id FROM setups_setup WHERE id IN ({keys})"
    return [
        f"""SELECT s.*, r.*, m.username, m.display_name, b.*, p.*, h.*, c.name FROM setups_setup s
        JOIN setups_revision r ON r.id = s.current_id JOIN club_member m ON m.id = s.author_id
        JOIN setups_body b ON b.id = r.body_id JOIN setups_platform p ON p.id = r.platform_id
        JOIN setups_mountingposition h ON h.id = r.position_id
        LEFT JOIN club_raceclass c ON c.id = r.race_class_id WHERE s.id IN ({keys})""",
        f"SELECT * FROM setups_bodydimension WHERE body_id IN ({bodies})",
        f"SELECT part_id FROM setups_bodypart WHERE body_id IN ({bodies}) AND rule = 'fouls'",
        f"""SELECT v.revision_id, v.slot, p.* FROM setups_revisionpart v
        JOIN setups_part p ON p.id = v.part_id WHERE v.revision_id IN ({current})""",
        f"SELECT * FROM setups_partdimension WHERE part_id IN ({parts})",
        f"""SELECT r.part_id, r.other_id, r.rule, p.kind FROM setups_partpair r
        JOIN setups_part p ON p.id = r.other_id WHERE r.part_id IN ({parts})""",
        f"SELECT part_id, body_id FROM setups_bodypart WHERE part_id IN ({parts}) AND rule = 'made_for'",
    ]


def _setup_page(setup: int) -> list[str]:
    return [
        *_car([setup]),
        f"""SELECT f.* FROM setups_revision_photos x JOIN setups_photo f ON f.id = x.photo_id
        WHERE x.revision_id = (SELECT current_id FROM setups_setup WHERE id = {setup})""",
        f"""SELECT m.*, r.build, u.username, u.display_name FROM setups_measurement m
        JOIN setups_revision r ON r.id = m.revision_id JOIN club_member u ON u.id = m.member_id
        WHERE r.setup_id = {setup}""",
        f"""SELECT d.*, m.*, u.username, u.display_name FROM setups_dispute d
        JOIN setups_measurement m ON m.id = d.measurement_id JOIN club_member u ON u.id = m.member_id
        WHERE d.setup_id = {setup}""",
        f"""SELECT d.*, r.number, u.username, u.display_name FROM setups_decision d
        LEFT JOIN setups_revision r ON r.id = d.revision_id
        LEFT JOIN club_member u ON u.id = d.member_id WHERE d.setup_id = {setup}""",
        f"SELECT id, number, posted_at, what_changed, verdict FROM setups_revision WHERE setup_id = {setup}",
    ]


# Programs

FIRST = 51
PARTS = f"SELECT id FROM setups_part ORDER BY id LIMIT {FIRST}"
API: dict[str, list[str]] = {
    "bodies": [
        f"SELECT b.*, m.slug, m.name FROM setups_body b JOIN setups_maker m ON m.id = b.maker_id "
        f"ORDER BY b.id LIMIT {FIRST}",
        "SELECT d.* FROM setups_bodydimension d WHERE d.body_id IN "
        f"(SELECT id FROM setups_body ORDER BY id LIMIT {FIRST}) ORDER BY d.id",
        "SELECT r.*, p.slug, p.name FROM setups_bodypart r JOIN setups_part p ON p.id = r.part_id "
        f"WHERE r.body_id IN (SELECT id FROM setups_body ORDER BY id LIMIT {FIRST})",
    ],
    "parts": [
        f"SELECT p.*, m.slug, m.name FROM setups_part p JOIN setups_maker m ON m.id = p.maker_id "
        f"ORDER BY p.id LIMIT {FIRST}",
        f"SELECT * FROM setups_partdimension WHERE part_id IN ({PARTS}) ORDER BY id",
        "SELECT f.part_id, p.slug FROM setups_fitment f JOIN setups_platform p ON p.id = f.platform_id "
        f"WHERE f.part_id IN ({PARTS})",
        "SELECT r.part_id, r.other_id, r.rule, r.reason, one.slug, other.slug FROM setups_partpair r "
        "JOIN setups_part one ON one.id = r.part_id JOIN setups_part other ON other.id = r.other_id "
        f"WHERE r.part_id IN ({PARTS}) OR r.other_id IN ({PARTS}) ORDER BY r.id",
    ],
    "setups": [
        f"""SELECT s.*, m.username, m.display_name, b.slug, b.name, p.slug, p.name, c.slug, r.number
        FROM (SELECT * FROM setups_setup WHERE {LISTED} ORDER BY posted_at DESC, id DESC LIMIT {FIRST}) s
        JOIN club_member m ON m.id = s.author_id JOIN setups_body b ON b.id = s.body_id
        JOIN setups_platform p ON p.id = s.platform_id JOIN setups_revision r ON r.id = s.current_id
        LEFT JOIN club_raceclass c ON c.id = s.race_class_id ORDER BY s.posted_at DESC, s.id DESC"""
    ],
    "measurements": [
        f"""SELECT m.*, u.username, b.slug, p.slug, r.number, r.setup_id
        FROM (SELECT * FROM setups_measurement ORDER BY id LIMIT {FIRST}) m
        JOIN club_member u ON u.id = m.member_id LEFT JOIN setups_body b ON b.id = m.body_id
        LEFT JOIN setups_part p ON p.id = m.part_id LEFT JOIN setups_revision r ON r.id = m.revision_id
        ORDER BY m.id"""
    ],
    "makers": ["SELECT * FROM setups_maker ORDER BY id LIMIT 51"],
}


@dataclass(frozen=True, slots=True)
class Asked:
    """One thing that is asked for, and the SQL for the same answer; ``afresh`` if nothing is kept of it.

    What is kept stands beside the SQL for all that it shows, although it asks for its mark alone.
    """

    what: str
    address: str
    sql: list[str]
    afresh: bool = False
    htmx: bool = False
    posted: dict[str, object] = field(default_factory=dict)
    goal: float | None = GOAL
    """The database's part may take so many times as long as the SQL; none where the answer is no SQL's."""

    def by(self, client: Client) -> Callable[[], None]:
        def ask() -> None:
            headers = {"HX-Request": "true"} if self.htmx else {}
            if self.posted:
                answer = client.post(self.address, json.dumps(self.posted), "application/json")
            else:
                answer = client.get(self.address, headers=headers)
            assert answer.status_code == 200, answer.content[:500]

        return ask


def asked() -> Iterator[Asked]:
    """Everything that is timed, on the library that the connection is to."""
    everything = [PLATFORMS, body_counts(), *body_cards()]
    yield Asked("find: everything, made anew", "/", everything, afresh=True)
    yield Asked("find: everything", "/", body_cards())
    yield Asked("find: one word", "/?q=stormcock", _words("stormcock"), afresh=True)
    yield Asked("find: two words", "/?q=godwit+climb", _words("godwit", "climb"), afresh=True)
    yield Asked("find: facets", "/?scale=28&layout=rear", _found_by_facets(), afresh=True)
    yield Asked("body page, made anew", f"/bodies/{BODY}/", [*BODY_ROWS, *SHELF], afresh=True)
    yield Asked("body page", f"/bodies/{BODY}/", [*BODY_ROWS, *SHELF])
    shown = f"""SELECT s.*, m.display_name, b.name, p.name FROM setups_setup s
        JOIN club_member m ON m.id = s.author_id JOIN setups_body b ON b.id = s.body_id
        JOIN setups_platform p ON p.id = s.platform_id
        WHERE s.body_id = (SELECT id FROM setups_body WHERE slug = '{BODY}') AND {LISTED}
        ORDER BY s.state DESC, s.posted_at DESC, s.id DESC LIMIT 7"""
    part = f"/bodies/{BODY}/setups/"
    yield Asked("body page: its setups, made anew", part, [shown], afresh=True, htmx=True)
    yield Asked("body page: its setups", part, [shown], htmx=True)
    best = cards(f"SELECT id FROM setups_setup WHERE {LISTED} {BEST}")
    told = [*NAMES, COMBINATIONS, *tallied()]
    yield Asked("setups: everything, made anew", "/setups/", [*told, best], afresh=True)
    yield Asked("setups: everything", "/setups/", [*told, best])
    yield Asked("setups: a frequent word", "/setups/?q=stormcock", setup_words("'stormcock':*"), afresh=True)
    yield Asked("setups: two words", "/setups/?q=carp+dunl", setup_words("'carp':* & 'dunl':*"), afresh=True)
    address = f"/setups/?body={BODY}&state=verified"
    yield Asked("setups: body and standing", address, _one_body_verified(), afresh=True)
    yield Asked("setups: platform", "/setups/?platform=quillmoor-dunlin", _one_platform(), afresh=True)
    page = Setup.objects.listed().count() // 48
    deep = f"SELECT id FROM setups_setup WHERE {LISTED} {BEST} OFFSET {24 * (page - 1)}"
    middle = f"/setups/?page={page}"
    yield Asked("setups: the page in the middle", middle, [*told, cards(deep)], afresh=True)
    first, second = Setup.objects.filter(state="verified").order_by("-pk").values_list("pk", flat=True)[:2]
    both = f"/compare/?car=s{first}&car=s{second}"
    # Who asks is shown what was made for another, as long as all that it shows is the same: it is read anew.
    yield Asked("a setup's page, made anew", f"/setups/{first}/", _setup_page(first), afresh=True)
    yield Asked("a setup's page", f"/setups/{first}/", _setup_page(first))
    yield Asked("compare two setups, made anew", both, _car([first, second]), afresh=True)
    yield Asked("compare two setups", both, _car([first, second]))
    for name, sql in API.items():
        yield Asked(f"API: {name}", f"/api/v1/{name}/", sql)
    solve = [*BODY_ROWS, *SHELF]
    yield Asked("API: solve, anew", "/api/v1/solve/", solve, afresh=True, posted={"body": BODY})
    yield Asked("API: solve", "/api/v1/solve/", solve, posted={"body": BODY})


def _words(*words: str) -> list[str]:
    where = body_words(*words)
    makers = [f"SELECT id FROM setups_maker WHERE UPPER(name) LIKE '%{word.upper()}%'" for word in words]
    return [PLATFORMS, *makers, body_counts(where), *body_cards(where)]


@pytest.fixture(scope="session")
def django_db_setup() -> None:
    """No test database: what is at the addresses is measured."""


@pytest.fixture(scope="module")
def table(django_db_setup: None, django_db_blocker) -> list[tuple[Asked, Timed]]:
    """Every row, each thing on each size, in a process that looks for garbage as a served one does."""
    serving.leave_what_is_loaded()
    rows = []
    with django_db_blocker.unblock(), override_settings(ALLOWED_HOSTS=["testserver"]):
        for size, url in sorted((int(size), url) for size, url in SIZES.items()):
            with on(url):
                client = Client()
                for one in asked():
                    rows.append(
                        (one, beside(size, one.what, one.by(client), fetched(one.sql), afresh=one.afresh))
                    )
                    print(rows[-1][1], flush=True)
    return sorted(rows, key=lambda row: (row[1].what, row[1].size))


def test_a_larger_library_takes_no_more_queries(table):
    print("\n" + "\n".join([HEADER, *(str(row) for _, row in table)]))
    counts: dict[str, list[int]] = {}
    for _, row in table:
        counts.setdefault(row.what, []).append(row.queries)
    grown = {what: sizes for what, sizes in counts.items() if sizes != sorted(sizes, reverse=True)}
    assert grown == {}, "more queries on a larger library"


def test_1000_cars_are_judged_beside_numpy_on_bare_arrays(table):
    """Which of a thousand cars meet thirty limits, from what is known of each, and how surely."""
    rng = np.random.default_rng(5)
    keys = ("front_width", "rear_width", "front_track", "rear_track", "wheelbase", "rear_tyre_diameter")
    kinds = [CLASS_QUANTITIES[key] for key in keys]
    rules = [list(DecisionRule)[place % 3] for place in range(CLAUSES)]
    clauses = [
        Limit(id=n, quantity=kinds[n % 6].key, low=kinds[n % 6].low, high=kinds[n % 6].high, rule=rules[n])
        for n in range(CLAUSES)
    ]
    figures = rng.uniform(40.0, 120.0, (CARS, 6)).tolist()
    cars = [
        Car(computed={key: Quantity(one, 0.1) for key, one in zip(keys, row, strict=True)}) for row in figures
    ]
    asked_for = [n % 6 for n in range(CLAUSES)]
    low, high = (np.array([getattr(one, end) for one in clauses], float) for end in ("low", "high"))
    inward = np.array([rule.inward for rule in rules])

    def bare() -> np.ndarray:
        found = np.array([[(q.value, q.u) for q in car.computed.values()] for car in cars])
        value, u = np.moveaxis(found[:, asked_for], -1, 0)
        band = 2.0 * u * inward
        accepted = (value >= low + band - 1e-9) & (value <= high - band + 1e-9)
        probability = ndtr((high - value) / u) - ndtr((low - value) / u)
        return np.where(probability >= 0.0, accepted, False)

    assert np.array_equal(judge_all(clauses, cars).passes == 1, bare())
    row = beside(CARS, "legality of 1,000 cars, beside NumPy", lambda: judge_all(clauses, cars), bare)
    print(f"\n{HEADER}\n{row}")
    assert row.whole < 1.0


def test_the_database_takes_little_longer_than_sql_by_hand(table):
    slow = [
        str(row)
        for one, row in table
        if one.goal and row.database > one.goal * row.bare + row.queries * HALF_A_MILLISECOND
    ]
    assert not slow, "\n".join([HEADER, *slow])

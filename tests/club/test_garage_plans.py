"""What a member's chassis can run, what it needs for a body, and the kit for several."""

from __future__ import annotations

from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from club.garage import stock
from club.garage.fits import bodies_near, what_fits, wheelbase_of
from club.garage.kit import Use, kit_for
from club.models import Chassis, Member, OwnedBody, OwnedPart
from setups.models import Body, BodyPart
from setups.translate import shelf_for_all
from tests.factories import BodyFactory, MemberFactory, PartFactory, PlatformFactory, full_catalogue

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


@pytest.fixture
def member(client):
    one = MemberFactory()
    client.force_login(one)
    return one


@pytest.fixture
def shop():
    """A catalogue on a platform that is strict about flush wheels, so that one wheel fits and no other."""
    return full_catalogue(platform=PlatformFactory(flush_band=Decimal("0.3"), inset_limit=Decimal("0.3")))


def right_slots(shop) -> dict[str, int]:
    """The parts that the default body fits on."""
    return {
        "front_suspension": shop.wide.pk,
        "front_wheel": shop.wheels[Decimal("0")].pk,
        "front_tyre": shop.tyres[0].pk,
        "rear_axle": shop.rear_axle.pk,
        "rear_wheel": shop.wheels[Decimal("1")].pk,
        "rear_tyre": shop.tyres[0].pk,
        "motor_mount": shop.mounts[0].pk,
        "plate": shop.plates[0].pk,
    }


def a_chassis(member, shop, name="Runner", position="middle", **change) -> Chassis:
    chassis = Chassis(member=member, name=name)
    slots = {slot: part for slot, part in (right_slots(shop) | change).items() if part is not None}
    stock.build(chassis, shop.platform.positions.get(name=position), slots)
    return chassis


def fits_of(chassis):
    fresh = (
        Chassis.objects.select_related("member", "position__platform")
        .prefetch_related("slots__part__dimensions")
        .get(pk=chassis.pk)
    )
    bodies = list(
        bodies_near(fresh.platform, wheelbase_of(fresh)).prefetch_related("dimensions", "part_rules")
    )
    return what_fits(fresh, bodies, shelf_for_all([fresh.platform], bodies))


def names(found) -> dict[int, list[str]]:
    return {number: [one.body.name for one in rows] for number, rows in found.groups}


def words(answer) -> str:
    return " ".join(answer.content.decode().split())


# What fits my chassis


def test_a_chassis_that_fits_stands_as_built(client, member, shop):
    stock.add(member, shop.body_mount, 1)
    chassis = a_chassis(member, shop)
    (fitting,) = fits_of(chassis).by_parts[0]
    assert (fitting.body, fitting.as_built, fitting.parts) == (shop.body, True, 0)
    page = words(client.get(reverse("chassis-fits", args=[chassis.pk])))
    assert "As it stands." in page
    assert f"{shop.body}" in page


def test_a_body_whose_mount_is_not_owned_takes_one_part(client, member, shop):
    chassis = a_chassis(member, shop)
    found = fits_of(chassis)
    assert names(found) == {0: [], 1: [shop.body.name], 2: []}
    page = words(client.get(reverse("chassis-fits", args=[chassis.pk])))
    assert f"<strong>Buy and fit</strong> {shop.body_mount}" in page


def test_a_wrong_wheel_takes_another_part(member, shop):
    chassis = a_chassis(member, shop, rear_wheel=shop.wheels[Decimal("2.5")].pk)
    assert names(fits_of(chassis))[2] == [shop.body.name]


def test_three_parts_are_too_many(member, shop):
    chassis = a_chassis(member, shop, rear_wheel=shop.wheels[Decimal("2.5")].pk, plate=None)
    found = fits_of(chassis)
    assert names(found) == {0: [], 1: [], 2: []}
    assert found.further == 1


def test_what_is_loose_in_the_garage_is_used_before_anything_is_bought(client, member, shop):
    stock.add(member, shop.body_mount, 1)
    right = shop.wheels[Decimal("1")]
    chassis = a_chassis(member, shop, rear_wheel=shop.wheels[Decimal("2.5")].pk)
    assert names(fits_of(chassis))[1] == [shop.body.name]
    stock.add(member, right, 1)  # one wheel is no pair
    assert names(fits_of(chassis))[1] == [shop.body.name]
    stock.add(member, right, 1)
    (fitting,) = fits_of(chassis).by_parts[0]
    assert not fitting.as_built
    assert f"Fit your {right}" in words(client.get(reverse("chassis-fits", args=[chassis.pk])))


def test_what_stands_on_another_chassis_stays_there(member, shop):
    stock.add(member, shop.body_mount, 1)
    a_chassis(member, shop, name="The other")  # holds the only right rear wheels
    chassis = a_chassis(member, shop, rear_wheel=shop.wheels[Decimal("2.5")].pk)
    assert names(fits_of(chassis))[1] == [shop.body.name]


def test_a_pair_of_wheels_is_not_counted_for_both_axles(client, member, shop):
    broad = BodyFactory(name="Broad nose", figures={"front_arch_width": "57"})
    BodyPart.objects.create(body=broad, part=shop.body_mount, rule=BodyPart.Rule.MADE_FOR)
    stock.add(member, shop.body_mount, 1)
    chassis = a_chassis(member, shop)  # the one pair of offset 1 is at the rear
    assert names(fits_of(chassis))[1] == ["Broad nose"]
    page = words(client.get(reverse("chassis-fits", args=[chassis.pk])))
    assert f"Buy one more pack of</strong> {shop.wheels[Decimal('1')]}" in page


def test_a_chassis_with_open_slots_is_judged_by_what_completes_it(client, member, shop):
    stock.add(member, shop.body_mount, 1)
    chassis = a_chassis(member, shop, motor_mount=None)
    assert names(fits_of(chassis))[1] == [shop.body.name]
    assert client.get(reverse("chassis-fits", args=[chassis.pk])).status_code == 200


def test_bodies_of_another_scale_are_not_asked_about(member, shop):
    full_catalogue(platform=PlatformFactory(scale=12))
    found = fits_of(a_chassis(member, shop))
    assert sum(map(len, names(found).values())) + found.further == 1


def test_the_nearest_wheelbase_comes_first(member, shop):
    for name, wheelbase in (("far", "120"), ("near", "93"), ("nearer", "91.5")):
        BodyFactory(name=name, figures={"wheelbase": wheelbase})
    BodyFactory(name="unmeasured", figures={"wheelbase": None})
    order = [body.name for body in bodies_near(shop.platform, 92.0)]
    assert order == [shop.body.name, "nearer", "near", "far", "unmeasured"]


@pytest.mark.parametrize("page", ["0", "x", "99", "-1"])
def test_a_page_that_is_not_there_is_another(client, member, shop, page):
    chassis = a_chassis(member, shop)
    assert client.get(reverse("chassis-fits", args=[chassis.pk]), {"page": page}).status_code == 200


def test_many_bodies_take_as_many_queries_as_few(client, member, shop, django_assert_max_num_queries):
    chassis = a_chassis(member, shop)
    address = reverse("chassis-fits", args=[chassis.pk])
    with django_assert_max_num_queries(20) as few:
        client.get(address)
    for _ in range(6):
        full_catalogue(platform=shop.platform)
    with django_assert_max_num_queries(20) as many:
        client.get(address)
    assert len(many) == len(few)


# What must I change and buy for this body


def test_each_chassis_of_the_scale_says_what_it_needs(client, member, shop):
    a_chassis(member, shop, name="Near", rear_wheel=shop.wheels[Decimal("2.5")].pk)
    a_chassis(member, shop, name="There")
    a_chassis(member, full_catalogue(platform=PlatformFactory(scale=12)), name="Other scale")
    stock.add(member, shop.body_mount, 1)
    page = words(client.get(reverse("garage-needs", args=[shop.body.slug])))
    assert "It fits as it stands." in page
    assert "With 1 part to buy: €" in page
    assert page.index(">There</h2>") < page.index(">Near</h2>")
    assert "Other scale" not in page
    assert f"{reverse('check', args=[shop.body.slug])}?platform={shop.platform.slug}" in page


def test_the_check_page_opens_with_the_chassis_filled_in(client, member, shop):
    a_chassis(member, shop)
    page = client.get(reverse("garage-needs", args=[shop.body.slug])).content.decode()
    address = page.split('class="button button-quiet" href="')[-1].split("#")[0].replace("&amp;", "&")
    checked = words(client.get(address))
    for part in right_slots(shop).values():
        assert f'value="{part}" selected' in checked


def test_where_nothing_fits_the_nearest_miss_says_why(client, member, shop):
    a_chassis(member, shop)
    long = BodyFactory(figures={"wheelbase": "140"})
    page = words(client.get(reverse("garage-needs", args=[long.slug])))
    assert "Nothing that is sold makes this platform fit" in page
    assert "wheelbase" in page


def test_without_a_chassis_of_the_scale_the_way_to_one_is_shown(client, member, shop):
    page = words(client.get(reverse("garage-needs", args=[shop.body.slug])))
    assert "No chassis of 1:28 in your garage" in page
    assert f"{reverse('new-chassis')}?platform={shop.platform.slug}" in page


def test_the_body_and_part_pages_lead_members_to_the_garage(client, shop):
    body, part = shop.body.get_absolute_url(), shop.wide.get_absolute_url()
    assert "/garage/" not in words(client.get(body)) + words(client.get(part))
    client.force_login(MemberFactory())
    assert reverse("garage-needs", args=[shop.body.slug]) in words(client.get(body))
    assert f"{reverse('garage-add-part')}?part={shop.wide.slug}" in words(client.get(part))
    assert shop.wide.name in words(client.get(f"{reverse('garage-add-part')}?part={shop.wide.slug}"))


# The kit


def bodies(*wanted) -> list[Body]:
    keys = [body.pk for body in wanted]
    return list(Body.objects.filter(pk__in=keys).prefetch_related("dimensions", "part_rules").order_by("pk"))


def bought(kit) -> dict[str, int]:
    return {one.part.name: one.line.count for one in kit.to_buy}


def test_a_kit_buys_what_is_not_owned(member, shop):
    a_chassis(member, shop, rear_wheel=shop.wheels[Decimal("2.5")].pk)
    kit = kit_for(member, bodies(shop.body), Use.ONE_AT_A_TIME, borrow=False)
    assert bought(kit) == {shop.body_mount.name: 1, shop.wheels[Decimal("1")].name: 1}
    assert kit.plan.cost == pytest.approx(9.0)
    assert [run.body for run in kit.runs] == [shop.body]


def test_what_others_offer_comes_before_what_is_bought(client, member, shop):
    wheel = shop.wheels[Decimal("1")]
    ada = MemberFactory(display_name="Ada")
    OwnedPart.objects.create(member=ada, part=wheel, count=2, offer="lend")
    a_chassis(member, shop, rear_wheel=shop.wheels[Decimal("2.5")].pk)
    kit = kit_for(member, bodies(shop.body), Use.ONE_AT_A_TIME, borrow=True)
    assert bought(kit) == {shop.body_mount.name: 1}
    (taken,) = kit.to_take
    assert (taken.offer.owner, taken.part, taken.pieces) == (ada, wheel, 2)
    query = {"body": shop.body.slug, "borrow": "yes", "plan": "1"}
    page = words(client.get(reverse("kit"), query))
    assert '<td data-label="Of">Ada</td>' in page
    del query["borrow"]
    assert "Ada" not in words(client.get(reverse("kit"), query))


def test_what_is_parted_with_costs_what_is_asked(member, shop):
    wheel = shop.wheels[Decimal("1")]
    a_chassis(member, shop, rear_wheel=shop.wheels[Decimal("2.5")].pk)
    row = OwnedPart.objects.create(
        member=MemberFactory(), part=wheel, count=2, offer="part_with", price=Decimal("1.00")
    )
    kit = kit_for(member, bodies(shop.body), Use.ONE_AT_A_TIME, borrow=True)
    assert (bought(kit), kit.plan.cost) == ({shop.body_mount.name: 1}, pytest.approx(6.5))
    row.price = Decimal("3.00")  # a new pair is 4.50
    row.save()
    kit = kit_for(member, bodies(shop.body), Use.ONE_AT_A_TIME, borrow=True)
    assert (kit.to_take, kit.plan.cost) == ([], pytest.approx(9.0))


def test_offers_are_those_of_others_who_are_active_and_of_what_is_loose(member, shop):
    wheel = shop.wheels[Decimal("1")]
    OwnedPart.objects.create(member=member, part=wheel, count=2, offer="lend")
    gone = MemberFactory(is_active=False)
    OwnedPart.objects.create(member=gone, part=wheel, count=2, offer="lend")
    OwnedPart.objects.create(member=MemberFactory(), part=wheel, count=2)
    assert stock.offered_to(member) == []
    driver = MemberFactory()
    a_chassis(driver, shop)
    driver.owned_parts.filter(part=wheel).update(offer="lend")
    assert stock.offered_to(member) == []
    driver.owned_parts.filter(part=wheel).update(count=5)
    (offered,) = stock.offered_to(member)
    assert (offered.owner, offered.count, offered.lent) == (driver, 3, True)


def test_two_bodies_at_once_take_two_of_everything_and_one_at_a_time_one(member, shop):
    twin = BodyFactory(scale=28)
    BodyPart.objects.create(body=twin, part=shop.body_mount, rule=BodyPart.Rule.MADE_FOR)
    a_chassis(member, shop)
    in_turn = kit_for(member, bodies(shop.body, twin), Use.ONE_AT_A_TIME, borrow=False)
    assert bought(in_turn) == {shop.body_mount.name: 1}
    at_once = kit_for(member, bodies(shop.body, twin), Use.AT_ONCE, borrow=False)
    assert bought(at_once)[shop.body_mount.name] == 2
    assert bought(at_once)[shop.rear_axle.name] == 1
    assert len(at_once.runs) == 2


def test_a_body_that_nothing_fits_is_left_out_and_named(client, member, shop):
    long = BodyFactory(name="Long nose", figures={"wheelbase": "140"})
    kit = kit_for(member, bodies(shop.body, long), Use.AT_ONCE, borrow=False)
    assert [one.body for one in kit.left_out] == [long]
    page = words(client.get(reverse("kit"), {"body": [shop.body.slug, long.slug], "plan": "1"}))
    assert "Long nose</a>: nothing that is sold fits it" in page


def test_with_everything_owned_there_is_nothing_to_buy(client, member, shop):
    a_chassis(member, shop)
    stock.add(member, shop.body_mount, 1)
    page = words(client.get(reverse("kit"), {"body": shop.body.slug, "plan": "1"}))
    assert "Nothing to buy: you have it all." in page


def test_a_price_that_is_not_known_is_said(client, member, shop):
    a_chassis(member, shop)
    shop.body_mount.price = None
    shop.body_mount.save()
    page = words(client.get(reverse("kit"), {"body": shop.body.slug, "plan": "1"}))
    assert "not every price is known" in page


def test_own_bodies_are_offered_for_choice_and_others_are_found(client, member, shop):
    OwnedBody.objects.create(member=member, body=shop.body)
    other = BodyFactory(name="Grey Wagtail")
    assert f'value="{shop.body.slug}"' in words(client.get(reverse("kit")))
    page = words(client.get(reverse("kit"), {"q": "wagtail", "body": shop.body.slug, "use": "at_once"}))
    assert f'value="{other.slug}"' in page
    assert f'value="{shop.body.slug}" checked' in page
    assert 'value="at_once" checked' in page
    assert "Shopping list" not in page


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"plan": "1"}, "Choose at least one body"),
        ({"plan": "1", "body": "no-such"}, "left out"),
        ({"q": "zzz"}, "No body is called that"),
        ({"use": "sideways", "plan": "1"}, "Choose at least one body"),
    ],
)
def test_what_makes_no_plan_is_told(client, member, query, said):
    answer = client.get(reverse("kit"), query)
    assert (answer.status_code, said in words(answer)) == (200, True)


def test_too_many_bodies_are_told_and_stay_chosen(client, member):
    chosen = [BodyFactory().slug for _ in range(9)]
    page = words(client.get(reverse("kit"), {"body": chosen, "plan": "1"}))
    assert "You chose 9 bodies" in page
    assert page.count(" checked> <span>Shell") == 9


def test_a_kit_for_many_takes_as_many_queries_as_for_few(client, member, shop, django_assert_max_num_queries):
    a_chassis(member, shop)
    with django_assert_max_num_queries(20) as few:
        client.get(reverse("kit"), {"body": shop.body.slug, "borrow": "yes", "plan": "1"})
    more = [full_catalogue(platform=shop.platform).body.slug for _ in range(2)]
    for _ in range(3):
        OwnedPart.objects.create(member=MemberFactory(), part=shop.wide, count=1, offer="lend")
    with django_assert_max_num_queries(20) as many:
        client.get(reverse("kit"), {"body": [shop.body.slug, *more], "borrow": "yes", "plan": "1"})
    assert len(many) <= len(few) + 1


# The demo


def demo(*arguments: str) -> str:
    out = StringIO()
    call_command("demo", *arguments, setups=0, stdout=out)
    return out.getvalue()


def garages() -> list:
    return [
        sorted(Chassis.objects.values_list("member__username", "name", "position__name")),
        sorted(OwnedBody.objects.values_list("member__username", "body__slug")),
        sorted(OwnedPart.objects.values_list("member__username", "part__slug", "count", "offer")),
    ]


@pytest.mark.usefixtures("demo_loaded")
class TestTheDemo:
    def test_the_demo_gives_its_open_accounts_a_garage_once_and_takes_it_back(self):
        stays = MemberFactory(username="stays")
        stock.add(stays, PartFactory(), 1)
        first = garages()
        owners = set(Chassis.objects.values_list("member__username", flat=True))
        assert owners == {"librarian", "director", "steward", "member"}
        assert set(OwnedPart.objects.values_list("offer", flat=True)) == {"none", "lend", "part_with"}
        demo()
        assert garages() == first
        demo("--reset")
        assert garages() == first
        assert stays.owned_parts.count() == 1

    def test_the_demo_shows_bodies_that_fit_now_with_one_part_and_with_two(self, client):
        chassis = Chassis.objects.get(member__username="member", name="My Dunlin")
        assert all(rows for _, rows in fits_of(chassis).groups)
        assert any(one.as_built for one in fits_of(chassis).by_parts[0])
        client.force_login(Member.objects.get(username="member"))
        assert client.get("/garage/").status_code == 200

    def test_a_garage_that_is_not_the_demos_keeps_the_demo_from_being_taken_out(self):
        part = OwnedPart.objects.filter(member__username="member").first().part
        stock.add(MemberFactory(), part, 1)
        with pytest.raises(CommandError, match="hang on it"):
            demo("--reset")
        assert Chassis.objects.filter(member__username="member").exists()

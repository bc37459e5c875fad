"""Figures print with a true minus, their unit, and as many decimals as their doubt deserves."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal
from typing import Any

import pytest
from django.template import engines
from django.template.library import import_library
from django.test import override_settings

from fitcalc.dimensions import Unit
from fitcalc.findings import Action, Finding, Remedy, Rule, Verdict
from fitcalc.fit import FitReport
from fitcalc.parts import Axle, Layout, Position, Slot, Wheel
from fitcalc.quantities import Quantity, exact
from setups.printing import decimals_of
from setups.templatetags import figures
from tests.setups.drawn_cars import drawn_car

RIM = Wheel(id=1, name="Slot rim", offset=exact(0.0), rim_width=exact(8.0))
T = "\u202f"
M = "\u2212"


def rendered(text: str, **context: Any) -> str:
    """The template ``text`` rendered, its white space collapsed (but not the narrow no-break space)."""
    return " ".join(engines["django"].from_string(text).render(context).replace("\n", " ").split(" ")).strip()


def words(finding: Finding, report: FitReport | None = None) -> str:
    """The answer of a finding in one line."""
    html = rendered(
        '{% include "components/finding_answer.html" %}', finding=finding, report=report or drawn_car()
    )
    return " ".join(html.replace(T, "_").split()).replace("_", T)


def shown(report: FitReport, rule: Rule, axle: Axle | None = None, brief: bool = False) -> str:
    """The whole of a finding as a page shows it."""
    return rendered(
        '{% include "components/finding.html" %}',
        finding=report.finding(rule, axle),
        report=report,
        brief=brief,
    )


class TestNumbers:
    @pytest.mark.parametrize(
        ("value", "text"),
        [(4.5, f"4.50{T}mm"), (-0.4, f"{M}0.40{T}mm"), (Decimal("64.2"), f"64.20{T}mm"), (None, "not known")],
    )
    def test_mm_has_two_decimals_and_its_unit(self, value: Any, text: str) -> None:
        assert figures.mm(value) == text

    def test_mm_takes_other_decimals_and_a_quantity(self) -> None:
        assert figures.mm(64.25, 0) == f"64{T}mm"
        assert figures.mm(Quantity(64.21, 0.3), 1) == f"64.2{T}mm"

    @pytest.mark.parametrize(
        ("value", "text"),
        [(2.5, "+2.5"), (-1, f"{M}1.0"), (0, "0.0"), (-0.0, "0.0"), (3.75, "+3.75"), (-0.04, f"{M}0.04")],
    )
    def test_signs_are_written_and_zero_has_none(self, value: float, text: str) -> None:
        assert figures.signed(value) == text

    @pytest.mark.parametrize(
        ("quantity", "text"),
        [
            (Quantity(0.4, 0.15), f"0.40{T}±{T}0.15{T}mm"),
            (Quantity(92.35, 0.08), f"92.35{T}±{T}0.08{T}mm"),
            (Quantity(-1.0, 0.5), f"{M}1.0{T}±{T}0.5{T}mm"),
            (Quantity(254.66, 1.3), f"254.7{T}±{T}1.3{T}mm"),
            (Quantity(1.3, 0.0289), f"1.30{T}±{T}0.03{T}mm"),
            (Quantity(1.3, 0.0029), f"1.300{T}±{T}0.003{T}mm"),
            (Quantity(18.62, 0.7, Unit.DEGREE), f"18.6{T}±{T}0.7°"),
            (Quantity(38.0, 12.0, Unit.GRAM), f"38{T}±{T}12{T}g"),
            (exact(90.0), f"90.0{T}mm"),
            (exact(17.0, Unit.NONE), "17.0"),
        ],
    )
    def test_a_doubt_decides_the_decimals_and_the_unit_stands_once(
        self, quantity: Quantity, text: str
    ) -> None:
        assert figures.pm(quantity) == text

    def test_a_doubt_can_come_with_the_sign_written_or_left_out(self) -> None:
        assert figures.pm(Quantity(0.4, 0.15), "signed") == f"+0.40{T}±{T}0.15{T}mm"
        assert figures.size(Quantity(-0.4, 0.15)) == f"0.40{T}±{T}0.15{T}mm"
        assert figures.size(-1.5, 1) == f"1.5{T}mm"

    @pytest.mark.parametrize(
        ("doubt", "decimals"),
        [(0.0, 1), (0.0996, 2), (0.15, 2), (0.29, 2), (0.31, 1), (0.96, 1), (1.4, 1), (3.0, 0), (0.00001, 3)],
    )
    def test_decimals_follow_the_doubt_s_first_figures(self, doubt: float, decimals: int) -> None:
        assert decimals_of(doubt) == decimals

    def test_degrees_stand_close_to_their_sign(self) -> None:
        assert figures.degrees(25.43) == "25.4°"
        assert figures.degrees(25.43, 0) == "25°"
        assert figures.degrees(Quantity(25.43, 0.6, Unit.DEGREE)) == f"25.4{T}±{T}0.6°"

    def test_grams_drop_a_decimal_that_says_nothing(self) -> None:
        assert figures.grams(142) == f"142{T}g"
        assert figures.grams(Decimal("142.50")) == f"142.5{T}g"
        assert figures.grams(None) == "not known"

    def test_money_is_in_the_club_s_currency_or_not_known(self) -> None:
        with override_settings(CURRENCY="Kr"):
            assert figures.money(Decimal("1234.5")) == f"Kr{T}1,234.50"
        assert figures.money(None) == "price not known"

    @pytest.mark.parametrize(
        ("value", "text"),
        [
            (0.42, f"42{T}%"),
            (0.99, f"99{T}%"),
            (0.9999, f">{T}99{T}%"),
            (1.0, f">{T}99{T}%"),
            (0.0, f"<{T}1{T}%"),
            (0.01, f"1{T}%"),
            (None, "not known"),
        ],
    )
    def test_a_probability_never_claims_certainty(self, value: float | None, text: str) -> None:
        assert figures.percent(value) == text

    def test_a_scale_is_one_to_n(self) -> None:
        assert figures.scale(28) == "1:28"
        assert figures.scale(None) == "not known"

    @pytest.mark.parametrize(
        "name", ["mm", "signed", "pm", "size", "degrees", "grams", "money", "percent", "scale"]
    )
    @pytest.mark.parametrize("value", ["", "words", float("nan"), float("inf"), object(), True])
    def test_what_is_no_number_is_said_to_be_unknown(self, name: str, value: Any) -> None:
        assert getattr(figures, name)(value) in ("not known", "price not known")


class TestNames:
    def test_every_verdict_and_every_rule_has_a_word(self) -> None:
        assert [figures.verdict_word(v) for v in Verdict] == [
            "fits",
            "too close to call",
            "does not fit",
            "not known",
        ]
        assert all(figures.rule_name(rule)[0].isupper() for rule in Rule)
        assert set(figures.RULE_NAMES) == set(Rule)

    def test_dimensions_are_named_for_the_middle_of_a_sentence(self) -> None:
        assert figures.dimension_name("front_arch_radius") == "front arch opening radius"
        assert figures.dimension_name("bump_travel") == "bump travel"
        assert figures.dimension_name("layouts") == "motor layout that the floor takes"
        assert figures.dimension_name("never_heard_of") == "never heard of"

    def test_a_shortfall_has_the_decimals_of_its_doubt(self) -> None:
        finding = drawn_car(front_arch=59.0).finding(Rule.FLUSH, Axle.FRONT)
        assert figures.shortfall(finding) == f"1.20{T}mm"
        assert figures.shortfall(drawn_car().finding(Rule.SCALE)) == "not known"

    def test_hyphens_before_figures_become_minus_signs(self) -> None:
        assert figures.true_minus("-1.5 to +4 in 0.5, rear-motor") == f"{M}1.5 to +4 in 0.5, rear-motor"


class TestFindings:
    def test_a_proud_wheel_is_answered_with_figure_place_and_remedy(self) -> None:
        report = drawn_car(front_arch=61.2, doubt=0.02)
        html = shown(report, Rule.FLUSH, Axle.FRONT)
        assert f"Stands 0.60{T}±{T}0.02{T}mm proud at the front, 0.10{T}mm too far out." in html
        assert "Use +0.5 offset front wheels." in html
        assert f"at most 0.5{T}mm proud and 1.5{T}mm inset" in html

    def test_an_offset_that_nobody_sells_is_said_to_be_one(self) -> None:
        remedy = Remedy(Action.NEEDS, Slot.REAR_WHEEL, quantity="offset", figure=9.25, sold=False)
        html = rendered('{% include "components/remedy.html" %}', remedy=remedy)
        assert html.startswith("It would take +9.25 offset rear wheels, which are not sold")
        assert html.endswith("look at another rear axle.")

    @pytest.mark.parametrize(
        ("remedy", "text"),
        [
            (Remedy(Action.SWAP, Slot.FRONT_SPACER, None), "Take the front spacer out."),
            (
                Remedy(Action.SWAP, Slot.POSITION, Position(id=1, name="third", shift=exact(5.2))),
                "Set the mounting position to “third”.",
            ),
            (
                Remedy(Action.SWAP, Slot.FRONT_WHEEL, RIM),
                "Fit Slot rim as front wheels.",
            ),
            (Remedy(Action.MEASURE, quantity="rear_arch_height"), "Measure the rear arch height."),
            (Remedy(Action.MEASURE, quantity="body_mount"), "Choose the front body mount that is used."),
            (
                Remedy(Action.NEEDS, Slot.MOTOR_MOUNT, quantity="wheelbase", figure=92.9),
                f"Choose a motor mount, plate and position that reach 92.90{T}mm together.",
            ),
            (
                Remedy(Action.NEEDS, Slot.BODY_MOUNT, quantity="reach", figure=30.0),
                f"Use a front body mount with a reach of 30.0{T}mm.",
            ),
            (
                Remedy(Action.NEEDS, Slot.REAR_TYRE, quantity="tyre_diameter", figure=22.81),
                f"Use rear tyres of at most 22.8{T}mm diameter.",
            ),
            (
                Remedy(Action.NEEDS, Slot.FRONT_SUSPENSION, quantity="bump_travel", figure=0.8),
                f"Limit the travel of the front suspension to 0.8{T}mm.",
            ),
        ],
    )
    def test_every_remedy_is_a_thing_to_do(self, remedy: Remedy, text: str) -> None:
        assert rendered('{% include "components/remedy.html" %}', remedy=remedy) == text

    @pytest.mark.parametrize(
        ("rule", "axle", "car", "text"),
        [
            (Rule.SCALE, None, {}, "Body and chassis are both 1:28."),
            (Rule.LAYOUT, None, {}, "A rear motor goes under this floor."),
            (
                Rule.LAYOUT,
                None,
                {"layouts": frozenset({Layout.MID_MOTOR})},
                "A rear motor does not go under this floor: it takes a mid motor.",
            ),
            (
                Rule.LAYOUT,
                None,
                {"layouts": None},
                "Cannot be told: the motor layout that the floor takes is not known.",
            ),
            (Rule.FLOOR, None, {}, "No part is known to foul the floor."),
            (
                Rule.FLOOR,
                None,
                {"fouled_by": frozenset({8})},
                "The motor mount or its plate fouls this body's floor.",
            ),
            (
                Rule.WHEELBASE,
                None,
                {"needs": 92.4},
                f"The rear wheel stands 1.50{T}±{T}0.08{T}mm forward of the middle of its arch, "
                f"0.50{T}mm too far.",
            ),
            (
                Rule.WHEELBASE,
                None,
                {"needs": 90.4},
                f"The rear wheel stands 0.50{T}±{T}0.08{T}mm behind the middle of its arch.",
            ),
            (Rule.FLUSH, Axle.REAR, {"rear_arch": 68.0}, f"Stands 1.00{T}±{T}0.05{T}mm inset at the rear."),
            (
                Rule.FLUSH,
                Axle.FRONT,
                {"unknown": ("front_arch_width",)},
                "Cannot be told: the front arch width is not known.",
            ),
            (
                Rule.ARCH,
                Axle.FRONT,
                {"front_arch_radius": Quantity(11.9, 0.02)},
                f"The front tyre clears its arch by 0.20{T}±{T}0.05{T}mm, 0.30{T}mm too little.",
            ),
            (
                Rule.ARCH,
                Axle.REAR,
                {"needs": 95.0},
                f"The rear tyre overlaps its arch by 1.85{T}±{T}0.08{T}mm.",
            ),
            (
                Rule.BUMP,
                Axle.REAR,
                {"rear_arch_height": Quantity(13.0, 0.02)},
                f"The rear tyre meets its arch 0.55{T}±{T}0.04{T}mm before full bump.",
            ),
            (
                Rule.BUMP,
                Axle.REAR,
                {},
                f"At full bump the rear tyre stays 1.25{T}±{T}0.04{T}mm clear of its arch.",
            ),
            (
                Rule.BODY_MOUNT,
                None,
                {"reach": 31.4},
                f"The front mount holds the body 1.40{T}±{T}0.04{T}mm forward of its place, "
                f"0.40{T}mm too far.",
            ),
            (Rule.OFFSET_GRID, Axle.REAR, {}, "The rear wheels' offset of +1.5 is sold for this platform."),
        ],
    )
    def test_every_rule_is_answered_in_a_sentence_with_its_figure(
        self, rule: Rule, axle: Axle | None, car: dict[str, Any], text: str
    ) -> None:
        report = drawn_car(**car)
        finding = report.finding(rule, axle)
        assert finding is not None
        assert words(finding, report) == text

    def test_a_scale_that_differs_names_both(self) -> None:
        report = drawn_car(scale=28)
        finding = Finding(Rule.SCALE, None, Verdict.FAILS, False, required_word="1:12", found_word="1:28")
        assert words(finding, report) == "The chassis is 1:28 and the body 1:12."

    def test_parts_that_clash_are_both_named(self) -> None:
        clash = Finding(
            Rule.PAIRS, None, Verdict.FAILS, False, found_word="Long mount", required_word="Wide axle"
        )
        lacking = Finding(
            Rule.PAIRS, None, Verdict.FAILS, False, found_word="Long mount", required_word="its own partner"
        )
        assert words(clash) == "Long mount does not go with Wide axle."
        assert words(lacking) == "Long mount is there without the part that it must go with."

    def test_a_lock_that_is_too_small_says_by_how_much(self) -> None:
        report = drawn_car(front_arch_radius=Quantity(13.2, 0.02))
        sentence = words(report.finding(Rule.LOCK, Axle.FRONT), report)
        assert sentence.startswith("The front wheels steer ")
        assert sentence.endswith("° too little.")

    def test_a_close_call_says_how_likely_it_fits(self) -> None:
        report = drawn_car(front_arch=61.5, doubt=0.2)
        assert report.finding(Rule.FLUSH, Axle.FRONT).verdict is Verdict.CLOSE
        html = shown(report, Rule.FLUSH, Axle.FRONT)
        assert "The doubt reaches across the limit: 59" + T + "% likely to fit." in html

    @pytest.mark.parametrize(
        ("rule", "axle", "car", "text"),
        [
            (Rule.FLUSH, Axle.REAR, {}, f"Flush at the rear, ± 0.05{T}mm."),
            (Rule.WHEELBASE, None, {}, f"The rear wheel stands in the middle of its arch, ± 0.08{T}mm."),
            (Rule.BODY_MOUNT, None, {}, f"The front mount holds the body in its place, ± 0.04{T}mm."),
            (
                Rule.BUMP,
                Axle.REAR,
                {"rear_arch_height": Quantity(13.55, 0.02)},
                f"At full bump the rear tyre just reaches its arch, ± 0.04{T}mm.",
            ),
        ],
    )
    def test_what_prints_as_zero_has_no_direction(
        self, rule: Rule, axle: Axle | None, car: dict[str, Any], text: str
    ) -> None:
        report = drawn_car(**car)
        finding = report.finding(rule, axle)
        assert finding is not None
        assert words(finding, report) == text

    def test_a_brief_finding_draws_its_bar_only_where_it_does_not_fit(self) -> None:
        report = drawn_car(front_arch=59.0)
        assert "limit-bar" in shown(report, Rule.FLUSH, Axle.FRONT, brief=True)
        assert "limit-bar" not in shown(report, Rule.FLUSH, Axle.REAR, brief=True)
        assert "limit-bar" in shown(report, Rule.FLUSH, Axle.REAR)

    def test_every_rule_says_what_it_means(self) -> None:
        said = {
            rendered('{% include "components/finding_meaning.html" %}', finding={"rule": rule.value})
            for rule in Rule
        }
        assert len(said) == len(Rule)
        assert all(text.endswith(".") for text in said)

    def test_the_drawing_tags_render_for_any_report(self) -> None:
        report = drawn_car(unknown=("wheelbase", "front_arch_width", "rear_arch_width", "nose_reach"))
        html = rendered("{% car_drawing report %}", report=report)
        assert html.count("<svg") == 4
        other = rendered("{% car_drawing report second=other %}", report=report, other=drawn_car())
        assert "Dashed: Lapwing Coupé on Harrier Seven" in other


class TestComponents:
    @pytest.mark.parametrize("verdict", Verdict)
    def test_a_verdict_has_a_word_and_a_sign(self, verdict: Verdict) -> None:
        html = rendered('{% include "components/verdict.html" with verdict=v only %}', v=verdict)
        assert figures.verdict_word(verdict) in html
        assert f"verdict-{verdict.value}" in html
        assert "<path" in html

    def test_a_dimension_that_nobody_knows_is_said_to_be_unknown(self) -> None:
        text = '{% include "components/dimension.html" with quantity=q predicted=p basis=b only %}'
        assert "not known" in rendered(text, q=None)
        assert "predicted from the full-size car" in rendered(text, q=Quantity(92, 1.4), p=True)
        assert f"92.0{T}±{T}1.4{T}mm" in rendered(text, q=Quantity(92, 1.4), b="maker's figure")

    def test_an_empty_place_gives_the_button_that_fills_it(self) -> None:
        text = '{% include "components/empty.html" with title="No setup yet" url=u action="Post one" %}'
        assert '<a class="button" href="/post/">Post one</a>' in rendered(text, u="/post/")
        assert "<a" not in rendered(text, u="")


def test_no_library_of_filters_hides_a_name_of_another() -> None:
    engine = engines["django"].engine
    every = {*engine.libraries.values(), *engine.builtins}
    own = [import_library(path) for path in sorted(every) if path.startswith(("setups.", "club."))]
    names = [name for library in own for name in (*library.filters, *library.tags)]
    assert len(names) > 40
    assert [name for name, times in Counter(names).items() if times > 1] == []

"""Letters on a drawing keep apart and on the sheet; its markup is sound; a limit's bar is to scale."""

from __future__ import annotations

from itertools import combinations
from xml.etree import ElementTree

import pytest
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcalc.findings import Rule
from fitcalc.fit import FitReport
from fitcalc.parts import Axle
from setups.drawing import DESK, PHONE_PLAN, PHONE_SIDE, Drawing, limit_bar, plan, side, views
from setups.drawing.letters import Box, Label, first_free, number, shortened, text_width
from setups.drawing.shapes import KINDS, Dimension, Line
from tests.setups.drawn_cars import drawn_car

LONG = (
    "Harrier Seven Long-Distance Endurance Edition",
    "Long-wheelbase mid-motor mount with carbon braces and a fan, second type",
    "Stepped rear plate",
    "outermost of five holes",
)


def all_views(report: FitReport) -> list[Drawing]:
    found = views(report)
    return [found.desk_plan, found.desk_side, found.phone_plan, found.phone_side]


def extent(shape: Line) -> Box:
    xs, ys = zip(*shape.points, strict=True)
    return Box(min(xs), min(ys), max(xs), max(ys))


def overlapping(drawing: Drawing) -> list[tuple[str, str]]:
    return [(a.text, b.text) for a, b in combinations(drawing.labels, 2) if a.box.meets(b.box)]


class TestLetters:
    @pytest.mark.parametrize("scale", [28, 24, 18, 12, 10])
    @pytest.mark.parametrize("names", [("Harrier", "Mount", "Plate", "2"), LONG])
    def test_labels_never_overlap_at_any_scale(self, scale: int, names: tuple[str, str, str, str]) -> None:
        for drawing in all_views(drawn_car(scale=scale, names=names)):
            assert overlapping(drawing) == []

    @settings(max_examples=60, deadline=None)
    @given(
        scale=st.sampled_from([28, 24, 18, 12, 10]),
        front=st.floats(58, 68),
        rear=st.floats(60, 74),
        needs=st.floats(80, 104),
        position=st.floats(-9, 9),
        reach=st.floats(26, 34),
        doubt=st.floats(0.001, 0.9),
        unknown=st.sets(st.sampled_from(["wheelbase", "front_arch_width", "rear_arch_radius", "nose_reach"])),
    )
    def test_labels_never_overlap_and_stay_on_the_sheet(
        self,
        scale: int,
        front: float,
        rear: float,
        needs: float,
        position: float,
        reach: float,
        doubt: float,
        unknown: set[str],
    ) -> None:
        report = drawn_car(
            scale=scale,
            front_arch=front,
            rear_arch=rear,
            needs=needs,
            position=position,
            reach=reach,
            doubt=doubt,
            names=LONG,
            unknown=tuple(unknown),
        )
        for drawing in all_views(report):
            assert overlapping(drawing) == []
            left, top, right, bottom = drawing.sheet
            for label in drawing.labels:
                box = label.box
                assert box.left >= left, label
                assert box.right <= right, label
                assert box.top >= top, label
                assert box.bottom <= bottom, label

    @pytest.mark.parametrize("scale", [28, 12, 10])
    def test_letters_are_readable_on_the_sheet_they_are_meant_for(self, scale: int) -> None:
        report = drawn_car(scale=scale, names=LONG)
        for drawing, sheet in (
            (plan(report, PHONE_PLAN), PHONE_PLAN),
            (side(report, PHONE_SIDE), PHONE_SIDE),
            (plan(report, DESK), DESK),
        ):
            pixels = drawing.text_size * sheet.width / (drawing.sheet.right - drawing.sheet.left)
            assert 11.5 <= pixels <= 14.5

    def test_a_text_is_cut_only_where_there_is_no_room(self) -> None:
        assert shortened("Long mount", 4.0, 200.0) == "Long mount"
        cut = shortened("Long-wheelbase mount, second type", 4.0, 50.0)
        assert cut.endswith("…")
        assert text_width(cut, 4.0) <= 50.0
        assert shortened("Mount", 4.0, 1.0) == ""

    def test_a_turned_label_takes_an_upright_box(self) -> None:
        level = Label("track 54.6 mm", 0, 0, 4.0).box
        turned = Label("track 54.6 mm", 0, 0, 4.0, angle=-90).box
        assert turned.bottom - turned.top == pytest.approx(level.right - level.left)
        assert turned.right - turned.left == pytest.approx(level.bottom - level.top)

    def test_a_label_moves_on_where_its_first_place_is_taken(self) -> None:
        first, second = Label("20°", 0, 0, 4.0), Label("20°", 0, 20, 4.0)
        assert first_free([first, second], [], 0.1) is first
        assert first_free([first, second], [first.box], 0.1) is second

    def test_coordinates_are_short_and_zero_has_no_sign(self) -> None:
        assert [number(x) for x in (1.0, -0.001, 2.456, 10.0, -3.5)] == ["1", "0", "2.46", "10", "-3.5"]


class TestDimension:
    def test_a_short_one_has_its_arrows_outside(self) -> None:
        long = Dimension((0, 0), (50, 0), ((0, 5), (50, 5)), "50", 4.0)
        short = Dimension((0, 0), (5, 0), ((0, 5), (5, 5)), "5", 4.0)
        assert extent(long.shapes[0]) == Box(0, 0, 50, 0)
        assert extent(short.shapes[0]).left < 0
        assert extent(short.shapes[0]).right > 5

    def test_its_text_stands_above_a_level_line_and_left_of_an_upright_one(self) -> None:
        level = Dimension((0, 0), (50, 0), ((0, 5), (50, 5)), "50", 4.0).label
        upright = Dimension((0, 0), (0, 50), ((5, 0), (5, 50)), "50", 4.0).label
        assert level.box.bottom < 0 < level.box.right < 50
        assert upright.box.right < 0 < upright.box.bottom < 50
        assert (level.angle, upright.angle) == (0, -90)

    def test_extension_lines_keep_off_the_feature_and_run_past_the_line(self) -> None:
        *_, extension = Dimension((0, 0), (50, 0), ((0, 20), (50, 20)), "50", 4.0).shapes
        box = extent(extension)
        assert box.top < 0
        assert box.bottom < 20


class TestMarkup:
    @pytest.fixture
    def markup(self) -> list[ElementTree.Element]:
        report = drawn_car(front_arch=59.0, names=('Harrier "Seven" <b>', "Mount & Sons", "Plate", "2"))
        return [
            ElementTree.fromstring(render_to_string("components/drawing.html", {"drawing": drawing}))
            for drawing in all_views(report)
        ]

    def test_it_is_well_formed_with_a_title_and_a_description(
        self, markup: list[ElementTree.Element]
    ) -> None:
        for svg in markup:
            assert svg.get("role") == "img"
            assert svg.find("title").text.startswith('Lapwing Coupé on Harrier "Seven" <b>')
            assert "mm" in svg.find("desc").text

    def test_it_carries_no_style_attribute_and_no_id(self, markup: list[ElementTree.Element]) -> None:
        for svg in markup:
            for element in svg.iter():
                assert not {"style", "id", "onload"} & set(element.attrib)

    def test_one_path_a_kind(self, markup: list[ElementTree.Element]) -> None:
        for svg in markup:
            classes = [path.get("class") for path in svg.findall("path")]
            assert len(classes) == len(set(classes))
            assert len(classes) <= len(KINDS)

    def test_every_kind_of_line_has_a_style(self) -> None:
        with open(finders.find("club/drawing.css"), encoding="utf-8") as file:
            styles = file.read()
        for kind in KINDS:
            assert f".d-{kind.split()[0]}" in styles, kind


class TestLimitBar:
    def bar(self, rule: Rule, axle: Axle | None = None, **figures: float):  # type: ignore[no-untyped-def]
        return limit_bar(drawn_car(**figures).finding(rule, axle))

    def test_the_value_is_in_the_band_where_the_rule_holds(self) -> None:
        bar = self.bar(Rule.FLUSH, Axle.FRONT)
        assert bar.band[0] < bar.value < bar.band[1]
        assert [mark.text for mark in bar.marks] == ["\u22121.5\u202fmm", "+0.5\u202fmm"]

    def test_the_value_is_outside_the_band_where_it_does_not(self) -> None:
        assert (proud := self.bar(Rule.FLUSH, Axle.FRONT, front_arch=59.0)).value > proud.band[1]
        assert (inset := self.bar(Rule.FLUSH, Axle.FRONT, front_arch=69.0)).value < inset.band[0]

    def test_an_open_side_runs_on(self) -> None:
        bar = self.bar(Rule.ARCH, Axle.REAR)
        assert len(bar.marks) == 1
        assert bar.band[0] == pytest.approx(bar.marks[0].x)
        assert bar.band[1] > bar.whiskers[1]

    def test_the_whiskers_reach_two_standard_uncertainties(self) -> None:
        finding = drawn_car(front_arch=59.0, doubt=0.2).finding(Rule.FLUSH, Axle.FRONT)
        bar = limit_bar(finding)
        low, high = bar.marks
        per_mm = (high.x - low.x) / (finding.high - finding.low)
        assert bar.whiskers[1] - bar.value == pytest.approx(2 * finding.found.u * per_mm)

    @settings(max_examples=40, deadline=None)
    @given(front=st.floats(40, 90), doubt=st.floats(0.0, 3.0))
    def test_letters_stay_in_the_picture_and_apart(self, front: float, doubt: float) -> None:
        bar = self.bar(Rule.FLUSH, Axle.FRONT, front_arch=front, doubt=doubt)
        boxes = [Label(mark.text, mark.text_x, 43, 12.0, mark.anchor).box for mark in bar.marks]
        found = Label(bar.found, bar.found_x, 11, 12.0, "middle", kind="strong").box
        assert not boxes[0].meets(boxes[1])
        for box in [*boxes, found]:
            assert box.left + 1e-6 >= 0
            assert box.right <= 320 + 1e-6

    def test_it_says_the_same_in_words(self) -> None:
        bar = self.bar(Rule.ARCH, Axle.FRONT)
        assert bar.description == "Found 2.50\u202f±\u202f0.05\u202fmm; asked at least 0.5\u202fmm."

    def test_a_finding_without_numbers_has_none(self) -> None:
        assert self.bar(Rule.SCALE) is None
        assert limit_bar(drawn_car(unknown=("front_arch_width",)).finding(Rule.FLUSH, Axle.FRONT)) is None

"""The drawings stand to scale, say what they show, and keep their letters apart."""

from __future__ import annotations

from itertools import combinations
from math import atan2, degrees
from xml.etree import ElementTree

import pytest
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcalc.findings import Rule, Verdict
from fitcalc.fit import FitReport
from fitcalc.parts import Axle
from setups.drawing import DESK, PHONE_PLAN, PHONE_SIDE, SMALL, Drawing, limit_bar, plan, side, views
from setups.drawing.lens import hatch, power_for
from setups.drawing.letters import Box, Label, first_free, number, shortened, text_width
from setups.drawing.shapes import KINDS, Circle, Dimension, Line
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


def of_kind(drawing: Drawing, kind: str) -> list[Line]:
    return [shape for shape in drawing.shapes if shape.kind == kind]  # type: ignore[misc]


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


class TestPlan:
    def test_tyres_stand_at_their_true_track_and_size(self) -> None:
        report = drawn_car()
        g = report.geometry
        for axle, x in ((Axle.FRONT, 0.0), (Axle.REAR, g.wheelbase.value)):
            track = getattr(g, f"{axle.value}_track").value
            width = getattr(g, f"{axle.value}_tyre_width").value
            diameter = getattr(g, f"{axle.value}_tyre_diameter").value
            boxes = [extent(tyre) for tyre in of_kind(plan(report, DESK), "tyre")]
            outer = [box for box in boxes if box.top == pytest.approx(track / 2 - width / 2)]
            (box,) = [box for box in outer if box.left == pytest.approx(x - diameter / 2)]
            assert box.bottom == pytest.approx(track / 2 + width / 2)
            assert box.right == pytest.approx(x + diameter / 2)

    def test_the_front_is_at_the_left_of_a_desk_and_at_the_top_of_a_phone(self) -> None:
        report = drawn_car()
        for sheet, axis in ((DESK, 0), (PHONE_PLAN, 1)):
            front, *_, rear = sorted(
                point[axis] for tyre in of_kind(plan(report, sheet), "tyre") for point in tyre.points
            )
            assert front == pytest.approx(-23.4 / 2)
            assert rear == pytest.approx(report.geometry.wheelbase.value + 24.3 / 2)

    def test_dimension_lines_are_as_long_as_what_they_say(self) -> None:
        report = drawn_car(front_arch=59.0)
        drawing = plan(report, DESK)
        lines = [shape for shape in drawing.shapes if shape.kind in ("dimension", "dimension-body")]
        lengths = [
            max(extent(line)[2] - extent(line)[0], extent(line)[3] - extent(line)[1]) for line in lines
        ]
        g = report.geometry
        for said, meant in (
            ("wheelbase 90.9\u202fmm", g.wheelbase),
            ("over wheels 62.4\u202fmm", g.front_width),
            ("over wheels 66.0\u202fmm", g.rear_width),
            ("track 54.6\u202fmm", g.front_track),
            ("arches 59.0\u202fmm", report.body.front_arch_width),
        ):
            assert said in [label.text for label in drawing.labels]
            assert any(length == pytest.approx(meant.value) for length in lengths)

    def test_a_wheel_that_stands_proud_is_marked_between_arch_and_face(self) -> None:
        report = drawn_car(front_arch=59.0)
        strips = [
            extent(shape) for shape in of_kind(plan(report, DESK), "gap fails") if len(shape.points) == 4
        ]
        assert sorted((box.top, box.bottom) for box in strips) == [
            (pytest.approx(-62.4 / 2), pytest.approx(-59.0 / 2)),
            (pytest.approx(59.0 / 2), pytest.approx(62.4 / 2)),
        ]

    def test_a_proud_wheel_is_hatched_in_its_lens_and_says_its_millimetres(self) -> None:
        drawing = plan(drawn_car(front_arch=59.0), DESK)
        assert of_kind(drawing, "hatch fails")
        words = [label.text for label in drawing.labels if "lens-text fails" in label.kind]
        assert words == ["1.70\u202f±\u202f0.05\u202fmm", "proud, 5:1"]

    def test_an_inset_wheel_shows_its_gap_without_hatching(self) -> None:
        drawing = plan(drawn_car(rear_arch=71.0), DESK)
        assert of_kind(drawing, "gap fails")
        assert not [shape for shape in drawing.shapes if shape.kind.startswith("hatch")]
        assert any(label.text.startswith("inset") for label in drawing.labels)

    def test_a_flush_wheel_marks_nothing(self) -> None:
        report = drawn_car(doubt=0.01)
        assert report.finding(Rule.FLUSH, Axle.FRONT).verdict is Verdict.FITS
        assert not [
            shape for shape in plan(report, DESK).shapes if shape.kind.startswith(("gap", "hatch", "edge"))
        ]

    @pytest.mark.parametrize("front_arch", [59.0, 61.8, 64.0])
    def test_the_gap_in_the_lens_is_to_the_scale_printed_beside_it(self, front_arch: float) -> None:
        report = drawn_car(front_arch=front_arch)
        drawing = plan(report, DESK)
        face, _ = of_kind(drawing, "lens-edge")
        edge, _ = of_kind(drawing, "lens-shell")
        power = next(int(x.text.split()[-1].split(":")[0]) for x in drawing.labels if ":1" in x.text)
        assert edge.points[0][1] - face.points[0][1] == pytest.approx(
            report.geometry.front_flush.value * power
        )

    def test_the_lens_magnifies_as_much_as_the_gap_allows(self) -> None:
        assert power_for(0.1, 10.0) == 20
        assert power_for(-1.0, 10.0) == 10
        assert power_for(40.0, 10.0) == 1

    def test_hatching_stays_inside_its_area(self) -> None:
        area = [(0.0, 0.0), (10.0, 0.0), (10.0, 4.0), (0.0, 4.0)]
        lines = hatch(area, 1.0, "hatch fails")
        assert len(lines) == 9
        for line in lines:
            (x0, y0), (x1, y1) = line.points
            assert abs(x1 - x0) == pytest.approx(abs(y1 - y0))
            assert all(0 <= x <= 10 and -1e-9 <= y <= 4 + 1e-9 for x, y in line.points)

    def test_the_tyres_are_shown_turned_to_both_locks(self) -> None:
        report = drawn_car()
        turned = of_kind(plan(report, DESK), "lock")
        assert len(turned) == 4
        headings = set()
        for tyre in turned:
            (x0, y0), (x1, y1) = tyre.points[1], tyre.points[2]
            headings.add(round(abs(degrees(atan2(y1 - y0, x1 - x0))), 2))
        g = report.geometry
        assert headings == {round(g.lock_inward.value, 2), round(g.lock_outward.value, 2)}

    def test_the_outward_lock_turns_a_wheel_s_front_away_from_the_car(self) -> None:
        # With the body 0.8 mm forward the opening takes less of one lock than of the other.
        report = drawn_car(reach=30.8)
        # On a desk the car's left wheel is the lower one, its front at the left.
        turned = {}
        for tyre in of_kind(plan(report, DESK), "lock"):
            if extent(tyre).bottom > 0:
                front, rear = min(tyre.points), max(tyre.points)
                (x0, y0), (x1, y1) = tyre.points[2], tyre.points[1]
                way = "outward" if front[1] > rear[1] else "inward"
                turned[way] = abs(degrees(atan2(y1 - y0, x0 - x1)))
        g = report.geometry
        assert abs(g.lock_inward.value - g.lock_outward.value) > 1.0
        assert turned == {
            "inward": pytest.approx(g.lock_inward.value),
            "outward": pytest.approx(g.lock_outward.value),
        }

    def test_the_angles_stand_on_the_side_that_they_speak_of(self) -> None:
        report = drawn_car()
        boxes = {label.text.split()[-1]: label.box for label in plan(report, PHONE_PLAN).labels}
        # The right front wheel carries them; on a phone that is on the right, and so is outward.
        wheel = report.geometry.front_track.value / 2
        assert 0 < (boxes["in"].left + boxes["in"].right) / 2 < wheel
        assert (boxes["out"].left + boxes["out"].right) / 2 > wheel

    def test_what_nobody_has_measured_is_left_out_and_the_rest_drawn(self) -> None:
        report = drawn_car(unknown=("front_arch_width", "front_arch_radius", "nose_reach", "wheelbase"))
        drawing = plan(report, DESK)
        assert len(of_kind(drawing, "tyre")) == 4
        assert (
            len([shape for shape in drawing.shapes if isinstance(shape, Circle) and shape.kind == "lens"])
            == 1
        )
        assert "front arch width is not known" in drawing.description

    def test_without_any_arch_width_there_is_no_shell(self) -> None:
        report = drawn_car(unknown=("front_arch_width", "rear_arch_width"))
        assert not of_kind(plan(report, DESK), "shell")
        assert of_kind(plan(drawn_car(), DESK), "shell")

    def test_a_second_car_lies_over_the_first_from_the_front_axle(self) -> None:
        first, second = drawn_car(), drawn_car(position=-4.4)
        drawing = plan(first, DESK, second)
        laid = [extent(line) for line in of_kind(drawing, "second")]
        assert max(box.right for box in laid) == pytest.approx(second.geometry.wheelbase.value + 24.3 / 2)
        assert min(box.left for box in laid) == pytest.approx(-23.4 / 2)
        assert len(of_kind(drawing, "tyre")) == 4

    def test_a_thumbnail_has_no_letters(self) -> None:
        drawing = plan(drawn_car(), SMALL)
        assert drawing.labels == ()
        assert of_kind(drawing, "tyre")
        assert not of_kind(drawing, "dimension")


class TestSide:
    def test_the_chain_adds_up_to_the_rear_axle(self) -> None:
        report = drawn_car(plate=1.3, position=-4.4)
        drawing = side(report, DESK)
        links = [extent(shape) for shape in of_kind(drawing, "segment")]
        ends = [0.0]
        for link, box in zip(report.geometry.chain.contributions, links, strict=True):
            share = link.quantity.value
            assert box.right - box.left == pytest.approx(abs(share))
            assert (box.left if share > 0 else box.right) == pytest.approx(ends[-1])
            ends.append(ends[-1] + share)
        assert ends[-1] == pytest.approx(report.geometry.wheelbase.value)
        (total,) = of_kind(drawing, "segment-total")
        assert extent(total).right == pytest.approx(report.geometry.wheelbase.value)

    def test_a_link_that_adds_nothing_has_a_row_and_no_bar(self) -> None:
        drawing = side(drawn_car(plate=0.0), DESK)
        assert len(of_kind(drawing, "segment")) == 3
        assert "Stepped plate" in [label.text for label in drawing.labels]

    def test_every_link_is_named_with_its_share(self) -> None:
        texts = [label.text for label in side(drawn_car(position=-4.4), DESK).labels]
        assert {"Harrier Seven, datum", "Long mount", "Stepped plate", "Position, second", "Reaches"} <= set(
            texts
        )
        assert "\u22124.40\u202f±\u202f0.03\u202fmm" in texts

    def test_the_body_s_wheelbase_starts_where_the_mount_holds_the_body(self) -> None:
        report = drawn_car(reach=31.0, needs=92.0)
        (needed,) = of_kind(side(report, DESK), "segment-body")
        box = extent(needed)
        assert box.left == pytest.approx(-1.0)
        assert box.right == pytest.approx(91.0)

    def test_the_centring_error_is_marked_between_wheel_and_arch(self) -> None:
        report = drawn_car(needs=93.0)
        (gap,) = of_kind(side(report, DESK), "gap fails")
        box = extent(gap)
        assert (box.left, box.right) == (pytest.approx(90.9), pytest.approx(93.0))
        assert "Rear wheel forward by" in [label.text for label in side(report, DESK).labels]
        assert "Rear wheel back by" in [label.text for label in side(drawn_car(needs=88.0), DESK).labels]

    def test_an_unknown_wheelbase_is_said(self) -> None:
        drawing = side(drawn_car(unknown=("wheelbase",)), DESK)
        assert "not known" in [label.text for label in drawing.labels]
        assert "wheelbase is not known" in drawing.description

    def test_a_predicted_wheelbase_is_said_to_be_one(self) -> None:
        report = drawn_car(wheelbase_predicted=True)
        assert "Body needs (predicted)" in [label.text for label in side(report, DESK).labels]

    def test_wheels_stand_on_the_ground(self) -> None:
        tyres = [s for s in side(drawn_car(), DESK).shapes if isinstance(s, Circle) and s.kind == "tyre"]
        assert len(tyres) == 2
        for tyre in tyres:
            assert tyre.centre[1] + tyre.radius == pytest.approx(0.0)

    def test_on_a_desk_it_stands_under_the_plan_point_under_point(self) -> None:
        found = views(drawn_car(names=LONG))
        assert found.desk_side.sheet.left == found.desk_plan.sheet.left
        assert found.desk_side.sheet.right == found.desk_plan.sheet.right
        assert found.desk_side.text_size == found.desk_plan.text_size

    def test_bump_is_written_only_where_it_is_in_question(self) -> None:
        low = drawn_car(
            front_arch_height=drawn_car().body.front_arch_height
            - drawn_car().body.front_arch_height.scaled(0.2)
        )
        assert any(label.text.startswith("in bump") for label in side(low, DESK).labels)
        assert not any(label.text.startswith("in bump") for label in side(drawn_car(), DESK).labels)


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

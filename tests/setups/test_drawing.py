"""The drawings stand to scale and say what they show."""

from __future__ import annotations

from math import atan2, degrees

import pytest

from fitcalc.findings import Rule, Verdict
from fitcalc.parts import Axle
from setups.drawing import DESK, PHONE_PLAN, Drawing, plan, side, views
from setups.drawing.lens import hatch, power_for
from setups.drawing.letters import Box
from setups.drawing.shapes import Circle, Line
from tests.setups.drawn_cars import drawn_car

pytestmark = pytest.mark.one_database

LONG = (
    "Harrier Seven Long-Distance Endurance Edition",
    "Long-wheelbase mid-motor mount with carbon braces and a fan, second type",
    "Stepped rear plate",
    "outermost of five holes",
)


def of_kind(drawing: Drawing, kind: str) -> list[Line]:
    return [shape for shape in drawing.shapes if shape.kind == kind]  # type: ignore[misc]


def extent(shape: Line) -> Box:
    xs, ys = zip(*shape.points, strict=True)
    return Box(min(xs), min(ys), max(xs), max(ys))


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

"""The drawings: to scale, complete, readable without colour, and clean of anything that the content policy refuses."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from xml.etree import ElementTree

import pytest

from lifecycle.care.vehicle_view import ClearView, EventView, FilmReading, LayerView, SurfaceView, VehicleView
from lifecycle.wear.types import Band, CoursePoint, DateBand, Mechanism, Reason
from portal.drawings import course, outline, page, plan, section, strata, svg, words
from portal.drawings.plan import PlanItem
from portal.drawings.strata import Stratum

TODAY = date(2026, 3, 2)


def points(count: int = 61, step: int = 14) -> tuple[CoursePoint, ...]:
    """A course that falls evenly from full, a quarter of it ahead of today."""
    start = TODAY - timedelta(days=step * (count * 3 // 4))
    return tuple(
        CoursePoint(start + timedelta(days=step * i), max(0.0, 1 - 1.4 * i / count), 1 - i / count, 1 - 0.7 * i / count)
        for i in range(count)
    )


def layer(**changes: object) -> LayerView:
    given: dict[str, object] = {
        "id": 1, "kind": "ceramic_mid", "product": "two-coat ceramic", "applied": date(2024, 9, 1), "coats": 2,
        "thickness_um": 0.6, "thickness_mark": "from memory", "stage": "tired",
        "function_left": Band(0.31, 0.48, 0.66), "renewal_months": Band(16, 23.5, 34),
        "tired_on": DateBand(date(2025, 8, 1), date(2026, 2, 10), date(2026, 11, 20)),
        "end_on": DateBand(date(2026, 1, 1), date(2026, 8, 15), date(2027, 7, 1)),
        "reasons": (Reason(Mechanism.CONTAMINATION, 0.6, "under trees"), Reason(Mechanism.ROAD, 0.4, "salt")),
        "marks": ("common practice",), "course": points(),
    }  # fmt: skip
    return LayerView(**(given | changes))  # type: ignore[arg-type]


def surface(**changes: object) -> SurfaceView:
    given: dict[str, object] = {
        "id": 7, "code": "bonnet", "orientation": "flat", "substrate": "steel", "finish": "factory",
        "refinished_on": None, "layers": (layer(),),
    }  # fmt: skip
    return SurfaceView(**(given | changes))  # type: ignore[arg-type]


def vehicle(*surfaces: SurfaceView, **changes: object) -> VehicleView:
    given: dict[str, object] = {
        "id": 1, "studio_id": 1, "studio": "Ossenmere Gloss Works", "studio_phone": "", "currency": "EUR",
        "site": "Tarn Bellow", "plate": "TB 1", "description": "green hatch", "body": "hatch", "size": "S",
        "colour": "mid", "paint": "clear_coat", "powertrain": "combustion", "first_seen": date(2024, 9, 1),
        "today": TODAY, "surfaces": surfaces,
    }  # fmt: skip
    return VehicleView(**(given | changes))  # type: ignore[arg-type]


def rect_of(drawing: str, fill: str) -> dict[str, float]:
    """The rectangle filled with a pattern, as numbers."""
    found = next(e for e in ElementTree.fromstring(drawing).iter("rect") if e.get("fill") == f"url(#{fill})")
    return {name: float(found.get(name, "")) for name in ("x", "y", "width", "height")}


def tops(drawing: str) -> list[float]:
    """Upper edges of the strata, from the top down."""
    beds = [e.get("d", "") for e in ElementTree.fromstring(drawing).iter("path") if e.get("class") == "bed"]
    return [float(re.match(r"M[\d.]+ ([\d.]+)", d).group(1)) for d in beds]  # type: ignore[union-attr]


class TestSvg:
    def test_everything_that_comes_from_people_is_escaped(self) -> None:
        drawn = svg.el("text", "<script>&", class_='a"b')
        assert drawn == '<text class="a&quot;b">&lt;script&gt;&amp;</text>'

    def test_a_line_ends_where_its_last_point_is(self) -> None:
        drawn = svg.line([(4, 18), (10.4, 25.6), (3, 20)])
        assert drawn == "M4 18l6 8-7-6"

    def test_labels_never_overlap_and_move_as_little_as_they_can(self) -> None:
        labels = [svg.Label(10, 20), svg.Label(12, 20), svg.Label(90, 20)]
        lowest = svg.spread(labels, top=0, gap=4)
        assert [label.y for label in labels] == [10, 34, 90]
        assert lowest == 110


class TestSection:
    def test_paint_is_drawn_to_scale(self) -> None:
        cut = strata.strata_of(surface(), paint="clear_coat")
        drawing = section.draw(cut, key="k", title="Section")
        scale = section.px_per_um(cut)
        _coat, clear, colour, primer, steel = tops(drawing)
        assert colour - clear == pytest.approx(strata.CLEAR_UM * scale, abs=0.11)
        assert primer - colour == pytest.approx(strata.COLOUR_UM * scale, abs=0.11)
        assert steel - primer == pytest.approx(strata.PRIMER_UM * scale, abs=0.11)

    def test_thin_coats_stand_on_a_logarithmic_scale_that_is_marked(self) -> None:
        assert section.thin_px(1.0) - section.thin_px(0.1) == pytest.approx(
            section.thin_px(0.1) - section.thin_px(0.01)
        )
        thin = section.draw(strata.strata_of(surface(), paint="clear_coat"), key="k", title="Section")
        assert ">log</text>" in thin
        thick = surface(layers=(layer(kind="film_body", thickness_um=180.0),))
        assert ">log</text>" not in section.draw(strata.strata_of(thick, paint="clear_coat"), key="k", title="Section")

    def test_a_film_and_paint_share_one_linear_scale(self) -> None:
        with_film = surface(layers=(layer(kind="film_body", thickness_um=180.0),))
        cut = strata.strata_of(with_film, paint="clear_coat")
        film, clear, colour, *_rest = tops(section.draw(cut, key="k", title="Section"))
        assert (clear - film) / (colour - clear) == pytest.approx(180.0 / strata.CLEAR_UM, rel=0.02)

    def test_the_worn_share_is_hatched_from_where_nearly_nothing_is_left(self) -> None:
        drawing = section.draw(strata.strata_of(surface(), paint="clear_coat"), key="k", title="Section")
        worn, perhaps = rect_of(drawing, "worn"), rect_of(drawing, "worn-perhaps")
        assert worn["x"] == pytest.approx(section.LEFT + section.CUT * 0.66, abs=0.1)
        assert worn["x"] + worn["width"] == pytest.approx(section.LEFT + section.CUT, abs=0.1)
        assert perhaps["x"] == pytest.approx(section.LEFT + section.CUT * 0.31, abs=0.1)

    def test_the_budget_is_a_bracket_as_deep_as_it_is_on_the_clear(self) -> None:
        clear = ClearView(Band(2, 6, 8), Band(35, 40, 44), Band(1, 2, 3), "one_step_with_consent", "The budget is …")
        film = FilmReading(105.0, 100.0, 5, "magnetic", date(2025, 1, 1))
        cut = strata.strata_of(surface(clear=clear, film=film), paint="clear_coat")
        drawing = section.draw(cut, key="k", title="Section")
        bracket = re.search(r'd="M[\d.]+ ([\d.]+)h5v([\d.]+)h-5"', drawing)
        assert bracket is not None
        assert float(bracket.group(1)) == tops(drawing)[1]
        assert float(bracket.group(2)) == pytest.approx(6 * section.px_per_um(cut), abs=0.1)
        assert "to spare: 2.0 to 8.0 µm" in drawing

    def test_measured_paint_adds_up_to_the_reading(self) -> None:
        for total in (70.0, 105.0, 180.0):
            film = FilmReading(total, total, 5, "magnetic", date(2025, 1, 1))
            for paint in ("clear_coat", "single_stage", "matte"):
                cut = strata.strata_of(surface(film=film, layers=()), paint=paint)
                assert sum(s.um or 0 for s in cut) == pytest.approx(total)
                assert all((s.um or 1) > 0 for s in cut)

    def test_usual_builds_lie_within_the_published_totals(self) -> None:
        # Trade training material: electro-coat 20, primer 30, total 100 to 110 µm for factory paint.
        assert 100 <= strata.PRIMER_UM + strata.COLOUR_UM + strata.CLEAR_UM <= 110

    @pytest.mark.parametrize(
        ("changes", "paint", "names"),
        [
            ({"substrate": "glass", "orientation": "screen", "code": "windscreen"}, "clear_coat", ["Glass"]),
            ({"substrate": "leather", "orientation": "inside", "code": "leather"}, "clear_coat", ["Leather"]),
            ({"substrate": "plastic", "orientation": "side", "code": "trim"}, "clear_coat", ["Plastic"]),
            ({"substrate": "plastic", "orientation": "front", "code": "front_bumper"}, "clear_coat",
             ["Plastic", "Primer", "Colour", "Clear coat"]),
            ({}, "single_stage", ["Steel", "Primer", "Single-stage colour"]),
            ({}, "matte", ["Steel", "Primer", "Colour", "Matte clear coat"]),
        ],
    )  # fmt: skip
    def test_what_lies_below_the_coats(self, changes: dict[str, str], paint: str, names: list[str]) -> None:
        assert [s.name for s in strata.strata_of(surface(layers=(), **changes), paint=paint)] == names

    def test_it_can_be_read_without_seeing_it(self) -> None:
        drawing = section.draw(strata.strata_of(surface(), paint="clear_coat"), key="k", title="Section through <it>")
        root = ElementTree.fromstring(drawing)
        named = {e.get("id"): e.text for e in root if e.get("id")}
        assert root.get("role") == "img"
        assert [named[key] for key in root.get("aria-labelledby", "").split()] == [
            "Section through <it>",
            "From the top down: Mid ceramic coat, 0.6 µm (tired, 31 to 66 % left); Clear coat (usually 40 µm); "
            "Colour (usually 15 µm); Primer (usually 50 µm); Steel (not to scale).",
        ]

    def test_nothing_at_all_is_no_section(self) -> None:
        with pytest.raises(ValueError, match="substrate"):
            section.draw((), key="k", title="Section")


class TestCourse:
    def test_the_past_ends_and_the_future_begins_today(self) -> None:
        drawing = course.draw(points(), events=(), today=TODAY, key="k", title="Course")
        line = re.search(r'd="M([\d.]+) [\d.]+V[\d.]+" class="today"', drawing)
        future = re.search(r'd="M(\d+) [^"]*" class="median future"', drawing)
        assert line is not None
        assert future is not None
        assert round(float(line.group(1))) == int(future.group(1))

    def test_a_course_that_is_all_past_has_no_future(self) -> None:
        late = points()[-1].on + timedelta(days=30)
        drawing = course.draw(points(), events=(), today=late, key="k", title="Course")
        assert "future" not in drawing
        assert 'class="today"' not in drawing

    def test_thresholds_are_words_and_never_numbers(self) -> None:
        drawing = course.draw(points(), events=(), today=TODAY, key="k", title="Course")
        texts = [e.text for e in ElementTree.fromstring(drawing).iter("tspan")]
        assert texts == ["fresh", "settled", "tired", "at its end", "gone"]

    def test_each_kind_of_event_has_its_own_shape_and_a_word(self) -> None:
        kinds = (*course.SHAPES, "bird_dropping")
        events = tuple(EventView(TODAY - timedelta(days=30 * i + 5), kind) for i, kind in enumerate(kinds))
        drawing = course.draw(points(), events=events, today=TODAY, key="k", title="Course")
        texts = [e.text for e in ElementTree.fromstring(drawing).iter("text")]
        for _shape, word in (*course.SHAPES.values(), course.OTHER):
            assert str(word) in texts
        assert len({shape for shape, _word in (*course.SHAPES.values(), course.OTHER)}) == len(kinds)

    def test_events_before_the_layer_are_not_its_own(self) -> None:
        before = EventView(points()[0].on - timedelta(days=1), "repaint")
        assert course.draw(points(), events=(before,), today=TODAY, key="k", title="C") == course.draw(
            points(), events=(), today=TODAY, key="k", title="C"
        )

    def test_the_table_counts_every_event_once(self) -> None:
        events = tuple(EventView(TODAY - timedelta(days=3 * i), "wash") for i in range(40))
        rows = course.rows(points(), events=events, today=TODAY)
        told = [word for row in rows for word in row.events]
        assert sum(int(word.split("×")[1]) if "×" in word else 1 for word in told) == 40
        assert [row.on for row in rows] == sorted(row.on for row in rows)
        assert any(row.on == TODAY and not row.future for row in rows)

    def test_a_day_between_two_points_lies_between_them(self) -> None:
        before, after = CoursePoint(date(2026, 1, 1), 0.4, 0.6, 0.8), CoursePoint(date(2026, 1, 11), 0.2, 0.4, 0.7)
        assert course.between(before, after, date(2026, 1, 6)).p50 == pytest.approx(0.5)

    def test_one_point_is_no_course(self) -> None:
        with pytest.raises(ValueError, match="two points"):
            course.draw(points()[:1], events=(), today=TODAY, key="k", title="Course")


class TestPlan:
    @pytest.mark.parametrize("body", [*outline.BODIES, "something new"])
    def test_every_body_keeps_its_regions_inside_the_drawing(self, body: str) -> None:
        shape = outline.body_of(body)
        for name, outlines in outline.regions(shape).items():
            for x, y in (point for piece in outlines for point in piece):
                assert 0 <= x <= plan.WIDTH, name
                assert 0 <= y <= plan.HEIGHT, name

    @pytest.mark.parametrize("body", outline.BODIES)
    def test_parts_follow_each_other_from_nose_to_tail(self, body: str) -> None:
        shape = outline.BODIES[body]
        stations = [outline.NOSE, shape.bonnet, shape.screen, shape.roof_end, shape.rear_glass, shape.tail, 1.0]
        assert stations == sorted(set(stations))

    @pytest.mark.parametrize(
        ("code", "regions"),
        [
            ("bonnet", ("bonnet",)),
            ("doors", ("front_door_left", "front_door_right", "rear_door_left", "rear_door_right")),
            ("left_doors", ("front_door_left", "rear_door_left")),
            ("doors_right", ("front_door_right", "rear_door_right")),
            ("front_left_door", ("front_door_left",)),
            ("tailgate", ("boot",)),
            ("soft_top", ("roof",)),
            ("front_bumper", ("front_bumper",)),
            ("rear_bumper", ("rear_bumper",)),
            ("headlamps", ("headlamp_left", "headlamp_right")),
            ("wheel_faces", ("wheels_left", "wheels_right")),
            ("side_glass", ("side_glass_left", "side_glass_right")),
            ("engine_bay", ()),
            ("trim", ()),
            ("leather", ()),
        ],
    )
    def test_codes_find_their_regions(self, code: str, regions: tuple[str, ...]) -> None:
        assert tuple(sorted(plan.regions_of(code))) == tuple(sorted(regions))

    def test_a_region_shows_its_stage_by_pattern_word_and_link(self) -> None:
        item = PlanItem(3, "bonnet", "bonnet", "tired", "tired", "#s7")
        root = ElementTree.fromstring(plan.draw([item], body="saloon", key="p", title="From above"))
        (link,) = root.iter("a")
        assert (link.get("href"), link.get("aria-label")) == ("#s7", "bonnet: tired")
        assert [e.get("fill") for e in link.iter("path")] == ["url(#st-tired)"]
        assert {e.text for e in link.iter("text")} == {"3", "tired"}
        assert root.get("role") == "group"  # an image could not hold links

    def test_a_single_door_lies_over_all_doors(self) -> None:
        items = [
            PlanItem(1, "doors", "doors", "fresh", "fresh", "#a"),
            PlanItem(2, "front_left_door", "front left door", "end", "at its end", "#b"),
        ]
        root = ElementTree.fromstring(plan.draw(items, body="saloon", key="p", title="From above"))
        pieces = {link.get("href"): len(list(link.iter("path"))) for link in root.iter("a")}
        assert pieces == {"#a": 3, "#b": 1}


class TestPage:
    def test_no_markup_that_the_content_policy_refuses(self) -> None:
        told = page.vehicle_page(vehicle(surface()))
        drawn = [told.plan, told.surfaces[0].section, told.surfaces[0].layers[0].picture or ""]
        for drawing in drawn:
            assert ElementTree.fromstring(drawing).tag == "svg"
            assert not re.search(r"\sstyle=|<style|<script|\son\w+=", drawing)

    def test_ids_are_unique_on_a_page(self) -> None:
        two = (surface(), surface(id=8, code="roof", layers=(layer(id=2),)))
        told = page.vehicle_page(vehicle(*two))
        drawn = told.plan + "".join(s.section + "".join(x.picture or "" for x in s.layers) for s in told.surfaces)
        ids = re.findall(r'\bid="([^"]+)"', drawn)
        assert len(ids) == len(set(ids)) == 2 * 5 + 1

    def test_every_stage_has_a_pattern(self) -> None:
        patterns = Path(__file__).parents[2] / "portal/templates/parts/patterns.html"
        defined = set(re.findall(r'id="([^"]+)"', patterns.read_text(encoding="utf-8")))
        assert {f"st-{stage}" for stage in words.STAGE_WORDS} <= defined
        assert {f"m-{substrate}" for substrate in (*strata.SUBSTRATES, "primer", "colour", "clear")} <= defined
        assert {"worn", "worn-perhaps"} <= defined

    def test_an_unseen_layer_says_that_it_is_an_estimate(self) -> None:
        view = vehicle(surface())
        unseen = page.seen_words(layer(), view)
        assert "estimate, not seen since" in unseen
        assert "1 Sep 2024" in unseen
        assert "estimate, not seen since 1 Mar 2025" in page.seen_words(layer(seen_on=date(2025, 3, 1)), view)
        assert page.seen_words(layer(seen_on=date(2026, 1, 9)), view) == "Last seen on 9 Jan 2026."

    def test_grime_is_the_stage_only_where_it_is_why_nothing_is_known(self) -> None:
        assert page.stage_of(surface(clogged=True, layers=(layer(stage="unknown"),))) == "clogged"
        assert page.stage_of(surface(clogged=True, layers=())) == "bare"
        assert page.stage_of(surface(clogged=True)) == "tired"
        told = page.vehicle_page(vehicle(surface(clogged=True)))
        assert "url(#st-tired)" in told.plan
        assert "url(#st-over)" in told.plan
        assert "(clogged?)" in told.surfaces[0].heading
        assert [key.stage for key in told.legend] == ["tired", "over"]

    def test_a_topper_does_not_speak_for_the_coat_below(self) -> None:
        booster = layer(id=2, kind="booster", stage="gone")
        assert surface(layers=(layer(stage="settled"), booster)).stage == "settled"
        assert surface(layers=(booster,)).stage == "gone"
        film = layer(id=3, kind="film_body", stage="settled")
        assert surface(layers=(film, layer(stage="end"))).stage == "end"

    def test_a_layer_without_forecast_has_no_course_and_no_range(self) -> None:
        unknown = replace(layer(kind="unknown"), stage="unknown", function_left=None, course=(), tired_on=None,
                          end_on=None, renewal_months=None)  # fmt: skip
        told = page.vehicle_page(vehicle(surface(layers=(unknown,)))).surfaces[0]
        assert (told.stage, told.layers[0].picture, told.layers[0].left) == ("unknown", None, "")

    def test_the_key_lists_every_surface_once_the_worst_stage_first(self) -> None:
        told = page.vehicle_page(
            vehicle(
                surface(), surface(id=8, code="roof", layers=(layer(id=2, stage="gone"),)), surface(id=9, code="trim")
            )
        )
        assert [(s.stage, [x.name for x in s.surfaces]) for s in told.legend] == [
            ("gone", ["roof"]),
            ("tired", ["bonnet", "trim"]),
        ]
        assert [s.first for s in told.surfaces] == [False, True, False]

    def test_ranges_are_never_a_bare_point(self) -> None:
        assert words.share_range(Band(0.31, 0.48, 0.66)) == "31 to 66 %"
        assert words.share_range(Band(0.48, 0.48, 0.481)) == "about 48 %"
        assert words.um_range(Band(-1, 0.4, 2.04)) == "0.0 to 2.0 µm"
        assert words.months_range(Band(16, 23, 34)) == "16 to 34 months"
        assert words.months_range(Band(72, 90, 108)) == "6 to 9 years"
        assert (
            words.months_between(DateBand(date(2026, 4, 3), date(2026, 5, 1), date(2026, 11, 2))) == "Apr to Nov 2026"
        )

    def test_strata_say_where_their_thickness_comes_from(self) -> None:
        told: tuple[Stratum, ...] = page.vehicle_page(vehicle(surface())).surfaces[0].strata
        assert all(stratum.source for stratum in told if stratum.um is not None)

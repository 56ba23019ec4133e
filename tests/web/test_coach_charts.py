"""Charts: each value where it belongs, and a gap where there is none."""

from __future__ import annotations

from dawnrule.web.coach.athlete import HEIGHT, LABEL_WIDTH, Scale

SEVEN = [60.0, 62.0, None, None, 61.0, None, 64.0]


def scale(values: list[float | None], least: float | None = None) -> Scale:
    return Scale.over([values], day_width=20, least=least)


def test_a_line_ends_before_a_gap_and_begins_anew_after_it() -> None:
    path = scale(SEVEN).line(SEVEN)
    assert [len(run.split("L")) for run in path.split("M")[1:]] == [2, 1, 1]


def test_a_gap_has_no_point() -> None:
    days = [(x - LABEL_WIDTH - 10) / 20 for x, _ in scale(SEVEN).points(SEVEN)]
    assert days == [0, 1, 4, 6]


def test_what_is_more_stands_higher() -> None:
    heights = [y for _, y in scale(SEVEN).points(SEVEN)]
    assert heights[3] < heights[1] < heights[2] < heights[0]
    assert all(0 < y < HEIGHT for y in heights)


def test_the_labels_are_round_numbers_around_all_values() -> None:
    assert [said for _, said in scale(SEVEN).ticks()] == ["60", "61", "62", "63", "64"]
    assert [said for _, said in scale([4.21, 4.38]).ticks()] == [
        "4.2",
        "4.25",
        "4.3",
        "4.35",
        "4.4",
    ]


def test_values_that_are_all_alike_can_be_shown() -> None:
    [(_, y)] = scale([52.0]).points([52.0])
    assert 0 < y < HEIGHT


def test_a_stem_stands_on_nothing_and_a_day_off_has_none() -> None:
    loads = [0.0, 300.0, None]
    of_loads = scale(loads, least=0)
    assert of_loads.stems(loads).count("M") == 1
    assert next(said for _, said in of_loads.ticks()) == "0"


def test_a_level_holds_over_the_whole_day() -> None:
    of_two = scale([50.0, 51.0])
    assert of_two.level([50.0, None]) == (
        f"M{LABEL_WIDTH} {of_two.y(50):g}L{LABEL_WIDTH + 20} {of_two.y(50):g}"
    )

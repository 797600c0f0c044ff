"""Room for the words of a picture: lines, margins and levels, on cases worked by hand."""

from dashboard.figures.room import LINE, PER_LETTER, anchor_at, levels, margin_for, width_of, wrapped


def test_the_longest_line_counts() -> None:
    assert width_of("abc<br>abcde") == 5 * PER_LETTER
    assert LINE > 12


def test_a_text_is_broken_at_blanks_only_and_none_is_lost() -> None:
    text = "feet and coupling centre along the shaft [mm]"
    lines = wrapped(text, 20).split("<br>")
    assert all(len(line) <= 20 for line in lines)
    assert " ".join(lines) == text
    assert wrapped("unbreakable", 4) == "unbreakable"
    assert wrapped("short") == "short"


def test_a_margin_holds_the_longest_word_and_is_never_below_the_least() -> None:
    assert margin_for([]) == 12.0
    assert margin_for(["ab", "abcdefghij"]) == 10 * PER_LETTER + 14.0


def test_a_word_near_an_end_stands_on_the_inner_side() -> None:
    assert [anchor_at(share) for share in (0.0, 0.5, 1.0)] == ["left", "center", "right"]


def test_neighbours_that_would_touch_stand_on_lines_of_their_own() -> None:
    assert levels([0.0, 100.0, 200.0], [80.0, 80.0, 80.0]) == (0, 0, 0)
    assert levels([0.0, 50.0, 100.0], [80.0, 80.0, 80.0]) == (0, 1, 0)
    assert levels([0.0, 10.0, 20.0], [80.0, 80.0, 80.0]) == (0, 1, 2)
    assert levels([], []) == ()

"""Values in messages: whole where short, cut where a hostile record would fill the screen."""

from corridor.site.quoting import first_names, quoted


def test_a_short_value_is_whole() -> None:
    assert quoted("six feet") == "'six feet'"
    assert quoted(1.5) == "'1.5'"
    assert quoted("x" * 80) == repr("x" * 80)


def test_a_long_value_is_cut() -> None:
    assert quoted("x" * 1_000_000) == "'" + "x" * 79 + "…'"
    assert quoted("abcdef", limit=3) == "'ab…'"


def test_control_characters_stand_as_their_codes() -> None:
    assert quoted("\x1b[31m") == r"'\x1b[31m'"


def test_names_beyond_the_first_are_counted() -> None:
    assert first_names(["a", "b"]) == "a, b"
    assert first_names(range(100), most=3) == "0, 1, 2 and 97 more"
    assert first_names(["y" * 200]) == "y" * 79 + "…"
    assert first_names([]) == ""

"""The short answer: what is left of it where there is no room."""

from matdb.advice.summary import LINES, WIDTH, short

FULL = [f"{number}: {'word ' * 12}." for number in range(LINES - 1)]


def test_the_first_clause_of_what_is_to_be_known_is_told_where_there_is_no_room_for_all_of_it():
    beware = "tan tube: natural rubber crystallises when it rests for sixteen whole hours in such cold weather (many)"
    told = short(FULL, [beware])
    head = beware.partition(" (")[0]
    assert told[-1] == f"Beware: {head}; --why tells more."
    assert len(told[-1]) > WIDTH
    assert short([*FULL, "more"], [beware]) == (*FULL, "more")
    # One that has no clauses is told whole.
    assert short(FULL, ["word " * 18])[-1] == f"Beware: {'word ' * 18}."


def test_a_long_first_warning_is_clipped_and_not_passed_over_for_a_shorter_one():
    first = "rubber crystallises when it rests in such cold (many hours to days) and " + "can become stiffer: " * 9
    told = short(FULL[:-1], [first, "a short one"])
    assert told[-1].startswith("Beware: rubber crystallises when it rests in such cold")
    assert told[-1].endswith("--why tells more.")

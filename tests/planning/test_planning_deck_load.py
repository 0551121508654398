"""Which traps come home on one trip, by made-up minutes."""

from __future__ import annotations

from collections.abc import Mapping

from hypothesis import given
from hypothesis import strategies as st

from soakbell.planning.deck_load import most_home, orders_of

TRAPS = {"Ledge": 40, "Nine Foot": 24, "Outer Bar": 30}
RUN = {"Ledge": 60.0, "Nine Foot": 10.0, "Outer Bar": 25.0}


def carried(
    window_min: float,
    *,
    most: float = 200,
    foul: frozenset[str] = frozenset(),
    pinned: frozenset[str] = frozenset(),
) -> dict[str, int]:
    """One minute a trap, and the longest run of the strings there and back."""
    orders = orders_of([("Ledge", "Outer Bar", "Nine Foot"), ("Nine Foot", "Outer Bar", "Ledge")], dict(AREA))

    def fits(load: Mapping[str, int]) -> bool | None:
        minutes = sum(load.values()) + 2 * max(RUN[name] for name in load)
        return True if minutes <= window_min and foul.isdisjoint(load) else None

    found = most_home(orders, TRAPS, fits, most=most, before_others=pinned)
    return {} if found is None else found[0]


AREA = {"Ledge": "offing", "Nine Foot": "bay", "Outer Bar": "bay"}


def test_all_of_it_goes_where_it_fits() -> None:
    assert carried(500) == TRAPS


def test_the_order_given_goes_before_another_that_brings_home_no_more() -> None:
    assert carried(500, most=50) == {"Ledge": 40, "Outer Bar": 10}


def test_another_order_goes_where_it_brings_home_more() -> None:
    assert carried(130) == {"Nine Foot": 24, "Outer Bar": 30}
    assert carried(100) == {"Nine Foot": 24, "Outer Bar": 26}


def test_no_whole_string_is_a_part_of_one_and_no_trap_is_no_trip() -> None:
    assert carried(43) == {"Nine Foot": 23}
    assert carried(21) == {"Nine Foot": 1}
    assert carried(20.5) == {}


def test_what_is_foul_in_one_place_leaves_the_others_to_go() -> None:
    assert carried(500, foul=frozenset({"Ledge"})) == {"Outer Bar": 30, "Nine Foot": 24}
    assert carried(500, foul=frozenset({"Outer Bar", "Nine Foot"})) == {"Ledge": 40}


def test_one_trap_more_of_what_is_pinned_outweighs_all_of_the_rest() -> None:
    assert carried(123, pinned=frozenset({"Ledge"})) == {"Ledge": 3}


def test_many_groups_are_left_out_one_at_a_time_or_all_but_one() -> None:
    names = "ABCDEFG"
    orders = orders_of([names], {name: name for name in names})
    assert len(orders) == 1 + 7 + 7
    assert tuple("ABCDEF") in orders
    assert ("G",) in orders
    assert len(orders_of([names[:5]], {name: name for name in names})) == 2**5 - 1, "few are left out in every way"


@given(
    st.tuples(st.floats(0, 400), st.floats(0, 400)),
    st.tuples(st.integers(1, 120), st.integers(1, 120)),
    st.tuples(st.frozensets(st.sampled_from(sorted(TRAPS))), st.frozensets(st.sampled_from(sorted(TRAPS)))),
)
def test_more_time_a_larger_deck_or_less_foul_water_never_brings_home_less(
    windows: tuple[float, float], decks: tuple[int, int], foul: tuple[frozenset[str], frozenset[str]]
) -> None:
    less = carried(min(windows), most=min(decks), foul=foul[0] | foul[1])
    more = carried(max(windows), most=max(decks), foul=foul[0] & foul[1])
    assert sum(less.values()) <= sum(more.values())


def test_a_single_trap_comes_home_as_well() -> None:
    assert most_home([("Ledge",)], {"Ledge": 1}, lambda load: "fits", most=200) == ({"Ledge": 1}, "fits")


def test_an_order_that_brings_home_less_takes_the_place_of_none_before_it() -> None:
    def fits(load: Mapping[str, int]) -> bool | None:
        return True if load.get("Ledge", 0) <= (5 if "Nine Foot" in load else 3) else None

    orders = [("Nine Foot", "Ledge"), ("Ledge", "Nine Foot")]
    found = most_home(orders, {"Nine Foot": 10, "Ledge": 10}, fits, most=200)
    assert found == ({"Nine Foot": 10, "Ledge": 5}, True)


def test_an_order_that_could_bring_home_no_more_does_not_end_the_search() -> None:
    orders = [("Nine Foot",), ("Ledge",), ("Outer Bar",)]
    found = most_home(orders, {"Nine Foot": 10, "Ledge": 5, "Outer Bar": 30}, lambda load: "fits", most=200)
    assert found == ({"Outer Bar": 30}, "fits")

"""What one entry does to the log that it goes into. INVENTED DATA."""

from __future__ import annotations

from logbook import STRINGS, correction_of, told
from soakbell.gear.effect import effect_of
from soakbell.gear.fold import Whereabouts
from soakbell.gear.log import BaitBought, BaitMoved, EngineHours, FoundMissing, Pulled, TrapsSet

SET = told(TrapsSet())
PULL = told(Pulled(), 100)


def odd(*args: object) -> list[tuple[str, str]]:
    return [(each.entry_id, each.key) for each in effect_of(*args, STRINGS).oddities]  # type: ignore[arg-type]


def test_an_entry_of_a_whole_string_names_the_traps_that_it_was_about() -> None:
    lost = told(FoundMissing(), 50, traps=(3,))
    assert effect_of(PULL, [SET, lost, PULL], STRINGS).places == (1, 2, 4)


def test_a_late_entry_is_about_the_traps_of_its_time() -> None:
    home = told(Pulled(reset=False), 200)
    late = effect_of(told(Pulled(), 150, told_after_h=300), [SET, PULL, home], STRINGS)
    assert late.places == (1, 2, 3, 4)
    assert {trap.where for trap in late.then.strings["Nine Foot"].traps} == {Whereabouts.FISHING}


def test_an_entry_that_was_voided_later_does_not_count_for_a_late_one() -> None:
    home = told(Pulled(reset=False), 120)
    late = effect_of(told(Pulled(), 150, told_after_h=300), [SET, home, correction_of(home, 200)], STRINGS)
    assert late.places == (1, 2, 3, 4)


def test_what_an_entry_makes_odd_is_told_and_what_was_odd_before_is_not() -> None:
    few, many = told(BaitBought("cowhide", 4.25), 1), told(BaitMoved("cowhide", 200.0), 2)
    assert odd(many, [SET, few]) == [(many.id, "boxes")]
    assert odd(told(EngineHours(10.0), 3), [SET, few, many]) == []


def test_a_correction_tells_what_leaned_on_what_it_voids() -> None:
    assert odd(correction_of(SET, 101), [SET, PULL]) == [(PULL.id, "traps")]
    assert odd(correction_of(PULL, 101), [SET, PULL]) == []

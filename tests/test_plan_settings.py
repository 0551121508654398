"""The plan file: what is taken, what is refused, what is said about it, and that no fault in it stops anything."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from soakbell.errors import Fault, SettingsError
from soakbell.plan_settings import load_terms, terms_of
from soakbell.planning.fit_chance import ERRING
from soakbell.planning.plan_terms import PlanTerms
from soakbell.sea.trust import WORST_OF_ALL, BinError
from soakbell.settings import load_settings

EXAMPLE = Path(__file__).parents[1] / "config"
PLAN = (EXAMPLE / "plan.toml").read_text("utf-8")

Written = Callable[[str], Path]


@pytest.fixture
def written(tmp_path: Path) -> Written:
    def write(text: str) -> Path:
        path = tmp_path / "plan.toml"
        path.write_text(text, "utf-8")
        return path

    return write


def faults_of(path: Path) -> dict[str, Fault]:
    with pytest.raises(SettingsError) as caught:
        load_terms(path)
    return {fault.key: fault for fault in caught.value.faults}


def test_the_example_boat_names_the_example_plan_file_and_it_is_taken_as_it_ships() -> None:
    terms = terms_of(load_settings(EXAMPLE / "boat.toml", {"HOME": "/home/skipper"}, with_secrets=False))
    assert isinstance(terms, PlanTerms)
    assert terms.horizon_days == 8
    assert terms.crew_days_off == {6}
    december, july = terms.usual_fit_chance[11], terms.usual_fit_chance[6]
    assert december < july


def test_the_example_says_that_it_is_invented_and_marks_what_was_looked_up_nowhere() -> None:
    assert "INVENTED DATA" in PLAN
    assert "from memory" in PLAN
    assert "common practice, no source" in PLAN


def test_an_empty_file_means_what_the_example_says_but_for_days_off_and_the_usual_weather(
    written: Written,
) -> None:
    """The example says so of itself, so that a skipper may strike out any line."""
    example, empty = load_terms(EXAMPLE / "plan.toml"), load_terms(written(""))
    assert empty.curve == example.curve
    assert empty.trust == example.trust
    assert empty.take_up == example.take_up
    assert (empty.trip_cost_usd, empty.wear_usd_a_trap, empty.bait_usd_a_box) == (120, 0.5, 30)
    assert not empty.crew_days_off
    assert set(empty.usual_fit_chance) == {0.5}


def test_one_usual_chance_holds_for_all_months(written: Written) -> None:
    assert load_terms(written("[weather]\nusual_fit_chance = 0.3")).usual_fit_chance == (0.3,) * 12


@pytest.mark.parametrize(
    ("text", "key", "write"),
    [
        ("[plan]\nhorizon = 3", "plan.horizon", "horizon_days?"),
        ("[plan]\nhorizon_days = 30", "plan.horizon_days", "days, 2 to 14"),
        ('[plan]\ncrew_days_off = ["Sunday"]', "plan.crew_days_off[0]", '["Sun"]'),
        ('[plan]\ncrew_days_off = ["Sun", "Sun"]', "plan.crew_days_off", "each one once"),
        ("[plan]\nprice_usd_lb = 0", "plan.price_usd_lb", "or leave it out"),
        ("[plan]\ntrip_cost_usd = -1", "plan.trip_cost_usd", "0 to 100000"),
        ("[plan]\ntrip_cost_usd = inf", "plan.trip_cost_usd", "0 to 100000"),
        ("[weather]\nusual_fit_chance = [0.4, 0.4]", "weather.usual_fit_chance", "a list of twelve"),
        ("[weather]\nusual_fit_chance = 40", "weather.usual_fit_chance[0]", "a chance from 0 to 1"),
        ("[curve]\nloss = { median = -1, spread = 1 }", "curve.loss.median", "more than 0"),
        ("[trust.wind_kt]\nsd = [1]\nleast_sd = 1", "trust.wind_kt.sd", "one for each of trust.lead_h"),
        ("[trust]\nlead_h = [0, 72, 24, 168]", "trust.lead_h", "each later than the one before"),
        ("[plan]\ndeck_traps = 80", "plan.deck_traps", "deck_traps is now in boat.toml"),
        ("[take_up]\nstack_min_per_trap = 1", "take_up.stack_min_per_trap", "now in boat.toml"),
        ("[take_up]\nunload_min_per_trap = nan", "take_up.unload_min_per_trap", "minutes a trap, 0 to 60"),
        ("[take_up]\ntrips_a_day = 5", "take_up.trips_a_day", "trips, 1 to 4"),
        ("[take_up]\ntrips_a_day = 0", "take_up.trips_a_day", "trips, 1 to 4"),
        ("[takeup]\ntrips_a_day = 1", "takeup", "take_up?"),
        ("[weathr]\nforecast_days = 5", "weathr", "weather?"),
    ],
)
def test_a_fault_names_its_field_and_says_what_to_write(written: Written, text: str, key: str, write: str) -> None:
    assert write in faults_of(written(text))[key].write


def test_all_faults_are_told_at_once(written: Written) -> None:
    assert len(faults_of(written("[plan]\nhorizon = 3\nseed = -1\n[curve]\nloss = 2"))) == 3


@pytest.mark.parametrize("text", ["[plan", "plan = 3", "\x00", "[plan]\nhorizon_days = 1" + "0" * 5000])
def test_a_broken_file_is_told_and_nothing_else_happens(written: Written, text: str) -> None:
    assert faults_of(written(text))


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cut=st.integers(0, len(PLAN)), put=st.text(max_size=4), skip=st.integers(0, 60))
def test_whatever_is_in_the_file_it_is_taken_or_told(tmp_path: Path, cut: int, put: str, skip: int) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes((PLAN[:cut] + put + PLAN[cut + skip :]).encode("utf-8", "replace"))
    try:
        told: object = load_terms(path)
    except SettingsError as fault:
        told = fault.faults
    assert told


def test_a_settings_file_without_the_table_has_no_plan(tmp_path: Path) -> None:
    text = (EXAMPLE / "boat.toml").read_text("utf-8").replace('[plan]\nfile = "plan.toml"', "")
    (tmp_path / "boat.toml").write_text(text, "utf-8")
    (tmp_path / "fisheries").symlink_to(EXAMPLE / "fisheries")
    loaded = load_settings(tmp_path / "boat.toml", {"HOME": str(tmp_path)}, with_secrets=False)
    assert terms_of(loaded) is None


def test_a_plan_file_that_is_not_there_is_told_by_name(tmp_path: Path) -> None:
    (tmp_path / "boat.toml").write_text((EXAMPLE / "boat.toml").read_text("utf-8"), "utf-8")
    (tmp_path / "fisheries").symlink_to(EXAMPLE / "fisheries")
    loaded = load_settings(tmp_path / "boat.toml", {"HOME": str(tmp_path)}, with_secrets=False)
    told = terms_of(loaded)
    assert isinstance(told, str)
    assert "plan.toml" in told


def test_a_short_record_makes_no_forecast_look_surer_than_the_settings_do() -> None:
    trust = load_terms(EXAMPLE / "plan.toml").trust
    lead_h = np.arange(0, 170, 6.0)
    few = BinError(
        WORST_OF_ALL, "wind_kt", 0, 24, pairs=200, days=10, bias=-2.0, median=-2.0, sd=0.5, robust_sd=0.5
    )
    prior, short = trust.models(), trust.models([few], [few.area])
    assert set(prior) == set(ERRING)
    assert (short["wind_kt"].rougher_sd_at(lead_h) >= prior["wind_kt"].rougher_sd_at(lead_h)).all()
    assert (short["wind_kt"].bias_at(lead_h) >= prior["wind_kt"].bias_at(lead_h)).all()

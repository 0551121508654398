"""The loopback server answers what the service asks, at the moment its clock shows."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from urllib.request import Request, urlopen

import pytest
from demo.forecast_server import Services, serving
from demo.weather import FORTNIGHT, Weather

from soakbell.clock import SetClock
from soakbell.errors import FetchFailed
from soakbell.feeds.points import parse_point
from soakbell.feeds.requests_list import (
    PublicServices,
    fetch_newest_product,
    fetch_warnings,
    grid_ask,
    latest_observations_ask,
    listing_ask,
    observations_ask,
    point_ask,
    warnings_ask,
    zone_ask,
)
from soakbell.feeds.transport import Transport
from soakbell.feeds.zone_text import parse_zone_text

QUIET = datetime(2026, 12, 8, 9, 45, tzinfo=UTC)
DURING_OUTAGE = FORTNIGHT.outages[0].starts_at
IN_SILENCE = FORTNIGHT.silences[0].starts_at + timedelta(hours=26, minutes=30)


@pytest.fixture
def clock():
    return SetClock(QUIET)


@pytest.fixture
def server(clock):
    with serving(Weather(FORTNIGHT), clock.now) as running:
        yield running


@pytest.fixture
def transport(clock):
    return Transport(
        contact="skipper@boat.example",
        allowed_hosts=["127.0.0.1"],
        clock=clock,
        jitter=lambda: 0.0,
        allow_loopback=True,
    )


def test_every_request_of_the_service_gets_a_usable_answer(server, transport):
    services = PublicServices(server.base, server.base)
    asks = [
        listing_ask("TAE", "CWF", services),
        warnings_ask("GMZ730", services),
        grid_ask("TAE/77,71", services),
        grid_ask("TAE/76,65", services),
        observations_ask(FORTNIGHT.station, services),
        point_ask(30.05, -84.15, services),
        zone_ask("GMZ730", services),
        latest_observations_ask(services),
    ]
    assert [transport.fetch(ask).status for ask in asks] == [200] * len(asks)
    assert [asked.status for asked in server.asked] == [200] * len(asks)


def test_a_point_leads_to_its_cell(server, transport):
    services = PublicServices(server.base, server.base)
    assert parse_point(transport.fetch(point_ask(29.92, -84.18, services)).body).cell == "TAE/76,65"
    with pytest.raises(FetchFailed, match="Data Unavailable For Requested Point"):
        transport.fetch(point_ask(31.0, -84.18, services))


def test_the_newest_product_and_all_warnings_are_found(server, transport):
    services = PublicServices(server.base, server.base)
    bulletin = parse_zone_text(fetch_newest_product(transport, "TAE", services=services).body)
    assert bulletin.issued_at == datetime(2026, 12, 8, 8, 30, tzinfo=UTC)
    assert len(fetch_warnings(transport, "GMZ730", services)) == 1


def test_an_outage_answers_with_a_problem_report_and_retries_outlast_it(server, transport, clock):
    clock.put(DURING_OUTAGE)
    services = PublicServices(server.base, server.base)
    assert transport.fetch(grid_ask("TAE/77,71", services)).status == 200
    assert [asked.status for asked in server.asked][:-1] == [503] * (len(server.asked) - 1)
    assert server.asked[0].what == "Forecast Grid Expired"
    assert clock.now() >= FORTNIGHT.outages[0].ends_at


def test_in_the_silence_the_list_answers_well_and_leads_to_an_old_text():
    answer = Services(Weather(FORTNIGHT)).answer("/products/types/CWF/locations/TAE", IN_SILENCE)
    newest = json.loads(answer.body)["@graph"][0]["issuanceTime"]
    assert answer.status == 200
    assert IN_SILENCE - datetime.fromisoformat(newest) > timedelta(hours=24)


@pytest.mark.parametrize("path", ["/", "/alerts/active?zone=GMZ755", "/gridpoints/TAE/1,1", "/products/nothing"])
def test_what_the_scenario_does_not_have_is_not_found(path):
    answer = Services(Weather(FORTNIGHT)).answer(path, QUIET)
    assert (answer.status, answer.media_type) == (404, "application/problem+json")


def test_an_unchanged_answer_is_confirmed_by_its_tag(server):
    url = f"{server.base}/gridpoints/TAE/77,71"
    with urlopen(url) as first:
        tag = first.headers["ETag"]
    transport_like = Request(url, headers={"If-None-Match": tag})
    with pytest.raises(Exception, match="304"):
        urlopen(transport_like)
    assert [asked.status for asked in server.asked] == [200, 304]

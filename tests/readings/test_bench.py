"""What a state of the network gives for a reading: against the trace's own solution and station readings."""

from dataclasses import replace

import numpy as np
import pytest

from corridor.errors import InputError
from corridor.readings.asked import Asked, asked_of, receiver_of
from corridor.readings.bench import Bench, Response, benches
from corridor.readings.extend import Contact, Parting, extended
from corridor.readings.plan import set_ups_of
from corridor.readings.table import check_readings
from corridor.settings import SolverSettings
from corridor.tone.cases import CASES
from corridor.tone.predict import predict
from corridor.tone.solve import solve_tone
from corridor.tone.stations import set_stations
from tests.readings.small import EQUIPMENT, FREQUENCY_HZ, SETTINGS, rows, small_plan, small_prepared, small_site

PREPARED, PLAN, SITE = small_prepared(), small_plan(), small_site()
SETUPS = {name: one for name, one in set_ups_of(PLAN).items() if one is not None}
ASKED = asked_of(
    check_readings(rows(), SITE, set_ups_of(PLAN), settings=SETTINGS.readings), SITE.lines, SETUPS, {"S1": (0,)},
    settings=SETTINGS,
)  # fmt: skip
CUT = int(PREPARED.model.sections_of("A")[5])
ROOM = extended(
    PREPARED.model, PREPARED.drives, (Contact("A", 60.0, "B", 60.0), Parting(CUT)), soil=PREPARED.soil
)  # fmt: skip
OPEN, BONDED = ((ROOM.index[1], np.inf),), ((ROOM.index[0], 0.01),)


@pytest.fixture(scope="module")
def bench() -> Bench:
    (made,) = benches(
        [(ROOM.model, (0.5, 1.0, 2.0))], ROOM.drives, ROOM.index, frequencies_hz=[FREQUENCY_HZ], soil=PREPARED.soil,
        equipment=EQUIPMENT, receiver=receiver_of(SETTINGS),
    )  # fmt: skip
    return made


@pytest.fixture(scope="module")
def response(bench: Bench) -> Response:
    return bench.respond([(), OPEN, BONDED], ASKED)


def test_shapes_and_what_has_no_place(response: Response) -> None:
    assert response.per_a.shape == (len(ASKED), 3, 3, 1)
    source = [k for k, one in enumerate(ASKED) if not one.placed]
    assert np.isnan(response.own_a[source]).all()
    assert np.isfinite(response.loop_ohm).all()
    assert (response.slope_per_m >= 0).all()


def test_loop_and_currents_are_those_of_the_plain_solution(response: Response) -> None:
    # against solve_tone, which the trace uses, on the network without anything put in
    solution = solve_tone(
        PREPARED.model, PREPARED.drives, CASES[:1], frequencies_hz=[FREQUENCY_HZ], soil=PREPARED.soil,
        equipment=EQUIPMENT,
    )  # fmt: skip
    result = solution.results[FREQUENCY_HZ, "nominal"]
    assert response.loop_ohm[0, 1, 0, 0] == pytest.approx(result.loop_ohm[0], rel=1e-5)
    assert response.available_a[0, 1, 0, 0] == pytest.approx(result.available_a[0], rel=1e-5)
    for k, one in enumerate(ASKED):
        if one.placed:
            near = abs(result.current_a[PREPARED.model.section_at(one.line_id, one.station_m), 0])
            assert response.own_a[k, 1, 0, 0] == pytest.approx(near, rel=0.02, abs=1e-4)


def test_the_receiver_is_the_stations_receiver(response: Response) -> None:
    # against predict on stations of the same line, interpolated to the same place: they see the same field
    solution = solve_tone(
        PREPARED.model, PREPARED.drives, CASES[:1], frequencies_hz=[FREQUENCY_HZ], soil=PREPARED.soil,
        equipment=EQUIPMENT,
    )  # fmt: skip
    line = SITE.lines.set_index("line_id").geometry.loc["A"]
    stations = set_stations("A", line, depth_m=1.0, spacing_m=1.0)
    seen = predict(solution, stations, [0], receiver=receiver_of(SETTINGS)).inferred_a[:, 0, 0, 0]
    for k, one in enumerate(ASKED):
        if one.kind == "receiver_ma" and one.line_id == "A":
            there = np.interp(one.station_m, stations.measure_m, seen)
            assert response.per_a[k, 1, 0, 0] == pytest.approx(there, rel=0.01)


def test_a_parted_line_carries_next_to_nothing_beyond(response: Response) -> None:
    cut_m = PREPARED.model.measure_m[CUT, 0]
    beyond = [k for k, one in enumerate(ASKED) if one.line_id == "A" and one.placed and one.station_m > cut_m + 5]
    assert beyond
    assert (response.own_a[beyond, :, 1, 0] < 0.2 * response.own_a[beyond, :, 0, 0]).all()


def test_a_bond_puts_tone_on_the_neighbour(response: Response) -> None:
    on_b = [k for k, one in enumerate(ASKED) if one.line_id == "B"]
    assert (response.own_a[on_b, 1, 2, 0] > 1.5 * response.own_a[on_b, 1, 0, 0]).all()


def test_dry_soil_raises_the_loop(response: Response) -> None:
    # the stake's resistance is proportional to the soil's resistivity (Dwight 1936)
    loop = np.abs(response.loop_ohm[0, :, 0, 0])
    assert loop[0] < loop[1] < loop[2]


def test_a_state_is_the_same_alone_and_among_others(bench: Bench, response: Response) -> None:
    alone = bench.respond([BONDED], ASKED)
    assert alone.own_a[..., 0, :] == pytest.approx(response.own_a[..., 2, :], nan_ok=True)
    assert alone.loop_ohm[..., 0, :] == pytest.approx(response.loop_ohm[..., 2, :])


def test_the_place_within_a_section_counts(bench: Bench) -> None:
    # Kirchhoff along a section: what leaves it evenly makes the current linear from head to tail
    first = next(one for one in ASKED if one.kind == "receiver_ma")
    low, high = PREPARED.model.measure_m[PREPARED.model.section_at("A", first.station_m)]
    places = [replace(first, kind="clamp_ma", station_m=low + share * (high - low)) for share in (0.01, 0.5, 0.99)]
    own = bench.respond([()], places).own_a[:, 1, 0, 0]
    assert own[1] == pytest.approx((own[0] + own[2]) / 2, rel=1e-3)


def test_offsets_and_depths_are_metres(bench: Bench) -> None:
    first = next(one for one in ASKED if one.kind == "receiver_ma")
    asked: list[Asked] = [replace(first, kind=kind) for kind in ("peak_offset_m", "depth_reading_m")]
    offset, depth = bench.respond([()], asked).per_a[:, 1, 0, 0]
    assert abs(offset) < 0.5
    assert 0.5 < depth < 1.5


def test_a_field_without_a_peak_is_no_reading(bench: Bench) -> None:
    # over B the field of A, 1.8 m aside, rises to the end of the search
    on_b = [one for one in ASKED if one.line_id == "B"]
    assert np.isnan(bench.respond([()], on_b).per_a).any()


def test_a_network_in_blocks_is_refused() -> None:
    large = replace(ROOM.model, solver=SolverSettings(section_limit=10))
    with pytest.raises(InputError, match="expected a network of 10 sections at most"):
        benches(
            [(large, (1.0,))], ROOM.drives, ROOM.index, frequencies_hz=[FREQUENCY_HZ], soil=PREPARED.soil,
            equipment=EQUIPMENT, receiver=receiver_of(SETTINGS),
        )  # fmt: skip

"""Passive tone: what a receiver without a transmitter would read above the lines; indicative, never planned with."""

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import networkx as nx
import numpy as np

from corridor.constants import MA_PER_A
from corridor.couplings import find_couplings
from corridor.couplings.model import Couplings
from corridor.dictionary import GONE
from corridor.errors import DomainError, InputError
from corridor.frames import stamp
from corridor.network.build import build_network
from corridor.network.model import Network
from corridor.network.part import part_of
from corridor.network.reach import Growth, grow, reach_graph
from corridor.plan.outcome import line_stations
from corridor.settings import Settings
from corridor.site import Site
from corridor.tone.assemble import build_model
from corridor.tone.cases import CASES, soil_range
from corridor.tone.leaving import with_tails
from corridor.tone.model import SoilRange, ToneModel
from corridor.tone.passive import PASSIVE_KINDS, Feed, MainsCurrent, solve_passive
from corridor.tone.predict import predict
from corridor.tone.receiver import current_from_field
from corridor.tone.solve import ToneSolution, check_frequency
from corridor.tone.stations import set_stations
from corridor.tone.tables import NT_PER_T, Rows, Setting, as_table, section_rows
from corridor.tone.wave import RadioWave, wave_field_t

__all__ = ["INDICATIVE", "PassiveTrace", "trace_passive"]

INDICATIVE = (
    "Indicative only: passive tone rests on assumed sources. A passive sweep finds only what carries current at that "
    "moment; where nothing is heard, lines may still be there, and live."
)

ELECTRIC = ("electricity", "lighting", "traffic_signal")  # traction runs on direct current as a rule
SUPPLIES = ("substation", "transformer", "cabinet")  # where a line is fed from, most likely first (common practice)
IDLE = (*GONE, "abandoned", "out_of_service")
FEED_M = 5.0  # from the supply's end: beyond the grounds and bonds that stand at it (engineering estimate)
SECTION_GUESS_M = 2.0  # mean length, to foresee how many sections a network needs
MV_PER_V = 1000.0


@dataclass(frozen=True)
class PassiveTrace:
    """What a receiver would read without a transmitter: indicative.

    ``sections`` and ``stations`` are tables of the data dictionary, of the lines looked at; their ``hookup_id`` says
    passive mains or radio, and that it is indicative; shares, phase and sense are empty, since there is no target.
    ``fed`` are the lines that mains current was fed into, ``silent`` those looked at on which nothing would be heard,
    and which therefore have no stations: they are still there.
    """

    sections: gpd.GeoDataFrame
    stations: gpd.GeoDataFrame
    kind: str
    frequency_hz: float
    fed: tuple[str, ...]
    silent: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Part:
    """The network that is solved, and what it was cut from."""

    network: Network
    model: ToneModel
    soil: SoilRange
    growth: Growth
    note: str


def trace_passive(
    site: Site,
    kind: str,
    *,
    lines: Sequence[str] | None = None,
    frequency_hz: float | None = None,
    settings: Settings | None = None,
) -> PassiveTrace:
    """Predict what a receiver reads above lines that carry mains current or pick up a radio wave. Indicative.

    Parameters
    ----------
    site : Site
        The records.
    kind : str
        ``mains``: net current of the electric lines in service, fed at the supply's end. ``radio``: a long wave along
        the ground that drives every line.
    lines : sequence of str, optional
        Lines to look at, with the network around them; default all that conduct.
    frequency_hz : float, optional
        In place of the settings'.
    settings : Settings, optional
        Part ``passive`` holds the sources; defaults where left out.

    Returns
    -------
    PassiveTrace

    Raises
    ------
    DomainError
        If the kind is no such word, or the frequency is out of range.
    InputError
        If a line isn't in the records, none conducts, no electric line is there for mains, or the network is too large
        to be solved whole.
    """
    settings = settings or Settings()
    if kind not in PASSIVE_KINDS:
        message = f"expected passive tone of {' or '.join(PASSIVE_KINDS)}, got {kind!r}"
        raise DomainError(message)
    ours = settings.passive
    wished = frequency_hz if frequency_hz is not None else getattr(ours, f"{kind}_frequency_hz")
    frequency = check_frequency(wished)
    couplings = find_couplings(site, settings=settings)
    network = build_network(site, couplings.bonds_found, settings=settings)
    part = _solved_part(site, network, couplings, lines=lines, frequency_hz=frequency, settings=settings)
    source: MainsCurrent | RadioWave
    if kind == "mains":
        feeds = _feeds(site, part)
        fed, floor_nt = tuple(feed.line_id for feed in feeds), ours.mains_floor_nt
        source = MainsCurrent(
            frequency_hz=frequency, net_a=ours.mains_net_ma / MA_PER_A, driving_v=ours.mains_driving_v, feeds=feeds
        )
    else:
        field = ours.radio_field_mv_per_m / MV_PER_V
        fed, floor_nt = (), max(ours.radio_floor_nt, wave_field_t(field) * NT_PER_T)
        source = RadioWave(frequency_hz=frequency, field_v_per_m=field, arrival_deg=ours.radio_arrival_deg)
    solution = solve_passive(part.model, source, CASES, soil=part.soil)
    heard_with = settings.model_copy(update={"grades": settings.grades.model_copy(update={"floor_nt": floor_nt})})
    setting = Setting(f"passive {kind} (indicative)", 0, frequency, 1.0)
    seen = [line for line in part.model.line_ids if lines is None or line in lines]
    stations = _stations(site, solution, setting, lines=seen, settings=heard_with)
    rows = section_rows(solution, setting, lines=site.lines, stations=stations, target=None, only=set(seen))
    sections = as_table("sections", [rows], site.crs)
    asked = {"kind": kind, "frequency_hz": frequency, "indicative": True}
    return PassiveTrace(
        sections=stamp(sections, trace_passive, **asked),
        stations=stamp(stations, trace_passive, **asked),
        kind=kind,
        frequency_hz=frequency,
        fed=fed,
        silent=tuple(sorted(set(seen) - set(stations["line_id"]))),
        notes=(*_source_notes(source, floor_nt), part.note),
    )


def _solved_part(
    site: Site,
    network: Network,
    couplings: Couplings,
    *,
    lines: Sequence[str] | None,
    frequency_hz: float,
    settings: Settings,
) -> _Part:
    """Return the model of the whole network, or of what lies around the lines asked for, as far as limits let it."""
    solver = settings.solver
    carriers = sorted(set(network.spans["line_id"]))
    unknown = sorted(set(lines or ()) - set(site.lines["line_id"]))
    seeds = carriers if lines is None else sorted(set(lines) & set(carriers))
    if unknown or not seeds:
        known = f"such as {', '.join(carriers[:3])}" if carriers else "but the records hold none that do"
        got = ", ".join(unknown) if unknown else "none that conducts"
        message = f"passive tone: expected lines of the records, at least one that conducts ({known}), got {got}"
        raise InputError(message)
    lengths = network.spans.set_index("span_id").geometry.length
    if lines is None:
        guess = lengths.sum() / SECTION_GUESS_M
        if guess > solver.section_limit:
            message = (
                f"expected a network of at most {solver.section_limit} sections (settings, solver.section_limit), the "
                f"whole site has about {guess:.0f}; name the lines to look at"
            )
            raise InputError(message)
        growth = Growth({str(span): 0.0 for span in lengths.index}, (), tuple(carriers))
        note = "the whole network of the records is solved"
    else:
        graph = reach_graph(network, couplings)
        distance = min(solver.growth_step_m, solver.growth_max_m)
        growth = grow(network, couplings, seeds, distance_m=distance, graph=graph)
        while growth.cut_nodes and distance < solver.growth_max_m:
            wider_m = min(2 * distance, solver.growth_max_m)
            wider = grow(network, couplings, seeds, distance_m=wider_m, graph=graph)
            if lengths.loc[list(wider.spans)].sum() / SECTION_GUESS_M > solver.section_limit:
                break
            growth, distance = wider, wider_m
        note = f"the network solved reaches {distance:.0f} m out; what lies beyond brings no current here"
    dead = sorted(set(lines or site.lines["line_id"]) - set(carriers))
    if dead:
        note += f"; {len(dead)} lines conduct nothing along them and are never heard: {', '.join(dead)}"
    rows = site.lines[site.lines["line_id"].isin(growth.lines)]
    soil = soil_range(site.soil, rows, settings.soil)
    whole = part_of(network, growth.spans.keys())
    closed = with_tails(whole, growth.cut_nodes, rows, frequency_hz=frequency_hz, soil=soil)
    model = build_model(closed, rows, frequency_max_hz=frequency_hz, soil=soil, settings=settings)
    return _Part(whole, model, soil, growth, note)


def _feeds(site: Site, part: _Part) -> tuple[Feed, ...]:
    """Return where mains current is fed in: each electric line that ends at a supply, or the longest of those joined.

    Raises
    ------
    InputError
        If no line of the network is an electric one in service.
    """
    lines = site.lines.set_index("line_id")
    solved = lines.loc[list(part.growth.lines)]
    electric = solved[
        solved["utility"].isin(ELECTRIC)
        & ~solved["status"].isin(IDLE)
        & (solved["energized"].fillna("unknown") != "no")
    ]
    if electric.empty:
        message = (
            f"passive mains: expected an electric line in service ({', '.join(ELECTRIC)}) among the {len(solved)} "
            "lines that are solved, got none; look at other lines, or take passive radio"
        )
        raise InputError(message)
    supplied = _supply_ends(site, set(electric.index))
    chosen = dict(supplied)
    for group in _joined(part.network, set(electric.index)):
        if not group & set(supplied):
            longest = min(group, key=lambda line: (-electric.geometry[line].length, line))
            chosen[longest] = "start"
    feeds = []
    for line_id, end in sorted(chosen.items()):
        length = electric.geometry[line_id].length
        inward = min(FEED_M, length / 2)
        at_m, sign = (inward, 1) if end == "start" else (length - inward, -1)
        if part.model.sections_of(line_id).size:
            feeds.append(Feed(line_id, part.model.section_at(line_id, at_m), sign))
    return tuple(feeds)


def _supply_ends(site: Site, electric: set[str]) -> dict[str, str]:
    """Return which end of a line stands at a supply; of two ends the likelier, then the start."""
    kinds = site.structures[site.structures["kind"].isin(SUPPLIES)].set_index("structure_id")["kind"]
    ends = site.terminations
    ends = ends[ends["at"].isin(["start", "end"]) & ends["structure_id"].isin(kinds.index)]
    best: dict[str, tuple[int, bool]] = {}
    for line_id, structure_id, at in zip(ends["line_id"], ends["structure_id"], ends["at"], strict=True):
        if line_id in electric:
            rank = (SUPPLIES.index(kinds[structure_id]), at == "end")
            best[line_id] = min(rank, best.get(line_id, rank))
    return {line_id: "end" if at_end else "start" for line_id, (_, at_end) in best.items()}


def _joined(network: Network, electric: set[str]) -> list[set[str]]:
    """Return the electric lines in groups that closed links join."""
    graph: nx.Graph[str] = nx.Graph()
    graph.add_nodes_from(sorted(electric))
    links = network.links[network.links["closed"].astype(bool)]
    for a, b in zip(links["line_a"], links["line_b"], strict=True):
        if a in electric and b in electric:
            graph.add_edge(a, b)
    return [set(group) for group in nx.connected_components(graph)]


def _stations(
    site: Site, solution: ToneSolution, setting: Setting, *, lines: Sequence[str], settings: Settings
) -> gpd.GeoDataFrame:
    """Return the table ``stations`` of those lines whose own current could be heard right above them in some case."""
    model, receiver = solution.model, settings.receiver
    rows = site.lines.set_index("line_id", drop=False)
    largest = np.max([np.abs(result.current_a[:, 0]) for result in solution.results.values()], axis=0)
    parts: list[Rows] = []
    for line_id in lines:
        row = rows.loc[line_id]
        depth = float(row["depth_m"])
        floor_a = float(current_from_field(settings.grades.floor_nt / NT_PER_T, depth + receiver.lower_coil_height_m))
        if largest[model.sections_of(line_id)].max(initial=0.0) < floor_a:
            continue
        stations = set_stations(line_id, row.geometry, depth_m=depth, spacing_m=receiver.station_spacing_m)
        prediction = predict(solution, stations, [0], receiver=receiver)
        parts.append(line_stations(site, solution, prediction, setting, settings=settings))
    return as_table("stations", parts, site.crs)


def _source_notes(source: MainsCurrent | RadioWave, floor_nt: float) -> tuple[str, ...]:
    """Say what was assumed about the source."""
    if isinstance(source, MainsCurrent):
        return (
            f"assumed: a net current of {source.net_a * MA_PER_A:g} mA at {source.frequency_hz:g} Hz, driven by at "
            f"most {source.driving_v:g} V, into {', '.join(feed.line_id for feed in source.feeds)}; all in phase, back "
            f"through grounds, bonds and soil; receiver floor {floor_nt:g} nT",
        )
    return (
        f"assumed: a wave of {source.field_v_per_m * MV_PER_V:g} mV/m at {source.frequency_hz:g} Hz from bearing "
        f"{source.arrival_deg:g} degrees; receiver floor {floor_nt:.3g} nT, no less than the wave's own field, which "
        "the readings leave out",
    )

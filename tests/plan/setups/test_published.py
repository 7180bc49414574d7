"""Choices, tours, shares and colourings against published answers of the problems that they are."""

import math
from collections.abc import Callable
from itertools import combinations, product

import networkx as nx
import numpy as np
import pytest

from corridor.plan.setups.cover import choose_setups, greedy_setups, trade_off
from corridor.plan.setups.crews import share_out
from corridor.plan.setups.frequencies import colour_frequencies
from corridor.plan.setups.lagrange import relax
from corridor.plan.setups.problem import make_problem
from corridor.plan.setups.reduction import least_rows, undominated
from corridor.plan.setups.tour import best_tour, tour_length
from corridor.plan.setups.verify import verify_first

Square = tuple[int, int]


def queen(a: Square, b: Square) -> bool:
    return a[0] == b[0] or a[1] == b[1] or abs(a[0] - b[0]) == abs(a[1] - b[1])


def king(a: Square, b: Square) -> bool:
    return max(abs(a[0] - b[0]), abs(a[1] - b[1])) <= 1


def knight(a: Square, b: Square) -> bool:
    return a == b or sorted((abs(a[0] - b[0]), abs(a[1] - b[1]))) == [1, 2]


def bishop(a: Square, b: Square) -> bool:
    return abs(a[0] - b[0]) == abs(a[1] - b[1])


def rook(a: Square, b: Square) -> bool:
    return a[0] == b[0] or a[1] == b[1]


def board(size: int, attacks: Callable[[Square, Square], bool]) -> np.ndarray:
    """Squares that each square's piece holds: every square has to be held, and each is a place for a piece."""
    squares = list(product(range(size), repeat=2))
    return np.array([[float(attacks(a, b)) for b in squares] for a in squares])


def fewest(covers: np.ndarray) -> int:
    cover = choose_setups(np.ones(len(covers)), covers, preference=np.zeros(covers.shape[1]), near=0, time_limit_s=60)
    assert cover.proven
    assert cover.gap == 0
    assert (covers[:, cover.chosen].max(axis=1) == 1).all()
    assert len(cover.chosen) <= len(
        greedy_setups(np.ones(len(covers)), covers, preference=np.zeros(covers.shape[1])).chosen
    )
    return cover.number


@pytest.mark.parametrize(("size", "number"), [(4, 2), (5, 3), (6, 3), (7, 4), (8, 5)])
def test_queens_that_hold_a_board(size: int, number: int) -> None:
    # de Jaenisch (1862), Traite des applications de l'analyse mathematique au jeu des echecs: five on the usual board;
    # the row of sizes is sequence A075458 of the encyclopedia of integer sequences (from memory)
    assert fewest(board(size, queen)) == number


@pytest.mark.parametrize(("size", "number"), [(4, 4), (5, 5), (6, 8), (7, 10)])
def test_knights_that_hold_a_board(size: int, number: int) -> None:
    # sequence A006075 of the encyclopedia of integer sequences (from memory)
    assert fewest(board(size, knight)) == number


@pytest.mark.parametrize("size", [3, 4, 5, 6])
def test_kings_bishops_and_rooks_that_hold_a_board(size: int) -> None:
    # Yaglom and Yaglom (1964), Challenging Mathematical Problems (from memory): the square of (n + 2) // 3 kings,
    # n bishops, n rooks
    assert fewest(board(size, king)) == ((size + 2) // 3) ** 2
    assert fewest(board(size, bishop)) == size
    assert fewest(board(size, rook)) == size


def lines_of_two(dimension: int) -> np.ndarray:
    """Lines of the projective space over two elements: three points whose coordinates add up to zero."""
    points = range(1, 2 ** (dimension + 1))
    lines = [{a, b, a ^ b} for a, b in combinations(points, 2) if b < a ^ b]
    return np.array([[float(point in line) for point in points] for line in lines])


def lines_of_three(dimension: int) -> np.ndarray:
    """Lines of the affine space over three elements: three points whose coordinates add up to zero."""
    points = list(product(range(3), repeat=dimension))
    lines = {
        frozenset((a, b, tuple(-(x + y) % 3 for x, y in zip(a, b, strict=True)))) for a, b in combinations(points, 2)
    }
    return np.array([[float(point in line) for point in points] for line in sorted(lines, key=sorted)])


@pytest.mark.parametrize("dimension", [2, 3])
def test_points_that_meet_every_line_of_a_projective_space(dimension: int) -> None:
    # Bose and Burton (1966), Journal of Combinatorial Theory 1, 96-104: a hyperplane, 2^d - 1 points, and no fewer
    assert fewest(lines_of_two(dimension)) == 2**dimension - 1


@pytest.mark.parametrize(("dimension", "cap"), [(2, 4), pytest.param(3, 9, marks=pytest.mark.thorough)])
def test_points_that_meet_every_line_of_an_affine_space(dimension: int, cap: int) -> None:
    # what is left is a set without a line, at most 4 and 9 points (Davis and Maclagan 2003, The Mathematical
    # Intelligencer 25(3), 33-40). The triples of 9 and 27 points are also the first covering problems of Fulkerson,
    # Nemhauser and Trotter (1974), Mathematical Programming Study 2, 72-81, with the answers 5 and 18 (from memory)
    assert fewest(lines_of_three(dimension)) == 3**dimension - cap


def test_reductions_take_nothing_from_a_space_in_which_all_points_are_alike() -> None:
    covers = lines_of_three(2) > 0
    assert least_rows(covers).size == 12
    assert undominated(covers).size == 9


def test_edges_are_covered_by_as_many_corners_as_edges_can_be_matched() -> None:
    # Konig (1931): in a graph of two sides the fewest corners that meet all edges are as many as edges without a common
    # corner; the matching by networkx (Hopcroft and Karp 1973)
    rng = np.random.default_rng(3)
    for _ in range(10):
        graph: nx.Graph = nx.Graph()
        graph.add_nodes_from(range(16))
        graph.add_edges_from((int(a), 8 + int(b)) for a, b in rng.integers(0, 8, (18, 2)))
        covers = np.array([[float(node in edge) for node in range(16)] for edge in graph.edges])
        matching = nx.bipartite.hopcroft_karp_matching(graph, top_nodes=range(8))
        assert fewest(covers) == len(matching) // 2


def test_intervals_are_met_by_as_few_points_as_the_rule_of_ends_takes() -> None:
    # covering by intervals is solved by taking ends in order (Gavril 1972, SIAM J. Comput. 1(2), 180-187; from memory):
    # so it is along one line, where a set-up shows a piece on both sides of it
    rng = np.random.default_rng(4)
    for _ in range(10):
        start = np.sort(rng.uniform(0, 100, 25))
        end = start + rng.uniform(2, 25, 25)
        taken: list[float] = []
        for k in np.argsort(end):
            if not taken or taken[-1] < start[k]:
                taken.append(float(end[k]))
        covers = ((start[:, None] <= end) & (end <= end[:, None])).astype(float)
        assert fewest(covers) == len(taken)


def test_medians_on_a_line_equal_dynamic_programming() -> None:
    # the p-median problem on a line is solved by dynamic programming over neighbours (Hassin and Tamir 1991, Operations
    # Research Letters 10(7), 395-402): here, places at their own worth less distance
    rng = np.random.default_rng(5)
    at = np.sort(rng.uniform(0, 1, 14))
    value = 1 - np.abs(at[:, None] - at)
    weight = rng.uniform(1, 9, 14)

    def alone(a: int, b: int) -> float:
        return max(float(weight[a:b] @ value[a:b, c]) for c in range(a, b))

    best = np.full((5, 15), -np.inf)
    best[0, 0] = 0.0
    for number in range(1, 5):
        for b in range(1, 15):
            best[number, b] = max(best[number - 1, a] + alone(a, b) for a in range(b))
    table = trade_off(weight, value, preference=np.zeros(14), most=4)
    assert [readable_m for _, readable_m in table] == pytest.approx(best[1:, 14].tolist())
    for number in range(1, 5):
        problem = make_problem(weight, value, preference=np.zeros(14))
        assert relax(problem, np.array([0]), max_setups=number).bound_m >= best[number, 14] - 1e-6


# TSPLIB (Reinelt 1991, ORSA Journal on Computing 3(4), 376-384), burma14, degrees and minutes; from memory
BURMA = np.array(
    [(16.47, 96.10), (16.47, 94.44), (20.09, 92.54), (22.39, 93.37), (25.23, 97.24), (22.00, 96.05), (20.47, 97.02),
     (17.20, 96.29), (16.30, 97.38), (14.05, 98.12), (16.53, 97.38), (21.52, 95.59), (19.41, 97.13), (20.09, 94.55)]
)  # fmt: skip


def geographical(places: np.ndarray) -> np.ndarray:
    """Distances by the rule of TSPLIB, km: radius 6378.388, pi 3.141592, rounded down after adding one."""
    whole = np.trunc(places)
    latitude, longitude = (3.141592 * (whole + 5 * (places - whole) / 3) / 180).T
    q1 = np.cos(longitude[:, None] - longitude)
    q2, q3 = np.cos(latitude[:, None] - latitude), np.cos(latitude[:, None] + latitude)
    d = np.floor(6378.388 * np.arccos(np.clip(0.5 * ((1 + q1) * q2 - (1 - q1) * q3), -1, 1)) + 1)
    np.fill_diagonal(d, 0)
    return d


def test_the_round_tour_of_burma14() -> None:
    # optimal length 3323 (TSPLIB). An open tour closes when it starts at one place and has to end at a copy of it: a
    # last place that is far from everything but the copy
    d = geographical(BURMA)
    n, far = len(d), 1e5
    table = np.full((n + 2, n + 2), far)
    table[:n, :n] = d
    table[n, :n] = table[:n, n] = d[0]
    table[n, n + 1] = table[n + 1, n] = 0
    np.fill_diagonal(table, 0)
    table[0, n] = table[n, 0] = far
    order = best_tour(table, start=0)
    assert order[-2:].tolist() == [n, n + 1]
    assert tour_length(table, order) == 3323


def test_knights_walk_a_board() -> None:
    # an open knight's tour of five by five exists, 24 moves (Euler 1759): with moves of length 1 and all else longer,
    # the shortest tour is one. Small enough to be found, too large for the exact method
    squares = list(product(range(5), repeat=2))
    d = np.array([[0.0 if a == b else 1.0 if knight(a, b) else 2.0 for b in squares] for a in squares])
    assert tour_length(d, best_tour(d, start=0, seed=1)) <= 25


@pytest.mark.parametrize(
    ("books", "parts", "longest"),
    [
        # Skiena (2008), The Algorithm Design Manual, section 8.5: nine books to three scanners, and nine equal ones
        ([1, 2, 3, 4, 5, 6, 7, 8, 9], 3, 17),
        ([100] * 9, 3, 300),
        ([100, 200, 300, 400, 500, 600, 700, 800, 900], 3, 1700),
    ],
)
def test_books_shared_out_evenly(books: list[int], parts: int, longest: int) -> None:
    shares = share_out(np.arange(9), np.zeros(8), books, parts)
    assert shares.minutes.max() == longest
    assert sum(shares.minutes) == sum(books)


@pytest.mark.parametrize(
    ("graph", "number"),
    [
        # chromatic numbers of named graphs (Bondy and Murty 1976, Graph Theory with Applications, appendix III; from
        # memory)
        (nx.petersen_graph(), 3),
        (nx.cycle_graph(7), 3),
        (nx.complete_graph(5), 5),
        (nx.icosahedral_graph(), 4),
        (nx.octahedral_graph(), 3),
        (nx.heawood_graph(), 2),
    ],
)
def test_frequencies_are_as_many_as_the_chromatic_number(graph: nx.Graph, number: int) -> None:
    bands = [1000.0 * (k + 1) for k in range(number)]
    for count in (number, number - 1):
        if count:
            conflicts = [(a, b, f) for a, b in graph.edges for f in bands[:count]]
            found = colour_frequencies([bands[:count]] * len(graph), conflicts)
            assert any(found.not_with) == (count < number)
            assert found.proven


def test_pairs_that_wait_are_the_edges_that_the_largest_cut_leaves() -> None:
    # with two frequencies for all, the pairs that wait are the edges inside the halves of a largest cut: the Petersen
    # graph's has 12 of its 15 edges (from memory); the complete graph's floor(n^2 / 4)
    for graph, cut in ((nx.petersen_graph(), 12), (nx.complete_graph(6), 9)):
        conflicts = [(a, b, f) for a, b in graph.edges for f in (1e3, 1e4)]
        found = colour_frequencies([[1e3, 1e4]] * len(graph), conflicts)
        waiting = sum(len(others) for others in found.not_with) // 2
        assert waiting == graph.number_of_edges() - cut


def test_the_oil_wildcatter() -> None:
    # Raiffa (1968), Decision Analysis, chapter 2 (from memory): a hole is dry, wet or soaking with probabilities 0.5,
    # 0.3 and 0.2 and pays -70, 50 or 200 thousand; not drilling pays nothing. Drilling pays 20 on average, knowing the
    # state 55: the information is worth 35. It is worth as much to know whether it is dry
    pays = np.array([[-70.0, 50.0, 200.0], [0.0, 0.0, 0.0]])
    value = (pays + 70) / 270
    gains = verify_first(value[None], [270.0], [[0, 0], [1, 0], [1, 1]], [0.5, 0.3, 0.2], seed=0, sampled=False)
    assert gains.gain_m[0] == pytest.approx(35.0)
    # whether it is soaking: 0.2 x 200 and else 0.8 x max(0, (-35 + 15) / 0.8), less 20
    assert gains.gain_m[1] == pytest.approx(20.0)
    assert gains.order.tolist() == [0, 1]


def test_perfect_information_on_a_newsvendor() -> None:
    # the newsvendor's expected value of perfect information is the optimal expected mismatch cost (Porteus 2002,
    # Foundations of Stochastic Inventory Theory, chapter 1; from memory): demand 0 or 1 alike, over 1, under 3
    cost = np.array([[0.0, 3.0], [1.0, 0.0]])  # order 0 or 1 (rows) at demand 0 or 1
    gains = verify_first(1 - cost[None] / 3, [3.0], [[0], [1]], seed=0, sampled=False)
    assert gains.gain_m[0] == pytest.approx(min(cost.mean(axis=1)))
    assert math.isclose(gains.gain_m[0], 0.5)

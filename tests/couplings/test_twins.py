"""Near-duplicates as conductors: one in the closed case, two in the open one."""

from typing import Any

import numpy as np
import pytest

from corridor import find_bonds
from corridor.couplings.twins import TWIN_RULE, twin_ties
from corridor.network.build import build_network
from corridor.settings import Settings, SiteSettings
from corridor.site.model import Site
from tests.builders import make_site

PIPE = {"utility": "water", "asset": "pipe", "material": "steel", "diameter_mm": 150.0, "depth_m": 1.2}


def site(**second: Any) -> Site:
    """One water main in two layers, the second record 40 m of it and a metre aside."""
    rows = [
        PIPE | {"line_id": "A", "src_feature_source": "one:mains", "geometry": [(0, 0), (100, 0)]},
        PIPE | {"line_id": "B", "src_feature_source": "two:pipes", "geometry": [(70, 1), (30, 1)]} | second,
    ]
    return make_site(lines=rows)


def test_a_pair_is_tied_where_it_begins_and_ends() -> None:
    first, second = twin_ties(site(), settings=SiteSettings())
    assert (first["line_a"], first["line_b"], first["rule"]) == ("A", "B", TWIN_RULE)
    assert (first["measure_a_m"], first["measure_b_m"]) == pytest.approx((30.0, 40.0))
    assert (second["measure_a_m"], second["measure_b_m"]) == pytest.approx((70.0, 0.0))
    assert first["point"].coords[0] == (30.0, 0.0)
    assert first["bond_id"] != second["bond_id"]


@pytest.mark.parametrize(
    "second", [{"conductive": "no"}, {"status": "proposed"}, {"utility": "gas"}, {"src_feature_source": "one:mains"}]
)
def test_no_tie_where_there_is_no_pair_of_conductors(second: dict[str, Any]) -> None:
    assert twin_ties(site(**second), settings=SiteSettings()) == []


def test_ties_are_suspected_bonds_and_switch() -> None:
    found = find_bonds(site())
    assert list(found["rule"]) == [TWIN_RULE] * 2
    assert set(found["evidence"]) == {"suspected"}
    links = build_network(site(), found).links
    assert links["switchable"].all()
    assert not links["closed"].any()  # nominally both records are lines of their own
    assert set(links["kind"]) == {"bond"}


def test_settings_decide_what_is_near() -> None:
    settings = Settings.model_validate({"site": {"twin_m": 0.5}})
    assert find_bonds(site(), settings=settings).empty


def test_neither_record_is_lost() -> None:
    spans = build_network(site(), find_bonds(site())).spans
    assert set(spans["line_id"]) == {"A", "B"}
    lengths = spans.groupby("line_id")["geometry"].agg(lambda shapes: np.sum([shape.length for shape in shapes]))
    assert lengths.to_dict() == pytest.approx({"A": 100.0, "B": 40.0})

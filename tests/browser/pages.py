"""Pages of small sites for the browser tests."""

from functools import cache
from pathlib import Path
from typing import Any

from corridor.plan.review import Plan, plan_setups
from corridor.report.page import write_page
from corridor.report.receipt import make_receipt
from corridor.settings import DrawSettings
from corridor.site import Site
from tests.block import at_frequencies
from tests.builders import make_site
from tests.plan.conftest import KNOWN_SOIL, LENGTH_M, SETTINGS, access, bond, cable, ground, square

FREQUENCIES = (1000.0, 10_000.0)
HOSTILE = (
    "</script><script>window.taken = 1</script>",
    "<img src=x onerror=\"window.taken = 2\">",
    "javascript:window.taken=3",
    "\u2028window.taken = 4\u2029",
    "${window.taken = 5} {{7*7}} ' \" ` &lt;b&gt;",
)  # fmt: skip


@cache
def small_site() -> Site:
    """Two bonded cables, a third apart, a clay sewer, and texts in the records that would like to be more."""
    locked = {"structure_id": "B-L", "kind": "vault", "access": "locked", "geometry": (0.0, 1.5)}
    more = access("A")
    more["structures"].append(locked)
    more["terminations"].append({"structure_id": "B-L", "line_id": "B", "at": "start", "direct": "yes", "clamp": "yes"})
    return make_site(
        lines=[
            cable("A", owner=HOSTILE[0], subtype=HOSTILE[4]),
            cable("B", 1.5, owner=HOSTILE[1], assumed=True, assumed_columns="depth_m", depth_m_src="default"),
            cable("C", 6.0, owner=HOSTILE[2]),
            cable("<b>D</b>", 9.0, utility="sewer", asset="pipe", material="clay", conductive="no", owner=HOSTILE[3]),
        ],
        bonds=[
            bond("X", "B", (LENGTH_M, 0.75)),
            bond("Y", "C", (LENGTH_M, 3.0), state="unknown", evidence="suspected", probability=0.3),
        ],
        grounds=[ground("A", 60), ground("B", 0, 1.5), ground("C", 0, 6.0), ground("C", 60, 6.0)],
        soil=[KNOWN_SOIL],
        work_area=[square(40.0)],
        **more,
    )


@cache
def small_plan() -> Plan:
    """A plan of that site, on few draws."""
    settings = SETTINGS.model_copy(update={"draws": DrawSettings(count=8, geometries=2)})
    return plan_setups(small_site(), equipment=at_frequencies(*FREQUENCIES), settings=settings)


def receipt_of(review: Any) -> dict[str, Any]:
    """The receipt of a review or a plan."""
    return make_receipt(review.site, command="plan", settings=review.settings, equipment=review.equipment)


def write_small_page(path: Path) -> Path:
    """Write the page of that plan."""
    plan = small_plan()
    write_page(plan, path, receipt=receipt_of(plan))
    return path

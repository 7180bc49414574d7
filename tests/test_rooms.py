"""The rooms import only from their left, and no module imports itself back."""

import ast
from pathlib import Path

import networkx as nx
import pytest

import corridor

PACKAGE = Path(corridor.__file__).parent
ORDER = ("errors", "constants", "dictionary", "tomlfile", "settings", "frames", "data", "plugins", "threads",
         "site", "couplings", "network", "tone", "draws", "plan", "readings", "scope", "report", "city",
         "commands")  # fmt: skip
FACADES = {"__init__", "__main__"}


def _imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: relative import"
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return {name for name in found if name.startswith("corridor.")}


MODULES = {
    ".".join(("corridor", *path.relative_to(PACKAGE).with_suffix("").parts)).removesuffix(".__init__"): path
    for path in sorted(PACKAGE.rglob("*.py"))
    if path.relative_to(PACKAGE).with_suffix("").parts[0] not in FACADES
}


def test_every_room_is_known() -> None:
    assert {name.split(".")[1] for name in MODULES} <= set(ORDER)


@pytest.mark.parametrize("name", sorted(MODULES))
def test_imports_only_from_the_left(name: str) -> None:
    own = ORDER.index(name.split(".")[1])
    wrong = [
        other for other in _imports(MODULES[name])
        if other.split(".")[1] in ORDER and ORDER.index(other.split(".")[1]) > own
    ]  # fmt: skip
    assert not wrong, f"{name} reaches to its right: {wrong}"


def test_no_import_cycles() -> None:
    graph = nx.DiGraph()
    for name, path in MODULES.items():
        graph.add_edges_from((name, other) for other in _imports(path) if other in MODULES and other != name)
    cycles = [c for c in nx.strongly_connected_components(graph) if len(c) > 1]
    assert not cycles

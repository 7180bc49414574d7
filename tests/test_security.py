"""What the package never does: evaluate text, unpickle, shell out, put SQL or markup together from data."""

import ast
import csv
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

import corridor
from corridor.commands.talk import say, table_lines
from corridor.report.text import plain, wrapped
from corridor.site.csv_cells import safe_cell

PACKAGE = Path(corridor.__file__).parent
SOURCES = sorted(PACKAGE.rglob("*.py"))
TREES = {path.relative_to(PACKAGE).as_posix(): ast.parse(path.read_text(encoding="utf-8")) for path in SOURCES}
EVALUATES = {"eval", "exec", "compile", "__import__"}
# modules that run what they read, or start other programs; numba and the plug-ins load code that is installed
NEVER = {"pickle", "marshal", "shelve", "dill", "cloudpickle", "joblib", "subprocess", "pty", "code", "xmlrpc", "yaml",
         "urllib", "http", "ftplib", "smtplib", "requests", "socket"}  # fmt: skip
SHELLS = {("os", name) for name in ("system", "popen", "startfile", "execv", "execve", "execvp", "spawnl", "spawnv")}
QUOTING = {"_quoted", "quoted"}  # of a table's name, which SQL takes no parameter for


def calls(tree: ast.AST) -> Iterator[ast.Call]:
    yield from (node for node in ast.walk(tree) if isinstance(node, ast.Call))


def imported(tree: ast.AST) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module.partition(".")[0])
    return names


def offences(tree: ast.AST) -> list[str]:
    """Return what a module does of the things that none may do."""
    found = sorted(imported(tree) & NEVER)
    for call in calls(tree):
        name = call.func
        if isinstance(name, ast.Name) and name.id in EVALUATES:
            found.append(name.id)
        if isinstance(name, ast.Attribute):
            owner = name.value.id if isinstance(name.value, ast.Name) else ""
            found += [f"{owner}.{name.attr}"] if (owner, name.attr) in SHELLS or name.attr == "read_pickle" else []
            if name.attr in ("execute", "executemany", "executescript") and not is_fixed(call.args[0]):
                found.append("SQL made from data")
        found += ["shell"] if any(key.arg == "shell" for key in call.keywords) else []
    return found


def is_fixed(text: ast.expr) -> bool:
    """Tell SQL that is a literal, but for names of tables that are quoted."""
    if isinstance(text, ast.JoinedStr):
        put_in = [part.value for part in text.values if isinstance(part, ast.FormattedValue)]
        return all(isinstance(v, ast.Call) and isinstance(v.func, ast.Name) and v.func.id in QUOTING for v in put_in)
    return isinstance(text, ast.Constant)


@pytest.mark.parametrize("name", TREES)
def test_no_module_evaluates_unpickles_or_shells_out(name: str) -> None:
    assert offences(TREES[name]) == []


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("eval('1')", "eval"),
        ("import os\nos.system('ls')", "os.system"),
        ("from subprocess import run", "subprocess"),
        ("import pickle", "pickle"),
        ("run('ls', shell=True)", "shell"),
        ("base.execute(f'select * from {name}')", "SQL made from data"),
        ("base.execute('select * from ' + name)", "SQL made from data"),
        ("pd.read_pickle(path)", "pd.read_pickle"),
    ],
)
def test_the_search_would_find_them(text: str, told: str) -> None:
    assert offences(ast.parse(text)) == [told]


def test_the_search_lets_fixed_sql_and_quoted_names_pass() -> None:
    assert offences(ast.parse("b.execute('select ?', (x,))\nb.execute(f'select * from {_quoted(name)}')")) == []


def test_the_page_s_scripts_never_make_markup_or_script_of_data() -> None:
    text = "\n".join(path.read_text(encoding="utf-8") for path in sorted((PACKAGE / "report" / "page").glob("*.js")))
    assert "textContent" in text
    forbidden = (
        r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function|\bimport\(|fetch\(|XMLHttp"
    )
    assert re.findall(forbidden, text) == []


def test_xml_is_written_by_a_library_and_never_read() -> None:
    made = {name for name, tree in TREES.items() if "xml" in imported(tree)}
    assert made == {"report/layers/styles.py"}
    called = {call.func.attr for name in made for call in calls(TREES[name]) if isinstance(call.func, ast.Attribute)}
    assert not called & {"parse", "iterparse", "fromstring", "XML"}


# control characters of ECMA-48 and of ISO 8859 (C1), and Unicode's marks of direction
STEERING = ["\x1b[2J", "\x1b]0;title\x07", "\x9b31m", "\r", "\x08", "\x00", "\u202e", "\u2066", "\ud800", "\x7f"]


@pytest.mark.parametrize("text", STEERING)
def test_nothing_said_steers_a_terminal(text: str, capsys: pytest.CaptureFixture[str]) -> None:
    say([f"a{text}b", *table_lines(("x", "y"), [(f"a{text}", f"b{text}")]), *wrapped(f"c{text}d")])
    said = capsys.readouterr().out
    assert not [c for c in said if (ord(c) < 32 and c != "\n") or 0x7F <= ord(c) < 0xA0 or c in "\u202e\u2066\ud800"]
    assert plain(text) != text


@pytest.mark.parametrize("command", ["check", "trace", "review"])
def test_a_hostile_name_of_a_file_is_told_plainly(command: str, tmp_path: Path) -> None:
    from corridor.commands.main import cli  # noqa: PLC0415 - loads the program

    needs = {"trace": ["--passive", "mains"], "review": ["-o", str(tmp_path / "out")]}.get(command, [])
    done: Any = CliRunner().invoke(cli, [command, str(tmp_path / "a\x1b[31m\nb.gpkg"), *needs])
    assert done.exit_code == 1
    assert "\x1b" not in done.stderr
    assert done.stderr.count("\n") == 1


def test_cells_of_every_csv_go_through_one_function() -> None:
    writers = {name for name, tree in TREES.items() for call in calls(tree)
               if isinstance(call.func, ast.Attribute) and call.func.attr in ("writer", "DictWriter")}  # fmt: skip
    assert writers, "the search finds none"
    for name in writers:
        assert "safe_cell" in (PACKAGE / name).read_text(encoding="utf-8"), name
    assert not [name for name, tree in TREES.items() for call in calls(tree)
                if isinstance(call.func, ast.Attribute) and call.func.attr == "to_csv"]  # fmt: skip
    assert next(csv.reader([str(safe_cell("=1+1"))])) == ["'=1+1"]

"""Plug-ins for tests: functions of a test module registered as if a package had brought them."""

from importlib.metadata import EntryPoint

import pytest

from corridor import plugins

_own = plugins.entry_points


def register(monkeypatch: pytest.MonkeyPatch, *points: EntryPoint) -> None:
    """Add entry points to those installed, for one test."""
    monkeypatch.setattr(
        plugins, "entry_points", lambda group: [*_own(group=group), *(p for p in points if p.group == group)]
    )

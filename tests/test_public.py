"""The public functions: all there, loaded on demand, documented."""

import inspect

import pytest

import corridor


@pytest.mark.parametrize("name", [name for name in corridor.__all__ if name != "__version__"])
def test_every_public_name_is_there_and_documented(name: str) -> None:
    thing = getattr(corridor, name)
    assert inspect.getdoc(thing)
    assert thing.__name__ == name


def test_public_names_are_listed_once() -> None:
    assert set(corridor.__all__) - {"__version__"} == set(corridor._HOME)
    assert dir(corridor) == sorted(corridor.__all__)


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'dance'"):
        corridor.dance  # noqa: B018

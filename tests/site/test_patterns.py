"""Patterns of field maps: what compiles and ends is taken, what may take for ever is refused."""

import re

import pytest

from corridor.site.patterns import check_pattern

# the classes of "catastrophic" patterns: OWASP, "Regular expression Denial of Service - ReDoS" (from memory)
ENDLESS = [
    "(a+)+$", "([a-zA-Z]+)*x", "(a|aa)+$", "(a|a?)+$", "(.*a){11}", "(.*)*x", "(a?){50}a{50}", "((((a*)*)*)*)*b",
    "(x+x+)+y", r"(\w+\s?)+$", "(a+)*?", "(?:(a+)?)+b", "(?=.*)+",
]  # fmt: skip
FINE = [
    "cover ([0-9.]+)", r"(?P<count>\d+)x (?P<material>\w+)", "[^/#]+$", "(ab)+", "(ab){3}c+", "[(+]+(a)*", r"\(a+\)+",
    "(a+)?",
    "(a+?)b", "(a{1,3}){4}", "(?i)x+", r"(?:(?P<count>\d+)\s*x\s*)?(?P<material>PE|PVC)", "", "a{,3}", "[]+]*", "x{}+",
]  # fmt: skip


@pytest.mark.parametrize("pattern", ENDLESS)
def test_one_that_may_take_for_ever_is_refused(pattern: str) -> None:
    with pytest.raises(ValueError, match="repeated group without repeats"):
        check_pattern(pattern)


@pytest.mark.parametrize("pattern", FINE)
def test_one_that_ends_is_taken(pattern: str) -> None:
    check_pattern(pattern)
    re.compile(pattern).search("x" * 2000)


@pytest.mark.parametrize("pattern", ["(", "[", "(?P<x>a)(?P<x>b)", "a{99999999999}", "(?<=a*)b", "*"])
def test_one_that_is_none_is_refused(pattern: str) -> None:
    with pytest.raises(ValueError, match="expected a regular expression"):
        check_pattern(pattern)

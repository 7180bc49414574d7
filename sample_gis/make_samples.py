"""Make the invented sample sites: ``python sample_gis/make_samples.py [--seed N] [-o DIR]``."""

import argparse
from pathlib import Path

from sitegen.sites import RAW, SITES, make_site


def main() -> None:
    """Make every sample site, or those named, below the output folder."""
    parser = argparse.ArgumentParser(description=__doc__)
    names = [*SITES, *RAW]
    parser.add_argument("names", nargs="*", metavar="SITE", help=f"of {', '.join(names)}; default all")
    parser.add_argument("--seed", type=int, default=1, help="seed of all chance, default 1")
    parser.add_argument("-o", "--output", type=Path, default=Path(__file__).parent, help="folder, default this one")
    given = parser.parse_args()
    unknown = sorted(set(given.names) - set(names))
    if unknown:
        parser.error(f"no such site: {', '.join(unknown)}; there are {', '.join(names)}")
    if given.seed < 0:
        parser.error(f"--seed must be 0 or more, got {given.seed}")
    for name in given.names or names:
        make_site(name, given.output, seed=given.seed)


if __name__ == "__main__":
    main()

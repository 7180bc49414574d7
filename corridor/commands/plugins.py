"""``corridor plugins``: what is installed at the extension points."""

import click

from corridor.commands.options import quiet_options
from corridor.commands.talk import say, table_lines
from corridor.plugins import GROUPS, list_plugins, load_plugins

__all__ = ["plugins"]


@click.command("plugins")
@quiet_options
def plugins(*, quiet: bool, verbose: bool, progress: str) -> None:
    """List the plug-ins by group: name, package, version. One that fails to load is named and skipped."""
    del progress
    loaded = {(group, name) for group in GROUPS for name in load_plugins(group)}
    rows = [(p.group, p.name, p.package, p.version, p.value) for p in list_plugins() if (p.group, p.name) in loaded]
    say(table_lines(("group", "name", "package", "version", "object"), rows), quiet=quiet)
    if verbose:
        say(["", *(f"{group}: {text}" for group, text in GROUPS.items())], quiet=quiet)

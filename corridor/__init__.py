"""corridor: where a locating tone goes in a dense street, and how to hook up so that it stays on the target."""

__version__ = "0.1.0"

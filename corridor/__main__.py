"""``python -m corridor``: the same program as the console script."""

from corridor.commands.main import main

if __name__ == "__main__":
    main()

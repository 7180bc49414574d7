"""Result layers in files for other programs, with their styles."""

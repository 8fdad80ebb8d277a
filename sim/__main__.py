"""``python -m proud``: the same as the command ``proud``."""

from proud.cli.__main__ import main

main()

"""The first run's second process: should it fail, all would still work, only later."""

from __future__ import annotations

import subprocess
import sys

from proud.warm import is_warm, warm_up


def test_the_second_process_compiles_all_it_is_asked_for():
    command = [sys.executable, "-P", "-m", "proud.warm", "trace", "pictures"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=240)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_warm_after_warming_up():
    warm_up()
    assert is_warm()

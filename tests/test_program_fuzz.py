"""The fuzz entry: it runs, it can be repeated, and it sees what it is there to see."""

from __future__ import annotations

import random
import re
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from helpers_program import HEAD, settings
from proud.errors import BadInput, ProgramError
from proud.program import fuzz, read_file, read_text, word_table
from proud.program.fuzz import Failure, Fuzzer, program_of
from proud.program.fuzz_programs import KINDS, generated, snippets_of

FINE = (HEAD + "G1 X1\nX2\nM30\n").encode()


def command(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "proud.program.fuzz", *words],
        capture_output=True, text=True, timeout=240, check=False,
    )  # fmt: skip


def test_a_few_seconds_of_it() -> None:
    done = command("--seed", "20261125", "--seconds", "4")
    assert (done.returncode, done.stderr) == (0, ""), done.stdout
    first, rate, counts = done.stdout.splitlines()
    assert first == "seed 20261125"
    tried = re.fullmatch(r"(\d+) programs in [\d.]+ s, \d+ a second", rate)
    found = re.fullmatch(r"(\d+) read, (\d+) read twice, (\d+) refused", counts)
    assert tried is not None
    assert found is not None
    assert int(found[1]) + int(found[3]) == int(tried[1]) > 20
    assert min(int(found[1]), int(found[2])) > 2


def test_a_seed_and_a_number_make_one_program() -> None:
    assert program_of(7, 31)[:2] == program_of(7, 31)[:2]
    some = {program_of(seed, number)[1] for seed in range(5) for number in range(20)}
    assert len(some) > 90
    kinds = [program_of(1, number)[0] for number in range(600)]
    assert set(kinds) == set(KINDS)
    assert sum(share for share, _ in KINDS.values()) == 100


def test_the_same_programs_whatever_python_hashes() -> None:
    code = (
        "import hashlib; from proud.program.fuzz import program_of\n"
        "print(hashlib.md5(b''.join(program_of(3, n)[1] for n in range(200))).hexdigest())"
    )
    found = {
        subprocess.run(
            [sys.executable, "-c", code], env={"PYTHONHASHSEED": seed}, capture_output=True,
            text=True, timeout=60, check=True,
        ).stdout
        for seed in ("1", "2")
    }  # fmt: skip
    assert len(found) == 1


SHOWN = {"O SUB, O CALL, O IF": r"O100\s*SUB", "IF, WHILE, DO, END, GOTO": "WHILE", "( )": r"\(",
         "#n": r"#\d", "#<name>": "#<", "[ ]": r"\[", "(MSG,": r"\(MSG,"}  # fmt: skip


@pytest.mark.parametrize("row", word_table(), ids=lambda row: row.word)
def test_every_word_has_lines_of_its_own(row) -> None:
    letter, number = row.word[0], row.word[1:]
    pattern = SHOWN.get(row.word) or (
        rf"{letter}0?{re.escape(number)}(?![\d.])" if number else re.escape(letter)
    )
    assert any(re.search(pattern, text.upper()) for text in snippets_of(row.word))


def test_most_programs_of_the_grammar_can_be_read() -> None:
    """Else nothing but errors would be tried."""
    rng, fine = random.Random(1), 0
    work = {f"G{n}": (0, 0, 0) for n in (54, 55, 56, 57, 58, 59, "59.1", "59.2", "59.3")}
    for _ in range(60):
        try:
            read_text(generated(rng), settings(
                work_offsets=work, home=(100.0, 200.0, 300.0), radii={1: 5.0, 2: 3.0}))  # fmt: skip
        except BadInput:
            continue
        fine += 1
    assert fine > 30


def test_limits_that_are_lowered_are_there() -> None:
    for module, name, value in fuzz.LIMITS:
        assert getattr(module, name) > value


# What it must see, each put in by hand


def raising(error: BaseException):
    def read(path, *_, **__):
        raise error

    return read


def opening(path: Path, mode: str = "rb"):
    def read(program, given, shown):
        with path.open(mode):
            return read_file(program, given, shown=shown)

    return read


def spoiling(**fields: object):
    """Read, and put other values into the last move."""

    def read(program, given, shown):
        found = read_file(program, given, shown=shown)
        for name, value in fields.items():
            getattr(found.program.moves, name)[-1] = value
        return found

    return read


def sleeping(program, given, shown):
    time.sleep(5)


def forgetful(program, given, shown):
    """Leave out a line that has a comment."""
    lines = program.read_text().splitlines(keepends=True)
    kept = [line for line in lines if not line.startswith("X2()")]
    return read_text_as(kept, given)


def read_text_as(lines, given):
    from proud.program import read_source

    return read_source("".join(lines), given, shown="part.nc")


def placed(text: str, **place: int) -> ProgramError:
    return ProgramError(text, file="part.nc", **{"line": 1, **place})


FAULTS = [
    (raising(BadInput("something")), "an error without its file"),
    (raising(placed("bad", line=99)), "an error at a line that is not there"),
    (raising(placed("bad", column=5000)), "an error at a column that is not there"),
    (raising(placed("X is None")), "an error in Python's words"),
    (raising(placed("X is nan")), "an error in Python's words"),
    (spoiling(end=np.nan), "an end that is not known"),
    (spoiling(end=1e9), "an end far away"),
    (spoiling(feed=0.0), "a feed move without a feed"),
    (spoiling(turn=7.0), "a turn of more than a circle"),
    (spoiling(line=0), "a move of no line"),
    (spoiling(pass_number=2), "a move of no pass"),
    (sleeping, "took more than 0.2 s"),
    (forgetful, "reads otherwise beside empty comments"),
]


@pytest.mark.parametrize(("read", "said"), FAULTS, ids=[said for _, said in FAULTS])
def test_a_fault_is_seen(read, said, tmp_path, monkeypatch) -> None:
    fuzzer = Fuzzer(tmp_path)
    fuzzer.warm_up()
    monkeypatch.setattr(fuzz, "read_file", read)
    if read is sleeping:
        monkeypatch.setattr(fuzz, "SECONDS", 0.2)
    with pytest.raises(Failure, match=said):
        try_all(fuzzer)


def try_all(fuzzer: Fuzzer) -> None:
    for number in range(20):  # some of them are read twice, in one way or the other
        fuzzer.try_one(FINE, random.Random(number))


def test_memory_is_seen(tmp_path, monkeypatch) -> None:
    fuzzer, peaks = Fuzzer(tmp_path), iter([0, 9, 9, fuzz.MEMORY + 9, 9, fuzz.MEMORY + 10])
    fuzzer.warm_up()
    monkeypatch.setattr(fuzz, "_peak", lambda: next(peaks))
    fuzzer._read(FINE, settings())
    fuzzer._read(FINE, settings())
    with pytest.raises(Failure, match=r"took 1,073,741,825 bytes"):
        fuzzer._read(FINE, settings())


def test_memory_is_known() -> None:
    assert 20_000_000 < fuzz._peak() < 1 << 40


def test_fine_programs_are_no_failure(tmp_path) -> None:
    fuzzer = Fuzzer(tmp_path)
    fuzzer.warm_up()
    try_all(fuzzer)
    assert fuzzer.counts["read"] == 20
    assert fuzzer.counts["read twice"] > 5


@pytest.mark.parametrize("mode", ["rb", "ab"])
@pytest.mark.parametrize("place", ["../O7.nc", "O7002.nc", "O7001.nc"])
def test_files_it_may_not_touch_are_seen(mode, place, tmp_path, monkeypatch) -> None:
    """Beside the job's folder, beside it through a link, and in it."""
    fuzzer = Fuzzer(tmp_path)
    fuzzer.warm_up()
    monkeypatch.setattr(fuzz, "read_file", opening(fuzzer.job / place, mode))
    if (mode, place) == ("rb", "O7001.nc"):
        fuzzer.try_one(FINE, random.Random(1))
        return
    said = "opened for writing" if place == "O7001.nc" else "opened, outside the job's folder"
    with pytest.raises(Failure, match=said):
        fuzzer.try_one(FINE, random.Random(1))


def test_a_crash_is_shown_with_its_program(tmp_path, monkeypatch, capfd) -> None:
    monkeypatch.setattr(fuzz.Fuzzer, "warm_up", lambda self: None)
    monkeypatch.setattr(fuzz, "read_file", raising(ZeroDivisionError("oh")))
    out = tmp_path / "found.nc"
    assert fuzz.main(["--seed", "4", "--seconds", "9", "--out", str(out)]) == 1
    text = capfd.readouterr().out
    assert text.splitlines()[0] == "seed 4"
    assert "failed: program 0 (" in text
    assert "ZeroDivisionError: oh" in text
    assert "make it again: --seed 4 --only 0" in text
    assert out.read_bytes() == program_of(4, 0)[1]
    with pytest.raises(SystemExit) as caught:  # never over an existing file
        fuzz.main(["--seed", "4", "--out", str(out)])
    assert caught.value.code == 2
    assert fuzz.main(["--seed", "4", "--only", "7"]) == 1
    printed = capfd.readouterr().out
    assert "failed: program 7 (" in printed
    assert "the program:\n" in printed


# What it has found


@pytest.mark.parametrize(
    "line", ["X" + "1" * 300_000 + "?", "X1Y1.5" * 50_000 + "?", "/" * 200_000]
)
def test_a_long_line_is_refused_at_once(line: str) -> None:
    begun = time.monotonic()
    with pytest.raises(ProgramError, match="characters long; expected at most 1024"):
        read_text(HEAD + "G1 X1\n" + line + "\nM30", settings())
    assert time.monotonic() - begun < 5


def test_compensation_at_a_height_that_is_not_known() -> None:
    text = "G21 T1 M6\nG43 H1 F100\nG0 X0 Y0\nG41 D1 G1 X30 Y0\nY20\n{}X60\nG40 X80\nM30"
    with pytest.raises(BadInput, match="holds no feed move with a known end"):
        read_text(text.format(""), settings(radii={1: 5.0}))
    found = read_text(text.format("Z-1\n"), settings(radii={1: 5.0}))
    assert found.notes[0].startswith("program:4: a feed move that cuts nothing here: Z not known")
    assert found.moves.end.tolist() == [[25, 20, -1], [30, 25, -1], [60, 25, -1], [80, 20, -1]]
    assert [(p.from_line, p.to_line) for p in found.passes] == [(6, 8)]


def test_blocks_that_make_too_many_moves(monkeypatch) -> None:
    from proud.program import motion

    monkeypatch.setattr(motion, "MADE_LIMIT", 10_000)
    for line in ("G18 G2 I99999", "G91 G83 X1 Z-9 R0 Q.001", "G81 X1 Z-1 R1 L9999"):
        with pytest.raises(ProgramError, match=r"part|program:\d+:\d+: arcs .* more than 10,000"):
            read_text(f"{HEAD}G1 X1\n{line}\nM30", settings())
    read_text(f"{HEAD}G1 X1\nG18 G2 I9\nG17 G81 X1 Z-1 R1 L99\nM30", settings())


def test_many_programs_in_one_file_are_found_quickly() -> None:
    """A call looks up the end of its program; 4,000 by 4,000 took over five seconds."""
    loop = "#1=0\nWHILE[#1 LT 4000]DO1\n#1=#1+1\nM98 P#1\nEND1\nM30\n"
    text = HEAD + "G1 X1\n" + loop + "".join(f"O{k}\nM99\n" for k in range(1, 4001))
    begun = time.monotonic()
    assert len(read_text(text, settings()).moves) == 2
    assert time.monotonic() - begun < 4

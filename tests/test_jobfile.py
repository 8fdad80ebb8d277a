"""The job file: what is read, what is refused, and with which words."""

import copy
import dataclasses
import json
import subprocess
import sys

import pytest
from proud.errors import JobError
from proud.jobfile import Box, ShowSpec, StockSpec, job_schema, load_job_file
from proud.jobfile_words import SHAPES, WORDS

INCH = """
[job]
format = 1
title = "Saddle"
unit = "in"
[stock]
shape = "block"
low = [-0.1, -0.1, -0.5]
high = [2.7, 1.6, 0]
material = "4140"
[part]
model = "part.stl"
tolerance = "2 thou"
top = -0.01
bottom = -0.4
[[show]]
direction = "+z"
[[show]]
direction = [0, -3, 4]
face = "front"
[grid]
pitch = 0.01
[[tools]]
number = 1
name = "big rougher"
shape = "bull"
DC = 0.5
RE = 0.06
APMX = 1
DN = 0.48
LU = 1.5
DMM = 0.5
LPR = 2
OAL = 3
ZEFF = 4
holder = [[1.5, 1], [2, 0.5]]
[[tools]]
number = 3
shape = "chamfer"
DC = 0.25
tip_diameter = 0
KAPR = 45
APMX = 0.125
[offsets]
H3 = 0.0015
D3 = -0.001
H12 = "2 tenths"
Z0 = 0.002
op1.X0 = 0.003
"op1.Y0" = -0.004
[[setups]]
name = "op1"
program = "a.nc"
home = [0, 0, 4]
block_delete = true
[[setups.fixture]]
name = "jaw"
low = [-1, -1, -1]
high = [3, 0, -0.45]
[setups.work_offsets]
G55 = [1, 2, 0]
"""

MM = """
[job]
title = "Saddle"
unit = "mm"
[stock]
shape = "block"
low = [-2.54, "-0.1in", "-500 thou"]
high = [68.58, 40.64, 0]
material = "4140"
[part]
model = "part.stl"
tolerance = 0.0508
top = "-10 thou"
bottom = -10.16
[[show]]
direction = "+Z"
[[show]]
direction = [0.0, -0.3, 0.4]
face = "front"
[grid]
pitch = "100 tenths"
[[tools]]
number = 1
name = "big rougher"
shape = "bull"
diameter = 12.7
corner_radius = 1.524
flute_length = 25.4
neck_diameter = 12.192
usable_length = 38.1
shank = 12.7
stickout = 50.8
overall_length = 76.2
flutes = 4
holder = [[38.1, 25.4], [50.8, "12700um"]]
[[tools]]
number = 3
name = "chamfer 0.2500 in"
shape = "chamfer"
diameter = 6.35
tip = 0
edge_angle = 45.0
cutting_length = 3.175
[offsets]
H3 = "1.5 thou"
D3 = "-1 thou"
H12 = 0.00508
[offsets.op1]
Z0 = 0.0508
X0 = 0.0762
Y0 = "-4 thou"
[[setups]]
name = "op1"
program = "a.nc"
home = [0, 0, 101.6]
block_delete = true
work_offsets = { G55 = [25.4, 50.8, 0] }
fixture = [{ name = "jaw", low = ["-1in", -25.4, -25.4], high = [76.2, 0, -11.43] }]
"""

SMALL = """
[job]
unit = "in"
[stock]
shape = "block"
low = [0, 0, -1]
high = [2, 1, 0]
[[tools]]
number = 1
shape = "flat"
DC = 0.5
APMX = 1
[[setups]]
name = "op1"
program = "a.nc"
"""
BLOCK = 'shape = "block"\nlow = [0, 0, -1]\nhigh = [2, 1, 0]'


@pytest.fixture
def folder(tmp_path, monkeypatch):
    inside = tmp_path / "job"
    inside.mkdir()
    for name in ("a.nc", "part.stl", "passes.toml"):
        (inside / name).write_text("")
    monkeypatch.chdir(inside)
    return inside


@pytest.fixture
def load(folder):
    def load_text(text, **options):
        (folder / "job.toml").write_text(text)
        return load_job_file(type(folder)("job.toml"), **options)

    return load_text


@pytest.fixture
def fault(load):
    def fault_text(text, **options):
        with pytest.raises(JobError) as caught:
            load(text, **options)
        assert caught.value.exit_code == 2
        return str(caught.value)

    return fault_text


def swap(old, new, text=SMALL):
    assert text.count(old) == 1
    return text.replace(old, new)


def test_inch_and_metric_job_give_the_same_millimetres(load):
    inch, metric = load(INCH), load(MM)
    assert inch.unit == "in"
    assert metric.unit == "mm"
    assert dataclasses.replace(inch, unit="mm") == metric


def test_full_job(load, folder):
    job = load(INCH)
    assert (str(job.path), str(job.folder), job.title) == ("job.toml", ".", "Saddle")
    assert job.pitch == 0.254
    assert job.stock == StockSpec(
        "block", (-2.54, -2.54, -12.7), (68.58, 40.64, 0.0), material="4140"
    )
    assert str(job.part.model) == "part.stl"
    assert (job.part.tolerance, job.part.top, job.part.bottom) == (0.0508, -0.254, -10.16)
    assert job.show == (
        ShowSpec((0.0, 0.0, 1.0), None),
        ShowSpec((0.0, -0.6, 0.8), "front"),
    )
    assert list(job.tools) == [1, 3]
    assert job.h_errors == {3: 0.0381, 12: 0.00508}
    assert job.d_errors == {3: -0.0254}
    assert job.zero_errors == {"op1": (0.0762, -0.1016, 0.0508)}
    (setup,) = job.setups
    assert (setup.name, str(setup.program), setup.passes) == ("op1", "a.nc", None)
    assert setup.fixture == (Box("jaw", (-25.4, -25.4, -25.4), (76.2, 0.0, -11.43)),)
    assert setup.work_offsets == {"G54": (0.0, 0.0, 0.0), "G55": (25.4, 50.8, 0.0)}
    assert setup.home == (0.0, 0.0, 101.6)
    assert setup.block_delete is True
    assert job.notes == ()


def test_small_job_has_zero_errors_and_defaults(load):
    job = load(swap('name = "op1"\n', "", swap("APMX = 1\n", "")))
    assert job.title == ""
    assert job.pitch is None
    assert job.part is None
    assert (job.show, job.h_errors, job.d_errors) == ((), {}, {})
    assert job.zero_errors == {"setup 1": (0.0, 0.0, 0.0)}
    assert job.setups[0].home is None
    assert job.setups[0].block_delete is False
    assert job.tools[1].name == "flat 0.5000 in"
    assert job.notes == ("tool 1: no cutting length given; its cutting part has no end here",)


# ---------------------------------------------------------------------------------------- the head


@pytest.mark.parametrize(
    ("old", "new", "text"),
    [
        ('unit = "in"\n', "", 'job.toml: job.unit: is missing: write unit = "in" or unit = "mm"'),
        ('[job]\nunit = "in"\n', "", "job.toml: job: is missing: a table [job] with unit = "),
        (
            '"in"',
            '"inch"',
            'job.toml: job.unit: "inch" is not allowed; write "in" or "mm"; did you mean "in"?',
        ),
        ('"in"', "25.4", 'job.toml: job.unit: 25.4 is not allowed; write "in" or "mm"'),
        (
            '"in"',
            '"in"\nformat = 2',
            "job.toml: job.format: 2 is not known; write format = 1 or leave it out",
        ),
        ('"in"', '"in"\nformat = true', "job.toml: job.format: true is not known"),
        ('"in"', '"in"\nformat = 1.0', "job.toml: job.format: 1.0 is not known"),
        (
            '"in"',
            '"in"\ntitel = "x"',
            "job.toml: job.titel: unknown key; allowed here: format, title, unit; "
            'did you mean "title"?',
        ),
        ('"in"', '"in"\ntitle = " "', "job.toml: job.title: is an empty text"),
        (
            "[[setups]]",
            "[gird]\npitch = 1\n[[setups]]",
            "job.toml: gird: unknown key; allowed here: job, stock, part, show, grid, accuracy, "
            'tools, offsets, margins, machine, setups; did you mean "grid"?',
        ),
    ],
)
def test_head(fault, old, new, text):
    assert fault(swap(old, new)).startswith(text)


def test_title_loses_its_control_characters(load):
    assert load(swap('"in"', '"in"\ntitle = "a\\u001b[31m\\nb "')).title == "a [31m b"


# ------------------------------------------------------------------------------------------- stock


@pytest.mark.parametrize(
    ("stock", "spec"),
    [
        (
            'shape = "round"\ndiameter = 2\nbottom = -1\ntop = 0',
            StockSpec("round", diameter=50.8, bottom=-25.4, top=0.0),
        ),
        (
            'shape = "tube"\ndiameter = 2\nbore = "25.4mm"\ncenter = [1, -1]\nbottom = -1\n'
            'top = 0\nmaterial = "6061"',
            StockSpec(
                "tube",
                diameter=50.8,
                bore=25.4,
                center=(25.4, -25.4),
                bottom=-25.4,
                top=0.0,
                material="6061",
            ),
        ),
    ],
)
def test_round_stock(load, stock, spec):
    assert load(swap(BLOCK, stock)).stock == spec


def test_stock_model(load):
    stock = load(swap(BLOCK, 'shape = "model"\nmodel = "part.stl"')).stock
    assert (stock.shape, str(stock.model), stock.low) == ("model", "part.stl", None)


@pytest.mark.parametrize(
    ("stock", "text"),
    [
        (
            'shape = "block"\nlow = [0, 0, 1]\nhigh = [2, 1, "5mm"]',
            "job.toml: stock.low: z of low, 1.0000 in, is not below z of high, 0.1969 in",
        ),
        (
            'shape = "block"\nlow = [0, 1, -1]\nhigh = [2, 1, 0]',
            "job.toml: stock.low: y of low, 1.0000 in, is not below y of high, 1.0000 in",
        ),
        (
            'shape = "blok"',
            'job.toml: stock.shape: "blok" is not allowed; allowed: block, round, tube, model; '
            'did you mean "block"?',
        ),
        ("low = [0, 0, 0]", "job.toml: stock.shape: is missing"),
        (
            'shape = "block"\nlow = [0, 0]\nhigh = [2, 1, 0]',
            "job.toml: stock.low: [0, 0] is too short; item 3 is missing",
        ),
        (
            'shape = "block"\nlow = [0, 0, -1]\nhigh = [2, 1, 0]\ndiameter = 3',
            "job.toml: stock.diameter: unknown key; allowed here: material, shape, low, high",
        ),
        (
            'shape = "round"\ndiameter = 2\nbottom = 0\ntop = 0',
            "job.toml: stock.bottom: 0.0000 in is not below top, 0.0000 in",
        ),
        (
            'shape = "round"\ndiameter = -2\nbottom = 0\ntop = 1',
            "job.toml: stock.diameter: -2 is not above 0",
        ),
        (
            'shape = "round"\ndiameter = 2\nbottom = 0\ntop = 1\nbore = 1',
            "job.toml: stock.bore: unknown key; allowed here: material, shape, diameter, center, "
            "bottom, top",
        ),
        (
            'shape = "tube"\ndiameter = 2\nbottom = 0\ntop = 1\nbore = "50.8mm"',
            "job.toml: stock.bore: 2.0000 in is not below diameter, 2.0000 in",
        ),
        (
            'shape = "tube"\ndiameter = 2\nbottom = 0\ntop = 1',
            "job.toml: stock.bore: is missing: inside diameter",
        ),
        (
            'shape = "model"\nmodel = "part.stl"\nlow = 1',
            "job.toml: stock.low: unknown key; allowed here: material, shape, model",
        ),
        ('shape = "model"\nmodel = 5', "job.toml: stock.model: 5 is not a text; a text stands in"),
        ('shape = "model"', "job.toml: stock.model: is missing: file of a closed mesh"),
    ],
)
def test_stock_refused(fault, stock, text):
    assert fault(swap(BLOCK, stock)).startswith(text)


# -------------------------------------------------------------------------------- part, show, grid


@pytest.mark.parametrize(
    ("table", "text"),
    [
        ("[part]", "job.toml: part: a part needs a model, or top and bottom both"),
        ("[part]\ntop = 1", "job.toml: part: a part needs a model, or top and bottom both"),
        (
            "[part]\ntop = -1\nbottom = 0",
            "job.toml: part.bottom: 0.0000 in is not below top, -1.0000 in",
        ),
        ('[part]\nmodel = "prt.stl"', 'job.toml: part.model: "prt.stl" is not there; it is looked'),
        ("[part]\ntolerance = 0", "job.toml: part.tolerance: 0 is not above 0"),
        ("[grid]\npitch = 0", "job.toml: grid.pitch: 0 is not above 0"),
        (
            "[grid]\npitch = 1.5",
            "job.toml: grid.pitch: 1.5000 in is wider than the stock, 1.0000 in",
        ),
        (
            "[[show]]",
            'job.toml: show[1]: needs direction = "+z" (or another, or [x, y, z]) or face',
        ),
        (
            '[[show]]\ndirection = "+w"',
            'job.toml: show[1].direction: "+w" is not a direction; allowed: +x, -x, +y, -y, +z, '
            "-z, or [x, y, z]",
        ),
        (
            "[[show]]\ndirection = [0, 0, 0]",
            "job.toml: show[1].direction: [0, 0, 0] points nowhere",
        ),
        (
            "[[show]]\ndirection = [0, 0, nan]",
            "job.toml: show[1].direction: [0, 0, nan] is not a direction",
        ),
        ("[[show]]\ndirection = [0, true, 1]", "job.toml: show[1].direction: [0, true, 1] is not"),
        ("[[show]]\ndirection = [0, 1]", "job.toml: show[1].direction: [0, 1] is not a direction"),
    ],
)
def test_part_show_grid_refused(fault, table, text):
    assert fault(swap("[[setups]]", f"{table}\n[[setups]]")).startswith(text)


def test_part_of_top_and_bottom_only(load):
    part = load(swap("[[setups]]", "[part]\ntop = 0\nbottom = -0.5\n[[setups]]")).part
    assert (part.model, part.tolerance, part.top, part.bottom) == (None, None, 0.0, -12.7)


# ------------------------------------------------------------------------------------------ setups


def test_pass_list_instead_of_a_program(load):
    setup = load(swap('program = "a.nc"', 'passes = "passes.toml"')).setups[0]
    assert (setup.program, str(setup.passes)) == (None, "passes.toml")


@pytest.mark.parametrize(
    ("setup", "text"),
    [
        (
            "",
            "job.toml: setups[1].program: is missing; give program (an RS-274 file) or passes (a "
            "pass list), one of them",
        ),
        (
            'program = "a.nc"\npasses = "passes.toml"',
            "job.toml: setups[1].program: program and passes are both given; give program (an",
        ),
        (
            'program = "a.nc"\nplacement = [0, 0, 0]',
            "job.toml: setups[1].placement: not built yet: one setup for now",
        ),
        (
            'program = "a.nc"\n[[setups]]\nname = "op2"\nprogram = "a.nc"',
            "job.toml: setups: 2 setups given; a second one is not built yet: one setup for now",
        ),
        (
            'program = "a.nc"\n[[setups.fixture]]\nlow = [0, 0, 0]\nhigh = [1, 1, -1]',
            "job.toml: setups[1].fixture[1].low: z of low, 0.0000 in, is not below z of high, "
            "-1.0000 in",
        ),
        (
            'program = "a.nc"\n[setups.work_offsets]\nG60 = [0, 0, 0]',
            "job.toml: setups[1].work_offsets.G60: unknown key; allowed here: G54, G55, G56, G57, "
            "G58, G59, G59.1, G59.2, G59.3",
        ),
        (
            'program = "a.nc"\n[setups.work_offsets]\nG55 = 1',
            "job.toml: setups[1].work_offsets.G55: 1 is not a list in [ ]",
        ),
        ('program = "a.nc"\nhome = [0, 0]', "job.toml: setups[1].home: [0, 0] is too short"),
        (
            'program = "a.nc"\nblock_delete = 1',
            "job.toml: setups[1].block_delete: 1 is not allowed; write true or false",
        ),
        (
            'program = "a.nc"\nd_registers = "diam"',
            'job.toml: setups[1].d_registers: "diam" is not allowed; allowed: radius, diameter; '
            'did you mean "diameter"?',
        ),
        (
            'progam = "a.nc"',
            "job.toml: setups[1].progam: unknown key; allowed here: name, program, passes, "
            "fixture, work_offsets, home, block_delete, d_registers, control, accept, parameters; "
            'did you mean "program"?',
        ),
    ],
)
def test_setup_refused(fault, setup, text):
    assert fault(swap('program = "a.nc"\n', setup + "\n")).startswith(text)


def test_no_setup(fault):
    start = SMALL[: SMALL.index("[[setups]]")]
    assert fault(start) == "job.toml: setups: is missing: one [[setups]] table"
    assert fault("setups = []\n" + start) == "job.toml: setups: is empty; one setup is needed"


# ----------------------------------------------------------------------------------------- offsets


def offsets(lines, text=SMALL):
    return swap("[[setups]]", f"[offsets]\n{lines}\n[[setups]]", text)


def test_offsets_for_registers_that_no_tool_has(load):
    job = load(offsets('H99 = "1 tenth"\nD07 = 0.001'))
    assert job.h_errors == {99: 0.00254}
    assert job.d_errors == {7: 0.0254}


def test_d_registers_that_hold_diameters_are_halved_and_h_not(load):
    text = offsets("H1 = 0.002\nD1 = 0.002") + 'd_registers = "diameter"\n'
    job = load(text)
    assert (job.h_errors, job.d_errors) == ({1: 0.0508}, {1: 0.0254})


@pytest.mark.parametrize(
    ("lines", "name"),
    [
        ("Z0 = 0.001", "op1"),
        ("op1.Z0 = 0.001", "op1"),
        ('"op1.Z0" = 0.001', "op1"),
        ("[offsets.op1]\nZ0 = 0.001", "op1"),
        ('"rev. 2.Z0" = 0.001', "rev. 2"),
        ('"rev. 2".Z0 = 0.001', "rev. 2"),
    ],
)
def test_ways_to_write_a_work_zero(load, lines, name):
    text = swap('name = "op1"', f'name = "{name}"')
    assert load(offsets(lines, text)).zero_errors == {name: (0.0, 0.0, 0.0254)}


@pytest.mark.parametrize(
    ("lines", "text"),
    [
        (
            "h3 = 0",
            "job.toml: offsets.h3: unknown key; allowed: H3, D3 (any register), Z0, X0, Y0, or a "
            'setup\'s name before these: op1.Z0; did you mean "H3"?',
        ),
        ("ZO = 0", "job.toml: offsets.ZO: unknown key; allowed: H3, D3"),
        ("A0 = 0", "job.toml: offsets.A0: unknown key; allowed: H3, D3"),
        ("H = 0", "job.toml: offsets.H: unknown key; allowed: H3, D3"),
        ("H-3 = 0", "job.toml: offsets.H-3: unknown key; allowed: H3, D3"),
        (
            "opl.Z0 = 0",
            'job.toml: offsets.opl.Z0: no setup is called "opl"; setups here: op1; '
            'did you mean "op1"?',
        ),
        (
            '"op1.W0" = 0',
            'job.toml: offsets."op1.W0": unknown key; allowed: H3, D3 (any register), Z0, X0, '
            'Y0, or a setup\'s name before these: op1.Z0; did you mean "op1.Z0"?',
        ),
        (
            "Z0 = 0.001\nop1.Z0 = 0.001",
            "job.toml: offsets.op1.Z0: is given twice, in two ways of writing it",
        ),
        ("H3 = 0\nH03 = 0", "job.toml: offsets.H03: is given twice, in two ways of writing it"),
        (
            'H3 = "1.5 tho"',
            'job.toml: offsets.H3: unknown unit "tho" in "1.5 tho"; use in, thou, tenths, mm or '
            'um; did you mean "thou"?',
        ),
        ("H3 = true", "job.toml: offsets.H3: true is not a length"),
        ("H3 = [1]", "job.toml: offsets.H3: [1] is not a length"),
        ("H3 = nan", "job.toml: offsets.H3: nan is not a length"),
        ("H3 = inf", "job.toml: offsets.H3: inf is longer than 100 m"),
    ],
)
def test_offsets_refused(fault, lines, text):
    assert fault(offsets(lines)).startswith(text)


# ------------------------------------------------------------------------------------------- files


def test_missing_program_names_key_path_and_closest(fault):
    assert fault(swap('"a.nc"', '"b.nc"')) == (
        'job.toml: setups[1].program: "b.nc" is not there; it is looked for as b.nc; '
        'did you mean "a.nc"?'
    )
    text = fault(swap('"a.nc"', "'nc\\a.nc'"))
    assert text.endswith("write / between folders, not \\")
    assert "there is no folder nc" in fault(swap('"a.nc"', '"nc/a.nc"'))


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ('""', "is an empty text; name a file"),
        ('"."', '"." is a folder; name a file in it'),
        ('"a\\u0000.nc"', '"a .nc" has a character that no file'),
        ('"a\\u001b.nc"', '"a .nc" has a character that no file'),
        ('"' + "a" * 5000 + '"', "can't be read"),
        ("3", "3 is not a text"),
    ],
)
def test_odd_file_names(fault, name, text):
    found = fault(swap('"a.nc"', name))
    assert found.startswith("job.toml: setups[1].program: ")
    assert text in found
    assert found.isprintable()


def test_paths_may_not_leave_the_folder_unless_allowed(fault, load, folder):
    outside = folder.parent / "out.nc"
    outside.write_text("")
    (folder / "link.nc").symlink_to(outside)
    (folder / "inner.nc").symlink_to("a.nc")
    for name, why in (
        ("../out.nc", "leaves the job's folder"),
        ("../job/../out.nc", "leaves the job's folder"),
        ("link.nc", "leaves the job's folder"),
        (str(outside), "is not relative to the job's folder"),
        (str(folder / "a.nc"), "is not relative to the job's folder"),
    ):
        text = swap('"a.nc"', f'"{name}"')
        found = fault(text)
        assert found.startswith(f'job.toml: setups[1].program: "{name[:30]}')
        assert why in found
        assert found.endswith("or give --allow-outside")
        setup = load(text, allow_outside=True).setups[0]
        assert setup.program.is_file()
    assert str(load(swap('"a.nc"', '"../job/a.nc"')).setups[0].program) == "../job/a.nc"
    assert str(load(swap('"a.nc"', '"inner.nc"')).setups[0].program) == "inner.nc"


def test_links_in_a_circle(fault, folder):
    (folder / "one.nc").symlink_to("two.nc")
    (folder / "two.nc").symlink_to("one.nc")
    assert fault(swap('"a.nc"', '"one.nc"')).startswith('job.toml: setups[1].program: "one.nc" ')


def test_paths_are_relative_to_the_job_not_to_the_current_folder(load, folder, monkeypatch):
    load(SMALL)
    monkeypatch.chdir(folder.parent)
    job = load_job_file(type(folder)("job/job.toml"))
    assert str(job.setups[0].program) == "job/a.nc"


def test_stock_model_and_shared_tools_may_not_leave_either(fault):
    text = fault(swap(BLOCK, 'shape = "model"\nmodel = "../a.stl"'))
    assert text.startswith('job.toml: stock.model: "../a.stl" leaves the job')
    start, end = SMALL.index("[[tools]]"), SMALL.index("[[setups]]")
    text = fault('tools = "/etc/shop.toml"\n' + SMALL[:start] + SMALL[end:])
    assert text.startswith('job.toml: tools: "/etc/shop.toml" is not relative to the job')


def test_missing_job_file(folder):
    (folder / "job.toml").write_text("")
    with pytest.raises(JobError, match=r'^job2.toml: no such file; did you mean "job.toml"\?$'):
        load_job_file(type(folder)("job2.toml"))


def test_all_problems_of_several_keys_come_at_once(fault):
    text = swap('"a.nc"', '"b.nc"', offsets("Q = 1", swap("high = [2, 1, 0]", "high = [2, 1, -1]")))
    lines = fault(text).splitlines()
    assert lines[0] == "job.toml: 3 problems:"
    assert [line.split(": ")[0] for line in lines[1:]] == [
        "  stock.low",
        "  setups[1].program",
        "  offsets.Q",
    ]


# ------------------------------------------------------------------------------------------ schema


def test_schema_says_what_a_length_is_and_has_every_key():
    schema = job_schema()
    kinds = [member["type"] for member in schema["$defs"]["length"]["anyOf"]]
    assert kinds == ["number", "string"]
    assert list(schema["properties"]) == [
        "job", "stock", "part", "show", "grid", "accuracy", "tools", "offsets",
        "margins", "machine", "setups",
    ]  # fmt: skip
    assert schema["required"] == ["job", "stock", "tools", "setups"]
    tool = schema["$defs"]["Tool"]["properties"]
    assert set(tool) == {"number", "name", "shape", "holder"} | {
        key for word in WORDS.values() for key in word.keys
    }
    assert tool["shape"]["enum"] == list(SHAPES)
    assert tool["DC"]["$ref"] == "#/$defs/length_above_0"
    assert tool["RE"]["$ref"] == "#/$defs/length_0_up"
    assert all(table.get("description") for table in tool.values())


def test_schema_has_no_null_and_its_references_lead_somewhere():
    text = json.dumps(job_schema())
    assert "null" not in text
    schema = json.loads(text)

    def references(node):
        if isinstance(node, dict):
            yield from (v for k, v in node.items() if k == "$ref")
        if isinstance(node, dict | list):
            for item in node.values() if isinstance(node, dict) else node:
                yield from references(item)

    found = set(references(schema))
    assert len(found) > 10
    assert all(ref.removeprefix("#/$defs/") in schema["$defs"] for ref in found)


def test_schema_is_the_same_each_time():
    first = copy.deepcopy(job_schema())
    assert job_schema() == first


def test_nothing_heavy_is_loaded():
    code = (
        "import sys, proud.jobfile; "
        "print(sorted({'numpy', 'numba', 'pyvista', 'trimesh', 'scipy'} & set(sys.modules)))"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout == "[]\n"

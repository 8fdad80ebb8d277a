"""Tools: ISO 13399 symbols and plain words, what each shape needs, and what no tool can be."""

import pytest
from proud.columns import BALL, BULL, CONE, FLAT, column_parts
from proud.errors import JobError
from proud.jobfile import load_job_file
from proud.jobfile_words import WORDS
from proud.tools import Tool

HEAD = """
{top}
[job]
unit = "{unit}"
[stock]
shape = "block"
low = [0, 0, -1]
high = [2, 1, 0]
{tools}
[[setups]]
program = "a.nc"
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    (tmp_path / "a.nc").write_text("")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def load(folder):
    def load_tools(tools, unit="in", top=""):
        text = HEAD.format(tools=tools, unit=unit, top=top)
        (folder / "job.toml").write_text(text)
        return load_job_file(type(folder)("job.toml"))

    return load_tools


@pytest.fixture
def tool(load):
    def one_tool(keys, unit="in"):
        (found,) = load(f"[[tools]]\nnumber = 3\n{keys}", unit).tools.values()
        return found

    return one_tool


@pytest.fixture
def fault(load):
    def fault_text(keys, unit="in"):
        with pytest.raises(JobError) as caught:
            load(f"[[tools]]\nnumber = 3\n{keys}", unit)
        assert caught.value.exit_code == 2
        return str(caught.value)

    return fault_text


def lines(text):
    return text.replace("; ", "\n")


# ------------------------------------------------------------------------------------------- words


VALUES = {
    "diameter": ('"12mm"', 12.0),
    "corner_radius": ('"1mm"', 1.0),
    "cutting_length": ('"20mm"', 20.0),
    "neck_diameter": ('"11mm"', 11.0),
    "usable_length": ('"25mm"', 25.0),
    "head_length": ('"26mm"', 26.0),
    "shank_diameter": ('"12.5mm"', 12.5),
    "stickout": ('"40mm"', 40.0),
    "overall_length": ('"90mm"', 90.0),
    "flutes": ("4", 4),
    "ramp_angle": ("3.5", 3.5),
    "center_cutting": ("false", False),
    "edge_angle": ("60", 60.0),
    "point_angle": ("118", 118.0),
    "tip_diameter": ('"2mm"', 2.0),
    "taper_angle": ("3", 3.0),
    "chamfer_length": ('"2mm"', 2.0),
    "profile": ("[[0, 0], [6, 9]]", (("bottom", (0.0, 0.0), (152.4, 228.6), None),)),
}
STORED = {"usable_length": "neck_length", "head_length": "neck_length"}
BASE = {
    "edge_angle": lines('shape = "chamfer"; DC = "12mm"; tip = 0'),
    "tip_diameter": lines('shape = "chamfer"; DC = "12mm"; KAPR = 45'),
    "point_angle": lines('shape = "drill"; DC = "12mm"'),
    "corner_radius": lines('shape = "bull"; DC = "12mm"'),
    "diameter": 'shape = "flat"',
    "taper_angle": lines('shape = "taper-ball"; DC = "12mm"; RE = "1mm"'),
    "chamfer_length": lines('shape = "tap"; DC = "12mm"; tip = "8mm"'),
    "profile": 'shape = "profile"',
}


@pytest.mark.parametrize(("name", "key"), [(n, k) for n, w in WORDS.items() for k in w.keys])
def test_each_word_sets_its_value(tool, name, key):
    text, value = VALUES[name]
    base = BASE.get(name, lines('shape = "flat"; DC = "12mm"'))
    found = tool(f"{base}\n{key} = {text}")
    own = dict(found.own)
    assert own.get(name, getattr(found, STORED.get(name, name), None)) == value


@pytest.mark.parametrize("name", [n for n, w in WORDS.items() if len(w.keys) > 1])
def test_two_words_for_one_thing_are_an_error_that_names_both(fault, name):
    first, second = WORDS[name].keys[:2]
    text = VALUES[name][0]
    base = BASE.get(name, lines('shape = "flat"; DC = "12mm"'))
    assert fault(f"{base}\n{first} = {text}\n{second} = {text}") == (
        f"job.toml: tools[1].{second}: tool 3: {first} and {second} are the same thing; "
        "give one of them"
    )


def test_words_are_unique_and_symbols_are_those_of_the_standard():
    keys = [key for word in WORDS.values() for key in word.keys]
    assert len(keys) == len(set(keys))
    # From memory of ISO 13399.
    symbols = {word.symbol for word in WORDS.values()} - {""}
    expected = "DC RE APMX DN LU LH DMM LPR OAL ZEFF KAPR SIG RMPX"
    assert symbols == set(expected.split())


def test_of_both_neck_lengths_the_shorter_meaning_counts(tool):
    keys = 'shape = "flat"; DC = 0.5; DN = 0.4; LU = 1; LH = 1.5'
    assert tool(lines(keys)).neck_length == 25.4
    assert tool(lines(keys.replace("LU = 1; ", ""))).neck_length == 38.1


# ------------------------------------------------------------------------------------------ shapes


@pytest.mark.parametrize(
    ("keys", "profile"),
    [
        ('shape = "flat"; DC = 0.5; RE = 0; KAPR = 90', (FLAT, 6.35, 6.35, 0.0)),
        ('shape = "bull"; DC = 0.5; RE = 0.06', (BULL, 6.35, 4.826, 1.524)),
        ('shape = "bull"; DC = 0.5; RE = 0.25', (BALL, 6.35, 0.0, 6.35)),
        ('shape = "bull"; DC = 0.5; RE = 0', (FLAT, 6.35, 6.35, 0.0)),
        ('shape = "ball"; DC = 0.5', (BALL, 6.35, 0.0, 6.35)),
        ('shape = "ball"; DC = 0.5; RE = "6.35mm"', (BALL, 6.35, 0.0, 6.35)),
        ('shape = "chamfer"; DC = 0.5; KAPR = 45; tip = 0.1', (CONE, 6.35, 1.27, 0.0)),
        ('shape = "drill"; DC = 0.5; SIG = 180', (FLAT, 6.35, 6.35, 0.0)),
    ],
)
def test_shapes_give_their_profile(tool, keys, profile):
    (part,) = column_parts(tool(lines(keys)))
    assert part[0] == profile[0]
    assert part[1:4] == pytest.approx(profile[1:], abs=1e-12)


def test_unknown_shape_lists_what_is_allowed_and_the_closest(fault):
    assert fault('shape = "bal"\nDC = 0.5') == (
        'job.toml: tools[1].shape: "bal" is not a tool\'s shape; allowed: ball, bore-bar, bull, '
        "chamfer, corner-rounding, drill, flat, lollipop, profile, spot-drill, t-slot, tap, "
        'taper-ball; did you mean "ball"?'
    )
    assert "is not a text" in fault("shape = 3\nDC = 0.5")


@pytest.mark.parametrize(
    ("keys", "key", "text"),
    [
        ('shape = "flat"', "DC", "its diameter is missing; give DC or diameter"),
        (
            'shape = "flat"; DC = 0.5; RE = 0.03',
            "RE",
            "RE 0.0300 in on a flat; only 0 is allowed; with a corner radius it is shape = ",
        ),
        ('shape = "bull"; DC = 0.5', "RE", "a bull needs its corner radius; give RE or corner_"),
        (
            'shape = "bull"; DC = 0.5; corner_radius = 0.26',
            "corner_radius",
            "corner_radius 0.2600 in is over half of DC 0.5000 in; up to 0.2500 in is allowed",
        ),
        (
            'shape = "ball"; DC = 0.5; RE = 0.2',
            "RE",
            "RE 0.2000 in on a ball of DC 0.5000 in; its radius is half the diameter, 0.250000 in: "
            'leave it out, or use shape = "bull"',
        ),
        ('shape = "drill"; DC = 0.5', "SIG", "a drill needs its point angle in degrees; give SIG"),
        ('shape = "drill"; DC = 0.5; SIG = 118; RE = 0.1', "RE", "RE 0.1000 in on a drill; only 0"),
        ('shape = "drill"; DC = 0.5; SIG = 118; KAPR = 59', "KAPR", "KAPR 59 degrees on a drill"),
        ('shape = "flat"; DC = 0.5; KAPR = 45', "KAPR", "KAPR 45 degrees on a flat; only 90 fits"),
        (
            'shape = "flat"; DC = 0.5; SIG = 118',
            "SIG",
            "is for a bore bar, a drill, a spot drill or a tap; this is a flat",
        ),
        (
            'shape = "flat"; DC = 0.5; tip = 0',
            "tip",
            "is for a chamfer tool, a corner-rounding tool, a spot drill or a tap; this is a flat",
        ),
        (
            'shape = "chamfer"; DC = 0.5; tip = 0',
            "KAPR",
            "a chamfer tool needs its edge angle; give KAPR or edge_angle, 45 for 90 included",
        ),
        (
            'shape = "chamfer"; DC = 0.5; KAPR = 45',
            "tip_diameter",
            "a chamfer tool needs the diameter of its tip; give tip_diameter, 0 for a point",
        ),
        (
            'shape = "chamfer"; DC = 0.5; KAPR = 90; tip = 0',
            "KAPR",
            "KAPR 90 degrees on a chamfer tool; above 0 and below 90 is allowed",
        ),
        (
            'shape = "chamfer"; DC = 0.5; KAPR = 45; tip = 0.5',
            "tip",
            "tip 0.5000 in is not below DC 0.5000 in",
        ),
        (
            'shape = "chamfer"; DC = 0.5; KAPR = 45; tip = 0; SIG = 90',
            "SIG",
            "SIG 90 degrees on a chamfer tool; its angle is KAPR, 45 for 90 included",
        ),
    ],
)
def test_what_a_shape_needs_and_refuses(fault, keys, key, text):
    assert fault(lines(keys)).startswith(f"job.toml: tools[1].{key}: tool 3: {text}")


@pytest.mark.parametrize(
    ("keys", "text"),
    [
        ("SIG = 0", "SIG: 0 is not above 0"),
        ("SIG = 181", "SIG: 181 is above 180"),
        ("KAPR = -1", "KAPR: -1 is not above 0"),
        ("KAPR = 91", "KAPR: 91 is above 90"),
        ('SIG = "118"', 'SIG: "118" is not a number'),
        ("ZEFF = 0", "ZEFF: 0 is below 1"),
        ("flutes = 2.0", "flutes: 2.0 is not a whole number"),
        ("APMX = 0", "APMX: 0 is not above 0"),
        ("RE = -0.01", "RE: -0.01 is below 0"),
        ('name = ""', "name: is an empty text"),
        ("holder = [[1, 0]]", "holder[1][2]: 0 is not above 0"),
        ("holder = [[1]]", "holder[1]: [1] is too short; item 2 is missing"),
        ("holder = [1]", "holder[1]: 1 is not a list in [ ]"),
        ("coner_radius = 1", "coner_radius: unknown key; allowed here: number, name, shape, DC, d"),
    ],
)
def test_values_out_of_range(fault, keys, text):
    assert f"job.toml: tools[1].{text}" in fault(lines(f'shape = "flat"; DC = 0.5; {keys}'))


def test_unknown_key_gives_the_closest(fault):
    text = fault('shape = "flat"\nDC = 0.5\nconer_radius = 1')
    assert text.endswith('; did you mean "corner_radius"?')


@pytest.mark.parametrize(
    ("number", "text"),
    [
        ("0", "0 is below 1"),
        ("-1", "-1 is below 1"),
        ("1.0", "1.0 is not a whole number"),
        ("true", "true is not a whole number"),
        ('"1"', '"1" is not a whole number'),
        ("100000000", "100000000 is above 99999999"),
        (str(10**30), "a whole number of over 18 digits is above 99999999"),
    ],
)
def test_tool_numbers(load, number, text):
    with pytest.raises(JobError) as caught:
        load(f'[[tools]]\nnumber = {number}\nshape = "flat"\nDC = 0.5')
    assert str(caught.value) == f"job.toml: tools[1].number: {text}"


# ----------------------------------------------------------------------------- impossible lengths


@pytest.mark.parametrize(
    ("keys", "text"),
    [
        ("flute_length = 2; OAL = 1.5", "flute_length 2.0000 in is over OAL 1.5000 in"),
        ("LU = 2; OAL = 1.5", "LU 2.0000 in is over OAL 1.5000 in"),
        ("LH = 2; OAL = 1.5", "LH 2.0000 in is over OAL 1.5000 in"),
        ("stickout = 2; OAL = 1.5", "stickout 2.0000 in is over OAL 1.5000 in"),
        ("APMX = 1; LPR = 0.9", "APMX 1.0000 in is over LPR 0.9000 in"),
        ("APMX = 1; LU = 0.9", "APMX 1.0000 in is over LU 0.9000 in"),
        ("APMX = 1; LH = 0.9", "APMX 1.0000 in is over LH 0.9000 in"),
        ("LU = 1; LH = 0.9", "LU 1.0000 in is over LH 0.9000 in"),
        ("DN = 0.51; LU = 1", "DN 0.5100 in is over DC 0.5000 in"),
        (
            "DN = 0.4; LU = 2; LPR = 1.9",
            "LU 2.0000 in is over LPR 1.9000 in: the neck is in the holder",
        ),
    ],
)
def test_impossible_lengths_name_both_values(fault, tool, keys, text):
    key = text.split()[0]
    found = fault(lines(f'shape = "flat"; DC = 0.5; {keys}'))
    assert found == f"job.toml: tools[1].{key}: tool 3: {text}"
    # Equal is possible: the greater of the two takes the smaller's place.
    first, second = keys.split("; ")[-2:]
    if "DN" not in keys:
        value = second.split(" = ")[1]
        equal = f"{first.split(' = ')[0]} = {value}; {second}"
        assert tool(lines(f'shape = "flat"; DC = 0.5; {equal}')).number == 3


def test_values_are_named_in_the_unit_of_the_job(fault):
    text = fault(lines('shape = "flat"; DC = 12; APMX = "2in"; OAL = 50'), unit="mm")
    assert text.endswith("APMX 50.800 mm is over OAL 50.000 mm")


@pytest.mark.parametrize(
    ("keys", "end"),
    [
        ('shape = "ball"; DC = 0.5; APMX = ', 0.25),
        ('shape = "bull"; DC = 0.5; RE = 0.1; APMX = ', 0.1),
        ('shape = "drill"; DC = 0.5; SIG = 90; APMX = ', 0.25),
    ],
)
def test_cutting_part_must_reach_its_diameter(fault, tool, keys, end):
    # A hundredth short is a catalogue's rounding, two are an error.
    assert tool(lines(f"{keys}{end * 0.991}")).cutting_length == pytest.approx(end * 0.991 * 25.4)
    text = fault(lines(f"{keys}{end * 0.98}"))
    assert (
        f"in ends before the {keys.split(chr(34))[1]} has come to its diameter, {end:.4f} in"
        in text
    )


def test_holder_needs_the_stickout(fault, tool):
    keys = 'shape = "flat"; DC = 0.5; holder = [[2, 1], ["40mm", 0.5]]'
    assert fault(lines(keys)) == (
        "job.toml: tools[1].holder: tool 3: a holder needs the stickout, where it begins; give LPR "
        "or stickout"
    )
    assert tool(lines(keys + "; LPR = 1")).holder == ((50.8, 25.4), (40.0, 12.7))


def test_all_of_a_tools_problems_are_listed(fault):
    keys = 'shape = "bull"; DC = 0.5; RE = 0.3; APMX = 4; OAL = 3; LPR = 3.5'
    assert fault(lines(keys)).splitlines() == [
        "job.toml: 4 problems:",
        "  tools[1].RE: tool 3: RE 0.3000 in is over half of DC 0.5000 in; up to 0.2500 in is "
        "allowed",
        "  tools[1].APMX: tool 3: APMX 4.0000 in is over OAL 3.0000 in",
        "  tools[1].LPR: tool 3: LPR 3.5000 in is over OAL 3.0000 in",
        "  tools[1].APMX: tool 3: APMX 4.0000 in is over LPR 3.5000 in",
    ]


# ------------------------------------------------------------------------------- names and numbers


@pytest.mark.parametrize(
    ("keys", "unit", "name"),
    [
        ('shape = "flat"; DC = 0.5', "in", "flat 0.5000 in"),
        ('shape = "flat"; DC = "12.7mm"', "in", "flat 0.5000 in"),
        ('shape = "ball"; DC = 6', "mm", "ball 6.000 mm"),
        ('shape = "bull"; DC = 0.5; RE = 0.03', "in", "bull 0.5000 in, RE 0.0300 in"),
        ('shape = "flat"; DC = 0.5; name = " a\\u001bb "', "in", "a b"),
    ],
)
def test_names(tool, keys, unit, name):
    assert tool(lines(keys), unit).name == name


def test_duplicate_number(load):
    one = '[[tools]]\nnumber = 3\nshape = "flat"\nDC = 0.5\n'
    with pytest.raises(JobError) as caught:
        load(one + one.replace("3", "4") + one)
    assert str(caught.value) == ("job.toml: tools[3].number: 3 is already the number of tools[1]")


def test_notes_for_what_has_no_end(load):
    keys = 'number = 7; shape = "flat"; DC = 0.5; DN = 0.4'
    assert load("[[tools]]\n" + lines(keys)).notes == (
        "tool 7: no cutting length given; its cutting part has no end here",
        "tool 7: no length of its neck given; the neck has no end here",
    )
    assert load("[[tools]]\n" + lines(keys + "; APMX = 1; LU = 2")).notes == ()


# ------------------------------------------------------------------------------- the shared file


SHOP = """
{unit}
[[tools]]
number = 3
shape = "flat"
DC = 12
APMX = 30
"""


@pytest.mark.parametrize(
    ("unit", "diameter", "name"),
    [("", 304.8, "flat 12.0000 in"), ('unit = "mm"', 12.0, "flat 0.4724 in")],
)
def test_shared_tools_in_their_own_unit_or_the_jobs(load, folder, unit, diameter, name):
    (folder / "shop-tools.toml").write_text(SHOP.format(unit=unit))
    job = load("", top='tools = "shop-tools.toml"')
    assert list(job.tools) == [3]
    assert isinstance(job.tools[3], Tool)
    assert (job.tools[3].diameter, job.tools[3].name) == (diameter, name)


@pytest.mark.parametrize(
    ("old", "new", "text"),
    [
        ("DC = 12", "DC = 12\nRE = 3", "shop-tools.toml: tools[1].RE: tool 3: RE 0.1181 in on a f"),
        ("DC", "DCC", "shop-tools.toml: tools[1].DCC: unknown key; allowed here: number, name, s"),
        ("[[tools]]", "[[tool]]", "shop-tools.toml: 2 problems:\n  tools: is missing: the tools"),
        ('"mm"', '"cm"', 'shop-tools.toml: unit: "cm" is not allowed; write "in" or "mm"'),
        ("DC = 12", "DC = 12 mm", "shop-tools.toml: line 6, column 9: something follows the value"),
    ],
)
def test_errors_in_shared_tools_name_that_file(load, folder, old, new, text):
    source = SHOP.format(unit='unit = "mm"')
    assert source.count(old) == 1
    (folder / "shop-tools.toml").write_text(source.replace(old, new))
    with pytest.raises(JobError) as caught:
        load("", top='tools = "shop-tools.toml"')
    assert str(caught.value).startswith(text)


def test_missing_shared_tools(load, folder):
    (folder / "shop-tools.toml").write_text("")
    with pytest.raises(JobError) as caught:
        load("", top='tools = "shop-tool.toml"')
    assert str(caught.value) == (
        'job.toml: tools: "shop-tool.toml" is not there; it is looked for as shop-tool.toml; '
        'did you mean "shop-tools.toml"?'
    )


@pytest.mark.parametrize(
    ("top", "text"),
    [
        ("", "job.toml: tools: is missing: [[tools]] tables, or the name of a file of tools"),
        ("tools = []", "job.toml: tools: is empty; at least one tool is needed"),
        ("tools = 3", "job.toml: tools: 3 is not a text; a text stands in quotes, nor a list in ["),
    ],
)
def test_no_tools(load, top, text):
    with pytest.raises(JobError) as caught:
        load("", top=top)
    assert str(caught.value).startswith(text)


def test_empty_shared_file(load, folder):
    (folder / "shop-tools.toml").write_text("tools = []")
    with pytest.raises(JobError, match=r"^shop-tools.toml: tools: is empty; at least one tool"):
        load("", top='tools = "shop-tools.toml"')

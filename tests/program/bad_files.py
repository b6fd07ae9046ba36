"""Cases: recordings, settings and tables that are damaged, or not what they must be."""

import json
import os
import struct

from harness import Case, npy

GOOD = {"sampling_rate": 20e6, "frame_rate": 200.0, "start_time": 6.493506493506494e-06, "centre_frequency": 4e6,
        "bandwidth": 1e6, "sound_speed": 1540.0}
SAMPLES = 441  # of the template's frames


def hole(length, start):
    """Makes a file of any length that takes no room on the disk."""
    def make(path):
        with open(path, "wb") as file:
            file.write(start)
            file.truncate(length)
    return make


def bad_arrays():
    """Name, content and words of .npy files that no program can take."""
    def header(text):
        return npy(None, header=text, data=bytes(24))
    yield "empty", b"", "is empty"
    yield "text", b"hello, world, this is no array", "is not a .npy file"
    yield "magic alone", b"\x93NUMPY", "is not a .npy file"
    yield "version 0", npy("(2, 6)", version=(0, 0), data=bytes(24)), ".npy version = 0.0"
    yield "version 4", npy("(2, 6)", version=(4, 0), data=bytes(24)), ".npy version = 4.0"
    yield "version 1.7", npy("(2, 6)", version=(1, 7), data=bytes(24)), ".npy version = 1.7"
    yield "header cut", npy("(2, 6)", length=500), "truncated within its header"
    yield "header of 4 GB", npy("(2, 6)", version=(2, 0), length=0xFFFFFFFF), "header length"
    yield "version 3 cut", npy("(2, 6)", version=(3, 0), length=900), "truncated within its header"
    for descr in ("<f8", ">i2", ">f4", "|u1", "|i1", "<u2", "<i4", "<i8", "<c8", "|b1", "|O", "<M8[s]", "<f2", "", "<"):
        yield f"dtype {descr}", npy("(2, 6)", descr=descr, data=bytes(24)), "dtype"
    yield "structured", header("{'descr': [('a', '<i2')], 'fortran_order': False, 'shape': (2, 6), }\n"), "structured"
    yield "Fortran order", npy("(2, 6)", order="True", data=bytes(24)), "fortran_order = True"
    for order in ("1", "None", "'False'", "false", ""):
        yield f"order {order}", npy("(2, 6)", order=order, data=bytes(24)), "fortran_order"
    for shape in ("()", "(12,)", "(1, 2, 6)", "(2, 6, 1)", "[2, 6]", "12", "(2, -6)", "(-2, -6)", "(2.0, 6)", "('2', 6)",
                  "(2, 6", "(,)", "(2 6)", "(0x2, 6)", "(99999999999999999999999, 6)", "(None, 6)"):
        yield f"shape {shape}", npy(shape, data=bytes(24)), "shape"
    for shape in ("(0, 6)", "(2, 0)", "(0, 0)"):
        yield f"shape {shape}", npy(shape), "at least one frame"
    for shape in ("(9223372036854775807, 9)", "(4611686018427387904, 4)", "(18446744073709551615, 1)"):
        yield f"shape {shape}", npy(shape, data=bytes(24)), "shape"
    for text in ("", "{", "{}", "}", "{'descr': '<i2'}", "{'shape': (2, 6)}", "{'descr': '<i2', 'fortran_order': False}",
                 "{'descr': '<i2', 'descr': '<i2', 'fortran_order': False, 'shape': (2, 6)}",
                 "{'descr': '<i2', 'fortran_order': False, 'shape': (2, 6), 'x': 1}",
                 "{'descr': '<i2, 'fortran_order': False, 'shape': (2, 6)}",
                 "{'descr': '<i2', 'fortran_order': False, 'shape': (2, 6)} and more", "{descr: '<i2'}", "\0" * 20,
                 "{'descr': '<i2'; 'fortran_order': False; 'shape': (2, 6)}", "\xff" * 40):
        yield f"header {text[:30]!r}", header(text), "header"
    yield "one byte short", npy("(2, 6)", data=bytes(23)), "truncated"
    yield "no data", npy("(2, 6)"), "truncated"
    yield "one byte more", npy("(2, 6)", data=bytes(25)), "too long"


def recordings():
    for name, content, words in bad_arrays():
        if name in ("shape (1, 2, 6)", "shape (2, 6, 1)"):
            continue  # lines, which track_artery takes: see lines()
        yield Case("track_artery", f"array: {name}", ["x.npy"], ("x.npy: ", words),
                   files={"x.npy": content, "x.json": json.dumps(GOOD).encode()})
    for number, (name, content, words) in enumerate(bad_arrays()):
        if number % 4 == 0:
            yield Case("decompose_batch", f"dictionary: {name}", ["x.npy", "signals.npy", "--out", "o.csv"],
                       ("x.npy: ", words), files={"x.npy": content})
        elif number % 4 == 1:
            yield Case("decompose_batch", f"signals: {name}", ["dictionary.npy", "x.npy", "--out", "o.csv"],
                       ("x.npy: ", words), files={"x.npy": content})
    for value, place in ((float("nan"), 0), (float("inf"), 70000), (float("-inf"), 300 * SAMPLES - 1)):
        values = bytearray(struct.pack("<f", 1.0) * (300 * SAMPLES))
        values[4 * place:4 * place + 4] = struct.pack("<f", value)
        content = npy(f"(300, {SAMPLES})", descr="<f4", data=bytes(values))
        for extra in ([], ["--block", "1"]):
            yield Case("track_artery", f"sample {value} at {place} {extra}", ["x.npy", *extra],
                       (f"frame {place // SAMPLES}", "must be finite"),
                       files={"x.npy": content, "x.json": json.dumps(GOOD).encode()})
    # No artery: outcomes, not errors.
    for frames, samples in ((1, 1), (1, SAMPLES), (300, 1), (300, 2), (300, 12), (300, 13), (300, 29), (300, 44),
                            (63, SAMPLES), (64, 50), (300, SAMPLES)):
        content = npy(f"({frames}, {samples})", data=bytes(2 * frames * samples))
        yield Case("track_artery", f"zeros {frames} x {samples}", ["x.npy"], status=(1, 2), may_write=True,
                   files={"x.npy": content, "x.json": json.dumps(GOOD).encode()})
    yield Case("track_artery", "transposed", ["x.npy"], ("transposed",), (1, 2), may_write=True,
               files={"x.npy": transposed, "x.json": json.dumps(GOOD).encode()})
    yield Case("track_artery", "terabyte, all at once", ["x.npy", "--block", "0"], ("x.npy: ", "memory"),
               files={"x.npy": hole(128 + 2 * 1000000000 * 500, npy("(1000000000, 500)", header=padded(1000000000, 500))),
                      "x.json": json.dumps(GOOD).encode()})
    yield Case("track_artery", "frames of a gigabyte", ["x.npy"], ("samples a frame = 500000000",),
               files={"x.npy": hole(128 + 2 * 70 * 500000000, npy(None, header=padded(70, 500000000))),
                      "x.json": json.dumps(GOOD).encode()})
    yield Case("decompose_batch", "terabyte", ["x.npy", "signals.npy"], ("memory",),
               files={"x.npy": hole(128 + 2 * 1000000000 * 500, npy(None, header=padded(1000000000, 500)))})


def lines():
    """Several lines over one artery that can't be, in one file or in several."""
    settings = json.dumps(GOOD).encode()
    array = npy(f"(2, 2, {SAMPLES})", data=bytes(8 * SAMPLES))
    for shape, size, words in (("(0, 2, 6)", 0, "1 to 256 lines"), ("(257, 1, 1)", 514, "1 to 256 lines"),
                               ("(2, 0, 6)", 0, "at least one frame"), ("(2, 2, 6)", 47, "truncated"),
                               ("(2, 2, 6)", 49, "too long"), ("(1, 2, 2, 6)", 48, "shape")):
        yield Case("track_artery", f"lines {shape} of {size} bytes", ["x.npy"], ("x.npy: ", words),
                   files={"x.npy": npy(shape, data=bytes(size)), "x.json": settings})
    for field in ("line_positions", "line_offsets"):
        for value, words in (([0], "as many as there are lines, 2"), ([0, 3], "within 1 of 0"), (1, "must be an array")):
            yield Case("track_artery", f"{field} {value}", ["x.npy"], ("x.json: ", field, words),
                       files={"x.npy": array, "x.json": json.dumps({**GOOD, field: value}).encode()})
    frames = 3001  # 15 s
    yield Case("track_artery", "long lines", ["x.npy"], ("seconds of recording = 15.0", "must not be longer than 10"),
               files={"x.npy": npy(f"(2, {frames}, {SAMPLES})", data=bytes(4 * frames * SAMPLES)), "x.json": settings})
    pair = {"x.npy": npy("(2, 6)", data=bytes(24)), "x.json": settings}
    yield Case("track_artery", "lines in blocks", ["good.npy", "good.npy", "--block", "1"], ("--block = 1", "as a whole"))
    yield Case("track_artery", "one --meta of two lines", ["good.npy", "x.npy", "--meta", "good.json"], ("--meta",), files=pair)
    yield Case("track_artery", "lines of two lengths", ["good.npy", "x.npy"], ("x.npy: holds 2 frames",), files=pair)
    yield Case("track_artery", "a second line that is not there", ["good.npy", "y.npy"], ("y.", "there is no such file"))
    yield Case("track_artery", "a file of lines as one line of several", ["good.npy", "x.npy"], ("one line",),
               files={"x.npy": array, "x.json": settings})
    yield Case("track_artery", "more files than lines", ["good.npy"] * 257, ("number of files = 257",))
    yield Case("track_artery", "another rate", ["good.npy", "x.npy"], ("frame_rate = 100",), setup=copied_line(frame_rate=100.0))
    yield Case("track_artery", "a foreign motion_line_1.csv", ["good.npy", "x.npy", "--out", "there"],
               ("motion_line_1.csv", "choose another folder"), setup=copied_line())


def copied_line(**fields):
    """Makes x.npy of the good recording, with settings of its own, and somebody's motion_line_1.csv."""
    def setup(place):
        (place / "x.npy").write_bytes((place / "good.npy").read_bytes())
        (place / "x.json").write_bytes(changed(**fields))
        (place / "there").mkdir(exist_ok=True)
        (place / "there" / "motion_line_1.csv").write_text("somebody's\n")
    return setup


def transposed(path):
    """The good recording with samples along its rows and frames along its columns."""
    good = os.path.join(os.path.dirname(path), b"good.npy")
    with open(good, "rb") as file:
        values = struct.unpack(f"<{300 * SAMPLES}h", file.read()[-2 * 300 * SAMPLES:])
    turned = [values[frame * SAMPLES + sample] for sample in range(SAMPLES) for frame in range(300)]
    with open(path, "wb") as file:
        file.write(npy(f"({SAMPLES}, 300)", data=struct.pack(f"<{len(turned)}h", *turned)))


def padded(rows, columns):
    """A header that starts the data at byte 128."""
    text = f"{{'descr': '<i2', 'fortran_order': False, 'shape': ({rows}, {columns}), }}"
    return text + " " * (117 - len(text)) + "\n"


def changed(**fields):
    """The settings as JSON text with fields changed, taken out (None) or given as text ('=...')."""
    text = []
    for name, value in {**GOOD, **fields}.items():
        if value is None:
            continue
        shown = value[1:] if isinstance(value, str) and value.startswith("=") else json.dumps(value)
        text.append(f'"{name}": {shown}')
    return ("{" + ", ".join(text) + "}").encode()


def bad_settings():
    """Name, content and words of settings that no program can take."""
    yield "empty", b"", "is not valid JSON"
    yield "array", b"[1, 2]", "must hold a JSON object"
    yield "number", b"3", "must hold a JSON object"
    yield "null", b"null", "must hold a JSON object"
    yield "cut", changed()[:70], "is not valid JSON"
    yield "more after it", changed() + b"}", "is not valid JSON"
    yield "trailing comma", changed()[:-1] + b",}", "is not valid JSON"
    yield "comment", b"// x\n" + changed(), "is not valid JSON"
    yield "no UTF-8", changed(operator="=\"\xff\"").decode("utf-8").encode("latin-1"), "is not valid JSON"
    yield "zeros", b"\0" * 100, "is not valid JSON"
    yield "two megabytes", changed() + b" " * 2000000, "is longer than"
    for deep in (17, 200000):
        yield f"nested {deep} deep", changed(note="=" + "[" * deep + "]" * deep), "nested deeper"
        yield f"a setting nested {deep} deep", changed(bandwidth="=" + "[" * deep + "]" * deep), "nested deeper"
        yield f"objects {deep} deep", changed(note="=" + "{\"a\":" * deep + "1" + "}" * deep), "holds no settings"
    yield "open 200000 deep", b"[" * 200000, "nested deeper"
    for field in GOOD:
        yield f"{field} missing", changed(**{field: None}), f"field '{field}' is missing"
        yield f"{field} twice", changed()[:-1] + f', "{field}": 1}}'.encode(), f'field "{field}" is there twice'
        for value in ('="4e6"', "=null", "=true", "=[1]", "={}"):
            yield f"{field} {value}", changed(**{field: value}), f"field '{field}'"
        for value in ("=NaN", "=Infinity", "=1e999", "=0x10", "=.5", "=+1"):
            yield f"{field} {value}", changed(**{field: value}), "is not valid JSON"
        for value in (-1.0, 1e12, 1e300):
            yield f"{field} {value}", changed(**{field: value}), "field "
    for field in ("sampling_rate", "frame_rate", "centre_frequency", "bandwidth", "sound_speed"):
        for value in (0, 1e-9):
            yield f"{field} {value}", changed(**{field: value}), "field "
    # Slips of unit.
    for field, value in (("sampling_rate", 20), ("sampling_rate", 20e3), ("centre_frequency", 4.0),
                         ("centre_frequency", 4e3), ("bandwidth", 1.0), ("bandwidth", 1e3), ("frame_rate", 200e6),
                         ("sound_speed", 1.54), ("sound_speed", 154000), ("start_time", 6.49), ("pulse_delay", 0.5),
                         ("pulse_delay", 487), ("pulse_delay", "=\"late\""), ("pulse_delay", "=null")):
        yield f"{field} {value}", changed(**{field: value}), f"{field}"
    yield "bandwidth beyond the centre", changed(bandwidth=8e6), "bandwidth"
    yield "undersampled", changed(sampling_rate=8e6), "sampling_rate"


def settings():
    for number, (name, content, words) in enumerate(bad_settings()):
        yield Case("track_artery", f"settings: {name}", ["good.npy", "--meta", "x.json"], ("x.json", words),
                   files={"x.json": content})
        if number % 6 == 0:
            yield Case("follow_stream", f"settings: {name}", ["x.json", "--samples", str(SAMPLES)], ("x.json", words),
                       files={"x.json": content})
        if number % 6 == 3:
            yield Case("follow_frames", f"settings: {name}", ["x.json", "--samples", str(SAMPLES)], ("x.json", words),
                       files={"x.json": content})
    for program in ("follow_stream", "follow_frames"):
        yield Case(program, "no settings", ["none.json", "--samples", "9"], ("none.json: there is no such file",))
    yield Case("track_artery", "no settings", ["alone.npy"], ("alone.json: there is no such file",),
               setup=lambda place: os.link(place / "good.npy", place / "alone.npy"))
    yield Case("track_artery", "a field that nobody knows", ["good.npy", "--meta", "x.json", "--out", "o", "--no-pictures"],
               ("field 'pulsedelay' is not understood",), status=(0, 2), files={"x.json": changed(pulsedelay=1e-7)})


MOTION = ("time_s,near_wall_m,near_wall_std_m,far_wall_m,far_wall_std_m,diameter_m,valid,quality,diameter_std_m\n"
          + "".join(f"{0.01 * k:.6f},0.009,0.000001,0.0{171 + k % 2},0.000001,0.0081,1,0.9,0.000002\n" for k in range(20)))
TRUTH = ("time_s,near_inner_m,near_outer_m,far_inner_m,far_outer_m,dropped\n"
         + "".join(f"{0.01 * k:.6f},0.0096,0.009,0.0165,0.0{171 + k % 2},0\n" for k in range(20)))


def tables():
    def case(name, motion, truth, *words, status=(1,)):
        return Case("compare_with_truth", name, ["m.csv", "t.csv"], words, status,
                    files={"m.csv": motion.encode("latin-1"), "t.csv": truth.encode("latin-1")})
    yield case("good", MOTION, TRUTH, "rms error", status=(0,))
    yield case("line ends of another system", MOTION.replace("\n", "\r\n"), TRUTH, "rms error", status=(0,))
    rows = MOTION.splitlines(keepends=True)
    truths = TRUTH.splitlines(keepends=True)
    for wrong in ("1.5abc", "", " ", "0x1p3", "1e999", "inf", "-inf", "1;5", "0,009", "\xff", "--1", "+1", "1 2"):
        yield case(f"motion holds {wrong!r}", MOTION.replace("0.009", wrong, 1), TRUTH, "m.csv: row 1")
        yield case(f"truth holds {wrong!r}", MOTION, TRUTH.replace("0.009,", wrong + ",", 1), "t.csv: row 1")
    yield case("truth holds nan", MOTION, TRUTH.replace("0.009,", "nan,", 1), "t.csv: row 1", "is not known")
    yield case("valid frame without depth", MOTION.replace("0.009", "nan", 1), TRUTH, "m.csv: row 1", "is not known")
    yield case("other header", MOTION.replace("near_wall_m", "near_m", 1), TRUTH, "m.csv: starts with")
    yield case("no header", "".join(rows[1:]), TRUTH, "m.csv: starts with")
    yield case("tables changed round", TRUTH, MOTION, "m.csv: starts with")
    yield case("same table twice", MOTION, MOTION, "t.csv: starts with")
    yield case("rows rotated", "".join([rows[0], *rows[6:], *rows[1:6]]), TRUTH, "m.csv: row 1 is of")
    yield case("truth rotated", MOTION, "".join([truths[0], *truths[3:], *truths[1:3]]), "row 1 is of")
    yield case("time unknown", MOTION.replace("0.000000", "nan", 1), TRUTH, "m.csv: row 1 is of")
    yield case("a row missing", "".join(rows[:-1]), TRUTH, "m.csv: has 19 rows, the truth has 20")
    yield case("a row too many", MOTION + rows[-1], TRUTH, "m.csv: has 21 rows")
    yield case("a column missing", MOTION.replace(",1,0.9", ",1", 1), TRUTH, "m.csv: row 1 has 8 columns")
    yield case("a column too many", MOTION.replace(",1,0.9", ",1,0.9,3", 1), TRUTH, "m.csv: row 1 has 10 columns")
    yield case("blank line", MOTION.replace("\n", "\n\n", 1), TRUTH, "m.csv: row 1")
    yield case("valid is 2", MOTION.replace(",1,0.9", ",2,0.9", 1), TRUTH, "valid must be 0 or 1")
    yield case("valid is 0.5", MOTION.replace(",1,0.9", ",0.5,0.9", 1), TRUTH, "valid must be 0 or 1")
    yield case("dropped is -1", MOTION, TRUTH.replace(",0\n", ",-1\n", 1), "dropped must be 0 or 1")
    yield case("no frame valid", MOTION.replace(",1,0.9", ",0,0.0"), TRUTH, "no valid frame")
    yield case("all dropped", MOTION, TRUTH.replace(",0\n", ",1\n"), "no valid frame")
    yield case("empty", "", TRUTH, "m.csv: is empty")
    yield case("header alone", rows[0], truths[0], "m.csv: has no rows")
    yield case("one long line", "x" * 3000000, TRUTH, "m.csv: ")
    yield case("zeros", "\0" * 3000, TRUTH, "m.csv: ")
    yield Case("compare_with_truth", "missing", ["none.csv", "t.csv"], ("none.csv: there is no such file",))
    yield Case("compare_with_truth", "folder", [".", "t.csv"], (".: there is no such file",))
    yield Case("compare_with_truth", "one argument", ["m.csv"], ("NAME.truth.csv is required",))


def summaries():
    """Settings of an earlier run that can't be repeated."""
    def case(name, text, *words):
        return Case("track_artery", f"--settings: {name}", ["good.npy", "--settings", "s.json"], ("s.json: ", *words),
                    files={"s.json": text if isinstance(text, bytes) else json.dumps(text).encode()})
    def options(**fields):
        return {"format": 2, "options": {key.replace("__", "."): value for key, value in fields.items()}}
    yield case("empty", b"", "is not valid JSON")
    yield case("no object", [1], "must hold a JSON object")
    yield case("a recording's settings", GOOD, "field 'format'")
    yield case("an older summary", {"notice": "", "options": {"atoms": 4}}, "field 'format'")
    yield case("a later format", {"format": 3, "options": {}}, "field 'format' must be 2")
    yield case("no options", {"format": 2}, "field 'options'")
    yield case("options a list", {"format": 2, "options": [1]}, "field 'options'")
    yield case("unknown", options(atoms=4), "option 'atoms' is unknown")
    yield case("text for a number", options(length="4"), "option 'length'", "must be a number")
    yield case("part of an echo", options(track__echoes__atoms=1.5), "whole number")
    yield case("fewer than none", options(track__echoes__atoms=-1), "whole number")
    yield case("number for a switch", options(track__pulse__estimate=0), "true or false")
    yield case("layer", options(track__separation__reference__layer="third"), "outer")
    yield case("smoothing", options(track__smoothing="some"), "must be")
    yield case("nested", {"format": 2, "options": {"track": {"averaging": 1}}}, "option 'track' is unknown")
    yield case("deep", b'{"format": 2, "options": ' + b"[" * 100000, "nested deeper")
    yield case("twice", b'{"format": 2, "options": {"length": 3, "length": 4}}', "there twice")
    for name, value in (("track__walls__dead_zone", -1.0), ("track__least_correlation", 2), ("track__averaging", -1),
                        ("track__walls__smallest_diameter", 0)):
        yield Case("track_artery", f"--settings: {name} {value}", ["good.npy", "--settings", "s.json"],
                   (name.split("__")[-1],), files={"s.json": json.dumps(options(**{name: value})).encode()})
    yield Case("track_artery", "--settings: none", ["good.npy", "--settings", "none.json"],
               ("none.json: there is no such file",))


def all_cases():
    for cases in (recordings, lines, settings, tables, summaries):
        yield from cases()

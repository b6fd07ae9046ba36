#!/usr/bin/env python3
"""Writes numpy_files.hpp: .npy files as NumPy writes them, and one as this library must write it.

Without arguments the header beside this script is written. With --check NumPy reads the files kept in
the header and compares them with the arrays that they were made of, and it writes each array afresh:
the fields and the values must agree. The padding of the header may differ between versions of NumPy.
"""
import io
import pathlib
import re
import sys

import numpy as np
from numpy.lib import format as npy

HEADER = pathlib.Path(__file__).with_name("numpy_files.hpp")

COUNTS = np.array([[0, 1, -2], [32767, -32768, 300]], dtype="<i2")
VALUES = np.array([[0.5, -1e-30], [3.0e38, 1 / 3], [-0.0, 1e-45]], dtype="<f4")
ANALYTIC = np.array([[1.5 - 2j, 0.25j, -1e-20 + 3j]], dtype="<c8")
# name, array, version of the format
FILES = [
    ("int16_v1", COUNTS, (1, 0)),
    ("int16_v2", COUNTS, (2, 0)),
    ("int16_v3", COUNTS, (3, 0)),
    ("float32_v1", VALUES, (1, 0)),
    ("float32_v2", VALUES, (2, 0)),
    ("one_sample", COUNTS[1:, :1], (1, 0)),
    ("float64", VALUES.astype("<f8"), (1, 0)),
    ("big_endian_int16", COUNTS.astype(">i2"), (1, 0)),
    ("big_endian_float32", VALUES.astype(">f4"), (1, 0)),
    ("uint8", np.array([[1, 2, 3]], dtype="u1"), (1, 0)),
    ("uint16", COUNTS.astype("<u2"), (1, 0)),
    ("boolean", COUNTS > 0, (1, 0)),
    ("complex64", ANALYTIC, (1, 0)),
    ("unicode_text", np.array([["ab", "c"]]), (1, 0)),
    ("structured", np.array([[(1, 2.0)]], dtype=[("a", "<i2"), ("b", "<f4")]), (1, 0)),
    ("fortran", np.asfortranarray(COUNTS), (1, 0)),
    ("scalar", np.array(7, dtype="<i2"), (1, 0)),
    ("one_dimension", COUNTS[0], (1, 0)),
    ("three_dimensions", COUNTS.reshape(1, 2, 3), (1, 0)),
    ("no_frames", COUNTS[:0], (1, 0)),
    ("no_samples", COUNTS[:, :0], (1, 0)),
]
# What write_npy must write, byte by byte: format 1.0, data aligned to 64 bytes.
WRITTEN = [("written_int16", COUNTS), ("written_float32", VALUES), ("written_complex64", ANALYTIC)]


def saved(array, version):
    out = io.BytesIO()
    npy.write_array(out, array, version=version)
    return out.getvalue()


def written(array):
    text = f"{{'descr': '{array.dtype.str}', 'fortran_order': False, 'shape': {array.shape}, }}"
    text += " " * (-(10 + len(text) + 1) % 64) + "\n"
    return b"\x93NUMPY\x01\x00" + len(text).to_bytes(2, "little") + text.encode() + array.tobytes()


def files():
    return [(name, saved(array, version)) for name, array, version in FILES] + [
        (name, written(array)) for name, array in WRITTEN]


def literal(data):
    """A C++ string literal; an octal escape has three digits, so that nothing after it joins it."""
    text = "".join(chr(b) if 32 <= b < 127 and chr(b) not in '"\\?' else f"\\{b:03o}" for b in data)
    return f'"{text}"'


def text():
    lines = ["// Files as NumPy writes them, byte by byte; written by numpy_files.py, not by hand.",
             "// clang-format off", "#pragma once", "", "#include <string_view>", "",
             "namespace echosieve::test {", ""]
    for name, data in files():
        lines += [f"inline constexpr std::string_view {name}{{", f"    {literal(data)}, {len(data)}}};"]
    return "\n".join(lines + ["", "}  // namespace echosieve::test", ""])


def kept():
    found = re.findall(r'string_view (\w+)\{\s*"((?:[^"\\]|\\\d{3})*)", (\d+)\}', HEADER.read_text())
    for name, body, size in found:
        data = re.sub(r"\\(\d{3})", lambda m: chr(int(m.group(1), 8)), body).encode("latin-1")
        if len(data) != int(size):
            sys.exit(f"{name}: {len(data)} bytes, the header says {size}")
        yield name, data


def fields(data):
    """What a reader of the format makes of a file: its fields, and the bytes of the values."""
    stream = io.BytesIO(data)
    major, _ = npy.read_magic(stream)
    # 3.0 differs from 2.0 in the encoding alone.
    reader = npy.read_array_header_1_0 if major == 1 else npy.read_array_header_2_0
    shape, fortran, dtype = reader(stream)
    return major, shape, fortran, dtype, stream.read()


def check():
    old, new = dict(kept()), dict(files())
    if list(old) != list(new):
        sys.exit(f"{HEADER.name} holds {list(old)}, not {list(new)}: run {__file__}")
    arrays = {name: array for name, array, _ in FILES} | dict(WRITTEN)
    for name, data in old.items():
        array = np.load(io.BytesIO(data))
        if array.dtype != arrays[name].dtype or array.tobytes() != arrays[name].tobytes():
            sys.exit(f"{name}: NumPy reads {array!r}, not {arrays[name]!r}")
        if array.shape != arrays[name].shape:
            sys.exit(f"{name}: NumPy reads the shape {array.shape}, not {arrays[name].shape}")
        if fields(data) != fields(new[name]):
            sys.exit(f"{name}: NumPy writes {fields(new[name])}, kept is {fields(data)}")
    print(f"{len(old)} files agree with NumPy {np.__version__}")


def main():
    if sys.argv[1:] == ["--check"]:
        check()
    elif sys.argv[1:]:
        sys.exit(f"usage: {sys.argv[0]} [--check]")
    else:
        HEADER.write_text(text())


if __name__ == "__main__":
    main()

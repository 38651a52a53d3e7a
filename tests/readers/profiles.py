"""ICC profiles of our own, written byte by byte by ICC.1:2001-04 (version 2) and ICC.1:2010
(version 4). The primaries are those of the published colour spaces; names, numbers of curves
and tables are ours. Used by make_readers.py.
"""
import struct

import numpy as np

D50 = np.array([0.9642, 1.0, 0.8249])
# CIE 1931 x, y. sRGB: IEC 61966-2-1. "wide" has the primaries of opRGB (IEC 61966-2-5), "vast"
# those of ROMM RGB (ISO 22028-2), "beyond" those of ITU-R BT.2020; from memory.
SRGB = [(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)]
WIDE = [(0.64, 0.33), (0.21, 0.71), (0.15, 0.06)]
VAST = [(0.734699, 0.265301), (0.159597, 0.840403), (0.036598, 0.000105)]
BEYOND = [(0.708, 0.292), (0.170, 0.797), (0.131, 0.046)]
D65_XY, D50_XY = (0.3127, 0.3290), (0.3457, 0.3585)
BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


def xyz(xy):
    return np.array([xy[0] / xy[1], 1.0, (1 - xy[0] - xy[1]) / xy[1]])


def matrix(primaries, white):
    """RGB to XYZ under D50 (Bradford adaptation, as ICC.1:2010 annex E has it)."""
    columns = np.array([xyz(xy) for xy in primaries]).T
    rgb_to_xyz = columns * np.linalg.solve(columns, xyz(white))
    cone = (BRADFORD @ D50) / (BRADFORD @ xyz(white))
    return np.linalg.inv(BRADFORD) @ np.diag(cone) @ BRADFORD @ rgb_to_xyz


def fixed(*numbers):
    return struct.pack(f">{len(numbers)}i", *[round(n * 65536) for n in numbers])


def xyz_tag(values):
    return b"XYZ \0\0\0\0" + fixed(*values)


def gamma(g):
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(g * 256))


def linear():
    return b"curv\0\0\0\0" + struct.pack(">I", 0)


def sampled(values):
    codes = [round(min(max(v, 0.0), 1.0) * 65535) for v in values]
    return b"curv\0\0\0\0" + struct.pack(f">I{len(codes)}H", len(codes), *codes)


def parametric(kind, *numbers):
    return b"para\0\0\0\0" + struct.pack(">HH", kind, 0) + fixed(*numbers)


SRGB_CURVE = parametric(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def dot_gain(gain, points=256):
    """Grey by a dot gain at the middle tone: dot area a prints as a + 4 gain a (1 - a), light
    by Murray-Davies on a paper without colour and with an ink of density 1.6 (invented)."""
    ink = 10**-1.6
    dots = [1 - i / (points - 1) for i in range(points)]
    light = [1 - (1 - ink) * (a + 4 * gain * a * (1 - a)) for a in dots]
    return sampled(light)


def text_tag(text, version):
    if version >= 4:
        coded = text.encode("utf-16-be")
        return b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"GB", len(coded), 28) + coded
    return b"text\0\0\0\0" + text.encode() + b"\0"


def name_tag(text, version):
    if version >= 4:
        return text_tag(text, version)
    ascii_text = text.encode() + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(ascii_text)) + ascii_text + bytes(8 + 3 + 67)


def profile(name, version, space, tags, pcs=b"XYZ ", kind=b"scnr"):
    tags = [
        (b"desc", name_tag("twinstrip test: " + name, version)),
        (b"cprt", text_tag("No rights reserved", version)),
        (b"wtpt", xyz_tag(D50)),
        *tags,
    ]
    offset = 128 + 4 + 12 * len(tags)
    table, body = b"", b""
    for signature, content in tags:
        table += signature + struct.pack(">II", offset + len(body), len(content))
        body += content + bytes(-len(content) % 4)
    size = offset + len(body)
    header = struct.pack(">I4sI4s4s4s", size, b"\0" * 4, version << 24 | (2 << 20), kind, space, pcs)
    header += struct.pack(">6H", 2026, 11, 25, 12, 0, 0) + b"acsp" + bytes(4 * 7)
    header += fixed(*D50) + bytes(48)
    assert len(header) == 128, len(header)
    return header + struct.pack(">I", len(tags)) + table + body


def by_matrix(name, version, primaries, white, curves):
    columns = matrix(primaries, white).T
    curves = curves if isinstance(curves, list) else [curves] * 3
    tags = [(b"rXYZ", xyz_tag(columns[0])), (b"gXYZ", xyz_tag(columns[1])), (b"bXYZ", xyz_tag(columns[2]))]
    tags += list(zip([b"rTRC", b"gTRC", b"bTRC"], curves))
    return profile(name, version, b"RGB ", tags)


def grey(name, version, curve, pcs=b"XYZ "):
    return profile(name, version, b"GRAY", [(b"kTRC", curve)], pcs)


def lab(values):
    """CIELAB of XYZ under D50."""
    share = values / D50
    root = np.where(share > 216 / 24389, np.cbrt(share), (24389 / 27 * share + 16) / 116)
    return np.stack(
        [116 * root[..., 1] - 16, 500 * (root[..., 0] - root[..., 1]), 200 * (root[..., 1] - root[..., 2])],
        axis=-1,
    )


def scanner(device, even):
    """What the pretended scanner's device values mean: `even` are the values after the table's
    input curves (device^(1/2)), red varying slowest."""
    light = even ** 2 if device == "linear" else even ** (2 * 2.2)
    # A little crosstalk and a bend that no matrix and curve could give.
    mixed = light @ np.array([[0.93, 0.04, 0.03], [0.04, 0.92, 0.03], [0.03, 0.04, 0.94]])
    bent = mixed - 0.06 * mixed * (1 - mixed)
    return bent @ matrix(WIDE, D65_XY).T


def grid(points):
    axis = np.linspace(0, 1, points)
    return np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1).reshape(-1, 3)


def codes(values, top):
    return np.clip(np.round(values * top), 0, top).astype(int).ravel()


def table_16(device, pcs, points=11, entries=256):
    """lut16Type (mft2): curves of `entries`, one cube, straight output curves."""
    out = scanner(device, grid(points))
    if pcs == b"Lab ":
        # The coding of version 2, which lut16Type keeps in version 4: 0xFF00 is L* 100.
        out = (lab(out) * [652.8, 256, 256] + [0, 32768, 32768]) / 65535
    else:
        out = out / (1 + 32767 / 32768)
    curve = codes(np.sqrt(np.linspace(0, 1, entries)), 65535)
    body = b"mft2\0\0\0\0" + struct.pack(">BBBB", 3, 3, points, 0) + fixed(1, 0, 0, 0, 1, 0, 0, 0, 1)
    body += struct.pack(">HH", entries, 2)
    numbers = [*np.tile(curve, 3), *codes(out, 65535), *([0, 65535] * 3)]
    return body + struct.pack(f">{len(numbers)}H", *numbers)


def table_8(device, points=9):
    """lut8Type (mft1), always CIELAB."""
    out = (lab(scanner(device, grid(points))) + [0, 128, 128]) / [100, 255, 255]
    curve = codes(np.sqrt(np.linspace(0, 1, 256)), 255)
    body = b"mft1\0\0\0\0" + struct.pack(">BBBB", 3, 3, points, 0) + fixed(1, 0, 0, 0, 1, 0, 0, 0, 1)
    numbers = [*np.tile(curve, 3), *codes(out, 255), *(list(range(256)) * 3)]
    return body + bytes(int(n) for n in numbers)


def table_ab(device, pcs, points=11):
    """lutAToBType (mAB): A curves, a cube of 16 bits, straight M curves and matrix, B curves."""
    out = scanner(device, grid(points))
    if pcs == b"Lab ":
        out = (lab(out) + [0, 128, 128]) / [100, 255, 255]
    else:
        out = out / (1 + 32767 / 32768)
    straight = linear()
    b_curves = m_curves = straight * 3
    steps = fixed(1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0)
    numbers = codes(out, 65535)
    cube = bytes([points] * 3 + [0] * 13) + bytes([2, 0, 0, 0]) + struct.pack(f">{len(numbers)}H", *numbers)
    cube += bytes(-len(cube) % 4)
    a_curves = parametric(0, 0.5) * 3
    at_b = 32
    at_matrix = at_b + len(b_curves)
    at_m = at_matrix + len(steps)
    at_cube = at_m + len(m_curves)
    at_a = at_cube + len(cube)
    head = b"mAB \0\0\0\0" + struct.pack(">BBH5I", 3, 3, 0, at_b, at_matrix, at_m, at_cube, at_a)
    return head + b_curves + steps + m_curves + cube + a_curves


def shaper_ab(curve, primaries, white):
    """lutAToBType with M curves and a matrix alone, no cube: light, matrix, XYZ."""
    b_curves, m_curves = linear() * 3, curve * 3
    by = matrix(primaries, white) / (1 + 32767 / 32768)
    steps = fixed(*by.ravel(), 0, 0, 0)
    at_b = 32
    at_matrix = at_b + len(b_curves)
    at_m = at_matrix + len(steps)
    head = b"mAB \0\0\0\0" + struct.pack(">BBH5I", 3, 3, 0, at_b, at_matrix, at_m, 0, 0)
    return head + b_curves + steps + m_curves


def by_tables(name, version, tables, pcs, also=()):
    return profile(name, version, b"RGB ", [*tables, *also], pcs)


def all_profiles():
    """Name of the file's profile: (bytes, channels, primaries, white); primaries are those of the
    linear space in which the expected channels are given."""
    bend = lambda g: sampled(np.linspace(0, 1, 1024) ** g)
    d65 = D65_XY
    rgb = {
        "srgb-v2": (by_matrix("standard screen, v2", 2, SRGB, d65, sampled_srgb()), SRGB, d65),
        "srgb-v4": (by_matrix("standard screen, v4", 4, SRGB, d65, SRGB_CURVE), SRGB, d65),
        "wide-22-v2": (by_matrix("wide, gamma 2.2, v2", 2, WIDE, d65, gamma(563 / 256)), WIDE, d65),
        "wide-22-v4": (by_matrix("wide, gamma 2.2, v4", 4, WIDE, d65, parametric(0, 563 / 256)), WIDE, d65),
        "vast-18-v2": (by_matrix("vast, gamma 1.8, v2", 2, VAST, D50_XY, gamma(1.8)), VAST, D50_XY),
        "vast-18-v4": (
            by_matrix("vast, gamma 1.8 with a foot, v4", 4, VAST, D50_XY, parametric(3, 1.8, 1, 0, 1 / 16, 1 / 32)),
            VAST,
            D50_XY,
        ),
        "linear-v2": (by_matrix("linear, v2", 2, WIDE, d65, linear()), WIDE, d65),
        "linear-v4": (by_matrix("linear, v4", 4, SRGB, d65, parametric(0, 1.0)), SRGB, d65),
        "uneven-v2": (
            by_matrix("three different curves, v2", 2, WIDE, d65, [bend(1.9), bend(2.1), bend(2.4)]),
            WIDE,
            d65,
        ),
        "table-16-lab-v2": (
            by_tables("table of 16 bits, Lab, v2", 2, [(b"A2B0", table_16("gamma", b"Lab "))], b"Lab "),
            BEYOND,
            d65,
        ),
        "table-16-xyz-v2": (
            by_tables("table of 16 bits, XYZ, v2", 2, [(b"A2B0", table_16("linear", b"XYZ "))], b"XYZ "),
            BEYOND,
            d65,
        ),
        "table-16-lab-v4": (
            by_tables("table of 16 bits, Lab, v4", 4, [(b"A2B0", table_16("gamma", b"Lab "))], b"Lab "),
            BEYOND,
            d65,
        ),
        "table-8-lab-v2": (
            by_tables("table of 8 bits, Lab, v2", 2, [(b"A2B0", table_8("gamma"))], b"Lab "),
            BEYOND,
            d65,
        ),
        "table-ab-lab-v4": (
            by_tables("table with curves, Lab, v4", 4, [(b"A2B0", table_ab("gamma", b"Lab "))], b"Lab "),
            BEYOND,
            d65,
        ),
        "table-ab-xyz-v4": (
            by_tables("table with curves, XYZ, v4", 4, [(b"A2B0", table_ab("linear", b"XYZ "))], b"XYZ "),
            BEYOND,
            d65,
        ),
        "shaper-ab-v4": (
            by_tables("curves and matrix in a table, v4", 4, [(b"A2B0", shaper_ab(SRGB_CURVE, WIDE, d65))], b"XYZ "),
            BEYOND,
            d65,
        ),
        # Both ways in one profile: ICC.1:2010, 8.10 says that the table goes first.
        "table-and-curves-v2": (
            by_tables(
                "table and curves that disagree, v2",
                2,
                [(b"A2B0", table_16("gamma", b"XYZ "))],
                b"XYZ ",
                also=[
                    *zip([b"rXYZ", b"gXYZ", b"bXYZ"], [xyz_tag(c) for c in matrix(SRGB, d65).T]),
                    *[(tag, gamma(1.0)) for tag in (b"rTRC", b"gTRC", b"bTRC")],
                ],
            ),
            BEYOND,
            d65,
        ),
        # The colorimetric table goes before the pleasing one.
        "table-two-intents-v2": (
            by_tables(
                "two intents, v2",
                2,
                [(b"A2B0", table_16("linear", b"Lab ")), (b"A2B1", table_16("gamma", b"Lab "))],
                b"Lab ",
            ),
            BEYOND,
            d65,
        ),
    }
    greys = {
        "grey-22-v2": grey("grey, gamma 2.2, v2", 2, gamma(2.2)),
        "grey-22-v4": grey("grey, gamma 2.2, v4", 4, parametric(0, 2.2)),
        "grey-dots-v2": grey("grey, dot gain 20 %, v2", 2, dot_gain(0.20)),
        "grey-dots-v4": grey("grey, dot gain 15 %, v4", 4, dot_gain(0.15, 64)),
        "grey-linear-v4": grey("grey, linear, v4", 4, linear()),
        # The curve of a grey profile over CIELAB gives the lightness.
        "grey-lightness-v2": grey("grey, lightness, v2", 2, linear(), b"Lab "),
        "grey-lightness-v4": grey("grey, lightness, v4", 4, gamma(1.1), b"Lab "),
    }
    found = {name: (data, 3, primaries, white) for name, (data, primaries, white) in rgb.items()}
    found.update({name: (data, 1, None, None) for name, data in greys.items()})
    return found


def sampled_srgb():
    share = np.linspace(0, 1, 1024)
    return sampled(np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4))

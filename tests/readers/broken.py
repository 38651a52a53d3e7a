"""Broken files and files of kinds that are not read, made from sound ones by general-purpose
encoders. Used by make_readers.py."""
import struct
import zlib

import imagecodecs
import numpy as np
import tifffile
from PIL import Image

import profiles


def make(folder, corpus):
    """Writes them; gives the lines of broken.txt: file, sort, words of the message."""
    lines = []

    def put(name, data, sort, words):
        (folder / "broken" / name).write_bytes(data)
        lines.append(f"{name} {sort} {words}\n")

    def sound(name):
        return corpus.path(name).read_bytes()

    def written(name, save):
        path = folder / "broken" / name
        save(path)
        return path.read_bytes()

    # Cut short: half of the pixel data is gone, or all of it.
    for name in ["tifffile-16-srgb-v2.tif", "tiffcp-16-lzw.tif", "tiffcp-16-zip.tif", "tiffcp-16-packbits.tif"]:
        data = sound(name)
        with tifffile.TiffFile(corpus.path(name)) as file:
            page = file.pages[0]
            at = page.dataoffsets[-1] + page.databytecounts[-1] // 2
            directory = page.offset
        if directory < at:
            put(f"cut-{name}", data[:at], "file", "ends too early")
        else:
            put(f"cut-{name}", data[:at], "file", "TIFF file")
    for name in ["pillow-8-srgb-v4.png", "magick-16-interlaced.png"]:
        data = sound(name)
        put(f"cut-{name}", data[: data.index(b"IDAT") + 60], "file", "PNG file")
        put(f"cut-head-{name}", data[:20], "file", "PNG file")
    for name in ["pillow-rgb.jpg", "pillow-progressive.jpg"]:
        data = sound(name)
        put(f"cut-{name}", data[: len(data) * 3 // 4 + 200], "file", "ends too early")
        put(f"cut-head-{name}", data[:30], "file", "ends too early")

    # Damaged numbers.
    plain = bytearray(sound("tifffile-16-srgb-v2.tif"))
    put("tiff-directory-beyond-end.tif", bytes(plain[:4] + struct.pack("<I", 0x7FFFFFF0) + plain[8:]), "file", "TIFF file")
    put("tiff-directory-in-a-circle.tif", circle(plain), "fine", "-")
    put("tiff-no-width.tif", entry(plain, 256, 0), "file", "a side of the picture is zero")
    put("tiff-vast-width.tif", entry(plain, 256, 0x7FFFFFFF), "unsupported", "raise the pixel limit")
    put("tiff-no-strips.tif", entry(plain, 273, None), "file", "list of its strips is missing")
    put("tiff-strip-beyond-end.tif", entry(plain, 273, 0x7FFFFF00), "file", "ends too early")
    put("tiff-nine-channels.tif", entry(plain, 277, 9), "file", "TIFF file")
    png = sound("pillow-8-srgb-v4.png")
    put("png-wrong-checksum.png", png[:29] + b"\0\0\0\0" + png[33:], "file", "PNG file is damaged")
    put("png-no-width.png", chunked(png, 0), "file", "PNG file is damaged")
    put("png-vast-width.png", chunked(png, 0x7FFFFFFF), "unsupported", "raise the pixel limit")
    at = png.index(b"IDAT") + 30
    put("png-damaged-data.png", png[:at] + bytes(20) + png[at + 20 :], "file", "PNG file is damaged")

    # Profiles that are of no use.
    icc = corpus.icc("wide-22-v2")
    codes = np.asarray(Image.open(corpus.path("pillow-8-srgb-v4.png")))

    def with_profile(name, data, words):
        tifffile.imwrite(folder / "broken" / name, codes, photometric="rgb", iccprofile=data, metadata=None)
        lines.append(f"{name} file {words}\n")

    with_profile("profile-cut.tif", icc[: len(icc) // 2], "colour profile cannot be used")
    with_profile("profile-noise.tif", bytes((i * 37) % 251 for i in range(600)), "colour profile cannot be used")
    with_profile("profile-for-cmyk.tif", icc[:16] + b"CMYK" + icc[20:], "neither for grey nor for RGB")
    with_profile("profile-for-grey.tif", corpus.icc("grey-22-v2"), "is for grey, and the scan is in colour")
    falling = profiles.by_matrix("falling", 2, profiles.SRGB, profiles.D65_XY, profiles.sampled([1, 0.5, 0]))
    with_profile("profile-falling.tif", falling, "doesn't rise from black to white")
    dark = profiles.profile("no white", 2, b"RGB ", [
        *zip([b"rXYZ", b"gXYZ", b"bXYZ"], [profiles.xyz_tag([0, 0, 0])] * 3),
        *[(tag, profiles.linear()) for tag in (b"rTRC", b"gTRC", b"bTRC")],
    ])
    with_profile("profile-without-white.tif", dark, "primaries make no white")
    bare = profiles.profile("neither curves nor tables", 2, b"RGB ", [])
    with_profile("profile-bare.tif", bare, "neither curves nor tables")
    table = bytearray(corpus.icc("table-16-lab-v2"))
    cube = table.index(b"mft2")
    table[cube + 10] = 200  # a cube of 200 points a side, which isn't there
    with_profile("profile-cut-table.tif", bytes(table), "colour profile cannot be used")
    other = bytearray(corpus.icc("table-ab-lab-v4"))
    at = other.index(b"mAB ")
    other[at + 24 : at + 28] = struct.pack(">I", 0x00FFFFFF)
    with_profile("profile-lost-cube.tif", bytes(other), "colour profile cannot be used")

    # Sound files of kinds that are not read.
    cmyk = Image.fromarray(codes).convert("CMYK")
    kinds = {
        "cmyk.tif": lambda p: cmyk.save(p),
        "cmyk.jpg": lambda p: cmyk.save(p),
        "lab.tif": lambda p: Image.fromarray(codes).convert("LAB").save(p),
        "palette.tif": lambda p: Image.fromarray(codes).convert("P").save(p),
        "one-bit.tif": lambda p: Image.fromarray(codes).convert("1").save(p),
        "fax.tif": lambda p: Image.fromarray(codes).convert("1").save(p, compression="group4"),
        "jpeg-in.tif": lambda p: Image.fromarray(codes).save(p, compression="jpeg"),
        "half-float.tif": lambda p: tifffile.imwrite(p, (codes / 255).astype(np.float16), photometric="rgb", metadata=None),
        "double.tif": lambda p: tifffile.imwrite(p, codes / 255, photometric="rgb", metadata=None),
        "signed.tif": lambda p: tifffile.imwrite(p, codes.astype(np.int16), photometric="rgb", metadata=None),
        "zstd.tif": lambda p: tifffile.imwrite(p, codes, photometric="rgb", compression="zstd", metadata=None),
        "twelve-bits.tif": lambda p: twelve(p, codes),
    }
    for name, save in kinds.items():
        written(name, save)
        lines.append(f"{name} unsupported is not read\n")
    strangers = {
        "picture.gif": lambda p: Image.fromarray(codes).convert("P").save(p),
        "picture.bmp": lambda p: Image.fromarray(codes).save(p),
        "picture.webp": lambda p: Image.fromarray(codes).save(p, lossless=True),
        "picture.pdf": lambda p: Image.fromarray(codes).save(p),
        "picture.ppm": lambda p: Image.fromarray(codes).save(p),
        "picture.jp2": lambda p: p.write_bytes(imagecodecs.jpeg2k_encode(codes, level=0)),
    }
    for name, save in strangers.items():
        written(name, save)
        lines.append(f"{name} file this is not a TIFF, PNG or JPEG file\n")
    put("empty.tif", b"", "file", "the file is empty")
    put("words.tif", b"scan of the slates\n", "file", "this is not a TIFF, PNG or JPEG file")
    # A name that lies is no fault.
    put("png-named.tif", png, "fine", "-")
    put("tiff-named.jpg", bytes(plain), "fine", "-")
    return lines


def twelve(path, codes):
    """12 bits a value, two values in three bytes; libtiff reads such files."""
    values = (codes.astype(np.uint32) << 4).reshape(codes.shape[0], -1)
    packed = b""
    for row in values:
        bits = "".join(f"{v:012b}" for v in row)
        bits += "0" * (-len(bits) % 8)
        packed += int(bits, 2).to_bytes(len(bits) // 8, "big")
    height, width, _ = codes.shape
    entries = [
        (256, 4, 1, width), (257, 4, 1, height), (258, 3, 3, None), (259, 3, 1, 1), (262, 3, 1, 2),
        (273, 4, 1, None), (277, 3, 1, 3), (278, 4, 1, height), (279, 4, 1, len(packed)),
    ]
    start = 8 + 2 + 12 * len(entries) + 4
    body = struct.pack("<3H", 12, 12, 12) + packed
    out = b"II*\0" + struct.pack("<IH", 8, len(entries))
    for tag, kind, count, value in entries:
        value = {258: start, 273: start + 6}.get(tag, value)
        out += struct.pack("<HHII", tag, kind, count, value)
    path.write_bytes(out + bytes(4) + body)


def directory(data):
    """Where the entries of a little-endian TIFF's first directory are."""
    at = struct.unpack("<I", data[4:8])[0]
    count = struct.unpack("<H", data[at : at + 2])[0]
    return at, count


def entry(data, tag, value):
    """The file with another value in a tag, or without the tag."""
    data = bytearray(data)
    at, count = directory(data)
    for place in range(at + 2, at + 2 + 12 * count, 12):
        if struct.unpack("<H", data[place : place + 2])[0] == tag:
            if value is None:
                data[place : place + 2] = struct.pack("<H", 65000)
            else:
                kind = struct.unpack("<H", data[place + 2 : place + 4])[0]
                data[place + 4 : place + 8] = struct.pack("<I", 1)
                width = {3: "<HH", 4: "<I", 16: "<I"}[kind]
                data[place + 8 : place + 12] = struct.pack(width, *([value] if width == "<I" else [value, 0]))
    return bytes(data)


def circle(data):
    """The next directory is the first one again."""
    data = bytearray(data)
    at, count = directory(data)
    data[at + 2 + 12 * count : at + 6 + 12 * count] = struct.pack("<I", at)
    return bytes(data)


def chunked(png, width):
    """The PNG with another width and a right checksum."""
    head = png[12:16] + struct.pack(">I", width) + png[20:29]
    return png[:12] + head + struct.pack(">I", zlib.crc32(head)) + png[33:]

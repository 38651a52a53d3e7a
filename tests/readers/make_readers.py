#!/usr/bin/env python3
"""Makes testdata/readers: small scan files by general-purpose encoders, and what light their
pixels stand for by an independent colour engine. Run once; the files are kept.

usage: make_readers.py FOLDER
needs: numpy, pillow, tifffile, imagecodecs (PyPI); libtiff-tools, imagemagick, libvips-tools,
netpbm (Debian)
"""
import subprocess
import sys
import zlib
from pathlib import Path

import imagecodecs
import numpy as np
import tifffile
from PIL import Image

import broken
import profiles

WIDTH, HEIGHT = 23, 11
DPI = (600, 600)
RELATIVE_COLORIMETRIC = 1


def shares(channels):
    """Three rows of neutral ramp, then mixtures; neither side fits a tile or a byte border."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    neutral = (x + WIDTH * (y % 3)) / (3 * WIDTH - 1)
    if channels == 1:
        return np.where(y < 3, neutral, ((x * 7 + y * 11) % 61) / 60)
    mixed = np.stack([(x * 5 + y * 3) % 29 / 28, (x * 3 + y * 7) % 31 / 30, (x * 11 + y * 5) % 37 / 36], axis=-1)
    return np.where(y[..., None] < 3, neutral[..., None], mixed)


def smooth(channels):
    """For JPEG: no sharp borders, which are lost by design."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    ramp = 0.06 + 0.88 * x / (WIDTH - 1)
    if channels == 1:
        return ramp
    tint = 0.05 * (y - HEIGHT / 2) / HEIGHT
    return np.stack([ramp + tint, ramp, ramp - tint], axis=-1)


def picture(channels, bits, of=shares):
    values = of(channels)
    if bits == 32:
        return values.astype(np.float32)
    top = 2**bits - 1
    return np.round(values * top).astype(np.uint8 if bits == 8 else np.uint16)


class Corpus:
    def __init__(self, folder):
        self.folder = folder
        self.profiles = profiles.all_profiles()
        self.rows = []
        for part in ("sound", "light", "broken"):
            (folder / part).mkdir(parents=True, exist_ok=True)

        # Seeds of the fuzz target for profiles; the first byte is the target's own.
        (folder / "profiles").mkdir(exist_ok=True)
        for name, (data, channels, *_) in self.profiles.items():
            if len(data) < 12_000:
                (folder / "profiles" / f"{name}.seed").write_bytes(bytes([int(channels == 1)]) + data)

    def icc(self, name):
        return self.profiles[name][0] if name else None

    def path(self, name):
        return self.folder / "sound" / name

    def add(self, name, codes, profile, by, tolerance=0.002, why="-"):
        """A file whose pixels are `codes`, that carries `profile`."""
        kind = {"uint8": "8", "uint16": "16", "float32": "float"}[str(codes.dtype)]
        colour = "rgb" if codes.ndim == 3 else "grey"
        digest = zlib.crc32(codes.tobytes()) & 0xFFFF
        table = f"{colour}-{kind}-{digest:04x}.{profile}.txt"
        self.rows.append((name, table, f"{tolerance:g}", by, why))
        target = self.folder / "light" / table
        if not target.exists():
            target.write_text(self.light(codes, profile))

    def light(self, codes, profile):
        data, channels, primaries, white = self.profiles[profile]
        top = {"uint8": 255, "uint16": 65535, "float32": 1}[str(codes.dtype)]
        # In double precision, so that the engine takes none of its short cuts.
        share = np.ascontiguousarray(codes.astype(np.float64) / top)
        if channels == 3 and codes.ndim == 2:
            share = np.ascontiguousarray(np.stack([share] * 3, axis=-1))
        xyz = imagecodecs.cms_transform(
            share,
            data,
            imagecodecs.cms_profile("xyz"),
            colorspace="rgb" if channels == 3 else "gray",
            outcolorspace="xyz",
            outdtype="float64",
            intent=RELATIVE_COLORIMETRIC,
        )
        lines = [
            "# Linear light of each pixel, row by row: red green blue luminance (or luminance alone).",
            f"# Profile {profile}; made by Little CMS {imagecodecs.cms_version().split()[-1]} (imagecodecs),",
            "# double precision, relative colorimetric, to XYZ; red, green and blue by the inverse",
            "# of the matrix of the profile's primaries (of ITU-R BT.2020 where it has tables only).",
        ]
        for row in xyz.reshape(-1, 3):
            if codes.ndim == 3:
                rgb = np.linalg.solve(profiles.matrix(primaries, white), row)
                lines.append(" ".join(f"{v:.6f}" for v in [*rgb, row[1]]))
            else:
                lines.append(f"{row[1]:.6f}")
        return "\n".join(lines) + "\n"

    def write_lists(self, refused):
        heading = "# file table tolerance encoder why-the-tolerance-is-not-0.002\n"
        text = "".join(" ".join(row) + "\n" for row in sorted(self.rows))
        (self.folder / "sound.txt").write_text(heading + text)
        heading = "# file sort what the message must contain\n"
        (self.folder / "broken.txt").write_text(heading + "".join(sorted(refused)))


def run(*command):
    # ImageMagick ends with 1 after a warning about a tag; what it wrote is compared below.
    done = subprocess.run([str(part) for part in command], check=False, capture_output=True)
    assert done.returncode == 0 or command[0] == "convert", done.stderr


def by_tifffile(corpus):
    """Every profile in 16 bits, layouts and compressions in turn."""
    layouts = [
        {},
        {"compression": "lzw", "predictor": True, "rowsperstrip": 3},
        {"compression": "zlib", "predictor": True, "tile": (16, 16)},
        {"compression": "packbits", "rowsperstrip": 1},
        {"byteorder": ">", "planarconfig": "separate"},
        {"bigtiff": True, "tile": (16, 32)},
        {"byteorder": ">", "compression": "lzw", "planarconfig": "separate", "rowsperstrip": 4},
        {"compression": "zlib", "rowsperstrip": 5, "bigtiff": True, "byteorder": ">"},
    ]
    for number, (name, (icc, channels, *_)) in enumerate(corpus.profiles.items()):
        layout = dict(layouts[number % len(layouts)])
        codes = picture(channels, 16)
        if channels == 1:
            layout.pop("planarconfig", None)
        save(corpus, f"tifffile-16-{name}.tif", codes, name, layout)
    for name in ["wide-22-v4", "vast-18-v2", "uneven-v2", "table-ab-lab-v4", "linear-v2"]:
        save(corpus, f"tifffile-8-{name}.tif", picture(3, 8), name, {"compression": "lzw", "predictor": True})
    for name in ["linear-v4", "wide-22-v2", "table-16-xyz-v2", "table-ab-xyz-v4"]:
        save(corpus, f"tifffile-float-{name}.tif", picture(3, 32), name, {"compression": "zlib", "predictor": True})
    save(corpus, "tifffile-float-grey.tif", picture(1, 32), "grey-linear-v4", {"tile": (16, 16)})
    # Alpha, light turned round, and a grey scan with a profile for colour.
    codes = picture(3, 16)
    alpha = np.concatenate([codes, np.full(codes.shape[:2] + (1,), 40000, np.uint16)], axis=-1)
    write_tiff(corpus, "tifffile-alpha.tif", alpha, "wide-22-v4", photometric="rgb", extrasamples=["unassalpha"])
    corpus.add("tifffile-alpha.tif", codes, "wide-22-v4", "tifffile")
    grey = picture(1, 8)
    write_tiff(corpus, "tifffile-white-is-zero.tif", 255 - grey, "grey-22-v2", photometric="miniswhite")
    corpus.add("tifffile-white-is-zero.tif", grey, "grey-22-v2", "tifffile")
    save(corpus, "tifffile-grey-in-colour.tif", picture(1, 16), "srgb-v4", {})


def write_tiff(corpus, name, codes, profile, **options):
    tifffile.imwrite(corpus.path(name), codes, iccprofile=corpus.icc(profile), resolution=DPI, metadata=None, **options)


def save(corpus, name, codes, profile, layout):
    layout = dict(layout)
    written = codes
    if layout.get("planarconfig") == "separate":
        written = np.moveaxis(codes, -1, 0)
    write_tiff(corpus, name, written, profile, photometric="rgb" if codes.ndim == 3 else "minisblack", **layout)
    back = tifffile.imread(corpus.path(name))
    back = np.moveaxis(back, 0, -1) if layout.get("planarconfig") == "separate" else back
    assert np.array_equal(back, codes), name
    corpus.add(name, codes, profile, "tifffile")


def by_pillow(corpus):
    eight = Image.fromarray(picture(3, 8))
    for compression, name in [
        ("raw", "srgb-v2"),
        ("tiff_lzw", "wide-22-v2"),
        ("tiff_adobe_deflate", "vast-18-v4"),
        ("packbits", "table-8-lab-v2"),
    ]:
        file = f"pillow-8-{compression}-{name}.tif"
        eight.save(corpus.path(file), compression=compression, icc_profile=corpus.icc(name), dpi=DPI)
        corpus.add(file, picture(3, 8), name, "Pillow")
    for name in ["srgb-v4", "wide-22-v2", "vast-18-v2", "table-16-lab-v4", "shaper-ab-v4", "table-and-curves-v2"]:
        file = f"pillow-8-{name}.png"
        eight.save(corpus.path(file), icc_profile=corpus.icc(name), dpi=DPI)
        corpus.add(file, picture(3, 8), name, "Pillow")
    for name in ["grey-22-v4", "grey-dots-v2", "grey-lightness-v4"]:
        file = f"pillow-8-{name}.png"
        Image.fromarray(picture(1, 8)).save(corpus.path(file), icc_profile=corpus.icc(name), dpi=DPI)
        corpus.add(file, picture(1, 8), name, "Pillow")
    Image.fromarray(picture(1, 16)).save(corpus.path("pillow-16-grey-dots-v4.png"), icc_profile=corpus.icc("grey-dots-v4"))
    corpus.add("pillow-16-grey-dots-v4.png", picture(1, 16), "grey-dots-v4", "Pillow")
    # A palette holds few colours: the picture with 4 steps a channel.
    few = (picture(3, 8) // 64 * 85).astype(np.uint8)
    palette = Image.fromarray(few).convert("P", palette=Image.Palette.ADAPTIVE, colors=256)
    assert np.array_equal(np.asarray(palette.convert("RGB")), few)
    palette.save(corpus.path("pillow-palette.png"), icc_profile=corpus.icc("wide-22-v2"))
    corpus.add("pillow-palette.png", few, "wide-22-v2", "Pillow")
    jpegs = [
        ("pillow-rgb.jpg", 3, "wide-22-v2", {"subsampling": 0}),
        ("pillow-progressive.jpg", 3, "srgb-v4", {"subsampling": 0, "progressive": True}),
        ("pillow-table.jpg", 3, "table-16-lab-v2", {"subsampling": 0}),
        ("pillow-grey.jpg", 1, "grey-22-v2", {}),
        ("pillow-grey-progressive.jpg", 1, "grey-dots-v4", {"progressive": True}),
    ]
    for file, channels, name, options in jpegs:
        image = Image.fromarray(picture(channels, 8, smooth))
        image.save(corpus.path(file), quality=95, icc_profile=corpus.icc(name), dpi=DPI, **options)
        add_jpeg(corpus, file, name, "Pillow")


def add_jpeg(corpus, file, name, by):
    """The codes are those of another decoder, libjpeg-turbo. Two decoders that both keep to the
    standard may differ by a code or two in rounding (ITU-T T.83), so by twice the steepest step
    of an 8-bit scale: 2.4/255."""
    codes = imagecodecs.jpeg8_decode(corpus.path(file).read_bytes())
    corpus.add(file, codes, name, by, 0.019, "jpeg-rounding:two-codes-of-8-bits")


def by_libtiff(corpus):
    base = corpus.path("tifffile-16-wide-22-v2.tif")
    for suffix, options in [
        ("lzw", ["-c", "lzw:2"]),
        ("zip", ["-c", "zip:2", "-r", "4"]),
        ("packbits", ["-c", "packbits"]),
        ("tiles", ["-c", "lzw", "-t", "-w", "16", "-l", "16"]),
        ("big-endian", ["-c", "zip", "-B"]),
        ("bigtiff", ["-8", "-c", "none"]),
    ]:
        file = f"tiffcp-16-{suffix}.tif"
        run("tiffcp", *options, base, corpus.path(file))
        assert np.array_equal(tifffile.imread(corpus.path(file)), picture(3, 16)), file
        corpus.add(file, picture(3, 16), "wide-22-v2", "libtiff")
    # This program takes planes apart in 8 bits only.
    base = corpus.path("pillow-8-tiff_lzw-wide-22-v2.tif")
    run("tiffcp", "-c", "none", "-p", "separate", base, corpus.path("tiffcp-8-planes.tif"))
    corpus.add("tiffcp-8-planes.tif", picture(3, 8), "wide-22-v2", "libtiff")


def by_imagemagick(corpus):
    base = corpus.path("tifffile-16-vast-18-v4.tif")
    rgb = picture(3, 16)
    jobs = [
        ("magick-16.png", ["-define", "png:bit-depth=16"]),
        ("magick-16-interlaced.png", ["-define", "png:bit-depth=16", "-interlace", "PNG"]),
        ("magick-16-lzw.tif", ["-compress", "LZW"]),
        ("magick-16-zip.tif", ["-compress", "Zip", "-endian", "MSB"]),
        ("magick-float.tif", ["-depth", "32", "-define", "quantum:format=floating-point", "-compress", "None"]),
    ]
    for file, options in jobs:
        run("convert", base, *options, corpus.path(file))
        if file == "magick-float.tif":
            codes = tifffile.imread(corpus.path(file))
            assert np.abs(codes - rgb / 65535).max() < 1e-6, file
            corpus.add(file, codes, "vast-18-v4", "ImageMagick")
        else:
            corpus.add(file, rgb, "vast-18-v4", "ImageMagick")
    grey = corpus.path("tifffile-16-grey-22-v4.tif")
    run("convert", grey, "-depth", "16", "-compress", "LZW", corpus.path("magick-16-grey.tif"))
    corpus.add("magick-16-grey.tif", picture(1, 16), "grey-22-v4", "ImageMagick")


def by_vips(corpus):
    base = corpus.path("tifffile-16-wide-22-v4.tif")
    for file, options in [
        ("vips-16-tiles.tif", "[compression=deflate,predictor=horizontal,tile,tile-width=16,tile-height=16]"),
        ("vips-16-bigtiff.tif", "[compression=lzw,bigtiff]"),
        ("vips-16.png", ""),
        ("vips-16-interlaced.png", "[interlace]"),
    ]:
        run("vips", "copy", base, f"{corpus.path(file)}{options}")
        corpus.add(file, picture(3, 16), "wide-22-v4", "libvips")
    smooth_base = corpus.folder / "smooth.tif"
    tifffile.imwrite(smooth_base, picture(3, 8, smooth), photometric="rgb", iccprofile=corpus.icc("vast-18-v2"), metadata=None)
    run("vips", "copy", smooth_base, f"{corpus.path('vips.jpg')}[Q=95,no-subsample]")
    smooth_base.unlink()
    add_jpeg(corpus, "vips.jpg", "vast-18-v2", "libvips")


def by_netpbm(corpus):
    """Without a profile: what a chunk says, or nothing at all."""
    pnm = corpus.folder / "base.pnm"
    rgb = picture(3, 16)
    pnm.write_bytes(b"P6 %d %d 65535\n" % (WIDTH, HEIGHT) + rgb.astype(">u2").tobytes())
    jobs = [
        ("netpbm-16-silent.png", ["pnmtopng"], "srgb-v4"),
        ("netpbm-16-gamma-22.png", ["pnmtopng", "-gamma", "0.45455"], "chunk-22"),
        ("netpbm-16-gamma-linear.png", ["pnmtopng", "-interlace", "-gamma", "1.0"], "chunk-linear"),
        ("netpbm-16-srgb.png", ["pnmtopng", "-srgbintent", "relativecolorimetric"], "srgb-v4"),
    ]
    corpus.profiles["chunk-22"] = (
        profiles.by_matrix("as a chunk says", 4, profiles.SRGB, profiles.D65_XY, profiles.parametric(0, 2.2)),
        3,
        profiles.SRGB,
        profiles.D65_XY,
    )
    corpus.profiles["chunk-linear"] = corpus.profiles["linear-v4"]
    for file, command, name in jobs:
        with open(corpus.path(file), "wb") as out:
            subprocess.run([*command, str(pnm)], check=True, stdout=out, stderr=subprocess.DEVNULL)
        # The engine's luminance is that under D50, the standard's own is that under D65.
        corpus.add(file, rgb, name, "netpbm", 0.012, "luminance-weights-of-the-standard-for-D65")
    pnm.unlink()
    for bits in (1, 2, 4):
        levels = 2**bits - 1
        grey = np.round(shares(1) * levels).astype(np.uint8)
        pnm.write_bytes(b"P5 %d %d %d\n" % (WIDTH, HEIGHT, levels) + grey.tobytes())
        file = f"netpbm-{bits}-grey.png"
        with open(corpus.path(file), "wb") as out:
            subprocess.run(["pnmtopng", "-gamma", "0.45455", str(pnm)], check=True, stdout=out, stderr=subprocess.DEVNULL)
        corpus.add(file, grey * (255 // levels), "grey-22-v4", "netpbm")
    pnm.unlink()


def main():
    sys.stdout.reconfigure(line_buffering=True)
    corpus = Corpus(Path(sys.argv[1]))
    for part in (by_tifffile, by_pillow, by_libtiff, by_imagemagick, by_vips, by_netpbm):
        part(corpus)
    corpus.write_lists(broken.make(corpus.folder, corpus))
    sizes = sum(path.stat().st_size for path in corpus.folder.rglob("*") if path.is_file())
    print(f"{len(corpus.rows)} sound files, {sizes / 1e6:.2f} MB in all")


if __name__ == "__main__":
    main()

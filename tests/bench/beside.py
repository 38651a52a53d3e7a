#!/usr/bin/env python3
"""The whole way beside general-purpose tools, in one run on one machine: decode and linear light,
robust medians of patches, fit of two curves with an interval. Prints the tables of
docs/performance.md, "The whole way beside general-purpose tools".

usage: beside.py SCAN.tif SPEED [RUNS]
  SCAN.tif  a scan kept by `cargo bench --bench speed -- --keep FOLDER` (A4, 600 dpi, 16 bits RGB)
  SPEED     the program of that benchmark (`cargo bench --bench speed --no-run` names it)
needs: numpy, scipy, tifffile, imagecodecs, colour-science (PyPI)

The tools are told where the patches lie and how the steps were exposed; here strips are found, the
scan is checked, and the coat's unevenness goes into the bounds. Each run of either side is a process
of its own; files lie in the system's memory.
"""
import json
import subprocess
import sys
import time

import numpy as np

FIELDS = 51  # steps of both strips and fields of the wedge
SIDE = 200  # pixels of a patch: the inside of a step at 600 dpi


def linear_numpy(codes):
    share = codes.astype(np.float32) / np.float32(65535)
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def linear_colour(codes):
    """By the colour library, as its manual has it."""
    import colour

    return colour.cctf_decoding(codes.astype(np.float32) / np.float32(65535), function="sRGB")


def linear_engine(codes):
    """By a colour engine (Little CMS), from a profile to linear light in single precision."""
    import imagecodecs

    return imagecodecs.cms_transform(
        codes,
        imagecodecs.cms_profile("srgb"),
        imagecodecs.cms_profile(
            "rgb",
            gamma=1.0,
            whitepoint=[0.3127, 0.329, 1.0],
            primaries=[0.64, 0.33, 1.0, 0.3, 0.6, 1.0, 0.15, 0.06, 1.0],
        ),
        colorspace="rgb",
        outcolorspace="rgb",
        outdtype="float32",
        intent=1,
    )


def robust_median(patch):
    """Median of what lies within three scaled median deviations: dust and pinholes left out."""
    values = patch.ravel()
    middle = np.median(values)
    spread = 1.4826 * np.median(np.abs(values - middle))
    kept = values[np.abs(values - middle) <= 3 * spread]
    return np.median(kept), 1.2533 * kept.std() / np.sqrt(kept.size)


def curve(x, dmin, net, k, x0):
    return dmin + net / (1 + np.exp(-k * (x - x0)))


def fit(x, density, error):
    """One curve, and the speed point (net density 0.60) with its standard error by the delta method."""
    from scipy.optimize import curve_fit

    start = [density.min(), np.ptp(density), 5.0, np.median(x)]
    found, covariance = curve_fit(curve, x, density, start, error, absolute_sigma=True, maxfev=5000)

    def speed(p):
        return p[3] - np.log(max(p[1] / 0.6 - 1, 1e-9)) / p[2]

    slope = np.array([(speed(found + h) - speed(found - h)) / (2 * h.sum()) for h in np.diag(1e-5 * np.abs(found) + 1e-9)])
    return speed(found), np.sqrt(slope @ covariance @ slope)


def stages(path, how):
    import scipy.optimize  # noqa: F401 (its loading is nobody's work on pixels)
    import tifffile

    if how == "colour":
        import colour  # noqa: F401
    start = time.perf_counter()
    picture = tifffile.imread(path)
    decoded = time.perf_counter()
    linear = {"numpy": linear_numpy, "colour": linear_colour, "engine": linear_engine}[how]
    light = linear(picture) @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
    linearised = time.perf_counter()
    height, width = light.shape
    read = []
    for patch in range(FIELDS):
        y = (patch % 8) * (height - SIDE) // 7
        x = (patch // 8) * (width - SIDE) // 7
        read.append(robust_median(light[y : y + SIDE, x : x + SIDE]))
    medians = time.perf_counter()
    assert len(read) == FIELDS
    # The patches lie anywhere; the fit gets steps of an invented paper with the same noise.
    noise = np.random.default_rng(1).normal(0, 0.01, (2, 11))
    x = np.arange(11) * 0.15
    points = [fit(x, curve(x, 0.08, 1.9, 5.0, 0.8 + shift) + n, np.full(11, 0.01)) for shift, n in zip((0, 0.1), noise)]
    ratio = points[1][0] - points[0][0]
    bound = 1.96 * np.hypot(points[0][1], points[1][1])
    assert abs(ratio - 0.1) < 4 * bound
    end = time.perf_counter()
    return {
        "decode": decoded - start,
        "linear light": linearised - decoded,
        "robust medians": medians - linearised,
        "fit with interval": end - medians,
        "all": end - start,
    }


def bytes_alone(path):
    """Reading the file's bytes into new memory, and into memory that is there already."""
    start = time.perf_counter()
    with open(path, "rb") as file:
        content = file.read()
    new = time.perf_counter() - start
    buffer = bytearray(len(content))
    times = []
    for _ in range(3):
        start = time.perf_counter()
        with open(path, "rb") as file:
            assert file.readinto(buffer) == len(content)
        times.append(time.perf_counter() - start)
    return {"new memory": new, "memory at hand": min(times)}


def own_process(what, path):
    out = subprocess.run([sys.executable, __file__, "--stage", what, path], check=True, capture_output=True, text=True)
    return json.loads(out.stdout)


def ours(speed, case, path):
    out = subprocess.run([speed, "--case", case, path], check=True, capture_output=True, text=True)
    report = json.loads(out.stdout)
    return report["wall"], dict(report["parts"])


def middle(rows, key):
    return sorted(row[key] for row in rows)[len(rows) // 2]


def main():
    if sys.argv[1] == "--stage":
        what, path = sys.argv[2:4]
        print(json.dumps(bytes_alone(path) if what == "bytes" else stages(path, what)))
        return
    path, speed = sys.argv[1:3]
    runs = int(sys.argv[3]) if len(sys.argv) > 3 else 5
    tools = {how: [own_process(how, path) for _ in range(runs)] for how in ("numpy", "colour", "engine")}
    alone = [own_process("bytes", path) for _ in range(runs)]
    whole = [ours(speed, "whole", path) for _ in range(runs)]
    parts = ours(speed, "parts", path)[1]
    wall = sorted(wall for wall, _ in whole)[runs // 2]
    decode = sorted(found["decode"] for _, found in whole)[runs // 2]
    light = parts["overview of the scan"]
    cells = parts["cells of the wedge"] + parts["cells of the strips"]
    curves = parts["curves of a pair with all bounds"]
    mine = {"decode": decode, "linear light": light, "robust medians": cells, "fit with interval": curves}
    print(f"| ms, median of {runs} | numpy | colour library | colour engine | here | numpy / here |")
    print("| --- | --- | --- | --- | --- | --- |")
    for stage in ("decode", "linear light", "robust medians", "fit with interval"):
        figures = [1000 * middle(tools[how], stage) for how in ("numpy", "colour", "engine")]
        cells_ = " | ".join(f"{figure:.0f}" for figure in figures)
        print(f"| {stage} | {cells_} | {mine[stage]:.1f} | {figures[0] / mine[stage]:.1f} |")
    sums = [1000 * middle(tools[how], "all") for how in ("numpy", "colour", "engine")]
    same = sum(mine.values())
    print(f"| the same work | {' | '.join(f'{s:.0f}' for s in sums)} | {same:.0f} | {sums[0] / same:.1f} |")
    print(f"| the whole way | - | - | - | {wall:.0f} | {sums[0] / wall:.1f} |")
    new, hand = (1000 * middle(alone, key) for key in ("new memory", "memory at hand"))
    print(f"\nbytes alone: {new:.0f} ms into new memory, {hand:.0f} ms into memory at hand;")
    print(f"decoding here {decode:.0f} ms, {decode / new:.1f} and {decode / hand:.1f} times that;")
    print(f"decoding and linear light {decode + light:.0f} ms, {(decode + light) / new:.1f} and {(decode + light) / hand:.1f} times")


if __name__ == "__main__":
    main()

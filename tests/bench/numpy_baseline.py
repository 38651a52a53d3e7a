#!/usr/bin/env python3
"""The yardstick for docs/performance.md: the same pixel work with general-purpose Python tools.

Decodes a 16-bit RGB TIFF (tifffile), makes it linear (numpy, sRGB transfer function of
IEC 61966-2-1) and takes the median of 30 patches: no finding of strips, no curve, no
bounds. Prints wall seconds (the median run, the first, the least) and peak memory.

usage: numpy_baseline.py SCAN.tif [RUNS]
needs: numpy, tifffile, imagecodecs (PyPI)
"""
import resource
import sys
import time

import numpy as np
import tifffile

PATCHES = 30
PATCH = 250  # pixels each way: a step's inside at 600 dpi


def linearise(code):
    share = code.astype(np.float32) / np.float32(65535)
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def run(path):
    start = time.perf_counter()
    picture = tifffile.imread(path)
    decoded = time.perf_counter()
    light = linearise(picture) @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
    linear = time.perf_counter()
    height, width = light.shape
    medians = []
    for patch in range(PATCHES):
        y = (patch % 6 + 1) * height // 8
        x = (patch // 6 + 1) * width // 7
        medians.append(np.median(light[y : y + PATCH, x : x + PATCH]))
    end = time.perf_counter()
    assert len(medians) == PATCHES
    return decoded - start, linear - decoded, end - linear, end - start


def main():
    runs = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    rows = [run(sys.argv[1]) for _ in range(runs)]
    first = rows[0][3]
    rows.sort(key=lambda row: row[3])
    decode, linear, medians, whole = rows[runs // 2]
    usage = resource.getrusage(resource.RUSAGE_SELF)
    processor = (usage.ru_utime + usage.ru_stime) / runs
    print(
        f"decode {decode:.2f} s, linearise {linear:.2f} s, medians {medians:.2f} s, "
        f"in all {whole:.2f} s (median of {runs}; first {first:.2f} s, least {rows[0][3]:.2f} s), "
        f"processor {processor:.2f} s a run, peak {usage.ru_maxrss * 1024 / 1e6:.0f} MB"
    )


if __name__ == "__main__":
    main()

#!/usr/bin/env python3
"""Makes testdata/preview: a 16-bit test picture of a paper print, two characteristic curves as
they are drawn, and the densities that the print's tones get on the coating.

The computation is independent of the program's: the curves are known in closed form (a power of
the normal distribution, which is not the program's formula) and are turned round in closed form,
while the program gets only points that are drawn every few hundredths of a decade.

usage: make_reference.py FOLDER
needs: numpy, scipy (PyPI)
"""
import json
import struct
import sys
import zlib
from pathlib import Path

import numpy as np
from scipy.special import ndtr, ndtri

WIDTH, HEIGHT = 96, 64
HAZE = 0.004  # stray light that the assumed white takes off
WHITE = 0.93  # linear light of what is white on the scan
WHITE_DENSITY = 0.06  # density that white is taken to have
DRAWN = 61  # points of a drawn curve
STOPS = [0.0, 1.4, 2.6, 4.0]  # exposures above the print's
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1


class Curve:
    """Density dmin + net * ndtr((x - x0) / width) ** power."""

    def __init__(self, dmin, net, x0, width, power, tested):
        self.dmin, self.net, self.x0, self.width, self.power = dmin, net, x0, width, power
        self.tested = tested

    def density(self, x):
        x = np.clip(x, *self.tested)
        return self.dmin + self.net * ndtr((x - self.x0) / self.width) ** self.power

    def log_exposure(self, d):
        share = np.clip((d - self.dmin) / self.net, 1e-12, 1 - 1e-12)
        x = self.x0 + self.width * ndtri(share ** (1 / self.power))
        return np.clip(x, *self.tested)

    def drawn(self):
        xs = np.linspace(self.tested[0] - 0.3, self.tested[1] + 0.3, DRAWN)
        ds = self.dmin + self.net * ndtr((xs - self.x0) / self.width) ** self.power
        return [[float(x), float(d)] for x, d in zip(xs, ds)]

    def told(self):
        return {
            "points": self.drawn(),
            "tested": list(self.tested),
            "dmin": self.dmin,
            "dmax": self.dmin + self.net,
        }


PAPER = Curve(0.06, 2.02, 0.95, 0.30, 1.25, (0.1, 1.9))
COAT = Curve(0.11, 1.63, 1.62, 0.46, 1.4, (0.5, 3.1))


def picture():
    """Codes of a print: a ramp of tones, a fine weave and warm and cold patches over it."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    density = 0.02 + 2.1 * (x / (WIDTH - 1)) ** 0.9
    density = density + 0.12 * np.sin(x * 1.7) * np.sin(y * 0.9) * (y > HEIGHT // 3)
    light = WHITE * 10 ** -np.clip(density, 0.0, 2.3)
    tint = np.ones((HEIGHT, WIDTH, 3))
    tint[HEIGHT // 2 :, : WIDTH // 2] = [1.06, 1.0, 0.88]
    tint[HEIGHT // 2 :, WIDTH // 2 :] = [0.95, 1.0, 1.08]
    rgb = np.clip(light[..., None] * tint, 0, 1)
    encoded = np.where(rgb <= 0.0031308, 12.92 * rgb, 1.055 * rgb ** (1 / 2.4) - 0.055)
    return np.round(65535 * encoded).astype(np.uint16)


def print_density(codes):
    """Densities as the assumed white has it: x = light / perfect white, R = x^2 / (x + haze)."""
    share = codes / 65535
    rgb = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    x = rgb @ LUMINANCE / (WHITE * 10**WHITE_DENSITY)
    return -np.log10(x * x / (x + HAZE)) + np.log10(1 / (1 + HAZE))


def png(path, codes):
    """A 16-bit PNG; colour ones are marked as sRGB."""
    height, width = codes.shape[:2]
    colour = codes.ndim == 3
    rows = codes.reshape(height, -1).astype(">u2")
    raw = b"".join(b"\0" + row.tobytes() for row in rows)

    def chunk(kind, data):
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    header = struct.pack(">IIBBBBB", width, height, 16, 2 if colour else 0, 0, 0, 0)
    parts = [chunk(b"IHDR", header)]
    if colour:
        parts.append(chunk(b"sRGB", b"\0"))
    parts += [chunk(b"IDAT", zlib.compress(raw, 9)), chunk(b"IEND", b"")]
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(parts))


def main(folder):
    folder.mkdir(parents=True, exist_ok=True)
    codes = picture()
    png(folder / "print.png", codes)
    density = print_density(codes)
    light, dark = PAPER.density(np.array(PAPER.tested))
    told = {"white": WHITE, "paper": PAPER.told(), "coat": COAT.told(), "exposures": []}
    for stops in STOPS:
        coated = COAT.density(PAPER.log_exposure(density) + stops * np.log10(2))
        name = f"coated-{stops:.1f}.png"
        png(folder / name, np.round(coated * 20000).astype(np.uint16))
        told["exposures"].append(
            {
                "stops": stops,
                "file": name,
                "blank": float(np.mean(coated < COAT.dmin + 0.04)),
                "blocked": float(np.mean(coated > COAT.dmin + 0.9 * COAT.net)),
                "beyond_paper": float(np.mean((density < light) | (density > dark))),
            }
        )
    (folder / "reference.json").write_text(json.dumps(told, indent=1) + "\n")


main(Path(sys.argv[1]))

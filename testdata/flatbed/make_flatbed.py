"""Paints four scans from readings of a real flatbed (README.md): every field of wedge and strips is
one patch that the scanner really read, its steps chosen along curves with a known speed ratio.

    pip install numpy pillow
    python3 make_flatbed.py
"""
import json
import numpy as np
from PIL import Image

PER_MM = 100 / 25.4
NEUTRALS = np.genfromtxt("flatbed_neutrals.csv", delimiter=",", names=True)
GROUNDS = np.genfromtxt("flatbed_grounds.csv", delimiter=",", names=True, dtype=None, encoding="utf8")
LID = np.array([250.0, 250.0, 250.0])


def patch(density, taken):
    """The patch nearest in density that isn't taken."""
    order = np.argsort(abs(NEUTRALS["density_visual"] - density))
    at = next(int(i) for i in order if int(i) not in taken)
    taken.add(at)
    return at


def codes(at):
    return np.array([NEUTRALS[c][at] for c in "rgb"])


def curve(x, dmin, net, x0, decades):
    """Logistic, its middle at x0; decades from 10 to 90 % of net."""
    return dmin + net / (1 + np.exp(-4.394 * (x - x0) / decades))


def crossing(dmin, net, x0, decades, above=0.6):
    """Log exposure where net density is 0.60 (ISO 6846)."""
    return x0 - decades / 4.394 * np.log(net / above - 1)


def paint(canvas, left, top, width, fields):
    """Fields from left to right; each has a length in mm and its codes."""
    x, y, w = left * PER_MM, top * PER_MM, width * PER_MM
    corners = [(x, y + w), (x, y), None, None]
    edges = [0.0]
    for length, colour in fields:
        to = x + length * PER_MM
        canvas[round(y):round(y + w), round(x):round(to)] = colour
        x = to
        edges.append(edges[-1] + length)
    corners[2], corners[3] = (x, y), (x, y + w)
    return dict(corners=[[round(a, 1), round(b, 1)] for a, b in corners], edges=[round(e / edges[-1], 5) for e in edges])


def finish(canvas, name, seed):
    rng = np.random.default_rng(seed)
    # The optics spread an edge over about a pixel; noise from pixel to pixel is a guess.
    padded = np.pad(canvas, ((1, 1), (1, 1), (0, 0)), mode="edge")
    soft = sum(padded[i:i + canvas.shape[0], j:j + canvas.shape[1]] * a * b
               for i, a in enumerate((0.15, 0.7, 0.15)) for j, b in enumerate((0.15, 0.7, 0.15)))
    noise = rng.normal(0, 0.3, canvas.shape[:2])[..., None]
    Image.fromarray(np.clip(np.round(soft + noise), 0, 255).astype(np.uint8)).save(name, dpi=(100, 100), optimize=True)


def listed(wedge):
    return [round(float(NEUTRALS["density_visual"][i]), 4) for i in wedge]


def pair(name, fields, to, seed, with_wedge=True):
    """A paper strip and a coated one, nine steps in half stops, under a wedge."""
    taken = set()
    wedge = [patch(d, taken) for d in np.linspace(0.06, to, fields)]
    wedge.sort(key=lambda i: NEUTRALS["density_visual"][i])
    canvas = np.tile(LID, (round(94 * PER_MM), round(112 * PER_MM), 1))
    truth = dict(wedge=listed(wedge), strips=[])
    if with_wedge:
        length = 96 / fields
        truth["wedge_shape"] = paint(canvas, 8, 6, 14, [(length, codes(i)) for i in wedge])
    x = np.arange(9) * 0.1505
    strips = [("paper", 28, dict(dmin=0.10, net=1.42, x0=0.55, decades=0.85)),
              ("coat", 60, dict(dmin=0.24, net=1.28, x0=0.70, decades=1.05))]
    for role, top, shape in strips:
        # Held back from the wedge; the two strips may show the same patch.
        own = set(wedge)
        steps = [patch(curve(v, **shape), own) for v in x]
        margin = patch(shape["dmin"], own)
        assert listed(steps) == sorted(listed(steps))
        place = paint(canvas, 10, top, 24, [(14, codes(margin))] + [(8.5, codes(i)) for i in steps])
        truth["strips"].append(dict(role=role, margin=listed([margin])[0], steps=listed(steps), **place))
    ratio = (crossing(**strips[1][2]) - crossing(**strips[0][2])) / np.log10(2)
    truth["stops"] = round(float(ratio), 4)
    finish(canvas, f"{name}.png", seed)
    json.dump(truth, open(f"{name}.json", "w"), indent=1)


def grounds():
    """One set of six inks on three grounds, a wedge of neutrals above them."""
    taken = set()
    wedge = sorted((patch(d, taken) for d in np.linspace(0.06, 1.6, 13)), key=lambda i: NEUTRALS["density_visual"][i])
    canvas = np.tile(LID, (round(104 * PER_MM), round(84 * PER_MM), 1))
    truth = dict(wedge=listed(wedge), strips=[])
    truth["wedge_shape"] = paint(canvas, 6, 4, 12, [(72 / 13, codes(i)) for i in wedge])
    # The readings name no code of the grounds: a white, a middle grey and a black patch.
    for row, (ground, density) in enumerate([("white", 0.06), ("grey", 0.6), ("black", 1.6)]):
        top = 24 + 26 * row
        paint(canvas, 6, top, 24, [(72, codes(patch(density, set())))])
        inks = [np.array([g["r"], g["g"], g["b"]]) for g in GROUNDS if g["ground"] == ground]
        for at, ink in enumerate(inks):
            paint(canvas, 9 + 11 * at, top + 9, 6, [(6, ink)])
        truth["strips"].append(dict(ground=ground, left=9, top=top + 9, pitch=11, side=6))
    finish(canvas, "grounds.png", 4)
    json.dump(truth, open("grounds.json", "w"), indent=1)


pair("wedge-to-2.3", 13, 2.3, 1)
pair("wedge-to-2.6", 20, 2.6, 2)
pair("no-wedge", 13, 2.3, 3, with_wedge=False)
grounds()

"""Writes the spectra of testdata/references/colour: the standard observer and two illuminants, the
fields of the 24-field chart and the CIE's test colours, every 10 nm.

    python3 -m venv target/spectra
    target/spectra/bin/pip install numpy scipy colour-science
    target/spectra/bin/python tests/references/make_spectra.py

The data come through the general colour package colour-science (0.4.7 was used); what it took them
from stands in testdata/references/README.md.
"""

import csv
import pathlib

import colour
from colour.quality import SDS_TCS

SHAPE = colour.SpectralShape(380, 780, 10)
FOLDER = pathlib.Path(__file__).parents[2] / "testdata" / "references" / "colour"


def values(distribution):
    return distribution.copy().align(SHAPE).values


def write(name, columns, digits):
    with open(FOLDER / name, "w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["nm", *columns])
        for row, nm in enumerate(range(380, 781, 10)):
            writer.writerow([nm, *(f"{column[row]:.{digits}g}" for column in columns.values())])


observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values
write(
    "observer.csv",
    {
        "x": observer[:, 0],
        "y": observer[:, 1],
        "z": observer[:, 2],
        "D50": values(colour.SDS_ILLUMINANTS["D50"]),
        "A": values(colour.SDS_ILLUMINANTS["A"]),
    },
    6,
)
chart = colour.SDS_COLOURCHECKERS["cc_ohta"]
write("chart24_spectra.csv", {name: values(field) for name, field in chart.items()}, 4)
samples = SDS_TCS["CIE 1995"]
write("test_colours_spectra.csv", {name: values(one) for name, one in samples.items()}, 4)

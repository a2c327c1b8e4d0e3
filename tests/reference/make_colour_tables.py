"""Writes the colour tables of src/light/data and the check values of tests/reference with general-purpose tools.

Needs numpy, scipy and colour-science 0.4.7. The models are written here a second time, on a 1 nm grid and with
colour-science's tables and functions, so that the Rust code is checked against something that shares nothing with it
but the stated parameters. Run it from the root of the repository.
"""

import numpy as np
import colour
from scipy.optimize import brentq

TOOLS = f"colour-science {colour.__version__}, numpy {np.__version__}"
CMFS = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
D65 = colour.SDS_ILLUMINANTS["D65"]
GRID = np.arange(380, 781, 5)


def write(path, header, columns, rows):
    with open(path, "w", encoding="utf-8") as f:
        for line in header:
            f.write(f"# {line}\n")
        f.write(",".join(columns) + "\n")
        for row in rows:
            f.write(",".join(v if isinstance(v, str) else f"{v:.10g}" for v in row) + "\n")


write(
    "src/light/data/cie1931_2deg_5nm.csv",
    ["source: CIE 1931 2-degree colour-matching functions (CIE 015, ISO/CIE 11664-1), every fifth row of the 1 nm table in "
     f"colour-science {colour.__version__}"],
    ["wavelength_nm", "x_bar", "y_bar", "z_bar"],
    [(float(w), *CMFS[float(w)]) for w in GRID],
)
write(
    "src/light/data/cie_d65_5nm.csv",
    [f"source: CIE standard illuminant D65 (ISO/CIE 11664-2), relative spectral power, 100 at 560 nm, as in colour-science {colour.__version__}"],
    ["wavelength_nm", "relative_power"],
    [(float(w), D65[float(w)]) for w in GRID],
)

# --- Bare packages -----------------------------------------------------------------------------------------------
W = np.arange(380.0, 780.5, 1.0)
BARS = np.array([CMFS[w] for w in W])
FINE = CMFS.copy().interpolate(colour.SpectralShape(380, 780, 0.05))


def two_sided(peak, short, long):
    g = np.exp(-(((W - peak) / np.where(W < peak, short, long)) ** 2))
    return (g + 2 * g**5) / 3


def xy(s):
    t = BARS.T @ s
    return t[:2] / t.sum()


LOCUS_W = np.arange(400.0, 700.5, 1.0)
LOCUS = np.array([colour.XYZ_to_xy(CMFS[w]) for w in LOCUS_W])


def dominant(xy_):
    """Crossing of the straight line from the equal-energy point with the chords of the 1 nm locus."""
    d = xy_ - 1 / 3
    e = LOCUS - 1 / 3
    cross = d[0] * e[:, 1] - d[1] * e[:, 0]
    for i in np.nonzero((cross[:-1] * cross[1:] <= 0) & (e[:-1] @ d > 0))[0]:
        return LOCUS_W[i] + cross[i] / (cross[i] - cross[i + 1])
    raise ValueError("purple")


WIDTHS = {"red": (20, 17), "green": (27, 43), "blue": (20, 30)}
PUMP, PHOSPHOR_EV, WHITE_K = (16, 24), 0.55, 4000.0


def peak_for(dom, widths):
    return brentq(lambda p: dominant(xy(two_sided(p, *widths))) - dom, dom - 30, dom + 30)


def white(dom):
    pump = two_sided(peak_for(dom, PUMP), *PUMP)
    target = xy(np.array([colour.colorimetry.planck_law(w * 1e-9, WHITE_K, c2=1.438776877e-2) for w in W]))

    def band(p):
        ev = 1239.841984 * (1 / W - 1 / p)
        return np.exp(-4 * np.log(2) * (ev / PHOSPHOR_EV) ** 2)

    def side(p):
        a, b = xy(band(p)) - target, xy(pump) - target
        return a[0] * b[1] - a[1] * b[0]

    phosphor = band(brentq(side, 540, 610))
    a, b = xy(phosphor), xy(pump)
    share = np.dot(target - b, a - b) / np.dot(a - b, a - b)
    return share * phosphor / (BARS.T @ phosphor).sum() + (1 - share) * pump / (BARS.T @ pump).sum()


PACKAGES = {
    "5050": [("red", 625, 625), ("green", 522.5, 1250), ("blue", 470, 300)],
    "5050-low": [("red", 622.5, 405), ("green", 523.5, 690), ("blue", 466, 190)],
    "5050-rgbw": [("red", 625, 625), ("green", 520, 1250), ("blue", 470, 300), ("white", 457, 1800)],
    "3535": [("red", 625, 300), ("green", 522.5, 600), ("blue", 467.5, 130)],
    "2020": [("red", 624, 155), ("green", 522.5, 350), ("blue", 467.5, 65)],
}
rows = []
for name, dies in PACKAGES.items():
    total = np.zeros(3)
    for die, dom, mcd in dies:
        s = white(dom) if die == "white" else two_sided(peak_for(dom, WIDTHS[die]), *WIDTHS[die])
        t = BARS.T @ s
        efficacy = 683 * t[1] / s.sum()
        flux = np.pi * mcd / 1000
        total += flux * t / t[1]
        if die != "white":
            by_library = float(np.squeeze(colour.dominant_wavelength(xy(s), np.array([1 / 3, 1 / 3]), FINE)[0]))
            assert abs(by_library - dom) < 0.1, (name, die, by_library, dom)
        rows.append((name, die, float(dom), float(mcd), *xy(s), flux, efficacy))
    rows.append((name, "all", 0.0, 0.0, *(total[:2] / total.sum()), total[1], 0.0))
write(
    "tests/reference/package_chromaticity.csv",
    [f"source: computed with {TOOLS} by make_colour_tables.py on a 1 nm grid: chromaticity, luminous flux (Lambertian beam) and",
     "luminous efficacy of the stated dies at full level, and of all dies of a package together; the dominant wavelengths were",
     "confirmed with colour.dominant_wavelength to 0.1 nm"],
    ["package", "die", "dominant_nm", "mcd", "x", "y", "flux_lm", "efficacy_lm_w"],
    rows,
)

# --- Dominant wavelengths, tone curve, CIELAB, spectra ---------------------------------------------------------------
rows = []
for p in np.arange(430, 671, 10):
    c = colour.XYZ_to_xy(np.array(BARS.T @ two_sided(p, 14, 14)))
    for label, w in (("E", (1 / 3, 1 / 3)), ("D65", (0.3127, 0.3290))):
        rows.append((label, *w, *c, float(np.squeeze(colour.dominant_wavelength(c, np.array(w), FINE)[0]))))
write(
    "tests/reference/dominant_wavelength.csv",
    [f"source: computed with {TOOLS}: colour.dominant_wavelength on colour-matching functions interpolated to 0.05 nm, for narrow bands"],
    ["white", "white_x", "white_y", "x", "y", "dominant_nm"],
    rows,
)

pq, pq_inv = colour.models.eotf_ST2084, colour.models.eotf_inverse_ST2084


def eetf(v, headroom):
    """ITU-R BT.2390, section 5.4.1, black levels zero, target peak 100 cd/m2."""
    lw, lmax = pq_inv(100.0 * headroom), pq_inv(100.0)
    e, m = min(pq_inv(100.0 * v) / lw, 1.0), lmax / lw
    ks = 1.5 * m - 0.5
    if e >= ks:
        t = (e - ks) / (1 - ks)
        e = (2 * t**3 - 3 * t**2 + 1) * ks + (t**3 - 2 * t**2 + t) * (1 - ks) + (-2 * t**3 + 3 * t**2) * m
    return float(pq(e * lw)) / 100


write(
    "tests/reference/tone_curve.csv",
    [f"source: ITU-R BT.2390 EETF (section 5.4.1) written in Python with the perceptual quantiser of {TOOLS}"],
    ["headroom", "scene", "display"],
    [(float(h), float(v), eetf(v, h)) for h in (4, 10, 40) for v in (0.001, 0.05, 0.2, 0.3, 0.35, 0.4, 0.6, 0.8, 1, 1.5, 2, 4, 7, 10, 20, 100)],
)

rng = np.random.default_rng(7)
rows = []
for _ in range(24):
    xyz = rng.uniform(0.001, 1.0, 3)
    lab = colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(colour.xy_to_XYZ([0.3127, 0.3290])))
    rgb = colour.XYZ_to_RGB(xyz, colour.RGB_COLOURSPACES["sRGB"])
    ok = colour.XYZ_to_Oklab(xyz)
    rows.append((*xyz, *lab, *rgb, *ok))
write(
    "tests/reference/colour_spaces.csv",
    [f"source: computed with {TOOLS}: random tristimulus values, their CIELAB (white x .3127, y .3290), linear sRGB (4-digit matrix of",
     "IEC 61966-2-1 as in that library) and Oklab"],
    ["x", "y", "z", "lab_l", "lab_a", "lab_b", "r", "g", "b", "ok_l", "ok_a", "ok_b"],
    rows,
)

"""The same pictures by several ways, measured in turn within one run.

Every way gets the same points, the same spot (by radius, X, Y and Z) and the same size:

- Weftlight: `sum_of_spots`, three channels, three components, single precision.
- bare transforms: three forward and three inverse real transforms of Weftlight's finest grid, padding included: the limit.
- scipy.fft: points spread bilinearly, real transforms in single precision on all cores at good sizes; the spots' samples are given,
  their transforms are part of the time.
- fftconvolve: scipy.signal.fftconvolve of each channel with each component's spot, as one would write it first.
- direct summation: every pixel at every image pixel, on all cores, with a table of the spot; measured on a sample of
  image pixels and scaled up.
- photons: what the photons method would need for the error that Weftlight has at the brightest place; scaled from the measured rate
  and scatter.

Errors are the largest difference from direct summation at sampled image pixels, over the peak.
"""

import csv
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

import numpy as np
import scipy.fft
import scipy.signal

HERE = Path(__file__).parent
POINTS = [10, 100, 1_000, 10_000, 100_000]
SIZES = [(640, 400), (1280, 800), (1920, 1080), (3840, 2160), (7680, 4320)]
CHANNELS = 3
PHOTONS = 4_000_000
# The cost of the general-purpose ways does not depend on the number of points (beyond spreading them), so the slow one is measured
# at this number alone.
USUAL_POINTS = 1_000
CORES = os.cpu_count() or 1


class Weftlight:
    """The driven bench program."""

    def __init__(self, program):
        self.process = subprocess.Popen(
            [program, "--driven"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
        )

    def ask(self, request):
        self.process.stdin.write(request + "\n")
        answer = self.process.stdout.readline()
        if not answer:
            sys.exit(f"no answer to: {request}")
        return json.loads(answer)


class Case:
    """Points and spot as Weftlight wrote them, in image pixels."""

    def __init__(self, folder, width, height):
        read = lambda name: np.fromfile(Path(folder) / name, dtype="<f8")
        points = read("points").reshape(-1, 2)
        self.width, self.height = width, height
        self.columns = points[:, 0] + 0.5 * (width - 1)
        self.rows = 0.5 * (height - 1) - points[:, 1]
        self.radii = read("radii")
        self.spot = read("spot").reshape(3, -1)
        self.places = read("places").astype(np.int64)
        self.exact = read("exact").reshape(-1, 3)

    def spread_points(self):
        """The points on the image's own pixels, each shared bilinearly among four."""
        grid = np.zeros((self.height, self.width), dtype=np.float32)
        column, row = np.floor(self.columns).astype(int), np.floor(self.rows).astype(int)
        right, down = self.columns - column, self.rows - row
        for step_row, weight_row in ((0, 1 - down), (1, down)):
            for step_column, weight_column in ((0, 1 - right), (1, right)):
                np.add.at(grid, (row + step_row, column + step_column), (weight_row * weight_column).astype(np.float32))
        return grid

    def kernels(self):
        """The spot's samples as far as the picture reaches, X, Y and Z."""
        x = np.arange(1 - self.width, self.width, dtype=np.float32)
        y = np.arange(1 - self.height, self.height, dtype=np.float32)[:, None]
        radius = np.hypot(x, y)
        return [np.interp(radius, self.radii, values).astype(np.float32) for values in self.spot]

    def error(self, planes, peaks):
        worst = 0.0
        for component, plane in enumerate(planes):
            found = plane.reshape(-1)[self.places]
            worst = max(worst, np.abs(found - self.exact[:, component]).max() / peaks[component])
        return float(worst)


def by_scipy_fft(case, kernels):
    shape = [scipy.fft.next_fast_len(2 * n - 1, real=True) for n in (case.height, case.width)]
    forward = lambda a: scipy.fft.rfft2(a, shape, workers=CORES)
    spectra = [forward(case.spread_points()) for _ in range(CHANNELS)]
    planes = []
    for kernel in kernels:
        # The middle of the spot at the origin.
        transform = forward(kernel)
        product = sum(spectrum * transform for spectrum in spectra)
        whole = scipy.fft.irfft2(product, shape, workers=CORES, overwrite_x=True)
        rows = (np.arange(case.height) + case.height - 1) % shape[0]
        planes.append(whole[rows][:, case.width - 1 :][:, : case.width])
    return planes


def by_fftconvolve(case, kernels):
    grids = [case.spread_points() for _ in range(CHANNELS)]
    convolve = lambda grid, kernel: scipy.signal.fftconvolve(grid, kernel, mode="same")
    # "same" is centred on the first argument: the middle of the kernel falls on each image pixel.
    return [sum(convolve(grid, kernel) for grid in grids) for kernel in kernels]


def timed(work):
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def measure(weftlight, points, width, height):
    row = {"points": points, "width": width, "height": height, "megapixels": width * height / 1e6}
    large = width * height > 4e6
    with tempfile.TemporaryDirectory() as folder:
        weftlight.ask(f"case {points} {width} {height} {folder}")
        case = Case(folder, width, height)
        kernels = case.kernels()
        turns, times = (1, []) if large else (3, [])
        for _ in range(turns):
            own = weftlight.ask(f"time {3 if large else 7}")
            took, planes = timed(lambda: by_scipy_fft(case, kernels))
            times.append((own, took))
        own = sorted(times, key=lambda pair: pair[0]["picture_s"])[len(times) // 2][0]
        row |= {
            "weftlight_s": own["picture_s"],
            "bare_transforms_s": own["transforms_of_grid_s"],
            "bare_transforms_of_picture_size_s": own["transforms_of_picture_size_s"],
            "over_bare": own["ratio"],
            "weftlight_error": own["error"],
            "scipy_fft_s": median(took for _, took in times),
            "scipy_fft_error": case.error(planes, own["peaks"]),
        }
        if points == USUAL_POINTS:
            row["fftconvolve_s"], planes = timed(lambda: by_fftconvolve(case, kernels))
            row["fftconvolve_error"] = case.error(planes, own["peaks"])
        row["direct_s"] = weftlight.ask("direct")["seconds"]
        photons = weftlight.ask(f"photons {PHOTONS}")
        row |= {"photons_s": photons["seconds"], "photons": photons["photons"], "photons_per_s": photons["photons_per_s"]}
    return row


def in_words(seconds):
    """Seconds as people say them."""
    for limit, unit, length in ((1, "ms", 1e-3), (120, "s", 1), (7200, "min", 60), (172_800, "h", 3600), (6e7, "days", 86_400)):
        if seconds < limit:
            return f"{seconds / length:.3g} {unit}"
    return f"{float(f'{seconds / 31_557_600:.2g}'):,.0f} years"


def print_table(rows):
    print("| pixels | picture | Weftlight | bare transforms | ratio | error | scipy.fft (error) | fftconvolve | direct sum | photons, equal error |")
    print("|---|---|---|---|---|---|---|---|---|---|")
    for row in rows:
        convolve = in_words(row["fftconvolve_s"]) if "fftconvolve_s" in row else ""
        print(
            f"| {row['points']:,} | {row['width']} x {row['height']} | {in_words(row['weftlight_s'])} "
            f"| {in_words(row['bare_transforms_s'])} | {row['over_bare']:.2f} | {row['weftlight_error']:.1e} "
            f"| {in_words(row['scipy_fft_s'])} ({row['scipy_fft_error']:.1e}) | {convolve} | {in_words(row['direct_s'])} "
            f"| {in_words(row['photons_s'])} |"
        )


WAYS = [
    ("weftlight_s", "Weftlight", "#1b6e8c", "o", "-"),
    ("bare_transforms_s", "bare transforms of its grid", "#7a7a7a", "", ":"),
    ("scipy_fft_s", "scipy.fft, single precision", "#c2611f", "s", "-"),
    ("fftconvolve_s", "fftconvolve", "#8c4a91", "D", "-"),
    ("direct_s", "direct summation", "#3f7d3a", "^", "--"),
]


def draw_curves(rows, path):
    import matplotlib

    matplotlib.use("svg")
    matplotlib.rcParams["svg.hashsalt"] = "cost curves"
    from matplotlib import pyplot

    sheet, (by_size, by_points) = pyplot.subplots(1, 2, figsize=(11, 4.6), layout="constrained")
    of_size = [row for row in rows if row["points"] == USUAL_POINTS]
    of_points = [row for row in rows if (row["width"], row["height"]) == (1920, 1080)]
    for axes, some, key in ((by_size, of_size, "megapixels"), (by_points, of_points, "points")):
        for name, label, colour, marker, line in WAYS:
            known = [(row[key], row[name]) for row in some if name in row]
            if len(known) > 1:
                axes.plot(*zip(*known), line, color=colour, marker=marker or None, markersize=5, label=label)
        axes.set(xscale="log", yscale="log", ylabel="seconds")
        axes.grid(True, which="major", color="#dddddd")
    first = of_size[0]
    line = [first["weftlight_s"] * row["megapixels"] / first["megapixels"] for row in of_size]
    by_size.plot([row["megapixels"] for row in of_size], line, color="#1b6e8c", linewidth=0.8, alpha=0.5, label="linear growth")
    by_size.set(xlabel="image size, megapixels", title=f"{USUAL_POINTS:,} pixels")
    by_points.set(xlabel="pixels in the scene", title="1920 x 1080")
    by_size.legend(fontsize=8, loc="lower right")
    sheet.suptitle("What the same picture costs: lower is better")
    sheet.savefig(path, metadata={"Date": None})


def main():
    quick = "--quick" in sys.argv[2:]
    weftlight = Weftlight(sys.argv[1])
    sizes = [size for size in SIZES if not quick or size[0] * size[1] < 4e6]
    rows = []
    for width, height in sizes:
        for points in POINTS:
            rows.append(measure(weftlight, points, width, height))
            print(f"{points} pixels at {width} x {height}: done", file=sys.stderr)
    print_table(rows)
    if not quick:
        names = list(dict.fromkeys(name for row in rows for name in row))
        with open(HERE / "table.csv", "w", newline="") as file:
            table = csv.DictWriter(file, names, lineterminator="\n")
            table.writeheader()
            table.writerows(rows)
        draw_curves(rows, HERE / "cost-curves.svg")


main()

#!/usr/bin/env python3
"""Times star detection on one 26 megapixel frame: pintle's against SEP.

SEP is the C library of Source Extractor's algorithms. Needed: Go, and the
Debian package python3-sep (it brings numpy). Run with Debian's interpreter,
from anywhere in the repository:

    /usr/bin/python3 testdata/compare_sep.py [--stars N] [--runs N]

The frame is drawn here (seed 20261125): 6248 x 4176 pixels, 16 bit, sky of 300
electrons with a gradient and read noise, Gaussian stars of 3 pixels FWHM, ten
times as many for every 2.3 magnitudes. Both programs get pixels that are
already in memory: SEP as float32, Background and extract at 5 sigma; pintle as
16 bit integers, detection and centroids of the 1000 best stars. Runs of both
take turns; the least and the median time of each are printed.
"""
import argparse
import os
import re
import statistics
import subprocess
import tempfile
import time

import numpy as np
import sep

W, H = 6248, 4176


def frame(stars, rng):
    y, x = np.mgrid[0:H, 0:W].astype(np.float32)
    light = 300 * (1 + 0.3 * (x / W - 0.5)) * (1 - 0.3 * ((x / W - 0.5) ** 2 + (y / H - 0.5) ** 2) * 2)
    del x, y
    s = 3 / 2.3548
    for _ in range(stars):
        cx, cy = rng.uniform(10, W - 11), rng.uniform(10, H - 11)
        flux = 500 * rng.uniform() ** (-1 / 1.1)
        i, j = int(cx), int(cy)
        gx = np.exp(-((np.arange(i - 9, i + 11) - cx) ** 2) / (2 * s * s))
        gy = np.exp(-((np.arange(j - 9, j + 11) - cy) ** 2) / (2 * s * s))
        light[j - 9:j + 11, i - 9:i + 11] += flux / (2 * np.pi * s * s) * np.outer(gy, gx)
    noisy = rng.poisson(light) + rng.normal(500, 3, light.shape)
    return np.clip(noisy, 0, 65535).astype(np.uint16)


def time_sep(data):
    start = time.perf_counter()
    background = sep.Background(data)
    found = sep.extract(data - background, 5, err=background.globalrms)
    return time.perf_counter() - start, len(found)


def time_pintle(binary, path):
    out = subprocess.run([binary, "-test.run=^$", "-test.bench=BenchmarkRaw$", "-test.benchtime=1x",
                          "-raw", path, "-width", str(W)], check=True, capture_output=True, text=True).stdout
    return float(re.search(r"([\d.]+) ns/op", out)[1]) / 1e9


def main():
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    p.add_argument("--stars", type=int, default=2000)
    p.add_argument("--runs", type=int, default=7)
    a = p.parse_args()
    root = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    sep.set_extract_pixstack(10_000_000)
    data = frame(a.stars, np.random.default_rng(20261125))
    with tempfile.TemporaryDirectory() as d:
        path, binary = os.path.join(d, "frame.u16"), os.path.join(d, "detect.test")
        data.astype("<u2").tofile(path)
        subprocess.run(["go", "test", "-c", "-o", binary, "./solve/detect"], check=True, cwd=root)
        data = data.astype(np.float32)
        ours, theirs, found = [], [], 0
        for _ in range(a.runs):
            t, found = time_sep(data)
            theirs.append(t)
            ours.append(time_pintle(binary, path))
    print(f"{W} x {H} pixels, {a.stars} stars, seed 20261125, {a.runs} runs each")
    print(f"sep    least {min(theirs):.3f} s  median {statistics.median(theirs):.3f} s  ({found} objects)")
    print(f"pintle least {min(ours):.3f} s  median {statistics.median(ours):.3f} s")
    print(f"ratio  least {min(ours) / min(theirs):.2f}    median {statistics.median(ours) / statistics.median(theirs):.2f}")


if __name__ == "__main__":
    main()

"""SVG: drawn shapes equal resvg's picture, but for 0.5 % of the pixels outside the edge band.

Each case is a drawing of groups within groups, with shapes, path data of every command, copies,
symbols, inner drawings, style rules and any transform. With KERFWRIGHT_EXTRA_DATA set and the full
size, the public files that are listed as supported are compared as well, at four times the size of
their golden pictures.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
from PIL import Image

from studies._svg_pictures import compare

DEFAULT_SIZE = 400
SMALL_SIZE = 12
WIDTH = 600
TIMES = 4
MOST = 0.005
LIST = Path(__file__).parents[1] / "tests" / "formats" / "data" / "svg_supported.txt"
OTHER_COLOURS = ("painting/fill/icc-color.svg",)  # see tests/formats/test_svg_files.py
COLOURS = ("red", "#0a0", "rgb(0,0,200)", "hsl(40,90%,50%)", "black", "teal")


def run(seed, size, progress):
    """Compare `size` drawings; return the worst share of pixels."""
    failures, worst = [], 0.0
    files = supported_files() if size >= DEFAULT_SIZE else []
    for n in range(size):
        text = draw(np.random.default_rng((seed, n)))
        found = compare(None, width=WIDTH, text=text)
        worst = max(worst, found.shapes, found.colours)
        if found.reason or max(found.shapes, found.colours) > MOST:
            failures.append({"case": n, "shapes": found.shapes, "reason": found.reason})
        progress(n + 1, size + len(files))
    worst_file = 0.0
    for n, (name, path) in enumerate(files):
        with Image.open(path.with_suffix(".png")) as golden:
            width = TIMES * golden.size[0]
        found = compare(path, width=width)
        share = max(found.shapes, 0.0 if name in OTHER_COLOURS else found.colours)
        worst_file = max(worst_file, share)
        if found.reason or share > MOST:
            failures.append({"file": name, "shapes": found.shapes, "reason": found.reason})
        progress(size + n + 1, size + len(files))
    return {
        "worst_share": worst, "files": len(files), "worst_share_of_files": worst_file,
        "failures": failures,
    }  # fmt: skip


def supported_files():
    folder = os.environ.get("KERFWRIGHT_EXTRA_DATA", "")
    if not folder:
        return []
    names = [n for n in LIST.read_text(encoding="utf-8").splitlines() if n and n[:2] != "# "]
    return [(n, Path(folder) / "svg" / n) for n in names]


def draw(rng):
    """Return one drawing."""
    body = "".join(item(rng, 0) for _ in range(rng.integers(2, 6)))
    kept = "".join(f'<g id="d{k}">{item(rng, 2)}</g>' for k in range(2))
    box = " ".join(f"{v:.2f}" for v in rng.uniform((0, 0, 40, 20), (40, 20, 80, 60)))
    symbol = f'<symbol id="s" viewBox="{box}" overflow="visible">{item(rng, 2)}</symbol>'
    rules = (
        f".a {{ fill: {colour(rng)} }} g > .b {{ stroke: {colour(rng)}; stroke-width: 2 }} "
        f"rect[rx] {{ fill: {colour(rng)} }} #d0 path {{ fill-rule: evenodd !important }}"
    )
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="120" height="80" viewBox="0 0 120 80">'
        f"<style>{rules}</style><defs>{kept}{symbol}</defs>{body}</svg>"
    )


def colour(rng):
    return COLOURS[rng.integers(len(COLOURS))]


def item(rng, depth):
    """Return a group, a copy, an inner drawing or a shape."""
    kind = rng.integers(8)
    if kind < 3 and depth < 3:
        inner = "".join(item(rng, depth + 1) for _ in range(rng.integers(1, 4)))
        return f"<g {transform(rng)} {paint(rng)}>{inner}</g>"
    if kind == 3 and depth < 2:
        x, y, w, h = rng.uniform((0, 0, 20, 20), (50, 40, 60, 60))
        target = ("s", "d0", "d1")[rng.integers(3)]
        return (
            f'<use href="#{target}" x="{x:.3f}" y="{y:.3f}" width="{w:.2f}" height="{h:.2f}" '
            f"{transform(rng)}/>"
        )
    if kind == 4 and depth < 2:
        x, y, w, h = rng.uniform((0, 0, 20, 20), (50, 40, 90, 60))
        aspect = ("xMidYMid", "xMinYMax slice", "none", "xMaxYMin meet")[rng.integers(4)]
        return (
            f'<svg x="{x:.3f}" y="{y:.3f}" width="{w:.2f}" height="{h / 0.8:.1f}%" '
            f'viewBox="0 0 90 70" preserveAspectRatio="{aspect}" overflow="visible">'
            f"{item(rng, depth + 1)}</svg>"
        )
    return shape(rng)


def transform(rng):
    a, x, y = rng.uniform(-40, 40, 3)
    s, t = rng.uniform(0.5, 1.5, 2)
    return (
        "",
        f'transform="translate({x:.3f},{y / 3:.3f})rotate({a:.2f} 60 40)"',
        f'transform="scale({s:.3f} {t:.3f}) skewX({a:.2f})"',
        f'transform="matrix({s:.3f} {x / 90:.3f} {y / 90:.3f} {-t:.3f} {x:.2f} {70 + y:.2f})"',
        f'transform="rotate({a:.2f}) scale({s:.3f})" transform-origin="50 {30 + y / 9:.2f}px"',
    )[rng.integers(5)]


def paint(rng):
    return (
        "",
        f'fill="{colour(rng)}"',
        f'fill="none" stroke="{colour(rng)}" stroke-width="{rng.uniform(0.5, 4):.2f}"',
        f'fill="{colour(rng)}" stroke="{colour(rng)}" fill-rule="evenodd"',
        'class="a"',
        'class="a b"',
        f'color="{colour(rng)}" fill="currentColor"',
    )[rng.integers(7)]


def shape(rng):
    x, y = rng.uniform(5, 100), rng.uniform(5, 65)
    w, h, r, q = rng.uniform(3, 40, 4)
    more = f"{paint(rng)} {transform(rng)}"
    corners = " ".join(f"{a:.2f},{b:.2f}" for a, b in rng.uniform((0, 0), (120, 80), (5, 2)))
    return (
        f'<rect x="{x:.2f}" y="{y:.2f}" width="{w:.2f}" height="{h:.2f}" rx="{r / 3:.2f}" {more}/>',
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{r / 2:.2f}" {more}/>',
        f'<ellipse cx="{x:.2f}mm" cy="{y:.2f}" rx="{r / 2:.2f}%" ry="{q / 2:.2f}" {more}/>',
        f'<line x1="{x:.2f}" y1="{y:.2f}" x2="{w:.2f}" y2="{h:.2f}" {more}/>',
        f'<polygon points="{corners}" {more}/>',
        f'<polyline points="{corners}" {more}/>',
        f'<path d="{data(rng)}" {more}/>',
        f'<path d="{data(rng)}" {more}/>',
    )[rng.integers(8)]


def data(rng):
    """Return path data with any commands, absolute and relative, written tightly."""
    words = ["M{:.2f} {:.2f}".format(*rng.uniform((10, 10), (110, 70)))]
    for _ in range(rng.integers(2, 8)):
        command = "LlHhVvCcSsQqTtAaAaZzMm"[rng.integers(22)]
        low, high = (5, 100) if command.isupper() else (-30, 30)
        count = {"l": 2, "h": 1, "v": 1, "c": 6, "s": 4, "q": 4, "t": 2, "z": 0, "m": 2}
        if command in "Aa":
            large, sweep = rng.integers(0, 2, 2)
            rx, ry, turn = rng.uniform((1, 1, -90), (40, 40, 90))
            to = rng.uniform(low, high, 2)
            words.append(
                f"{command}{rx:.2f} {ry:.2f} {turn:.1f} {large}{sweep}{to[0]:.2f} {to[1]:.2f}"
            )
        else:
            numbers = rng.uniform(low, high, count[command.lower()])
            words.append(command + " ".join(f"{v:.2f}" for v in numbers))
    return "".join(words)

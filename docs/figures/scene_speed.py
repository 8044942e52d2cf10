"""What ray-traced pictures cost: processor time of one core, and memory."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from typing import Any

import numpy as np
from figures.blocks import ROOT

SEED = 20261128
#: (width, height) of the pictures, and how many of each.
SIZES = {(480, 640): 12, (900, 1200): 12, (1800, 2400): 6}


def measure() -> dict[str, Any]:
    """Each size in a fresh process, so that its memory is its own."""
    rows = []
    for (width, height), count in SIZES.items():
        out = subprocess.run([sys.executable, __file__, str(width), str(height), str(count)],
                             check=True, capture_output=True, text=True,
                             env={**os.environ, "PYTHONPATH": f"{ROOT}:{ROOT / 'docs'}"})
        rows.append({"width": width, "height": height, **json.loads(out.stdout)})
    return {"seed": SEED, "count": sum(SIZES.values()), "rows": rows}


def texts(kept: dict[str, Any]) -> dict[str, str]:
    """The table of the page on scenes."""
    lines = ["| pixels | pictures | processor time each, median | shortest to longest | memory |",
             "|---|---|---|---|---|"]
    for r in kept["rows"]:
        lines.append(f"| {r['width']} x {r['height']} | {len(r['cpu_s'])} | "
                     f"{float(np.median(r['cpu_s'])):.2f} s | {min(r['cpu_s']):.2f} to "
                     f"{max(r['cpu_s']):.2f} s | {r['peak_mb']:.0f} MB |")
    lines += ["", f"With a load of {kept['load']:.0f} on {kept['processors']} processors, which "
                  "makes all of it slower; compare sizes, not machines."]
    return {"scene-speed": "\n".join(lines)}


def child(width: int, height: int, count: int) -> None:
    """Scenes of all tiers, drawn as ``countersight scenes`` draws them."""
    import resource

    from vision.synthetic.chamber import render_scene, sample_scene

    def draw(index: int) -> float:
        rng = np.random.default_rng([SEED, index])
        scene = sample_scene(rng, ("easy", "typical", "hard")[index % 3], width=width,
                             height=height)
        begun = time.process_time()
        render_scene(scene)
        return round(time.process_time() - begun, 3)

    draw(count)     # what is loaded and compiled once
    times = [draw(index) for index in range(count)]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    sys.stdout.write(json.dumps({"cpu_s": times, "peak_mb": round(peak)}))


if __name__ == "__main__":
    child(*map(int, sys.argv[1:]))

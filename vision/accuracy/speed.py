"""Speed and memory of one reading, against plain decoding of the same photo.

Run ``python -m vision.accuracy.speed``.  Times are medians of alternating
repeats in one process, given as a ratio, so that the machine cancels; memory
and import time come from fresh processes.
"""

from __future__ import annotations

import argparse
import io
import json
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from vision.reading import VolumeReading

#: Most that the requirements allow.
MOST_TIMES_DECODE, MOST_MEMORY_MB, MOST_IMPORT_S = 3.0, 600.0, 0.6
TWELVE_MEGAPIXELS = (3024, 4032)


@dataclass(frozen=True)
class Speed:
    """What was measured.  Times in s, memory in MB (1e6 bytes); ``status`` is that of the
    reading, which is timed whatever it is."""

    megapixels: float
    file_mb: float
    status: str
    decode_s: float
    reading_s: float
    times_decode: float
    memory_mb: float
    import_s: float
    images_per_second: float

    @property
    def met(self) -> bool:
        """True when all three requirements are met."""
        return (self.times_decode <= MOST_TIMES_DECODE and self.memory_mb <= MOST_MEMORY_MB
                and self.import_s <= MOST_IMPORT_S)


def twelve_megapixel_jpeg(seed: int = 12, size: tuple[int, int] = (1800, 2400)) -> bytes:
    """A 12-megapixel JPEG of one of our scenes: rendered, enlarged, with sensor noise."""
    import cv2
    from PIL import Image

    from vision.synthetic.chamber.dataset import scene_for
    from vision.synthetic.chamber.render import render_scene

    small = render_scene(scene_for(seed, 0, "easy", None, size))
    large = cv2.resize(small, TWELVE_MEGAPIXELS, interpolation=cv2.INTER_CUBIC)
    noise = np.random.default_rng(seed).normal(0, 2.5, large.shape).astype(np.float32)
    out = io.BytesIO()
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 26
    Image.fromarray(np.clip(large + noise, 0, 255).astype(np.uint8)).save(
        out, "JPEG", quality=90, exif=exif)
    return out.getvalue()


def measure_speed(photo: bytes, scale: str, repeats: int = 7) -> Speed:
    """Measure one photo (JPEG bytes) against a scale file or shipped scale."""
    found = timed(photo, scale, repeats)
    return Speed(
        megapixels=found.megapixels, file_mb=len(photo) / 1e6, status=found.reading.status,
        decode_s=found.decode_s, reading_s=found.reading_s,
        times_decode=found.reading_s / found.decode_s,
        memory_mb=peak_memory_mb(photo, scale), import_s=import_seconds(),
        images_per_second=1 / found.reading_s)


@dataclass(frozen=True)
class Timed:
    """A reading, and the medians of what it and a full decode of its photo take, s."""

    megapixels: float
    reading: VolumeReading
    decode_s: float
    reading_s: float


def timed(photo: bytes, scale: str, repeats: int) -> Timed:
    """Read and decode a photo (the bytes of its file) in turn, so many times after a first one."""
    import cv2

    from vision.imaging.photo import load_photo
    from vision.scale_file.scale import load_scale
    from vision.volume.read import read_volume

    the_scale = load_scale(scale)
    raw = np.frombuffer(photo, np.uint8)

    def decode() -> object:
        return cv2.imdecode(raw, cv2.IMREAD_COLOR)

    def read() -> VolumeReading:
        return read_volume(load_photo(photo), the_scale)

    reading = read()
    decoded = decode()
    assert isinstance(decoded, np.ndarray)
    decode_times, read_times = [], []
    for _ in range(repeats):
        decode_times.append(_seconds(decode))
        read_times.append(_seconds(read))
    return Timed(decoded.shape[0] * decoded.shape[1] / 1e6, reading,
                 statistics.median(decode_times), statistics.median(read_times))


def _seconds(action: Callable[[], object]) -> float:
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


_READ_ONCE = """
import resource, sys
from pathlib import Path
from vision.imaging.photo import load_photo
from vision.scale_file.scale import load_scale
from vision.volume.read import read_volume
read_volume(load_photo(sys.argv[1]), load_scale(sys.argv[2]))
status = Path("/proc/self/status")
if status.exists():
    # Not getrusage: on Linux its peak includes that of the process that started this one.
    peak = next(x for x in status.read_text().splitlines() if x.startswith("VmHWM"))
    print(float(peak.split()[1]) * 1024 / 1e6)
else:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(peak / 1e6 if sys.platform == "darwin" else peak * 1024 / 1e6)
"""


def peak_memory_mb(photo: bytes, scale: str) -> float:
    """Peak resident memory of a fresh process that reads the photo once."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "photo.jpg"
        path.write_bytes(photo)
        return float(_run(_READ_ONCE, str(path), scale))


def import_seconds(repeats: int = 5) -> float:
    """Median seconds that ``import vision`` takes in a fresh process."""
    code = ("import time; t = time.perf_counter(); import vision; "
            "print(time.perf_counter() - t)")
    return statistics.median(float(_run(code)) for _ in range(repeats))


def _run(code: str, *words: str) -> str:
    return subprocess.run([sys.executable, "-c", code, *words], check=True, text=True,
                          capture_output=True).stdout.strip()


def main(argv: list[str] | None = None) -> int:
    """Print one JSON object; 1 when a requirement is not met."""
    parser = argparse.ArgumentParser(prog="python -m vision.accuracy.speed", description=__doc__)
    parser.add_argument("--photo", help="a JPEG of your own (default: one is made)")
    parser.add_argument("--scale", help="its scale (default: that of the made photo)")
    parser.add_argument("--repeats", type=int, default=7)
    args = parser.parse_args(argv)
    if (args.photo is None) != (args.scale is None):
        parser.error("--photo and --scale go together")
    if args.photo is None:
        from vision.synthetic.chamber.dataset import scene_for

        photo, scale = twelve_megapixel_jpeg(), scene_for(12, 0, "easy").scale.name
    else:
        photo, scale = Path(args.photo).read_bytes(), args.scale
    speed = measure_speed(photo, scale, args.repeats)
    import cv2

    about = {"python": platform.python_version(), "opencv": cv2.__version__,
             "numpy": np.__version__, "machine": platform.machine(),
             "opencv_threads": cv2.getNumThreads()}
    found = {**asdict(speed), "met": speed.met, "with": about}
    sys.stdout.write(json.dumps(found, indent=1) + "\n")
    return 0 if speed.met else 1


if __name__ == "__main__":
    sys.exit(main())

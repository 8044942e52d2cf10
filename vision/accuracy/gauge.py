"""Repeatability and reproducibility of readers, by two-way analysis of variance."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Source:
    """A line of the table of variance: sum of squares, degrees of freedom, mean square."""

    sum_of_squares: float
    degrees: int

    @property
    def mean_square(self) -> float:
        """Sum of squares over degrees of freedom."""
        return self.sum_of_squares / self.degrees


@dataclass(frozen=True)
class GaugeStudy:
    """Components of variation of a crossed study, as standard deviations.

    ``repeatability`` is the spread of one reader on one image,
    ``reproducibility`` that between readers (their bias, and where the
    interaction is kept also that it differs from image to image), ``combined``
    both, ``images`` that between the images.  ``pooled`` tells that the
    interaction was taken into the repeatability.
    """

    image: Source
    reader: Source
    interaction: Source
    within: Source
    interaction_p: float
    pooled: bool
    repeatability: float
    reproducibility: float
    combined: float
    images: float


def gauge_study(values: np.ndarray, pool_above_p: float = 0.25) -> GaugeStudy:
    """Analyse an (images, readers, repeats) array, each dimension 2 or more.

    The interaction is pooled with the repeatability when its p-value exceeds
    ``pool_above_p``.  Negative components are set to 0.  Source: two-way random
    effects analysis of variance of a crossed measurement study, as in
    D. C. Montgomery, Design and Analysis of Experiments, section on random
    factors, and the Measurement Systems Analysis reference manual, 4th ed.,
    AIAG, 2010 (which pools above 0.25).
    """
    from scipy import stats

    y = np.asarray(values, dtype=float)
    if y.ndim != 3 or min(y.shape) < 2:
        raise ValueError("a study needs 2 or more images, readers and repeats")
    a, b, n = y.shape
    grand, by_image, by_reader = y.mean(), y.mean((1, 2)), y.mean((0, 2))
    cell = y.mean(2)
    image = Source(float(b * n * ((by_image - grand) ** 2).sum()), a - 1)
    reader = Source(float(a * n * ((by_reader - grand) ** 2).sum()), b - 1)
    mixed = cell - by_image[:, None] - by_reader[None, :] + grand
    interaction = Source(float(n * (mixed**2).sum()), (a - 1) * (b - 1))
    within = Source(float(((y - cell[:, :, None]) ** 2).sum()), a * b * (n - 1))
    if within.mean_square > 0:
        p = float(stats.f.sf(interaction.mean_square / within.mean_square,
                             interaction.degrees, within.degrees))
    else:
        p = 1.0 if interaction.mean_square == 0 else 0.0
    pooled = p > pool_above_p
    if pooled:
        both = Source(interaction.sum_of_squares + within.sum_of_squares,
                      interaction.degrees + within.degrees)
        repeat, against, mixing = both.mean_square, both.mean_square, 0.0
    else:
        repeat, against = within.mean_square, interaction.mean_square
        mixing = max(0.0, (interaction.mean_square - within.mean_square) / n)
    between = max(0.0, (reader.mean_square - against) / (a * n))
    parts = max(0.0, (image.mean_square - against) / (b * n))
    return GaugeStudy(image, reader, interaction, within, p, pooled, math.sqrt(repeat),
                      math.sqrt(between + mixing), math.sqrt(repeat + between + mixing),
                      math.sqrt(parts))

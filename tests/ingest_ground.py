"""Small invented rasters for the tests of ingest."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import rasterio
from scipy import ndimage

X0, Y0 = 463000.0, 4776000.0


def rolling(rows=120, cols=150, seed=0, noise_m=0.03, base_m=380.0, cell_m=1.0):
    """Gently rolling ground with lidar-like noise; float32 (rows, cols) [m]."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:rows, 0:cols] * cell_m
    swell = 1.5 * np.sin(x / 23.0) * np.cos(y / 31.0) + 0.01 * x - 0.004 * y
    return (base_m + swell + rng.normal(0.0, noise_m, (rows, cols))).astype(np.float32)


def save(path: Path, z, **given):
    """Write a GeoTIFF; `step`, `crs`, `transform`, `nodata`, `unit` and others may be given."""
    step = given.pop("step", 1.0)
    unit = given.pop("unit", None)
    scale = given.pop("scale", None)
    bands = z if z.ndim == 3 else z[None]
    profile = {
        "driver": "GTiff",
        "height": bands.shape[1],
        "width": bands.shape[2],
        "count": bands.shape[0],
        "dtype": bands.dtype,
        "crs": "EPSG:26915",
        "transform": rasterio.Affine(step, 0.0, X0, 0.0, -step, Y0),
    }
    with rasterio.open(path, "w", **{**profile, **given}) as dataset:
        dataset.write(bands)
        if unit:
            dataset.units = [unit] * bands.shape[0]
        if scale:
            dataset.scales = [scale] * bands.shape[0]
    return path


def filled(z):
    """Ground with every closed hollow filled: scikit-image's reconstruction by erosion from the border."""
    from skimage.morphology import reconstruction

    seed = np.full_like(z, z.max())
    seed[0], seed[-1], seed[:, 0], seed[:, -1] = z[0], z[-1], z[:, 0], z[:, -1]
    return reconstruction(seed, z, method="erosion").astype(z.dtype)


def smooth_plain(rows, cols, fall, cell_m=1.0, seed=0):
    """A lake plain: `fall` [-] eastwards and swells of a few centimetres over hundreds of metres; float64 [m]."""
    rng = np.random.default_rng(seed)
    swell = ndimage.gaussian_filter(rng.normal(size=(rows, cols)), 40.0 / cell_m, mode="wrap")
    x = np.arange(cols) * cell_m
    return 250.0 - fall * x + 0.05 * swell / swell.std()

"""Stage 3: the ground of today and the natural ground."""

from wetscout.surfaces.build import build_surfaces

__all__ = ["build_surfaces"]

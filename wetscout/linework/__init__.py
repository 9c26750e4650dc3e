"""Ditches, embankments and crossings: first cell by cell, then as lines."""

from wetscout.linework.find import find_lines

__all__ = ["find_lines"]

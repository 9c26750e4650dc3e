"""Room 9: parcels and owners."""

from __future__ import annotations

from wetscout.people.columns import check_parcels
from wetscout.people.letters import owners_csv
from wetscout.people.parcels import People, add_to_sites, parcels

__all__ = ["People", "add_to_sites", "check_parcels", "owners_csv", "parcels"]

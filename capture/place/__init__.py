"""Where is the site, what road does it face, how far is anything?"""

from capture.place.bands import compute_band
from capture.place.drive import (
    Reach,
    compute_drive_seconds,
    compute_pair_seconds,
    compute_reach,
    nearest_k,
)
from capture.place.frontage import Frontage, add_frontage
from capture.place.network import Labels, Network
from capture.place.open import open_place
from capture.place.parcels import check_parcels, load_parcels, sift_parcels
from capture.place.place import Buildings, Place, Screens
from capture.place.sites import Sites, explain_outside, find_sites
from capture.place.snap import Snap, locate, snap
from capture.place.upstream import upstream_edge, walk_upstream
from capture.place.values import ROAD_CLASSES, SEPARATIONS, VALUES

__all__ = [
    "ROAD_CLASSES",
    "SEPARATIONS",
    "VALUES",
    "Buildings",
    "Frontage",
    "Labels",
    "Network",
    "Place",
    "Reach",
    "Screens",
    "Sites",
    "Snap",
    "add_frontage",
    "check_parcels",
    "compute_band",
    "compute_drive_seconds",
    "compute_pair_seconds",
    "compute_reach",
    "explain_outside",
    "find_sites",
    "load_parcels",
    "locate",
    "nearest_k",
    "open_place",
    "sift_parcels",
    "snap",
    "upstream_edge",
    "walk_upstream",
]

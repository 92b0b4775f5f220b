"""What the report says of joints: how lines cross them, and what lies over what."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from unwrap.livery.joints import Mismatch
from unwrap.livery.overlaps import Plan


def joint_entries(met: Sequence[Mismatch]) -> list[dict[str, Any]]:
    """One entry per pair of regions that meet: the worst of its crossings, then each of them."""
    groups: dict[tuple[str, str], list[Mismatch]] = defaultdict(list)
    for one in met:
        groups[one.between].append(one)
    return [
        {
            "between": list(between),
            "mismatch_mm": max(one.place_mm for one in group),
            "direction_deg": max(one.direction_deg for one in group),
            "crossings": [
                {
                    "kind": one.kind,
                    "line": one.label,
                    "at": list(one.at),
                    "mismatch_mm": one.place_mm,
                    "direction_deg": one.direction_deg,
                }
                for one in group
            ],
        }
        for between, group in groups.items()
    ]


def overlap_entries(plan: Plan) -> list[dict[str, Any]]:
    """Which piece lies under which, where they meet or share ground."""
    return [
        {
            "under": lap.under,
            "over": lap.over,
            "kind": lap.kind,
            "length_mm": lap.length_mm,
            "area_mm2": lap.area_mm2,
        }
        for lap in plan.overlaps
    ]

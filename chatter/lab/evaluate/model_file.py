"""The model's file: written only when asked, with what made it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

#: What the listening reads.
MODEL = Path(__file__).resolve().parents[2] / "listening" / "model.json"


def write_model(plain: dict[str, Any], path: Path = MODEL) -> None:
    """Write the model at once or not at all, one line for each list of numbers."""
    parts = []
    for key, value in plain.items():
        if key != "forests":
            parts.append(f" {json.dumps(key)}: {json.dumps(value)}")
    forests = ",\n".join(
        f"  {json.dumps(name)}: {{\n"
        + ",\n".join(
            f"   {json.dumps(k)}: {json.dumps(v, separators=(',', ':'))}" for k, v in one.items()
        )
        + "\n  }"
        for name, one in plain["forests"].items()
    )
    parts.append(f' "forests": {{\n{forests}\n }}')
    beside = path.with_suffix(".tmp")
    beside.write_text("{\n" + ",\n".join(parts) + "\n}\n", encoding="utf-8")
    beside.replace(path)

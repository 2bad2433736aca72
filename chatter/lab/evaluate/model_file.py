"""The model's file: written only when asked, with what made it."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

from chatter.lab.evaluate.corpus import Corpus
from chatter.lab.evaluate.fit import Fitted

#: What the listening reads.
MODEL = Path(__file__).resolve().parents[2] / "listening" / "model.json"


def model_of(models: dict[str, Fitted], corpus: Corpus, count: int, code: str) -> dict[str, Any]:
    """The model as plain data.

    Parameters
    ----------
    models : dict
        Cause -> fit.
    corpus : Corpus
        It was fitted on.
    count : int
        Recordings.
    code : str
        Digest of the code that made and heard them.
    """
    return {
        "made_by": f"python -m chatter.lab.evaluate --fit --write-model --ranges {corpus.ranges} "
        f"--seed {corpus.base_seed} --count {count}",
        "made_on": str(date.today()),
        "corpus": corpus.name,
        "corpus_fingerprint": corpus.fingerprint(),
        "code": code,
        "recordings": count,
        "prior": "probabilities hold for the mixture of causes in this corpus",
        "cross_validated": {name: figures_of(one) for name, one in models.items()},
        "causes": {
            name: {"bias": one.bias, "worths": {n: asdict(w) for n, w in one.worths.items()}}
            for name, one in models.items()
        },
    }


def figures_of(one: Fitted) -> dict[str, float]:
    """Cross-validated figures of one cause, rounded."""
    q = one.quality
    return {
        "passes": q.passes,
        "recordings": q.recordings,
        "share": round(q.positive, 4),
        "ridge": one.ridge,
        "log_loss": round(q.log_loss, 4),
        "brier": round(q.brier, 4),
        "calibration_error": round(q.calibration.error, 4),
        "calibration_error_by_chance": round(q.calibration.chance_error, 4),
        "auc": round(q.auc, 4),
        "recall": round(q.recall, 4),
        "false_alarms": round(q.false_alarms, 4),
    }


def write_model(plain: dict[str, Any], path: Path = MODEL) -> None:
    """Write the model at once or not at all."""
    beside = path.with_suffix(".tmp")
    beside.write_text(json.dumps(plain, indent=1) + "\n", encoding="utf-8")
    beside.replace(path)

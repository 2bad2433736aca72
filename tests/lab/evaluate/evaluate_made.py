"""Outcomes made by hand, whose scores can be worked out on paper."""

from chatter.findings import CAUSES
from chatter.lab.evaluate.outcome import FoundPass, RecordingOutcome
from chatter.lab.simulate import TruePass


def true_pass(start, end, verdict="normal", also=(), **more):
    told = {"rev_min": 600.0, "tooth_passing_hz": 40.0}
    return TruePass(start, end, verdict, tuple(also), **(told | more))


def found_pass(start, end, verdict="normal", confidence=0.9, also=(), **more):
    p = dict.fromkeys(CAUSES, 0.05)
    if verdict in p:
        p[verdict] = confidence
    told = {
        "start_s": start,
        "end_s": end,
        "revolutions": 10.0 * (end - start),
        "verdict": verdict,
        "also": tuple(also),
        "confidence": 0.0 if verdict == "cannot_tell" else confidence,
        "probabilities": p,
        "rev_min": 600.0,
        "rev_min_low": 599.0,
        "rev_min_high": 601.0,
        "speed_heard": True,
        "chatter_hz": None,
        "onset_s": None,
        "chatter_share": None,
        "chatter_kind": None,
        "measures": {},
    }
    return FoundPass(**(told | more))


def outcome(index, truth=(), found=(), **more):
    told = {
        "index": index,
        "kind": "normal",
        "duration_s": 20.0,
        "stated_rev_min": 600.0,
        "stated_teeth": 4,
        "true_teeth": 4,
        "conditions": {"snr_db": 10.0, "format": "wav", "bit_rate": 0, "regime": "saw"},
        "truth": tuple(truth),
        "found": tuple(found),
        "verdict": found[0].verdict if found else "cannot_tell",
        "confidence": found[0].confidence if found else 0.0,
        "fit": True,
        "complaints": (),
        "error": None,
        "crash": None,
        "make_s": 1.0,
        "listen_s": 0.5,
    }
    return RecordingOutcome(**(told | more))

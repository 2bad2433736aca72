"""What the corpus sounds like beside real recordings: ``--corpus-table``.

Measures of :mod:`chatter.lab.evaluate.traits` over a corpus and over any folders of labelled
recordings, as 10, 50 and 90 % quantiles, beside what was measured on real ones.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from chatter.errors import RecordingError
from chatter.lab.evaluate.corpus import Corpus, draw_item
from chatter.lab.evaluate.traits import NAMES, Given, traits_of

#: Row -> (words, passes it is taken of, what real recordings showed).
ROWS = {
    "turn_orders": ("non-tooth turn orders >= 10 dB, of 59", "sound", "8 - 43, mostly 9 - 23"),
    "turn_median_db": ("their median over the floor, dB", "sound", "7.7 - 29.5"),
    "turn_first_db": ("1 x turn over the floor, dB", "sound", "6.6 - 28"),
    "side_db": ("side lines at the turn re the tooth line, dB", "sound", "-11 - -23"),
    "once_share": ("strokes rising and falling once a turn", "sound", ".07 - .35"),
    "scatter_share": ("scatter from tooth to tooth", "sound", ".03 - .28"),
    "wander_hz": ("wander of the strongest line, Hz", "all", "0 - 1.2"),
    "wander_share": ("... as a share, %", "all", "0 - .38"),
    "low_floor_db": ("floor 60-125 Hz against 1 kHz, dB", "all", "+6 - +14, -2 - +4; one -31"),
    "tooth_db": ("tooth fundamental over the floor, dB", "sound", "19 - 46"),
    "contrast_db": ("contrast of a cut against the rest, dB", "all", "2.5 - 5.7 (one 20)"),
    "lines": ("lines >= 10 dB", "all", "23 - 139"),
    "chatter_db": ("chatter: its line over the floor, dB", "chatter", "33 - 43"),
    "family_db": ("chatter: family lines, dB", "chatter", "12 - 25"),
    "chatter turn_orders": ("chatter: turn orders kept", "chatter", "2 - 23"),
}  # fmt: skip
#: Verdicts of the passes that a row is taken of; "all" takes any.
KINDS = {"sound": ("normal", "uneven_teeth"), "chatter": ("chatter",)}
#: Turns and seconds below which a pass is not measured.
_LEAST_TURNS, _LEAST_S = 8.0, 1.0


def corpus_table_section(options: argparse.Namespace) -> int:
    """Print the table of a corpus, and of the folders named beside it."""
    corpus = Corpus(options.ranges or "reporting", base_seed=options.seed)
    count = options.count or (40 if options.quick else 200)
    sources: dict[str, list[dict]] = {}
    with TemporaryDirectory() as folder:
        sources[corpus.name] = _all(of_corpus(corpus, 0, count, Path(folder)))
    for folder in options.beside:
        sources[folder.name] = _all(of_folder(folder))
    print(traits_table(sources))
    return 0


def _all(measured_passes: Iterator[list[dict]]) -> list[dict]:
    # Twenty passes of one recording are hardly more than one: two of each speak for it.
    return [one for some in measured_passes for one in some[:2]]


def traits_table(sources: dict[str, list[dict]]) -> str:
    """The table as text.

    Parameters
    ----------
    sources : dict
        Name of the column -> measured passes (:func:`pass_traits`).
    """
    names = list(sources)
    lines = [
        "q10 / q50 / q90 (of passes)".ljust(50) + "".join(one.ljust(26) for one in names) + "real"
    ]
    for key, (words, kind, real) in ROWS.items():
        cells = [_quantiles(sources[one], key.split()[-1], kind) for one in names]
        lines.append(words.ljust(50) + "".join(one.ljust(26) for one in cells) + real)
    lines.append("")
    lines.append("below 300 rev/min, strongest line of a pass: ".ljust(50))
    for words, kind, name in (
        ("sound: within 0.1 turn of the turn's grid", "sound", "off_grid_turns"),
        ("chatter: within 0.1 turn of the turn's grid", "chatter", "off_grid_turns"),
        ("chatter: within 0.05 tooth of the teeth's", "chatter", "off_grid_teeth"),
    ):
        cells = [
            _within(sources[one], name, kind, 0.1 if "turn" in name else 0.05) for one in names
        ]
        lines.append(words.ljust(50) + "".join(one.ljust(26) for one in cells))
    return "\n".join(lines)


def pass_traits(path: Path, passes: list[dict], teeth: int) -> list[dict]:
    """Measure the passes of one recording; each a dict of traits with verdict and speed.

    Parameters
    ----------
    path : Path
        Of the recording.
    passes : list of dict
        ``start_s``, ``end_s``, ``verdict``, ``rev_min`` and ``chatter_hz`` of each.
    teeth : int
        True number of teeth.
    """
    x, rate_hz = decode_channel(path)
    outside = np.ones(len(x), bool)
    for one in passes:
        outside[int((one["start_s"] - 0.1) * rate_hz) : int((one["end_s"] + 0.1) * rate_hz)] = False
    rest = x[outside] if outside.sum() > rate_hz // 2 else None
    found = []
    for one in passes:
        length = min(one["end_s"], len(x) / rate_hz) - one["start_s"]
        trim = min(1.0, 0.12 * length)
        part = _between(x, rate_hz, one["start_s"] + trim, one["start_s"] + length - trim)
        turns = len(part) / rate_hz * one["rev_min"] / 60
        if turns < _LEAST_TURNS or len(part) < _LEAST_S * rate_hz:
            continue
        given = Given(part, rate_hz, one["rev_min"], teeth, rest, one.get("chatter_hz"))
        made = traits_of(given)
        plain = {name: getattr(made, name) for name in NAMES}
        found.append({**plain, "verdict": one["verdict"], "rev_min": one["rev_min"]})
    return found


def _between(x: np.ndarray, rate_hz: int, start_s: float, end_s: float) -> np.ndarray:
    return x[int(start_s * rate_hz) : int(end_s * rate_hz)]


def decode_channel(path: Path) -> tuple[np.ndarray, int]:
    """Decode a recording: one channel, float32, at its own rate."""
    from chatter.sound.recording import Recording

    with Recording(path) as recording:
        blocks = [block[:, 0].copy() for block in recording.blocks()]
        return np.concatenate(blocks), recording.rate_hz


def of_corpus(corpus: Corpus, first: int, count: int, folder: Path) -> Iterator[list[dict]]:
    """Make, measure and delete one recording of the corpus after the other."""
    from chatter.lab.simulate import simulate
    from chatter.lab.simulate.codec import write_recording

    for index in range(first, first + count):
        scene, seed = draw_item(corpus, index)
        if not scene.passes:
            continue
        signal, rate_hz, truth = simulate(scene, seed)
        path, _ = write_recording(folder / "made", signal, rate_hz, scene.format)
        yield pass_traits(path, [vars(one) for one in truth.passes], truth.true_teeth)
        path.unlink()


def of_folder(folder: Path, most: int | None = None) -> Iterator[list[dict]]:
    """Measure the recordings named in a folder's ``index.json``, ``truth.json`` or
    ``labels.json``: rows with file, teeth, speed and passes."""
    known = [one for one in ("index.json", "truth.json", "labels.json") if (folder / one).exists()]
    if not known:
        raise RecordingError(
            f"{folder} holds no index.json, truth.json or labels.json: name a folder of "
            "labelled recordings."
        )
    name = known[0]
    rows = json.loads((folder / name).read_text("utf-8"))
    for row in rows[:most]:
        passes = [one for one in _passes(row) if one["rev_min"]]
        if passes and (folder / row["file"]).exists():
            yield pass_traits(folder / row["file"], passes, row.get("true_teeth") or row["teeth"])


def _passes(row: dict) -> list[dict]:
    speed = row.get("true_rev_min") or row.get("stated_rev_min")
    if row.get("pass_s"):
        start, end = row["pass_s"]
        made = [{"start_s": start, "end_s": end, "verdict": row["verdict"]}]
    elif "verdict_in" in row or "verdict_not" in row:
        made = _whole(row)
    else:
        made = row.get("passes") or []
    hz = row.get("chatter_hz")
    found = []
    for one in made:
        line = one.get("chatter_hz") or (hz if row.get("pass_s") else None)
        line = line[0] if isinstance(line, list) else line
        own = one.get("rev_min") or one.get("true_rev_min") or speed
        found.append({**one, "rev_min": own, "chatter_hz": line})
    return found


def _whole(row: dict) -> list[dict]:
    """A recording of cutting without stated times is one pass, of no stated fault."""
    if row.get("passes"):
        return row["passes"]
    if "machine_only" in row.get("verdict_in", ()):
        return []
    chatters = "chatter" in row.get("verdict_in", ())
    return [{"start_s": 0.0, "end_s": 3600.0, "verdict": "chatter" if chatters else "normal"}]


def _chosen(passes: list[dict], name: str, kind: str) -> np.ndarray:
    able = KINDS.get(kind)
    values = np.array([one[name] for one in passes if not able or one["verdict"] in able], float)
    return values[np.isfinite(values)]


def _quantiles(passes: list[dict], name: str, kind: str) -> str:
    values = _chosen(passes, name, kind)
    if len(values) < 3:
        return "-"
    scale = 100 if name == "wander_share" else 1
    low, middle, high = np.quantile(values * scale, (0.1, 0.5, 0.9))
    form = "{:.2f}" if name.endswith("share") and scale == 1 else "{:.1f}"
    return " / ".join(form.format(one) for one in (low, middle, high)) + f" ({len(values)})"


def _within(passes: list[dict], name: str, kind: str, reach: float) -> str:
    slow = [one for one in passes if one["rev_min"] < 300]
    values = _chosen(slow, name, kind)
    return f"{np.mean(values < reach):.0%} of {len(values)}" if len(values) else "-"

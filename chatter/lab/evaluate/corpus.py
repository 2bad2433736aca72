"""Corpora: truth-labelled recordings, each a function of (corpus, base seed, index) alone."""

from __future__ import annotations

import hashlib
import json
import tomllib
from dataclasses import asdict, dataclass, replace
from functools import cache
from importlib.resources import files
from pathlib import Path

import numpy as np

from chatter.lab.simulate import Scene, Truth, draw_any, simulate
from chatter.lab.simulate.codec import write_recording
from chatter.lab.simulate.distractors import MAKERS
from chatter.lab.simulate.ranges import ALL, Ranges

#: Draws tried before a kind is given up for one item (some kinds are rare in the ranges).
_TRIES = 5
#: A quiet room is recorded quietly: loudest sample re full scale.
_QUIET_PEAK = (0.002, 0.03)


@dataclass(frozen=True)
class Corpus:
    """A corpus by name.

    Attributes
    ----------
    ranges : str
        Name of the ranges: what may be drawn, and which seeds.
    mixture : str
        Table of ``corpus.toml``: "mixture" or "no_cutting".
    base_seed : int
        Another base seed is another corpus of the same sort.
    """

    ranges: str
    mixture: str = "mixture"
    base_seed: int = 0

    @property
    def name(self) -> str:
        """Name in tables and of the cache."""
        return f"{self.ranges}-{self.mixture}-{self.base_seed}"

    def drawn_from(self, kind: str = "") -> Ranges:
        """The ranges of this corpus, for one kind: without cutting, anything may be heard."""
        ranges = ALL[self.ranges]
        return replace(ranges, distractors=tuple(MAKERS)) if kind == "no_cutting" else ranges

    def weights(self) -> dict[str, float]:
        """Weight of every kind."""
        return mixtures()[self.mixture]

    def fingerprint(self) -> str:
        """Digest of everything the items depend on, but for the code."""
        plain = json.dumps([self.name, self.weights(), asdict(self.drawn_from())], sort_keys=True)
        return hashlib.sha256(plain.encode()).hexdigest()[:12]


@dataclass(frozen=True)
class CorpusItem:
    """One recording: the file and the truth."""

    index: int
    truth: Truth
    path: Path


@cache
def mixtures() -> dict[str, dict[str, float]]:
    """The tables of ``corpus.toml``."""
    text = files("chatter.lab.evaluate").joinpath("corpus.toml").read_text("utf-8")
    return tomllib.loads(text)


def seeds_of(corpus: Corpus, index: int) -> np.random.SeedSequence:
    """Seeds of one item; the corpus' name is part of them, so that corpora share none."""
    name = hashlib.sha256(f"{corpus.ranges}/{corpus.mixture}".encode()).digest()
    return np.random.SeedSequence([*name[:8], corpus.base_seed, index])


def draw_item(corpus: Corpus, index: int) -> tuple[Scene, int]:
    """Draw the scene of one item, and the seed that its chance comes from.

    Parameters
    ----------
    corpus : Corpus
    index : int

    Returns
    -------
    scene : Scene
    seed : int

    Raises
    ------
    ValueError
        When five drawn kinds in a row cannot be met in the ranges.
    """
    seeds = seeds_of(corpus, index)
    rng = np.random.default_rng(seeds)
    scene = draw_any(rng, corpus.weights(), corpus.drawn_from, _TRIES)
    if {one.name for one in scene.distractors} == {"silence"}:
        peak = float(np.exp(rng.uniform(*np.log(_QUIET_PEAK))))
        scene = replace(scene, phone=replace(scene.phone, peak=peak))
    return scene, int(seeds.generate_state(1, np.uint32)[0])


def make_item(corpus: Corpus, index: int, folder: Path) -> CorpusItem:
    """Draw, simulate and write one item into ``folder``."""
    scene, seed = draw_item(corpus, index)
    signal, rate_hz, truth = simulate(scene, seed)
    path, _ = write_recording(folder / f"{corpus.name}-{index:05d}", signal, rate_hz, scene.format)
    return CorpusItem(index, truth, path)

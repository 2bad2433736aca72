"""Made-up findings for the report's tests, and pages rendered from them."""

from __future__ import annotations

import importlib.util
import io
import wave
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

_HERE = Path(__file__).parent


def _load():
    spec = importlib.util.spec_from_file_location("report_made", _HERE / "made.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


_MADE = _load()

#: Every kind of result a report must show.
CASES = {
    "chatter": lambda: _MADE.findings(),
    "rubbing_80_teeth": lambda: _MADE.findings(
        (
            _MADE.one_pass(
                1, "side_rubbing", teeth=80, rev_min=45, confidence=0.72, also=("uneven_teeth",)
            ),
        )
    ),
    "uneven_2_teeth_short": lambda: _MADE.findings(
        (_MADE.one_pass(1, "uneven_teeth", teeth=2, rev_min=2400, start_s=0.3, end_s=1.4),),
        duration_s=2.0,
    ),
    "normal_1_tooth": lambda: _MADE.findings((_MADE.one_pass(1, "normal", teeth=1, rev_min=600),)),
    "cannot_tell": lambda: _MADE.findings(
        (_MADE.one_pass(1, "cannot_tell", heard=False),), fit=False, simulated=False
    ),
    "no_pass": lambda: _MADE.findings(()),
    "three_passes": lambda: _MADE.findings(
        tuple(
            _MADE.one_pass(i + 1, v, start_s=4 + 9 * i, end_s=11 + 9 * i)
            for i, v in enumerate(("normal", "chatter", "machine_only"))
        )
    ),
    "twenty_passes": lambda: _MADE.many_passes(20),
}


@pytest.fixture(scope="session")
def made():
    """The factory of findings and exhibits (tests/report/made.py)."""
    return _MADE


@pytest.fixture(scope="session")
def cases():
    """Name -> maker of findings, of every kind."""
    return CASES


@pytest.fixture(scope="session", params=list(CASES))
def found(request):
    """Findings of each kind."""
    return CASES[request.param]()


@pytest.fixture(scope="session")
def wav_sound():
    """Sound for the player: ``wav_sound(duration_s)``, 8 kHz noise in a WAV."""

    def make(duration_s: float):
        made = io.BytesIO()
        with wave.open(made, "wb") as out:
            out.setnchannels(1)
            out.setsampwidth(2)
            out.setframerate(8000)
            noise = np.random.default_rng(3).normal(0, 900, int(8000 * duration_s))
            out.writeframes(noise.astype("<i2").tobytes())
        return SimpleNamespace(mime="audio/wav", data=made.getvalue(), offset_s=0.0, how="as is")

    return make


@pytest.fixture(scope="session")
def page(found, wav_sound):
    """The page of each kind of findings, with a player."""
    from chatter.report.html import listen_page

    return listen_page(found, _MADE.exhibits(found), sound=wav_sound(2.0))

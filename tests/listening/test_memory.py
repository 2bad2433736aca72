"""What is let go of to bound the memory is made again, and nothing that is measured changes."""

from pathlib import Path

from chatter import load_job
from chatter.listening import closer, measured, observation
from chatter.listening.front import listen

DEMO = Path(__file__).resolve().parents[2] / "recordings_demo"


def test_letting_go_of_layouts_and_frames_changes_nothing(monkeypatch):
    path = DEMO / "04-saw-chatter.mp4"
    job = load_job(path.with_suffix(".toml"))
    kept = listen(path, job).findings
    monkeypatch.setattr(measured, "_MOST_HELD", 0)
    monkeypatch.setattr(observation, "_MOST_WHOLE", 0)
    again = []
    laid_out = closer._sight
    monkeypatch.setattr(closer, "_sight", lambda *given: again.append(1) or laid_out(*given))
    assert repr(listen(path, job).findings) == repr(kept)
    assert len(again) == 2 * len(kept.passes)  # once to measure each pass, once to name it

"""The rarer works of a worker: taps, idle recordings, comparisons, run-in reports."""

from __future__ import annotations

import contextlib
import json
import shutil
from collections.abc import Callable
from pathlib import Path

Tell = Callable[[float, str], None]


def tap(request: dict, tell: Tell) -> None:
    """Recordings of taps to modes; each file is told by the name that its owner gave it."""
    from chatter.plain import to_json
    from chatter.report.files import write_text
    from chatter.report.tap_figure import tap_svg
    from chatter.tapping.taps import tap as front_door

    tell(0.1, "listening to the taps")
    paths = [request["recording"], *(path for path, _ in request["more"])]
    names = [request["name"], *(name for _, name in request["more"])]
    findings = front_door(paths, names=names, what=request["stated"].get("what") or None)
    if findings.modes or findings.doubtful:
        write_text(Path(request["out"]) / "modes.svg", tap_svg(findings, None))
    write_text(Path(request["out"]) / "taps.json", to_json(findings) + "\n")


def idle(request: dict, tell: Tell) -> None:
    """See that a recording of idling can be heard."""
    from chatter.page.view import lay_sound, make_view

    recording = Path(request["recording"])
    sound = lay_sound(
        recording,
        recording.parent,
        most_s=request["limits"]["duration_s"],
        tell=lambda share, what: tell(0.7 * share, what),
    )
    with sound.spool:
        make_view(sound, recording, recording.parent, tell=tell)


def compare(request: dict, tell: Tell) -> None:
    """Recordings of two or more cutters to what differs.

    Each file is heard under a name of ours; in what is written, the name that its owner gave
    it stands in its place.
    """
    from html import escape

    from chatter.comparing import CutterTakes
    from chatter.comparing import compare as front_door
    from chatter.page.forms import job_from_form
    from chatter.plain import to_json
    from chatter.report.compare_page import write_compare
    from chatter.report.files import write_text

    out = Path(request["out"])
    names, cutters = {}, []
    for side in request["sides"]:
        takes = []
        for take in side["takes"]:
            link = out / take["token"]
            link.unlink(missing_ok=True)
            _put_there(Path(take["path"]), link)
            names[take["token"]] = take["name"]
            takes.append((link, job_from_form(take["stated"])))
        cutters.append(CutterTakes(side["name"], tuple(takes)))
    compared = front_door(cutters, units=request["units"], progress=_named(tell, names))
    tell(0.97, "writing the report")
    page = out / "report.html"
    page.unlink(missing_ok=True)
    write_compare(compared, page)
    text, answer = page.read_text(encoding="utf-8"), to_json(compared.comparison)
    for token, name in names.items():
        text = text.replace(token, escape(name))
        answer = answer.replace(f"{out}/{token}", "").replace(token, json.dumps(name)[1:-1])
        (out / token).unlink()
    write_text(page, text)
    write_text(out / "compare.json", answer)


def runin(request: dict, tell: Tell) -> None:
    """The run-in log of a machine of the book to its report."""
    from chatter.logbook import open_book
    from chatter.plain import to_json
    from chatter.report.files import write_text
    from chatter.report.runin_page import headline, runin_page, runin_summary
    from chatter.runin.book import load_book
    from chatter.runin.study import study

    with open_book(request["book"], write=False) as book:
        log, cuts = load_book(book, request["machine"])
    known = {log.entries[at]: cut for at, cut in cuts.items()}
    done = study(
        log.machine,
        log.entries,
        hear_cut=lambda entry: known[entry],
        progress=lambda share, _what: tell(0.9 * share, "hearing the recordings of the machine"),
        simulated=log.simulated,
    )
    out = Path(request["out"])
    write_text(out / "report.html", runin_page(done))
    worst = done.parts[0].verdict if done.parts else "cannot_tell"
    answer = {"headline": headline(done), "summary": runin_summary(done), "verdict": worst}
    write_text(out / "runin.json", to_json(answer, indent=None))


def _put_there(path: Path, link: Path) -> None:
    """The same file under another name, by what the disk and the user's rights allow."""
    for put in (Path.symlink_to, Path.hardlink_to):
        with contextlib.suppress(OSError, NotImplementedError):
            return put(link, path)
    shutil.copyfile(path, link)
    return None


def _named(tell: Tell, names: dict[str, str]) -> Tell:
    def told(share: float, what: str) -> None:
        for token, name in names.items():
            what = what.replace(token, name)
        tell(0.95 * share, what)

    return told

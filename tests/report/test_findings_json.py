"""JSON of findings: strict, complete, documented, and back again."""

from __future__ import annotations

import json
from dataclasses import fields, replace

import numpy as np
import pytest

from chatter import findings as f
from chatter.errors import CardError
from chatter.findings_json import read_findings
from chatter.plain import to_json, to_plain
from chatter.report.schema import SCHEMA_PATH, schema, text


def test_findings_survive_the_round_trip(found):
    assert read_findings(to_json(found)) == found


def test_promised_fields_have_their_promised_names(made):
    plain = json.loads(to_json(made.findings()))
    assert {"schema_version", "verdict", "confidence", "passes", "fitness", "suggestions"} <= set(
        plain
    )
    one = plain["passes"][0]
    assert {
        "start_s",
        "end_s",
        "verdict",
        "probabilities",
        "reason",
        "spindle",
        "tooth_passing_hz",
        "chatter",
        "lines",
        "evidence",
    } <= set(one)
    assert {"rev_min", "low", "high"} <= set(one["spindle"])
    assert {"frequency_hz", "onset_s", "share"} <= set(one["chatter"])
    assert set(one["probabilities"]) == set(f.VERDICTS) - {"cannot_tell"}
    quiet = json.loads(to_json(made.findings((made.one_pass(1, "normal"),))))
    assert quiet["passes"][0]["chatter"] is None


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -float("inf"), np.float32("nan")])
def test_what_is_not_finite_is_written_as_null(made, bad):
    found = made.findings((replace(made.one_pass(), measures={"x": bad}, tooth_passing_hz=bad),))
    written = to_json(found)

    def refuse(name):
        raise AssertionError(f"{name} in JSON")

    plain = json.loads(written, parse_constant=refuse)
    assert plain["passes"][0]["measures"] == {"x": None}
    assert plain["passes"][0]["tooth_passing_hz"] is None


def test_numpy_scalars_become_plain_numbers():
    assert to_plain({"a": np.float32(0.5), "b": (np.int64(3),)}) == {"a": 0.5, "b": [3.0]}


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda d: json.dumps(d)[:-1], "not JSON"),
        (lambda d: json.dumps({**d, "schema_version": 99}), "schema version 99"),
        (lambda d: json.dumps([d]), "schema version None"),
        (lambda d: json.dumps({k: v for k, v in d.items() if k != "verdict"}), "incomplete"),
        (lambda d: json.dumps({**d, "tune": 1}), "unknown field 'tune'"),
        (lambda d: json.dumps({**d, "fitness": 3}), "findings.fitness should be an object"),
        (lambda d: json.dumps({**d, "passes": 3}), "findings.passes should be a list"),
    ],
)
def test_other_json_is_refused_in_a_sentence(made, spoil, said):
    with pytest.raises(CardError, match=said) as caught:
        read_findings(spoil(to_plain(made.findings())))
    assert "\n" not in str(caught.value)


def test_schema_file_is_what_the_dataclasses_say():
    assert SCHEMA_PATH.read_text(encoding="utf-8") == text(), (
        "remake it: python -m chatter.report.schema"
    )


def test_schema_describes_every_field_of_a_pass():
    assert set(schema()["$defs"]["Pass"]["properties"]) == {one.name for one in fields(f.Pass)}
    assert schema()["$defs"]["Spindle"]["properties"]["low"]["description"] == "95 % interval"


def test_every_kind_of_findings_obeys_the_schema(found):
    rules = schema()
    assert _faults(json.loads(to_json(found)), rules, rules) == []


@pytest.mark.parametrize(
    ("where", "value"),
    [
        (("verdict",), "loud"),
        (("passes", 0, "start_s"), "soon"),
        (("passes", 0, "spindle", "course"), [[1.0]]),
        (("passes", 0, "lines", 0, "name"), "hum"),
        (("fitness",), None),
    ],
)
def test_the_schema_can_refuse(made, where, value):
    data = json.loads(to_json(made.findings()))
    at = data
    for key in where[:-1]:
        at = at[key]
    at[where[-1]] = value
    assert _faults(data, schema(), schema())


def _faults(value, rule, root, where="$"):
    """A small validator of the JSON Schema words that the schema uses."""
    if "$ref" in rule:
        rule = root["$defs"][rule["$ref"].rsplit("/", 1)[1]]
    if "anyOf" in rule:
        tried = [_faults(value, one, root, where) for one in rule["anyOf"]]
        return [] if any(not one for one in tried) else tried[0]
    kinds = {"string": str, "boolean": bool, "integer": int, "number": (int, float)}
    kinds |= {"object": dict, "array": list, "null": type(None)}
    kind = rule.get("type")
    if kind and (
        not isinstance(value, kinds[kind]) or (isinstance(value, bool) != (kind == "boolean"))
    ):
        return [f"{where} is not {kind}"]
    found = []
    if "enum" in rule and value not in rule["enum"]:
        found.append(f"{where} is {value!r}")
    if "const" in rule and value != rule["const"]:
        found.append(f"{where} is {value!r}")
    if isinstance(value, dict):
        known = rule.get("properties", {})
        found += [f"{where} lacks {k}" for k in rule.get("required", ()) if k not in value]
        for key, one in value.items():
            extra = rule.get("additionalProperties", True)
            if key in known:
                found += _faults(one, known[key], root, f"{where}.{key}")
            elif extra is False:
                found.append(f"{where}.{key} is not known")
            elif isinstance(extra, dict):
                found += _faults(one, extra, root, f"{where}.{key}")
    if isinstance(value, list):
        each = rule.get("prefixItems") or [rule["items"]] * len(value)
        if not rule.get("minItems", 0) <= len(value) <= rule.get("maxItems", len(value)):
            return [f"{where} has {len(value)} items"]
        for i, (one, inner) in enumerate(zip(value, each, strict=True)):
            found += _faults(one, inner, root, f"{where}[{i}]")
    return found

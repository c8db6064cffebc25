"""A job as a mapping and as TOML text, such that reading it again gives the same job."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from operator import attrgetter
from typing import Any

from experiments.job import Analyte, EvaporationJob, Factor
from experiments.job_file import parse


def to_mapping(job: EvaporationJob) -> dict[str, Any]:
    """The job with the keys of a job file; values that were assumed are left out."""
    return {
        "title": job.title,
        "seed": job.seed,
        "equipment": _given(job.equipment),
        "factors": {f.name: _factor(f) for f in job.factors},
        "sample": _sample(job),
        "analytes": [_analyte(a) for a in job.analytes],
        **({"today": {"setting": dict(job.today)}} if job.today is not None else {}),
        "limits": _given(job.limits),
    }


def assumed_values(job: EvaporationJob) -> dict[str, Any]:
    """The defaults the job rests on, for the record: they must outlive a change of defaults."""
    return {
        "equipment": _assumed(job.equipment),
        "sample": _assumed(job.sample),
        "limits": _assumed(job.limits),
        "analytes": [_assumed(a) for a in job.analytes],
    }


def with_assumed(mapping: Mapping[str, Any], assumed: Mapping[str, Any]) -> dict[str, Any]:
    """The keys of a job file with the defaults it rests on as if they had been given."""
    return {
        **mapping,
        **{part: {**mapping[part], **assumed[part]} for part in ("equipment", "sample", "limits")},
        "analytes": [_filled(a, b) for a, b in
                     zip(mapping["analytes"], assumed["analytes"], strict=True)],
    }


def _filled(analyte: Mapping[str, Any], assumed: Mapping[str, Any]) -> dict[str, Any]:
    """An analyte with what was assumed of it, such as "boiling_point.pressure_mbar"."""
    filled = dict(analyte)
    for name, value in assumed.items():
        table, _, key = name.rpartition(".")
        filled |= {table: {**filled[table], key: value}} if table else {key: value}
    return filled


def read_back(
    mapping: Mapping[str, Any], assumed: Mapping[str, Any] | None
) -> EvaporationJob:
    """The job of :func:`to_mapping` and :func:`assumed_values`, exactly as it was accepted.

    Records of the first schema kept no assumed values; they get the defaults of today.
    """
    if assumed is None:
        return parse(mapping, chemistry=False)
    rows: Sequence[Mapping[str, Any]] = assumed["analytes"]
    job = parse(with_assumed(mapping, assumed), chemistry=False)
    return replace(
        job,
        equipment=replace(job.equipment, assumed=tuple(assumed["equipment"])),
        sample=replace(job.sample, assumed=tuple(assumed["sample"])),
        limits=replace(job.limits, assumed=tuple(assumed["limits"])),
        analytes=tuple(
            replace(a, assumed=tuple(b)) for a, b in zip(job.analytes, rows, strict=True)
        ),
    )


def _given(record: Any) -> dict[str, Any]:
    hidden = {"assumed", *record.assumed}
    return {k: v for k, v in vars(record).items() if k not in hidden}


def _assumed(record: Any) -> dict[str, Any]:
    return {name: attrgetter(name)(record) for name in sorted(record.assumed)}


def to_toml(job: EvaporationJob) -> str:
    """The job as a TOML file."""
    data = to_mapping(job)
    lines = [f"{key} = {_value(data.pop(key))}" for key in ("title", "seed")]
    analytes = data.pop("analytes")
    for name, table in data.items():
        lines += ["", f"[{name}]", *(f"{k} = {_value(v)}" for k, v in table.items())]
    for analyte in analytes:
        lines += ["", "[[analytes]]", *(f"{k} = {_value(v)}" for k, v in analyte.items())]
    return "\n".join(lines) + "\n"


def _factor(factor: Factor) -> Any:
    if factor.choices:
        return {"choices": list(factor.choices)}
    if factor.is_fixed:
        return factor.low
    bounds = {"low": factor.low, "high": factor.high}
    return bounds if factor.step is None else {**bounds, "step": factor.step}


def _sample(job: EvaporationJob) -> dict[str, Any]:
    sample = job.sample
    data: dict[str, Any] = {
        "fill_volume_ml": sample.fill_volume_ml,
        "solvents": [dict(vars(s)) for s in sample.solvents],
    }
    if sample.keeper is not None:
        data["keeper"] = dict(vars(sample.keeper))
    optional = ("end_volume_ml", "end_volume_control", "residue_mg", "peroxide_test")
    for key in optional:
        value = getattr(sample, key)
        if key not in sample.assumed and value != "":
            data[key] = value
    data["max_temperature_c"] = sample.max_temperature_c
    return data


def _analyte(analyte: Analyte) -> dict[str, Any]:
    plain = ("name", "target_recovery_percent", "upper_recovery_percent", "spike_ug", "role")
    data: dict[str, Any] = {
        key: getattr(analyte, key) for key in plain if key not in analyte.assumed
    }
    for key in ("cas", "smiles"):
        if getattr(analyte, key):
            data[key] = getattr(analyte, key)
    if analyte.molar_mass_g_per_mol is not None:
        data["molar_mass_g_per_mol"] = analyte.molar_mass_g_per_mol
    if analyte.vapour_pressure:
        data["vapour_pressure"] = [dict(vars(p)) for p in analyte.vapour_pressure]
    if analyte.boiling_point is not None:
        data["boiling_point"] = {key: value for key, value in vars(analyte.boiling_point).items()
                                 if f"boiling_point.{key}" not in analyte.assumed}
    return data


def _value(value: Any) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return repr(value)

"""How is a fit kept in a file and handed on, with or without the sales behind it?

Plain JSON with the digest of the data, never a pickle. What is kept is the posterior
itself, so a fit can be used by others without the known sites' cars; ``with_known`` keeps
those rows too, for leaving rows out and explaining. Floats are written in full.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from capture.basis import FORMATS, DataError, Sheet
from capture.share.factors import CORE, EXTRA, FloatArray
from capture.share.fit import Operator, ShareFit
from capture.share.known import KnownSites
from capture.share.mixture import Mixture, Prior
from capture.share.table import FactorTable
from capture.share.values import VALUES, make_stream_sheet, replace_constants

SCHEMA: Final = "share-fit/1"
MOST_NUMBERS: Final = 5_000_000
MOST_BYTES: Final = 60_000_000


def save_fit(fit: ShareFit, path: Path, *, with_known: bool = False) -> None:
    """Write a fit to a JSON file; see :func:`fit_to_dict`."""
    text = json.dumps(fit_to_dict(fit, with_known=with_known), allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8")


def load_fit(path: Path) -> ShareFit:
    """Read a fit from a JSON file.

    Raises
    ------
    DataError
        When the file cannot be read, is too large, or holds no such fit.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise DataError(f"{path.name}: a share fit is under 60 MB; is this another file?")
        saved = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        if isinstance(error, DataError):
            raise
        raise DataError(f"{path.name}: not readable as JSON; save the fit again") from None
    return fit_from_dict(saved)


def fit_to_dict(fit: ShareFit, *, with_known: bool = False) -> dict[str, Any]:
    """Return a fit as plain JSON values.

    Parameters
    ----------
    fit : ShareFit
    with_known : bool
        Whether the known sites' rows are kept too.

    Returns
    -------
    dict
        ``schema``, ``data_hash`` and the posterior.
    """
    mixture = fit.mixture
    upper = np.triu_indices(len(mixture.prior.mean))
    saved: dict[str, Any] = {
        "schema": SCHEMA,
        "data_hash": fit.data_hash,
        "known_count": fit.known_count,
        "names": list(fit.names),
        "reference": fit.reference.tolist(),
        "sign": fit.sign.tolist(),
        "spread": fit.spread.tolist(),
        "base": dict(fit.base),
        "selection_sd": fit.selection_sd,
        "keep_signs": fit.keep_signs,
        "stream": fit.stream,
        "waiting": list(fit.waiting),
        "prior": {
            "mean": mixture.prior.mean.tolist(),
            "sd": mixture.prior.sd.tolist(),
            "sigma": mixture.prior.sigma.tolist(),
            "log_weight": mixture.prior.log_weight.tolist(),
            "group_sd": mixture.prior.group_sd,
        },
        "posterior": {
            "log_weight": mixture.log_weight.tolist(),
            "mean": mixture.mean.tolist(),
            "root_upper": mixture.root[:, upper[0], upper[1]].tolist(),
            "log_evidence": mixture.log_evidence,
        },
        "operators": [
            {
                "name": operator.name,
                "level": operator.level.tolist(),
                "slope": operator.slope.tolist(),
                "sd": operator.sd.tolist(),
            }
            for operator in fit.operators
        ],
        "full_lines": {
            "design": fit.full_design.tolist(),
            "target": fit.full_target.tolist(),
            "variance": fit.full_variance.tolist(),
            "operator": fit.full_operator.tolist(),
        },
        "yours": {
            name: [entry.value, entry.low, entry.high]
            for name, entry in fit.values.items()
            if entry.grade == "yours"
        },
        "known": None,
    }
    if with_known and fit.known is not None:
        saved["known"] = known_to_dict(fit.known)
    return saved


def fit_from_dict(saved: Mapping[str, Any]) -> ShareFit:
    """Read a fit back; the inverse of :func:`fit_to_dict`.

    Raises
    ------
    DataError
        When it is no such fit, is too large, or its rows do not match its digest.
    """
    if not isinstance(saved, Mapping) or saved.get("schema") != SCHEMA:
        raise DataError(f"share fit: schema must be {SCHEMA!r}; save the fit again")
    try:
        fit = _read(saved)
        _check(fit)
    except (KeyError, TypeError, ValueError, IndexError, AttributeError, OverflowError) as error:
        raise DataError(f"share fit: the file is broken ({error}); save the fit again") from None
    if fit.known is not None and len(fit.known) and fit.known.data_hash() != fit.data_hash:
        raise DataError("share fit: its known sites were changed after it was made; fit again")
    return fit


def _read(saved: Mapping[str, Any]) -> ShareFit:
    prior = Prior(
        mean=_floats(saved["prior"]["mean"]),
        sd=_floats(saved["prior"]["sd"]),
        sigma=_floats(saved["prior"]["sigma"]),
        log_weight=_floats(saved["prior"]["log_weight"]),
        group_sd=float(saved["prior"]["group_sd"]),
    )
    width, nodes = len(prior.mean), len(prior.sigma)
    names = tuple(str(name) for name in saved["names"])
    root = np.zeros((nodes, width, width))
    root[:, *np.triu_indices(width)] = _floats(saved["posterior"]["root_upper"])
    mixture = Mixture(
        prior=prior,
        log_weight=_floats(saved["posterior"]["log_weight"]).reshape(nodes),
        mean=_floats(saved["posterior"]["mean"]).reshape(nodes, width),
        root=root,
        log_evidence=float(saved["posterior"]["log_evidence"]),
        scale=np.where(np.isinf(prior.sd), 1.0, prior.sd),
    )
    full = saved["full_lines"]
    cut = len(full["target"])
    return ShareFit(
        names=names,
        reference=_floats(saved["reference"]).reshape(len(names)),
        sign=np.asarray(saved["sign"], dtype=np.int64).reshape(len(names)),
        spread=_floats(saved["spread"]).reshape(len(names)),
        base={str(name): float(share) for name, share in saved["base"].items()},
        mixture=mixture,
        operators=tuple(
            Operator(
                name=str(entry["name"]),
                level=_floats(entry["level"]).reshape(nodes),
                slope=_floats(entry["slope"]).reshape(nodes, width),
                sd=_floats(entry["sd"]).reshape(nodes),
            )
            for entry in saved["operators"]
        ),
        full_design=_floats(full["design"]).reshape(cut, width),
        full_target=_floats(full["target"]),
        full_variance=_floats(full["variance"]).reshape(cut),
        full_operator=np.asarray(full["operator"], dtype=np.int64).reshape(cut),
        selection_sd=float(saved["selection_sd"]),
        keep_signs=bool(saved["keep_signs"]),
        known_count=int(saved["known_count"]),
        waiting=tuple(str(name) for name in saved["waiting"]),
        data_hash=str(saved["data_hash"]),
        known=None if saved["known"] is None else known_from_dict(saved["known"]),
        stream=str(saved["stream"]),
        values=_read_sheet(str(saved["stream"]), saved["yours"]),
    )


def _check(fit: ShareFit) -> None:
    unknown = [name for name in fit.names if name not in (*CORE, *EXTRA)]
    if unknown or set(fit.base) != set(FORMATS):
        raise DataError("it has factors or formats that are not known here")
    if len(fit.mixture.prior.mean) != 1 + len(FORMATS) + len(fit.names):
        raise DataError("its coefficients do not match its factors")
    if not all(share > 0 for share in fit.base.values()) or fit.selection_sd < 0:
        raise DataError("its shares must be above 0")
    held = np.diagonal(fit.mixture.root, axis1=1, axis2=2)
    if not (held > 0).all() or not all((each.sd > 0).all() for each in fit.operators):
        raise DataError("its spreads must be above 0")
    if not (fit.full_variance >= 0).all() or not (fit.spread >= 0).all():
        raise DataError("its variances must be 0 or more")
    places = fit.full_operator
    if ((places < -1) | (places >= len(fit.operators))).any():
        raise DataError("its operators do not match its rows")


def _read_sheet(stream: str, yours: Mapping[str, Any]) -> Sheet:
    own = []
    for name, numbers in yours.items():
        value, low, high = (float(number) for number in numbers)
        entry = VALUES.override({str(name): value})[str(name)]
        own.append(replace(entry, low=low, high=high))
    return make_stream_sheet(stream, replace_constants(VALUES, own))


def _floats(numbers: Any) -> FloatArray:
    array = np.asarray(numbers, dtype=np.float64)
    if array.size > MOST_NUMBERS or np.isnan(array).any():
        raise DataError("share fit: its numbers are too many or not numbers; save the fit again")
    return array


_TEXTS: Final = ("ids", "towns", "operators", "formats")
_NUMBERS: Final = ("bays", "cars_per_year", "vehicles_veh_day", "vehicles_cv", "cars_cv", "weight")


def known_to_dict(known: KnownSites) -> dict[str, Any]:
    """Return known sites as plain JSON values."""
    return {
        **{name: list(getattr(known, name)) for name in _TEXTS},
        **{name: getattr(known, name).tolist() for name in _NUMBERS},
        "at_capacity": known.at_capacity.tolist(),
        "member_share": [None if math.isnan(m) else m for m in known.member_share.tolist()],
        "row": known.row.tolist(),
        "source": known.source,
        "factors": {
            "names": list(known.factors.names),
            "x": known.factors.x.tolist(),
            "missing": known.factors.missing.tolist(),
        },
    }


def known_from_dict(saved: Mapping[str, Any]) -> KnownSites:
    """Read known sites back; the inverse of :func:`known_to_dict`."""
    ids = tuple(str(name) for name in saved["ids"])
    names = tuple(str(name) for name in saved["factors"]["names"])
    shape = (len(ids), len(names))
    return KnownSites(
        ids=ids,
        towns=tuple(map(str, saved["towns"])),
        operators=tuple(map(str, saved["operators"])),
        formats=tuple(map(str, saved["formats"])),
        bays=_floats(saved["bays"]).reshape(len(ids)),
        cars_per_year=_floats(saved["cars_per_year"]).reshape(len(ids)),
        vehicles_veh_day=_floats(saved["vehicles_veh_day"]).reshape(len(ids)),
        vehicles_cv=_floats(saved["vehicles_cv"]).reshape(len(ids)),
        cars_cv=_floats(saved["cars_cv"]).reshape(len(ids)),
        member_share=np.array(
            [math.nan if m is None else float(m) for m in saved["member_share"]]
        ).reshape(len(ids)),
        weight=_floats(saved["weight"]).reshape(len(ids)),
        at_capacity=np.asarray(saved["at_capacity"], dtype=np.bool_).reshape(len(ids)),
        row=np.asarray(saved["row"], dtype=np.int64).reshape(len(ids)),
        source=str(saved["source"]),
        factors=FactorTable(
            ids=ids,
            names=names,
            x=_floats(saved["factors"]["x"]).reshape(shape),
            missing=np.asarray(saved["factors"]["missing"], dtype=np.bool_).reshape(shape),
        ),
    )

# SPDX-License-Identifier: Apache-2.0
"""What was heard of a stretch, packed to be kept: coarse enough to be small, fine enough that no figure shows it.

Loudness by cells is kept as half floats, by bands in steps of 6.6 %, powers at moments in steps of 2 dB, patterns with
eight bits of mantissa, shares of the cued loss as squares of 1/255; the strict loss is taken to be shared
as that. All is then compressed without loss: what is kept already says in which order the rest has long runs.
"""

from __future__ import annotations

import bz2
import zlib
from collections.abc import Collection, Mapping, Sequence

import msgspec
import numpy as np

from mixwright.hearing.attribution import Taken
from mixwright.hearing.fader import Sketch
from mixwright.hearing.heard import ALONE, Alone, HeardStretch, halved, shortened
from mixwright.hearing.lyric import Lyric
from mixwright.hearing.moments import Moments, joined_moments
from mixwright.model.record import Record

#: Loudness in a band: the least that is kept, in sone, and a step.
_LEAST_SONE, _STEP_SONE = 1e-4, 1.066
#: Power of a component: the least and the most that are kept, in dB, and a step.
_LEAST_DB, _MOST_DB, _STEP_DB = -10.0, 300.0, 2.0
#: A layer may be louder than the mix, by so many of these steps at most: then it cancels with the rest.
_OVER = np.uint8(64)
_LEVEL = 6
#: These are a tenth smaller by sorting; of the others it is not worth the time.
_BY_SORTING = ("total", "alone", "shares")


class _Part(Record, frozen=True, kw_only=True):
    name: str
    dtype: str
    shape: tuple[int, ...]
    size: int


def pack(layers: Mapping[str, HeardStretch], taken: Taken) -> np.ndarray:
    """Return all that was heard of a stretch as bytes, uint8; names of layers are not kept, their order is."""
    heard = list(layers.values())
    arrays = {
        "active": np.array([one.active_s for one in heard]),
        "total": _halves([one.total for one in heard]),
        **_pack_bands([one.bands for one in heard]),
        "rise": np.array([halved(one.rise) for one in heard]),
        "patterns": _from_float(np.array([one.patterns for one in heard])),
        **_pack_taken(taken),
        **(_pack_moments(heard[0].moments) if heard else {}),
        **_pack_dense([one.dense for one in heard]),
    }
    for k, one in enumerate(heard):
        if one.lyric is not None:
            arrays[f"lyric {k}"] = np.stack(one.lyric.rows).astype(np.float16)
    return _joined(arrays)


def unpack(packed: np.ndarray, names: Sequence[str]) -> tuple[dict[str, HeardStretch], Taken]:
    """Return what was packed, of layers named in the same order."""
    arrays = _parted(packed)
    moments = _unpack_moments(arrays, tuple(names)) if names else joined_moments((), [])
    totals, patterns = _from_halves(arrays["total"]), _from_shortened(arrays["patterns"])
    bands = _unpack_bands(arrays)
    layers = {
        name: HeardStretch(
            total=totals[k],
            bands=bands[k],
            rise=arrays["rise"][k].astype(np.float32),
            active_s=float(arrays["active"][k]),
            patterns=patterns[k],
            moments=moments,
            row=k,
            dense=_unpack_dense(arrays, k),
            lyric=Lyric(*arrays[f"lyric {k}"].astype(np.float32)) if f"lyric {k}" in arrays else None,
        )
        for k, name in enumerate(names)
    }
    return layers, _unpack_taken(arrays, tuple(names))


def unpack_alone(packed: np.ndarray, which: Sequence[int]) -> list[Alone]:
    """Return what was packed of some layers by their places, as far as it is of them alone."""
    arrays = _parted(packed, ("total", "alone", "rise", "patterns"))
    totals, rises = _from_halves(arrays["total"]), arrays["rise"].astype(np.float32)
    bands = _to_sone(_from_steps(arrays["alone"], 1))
    patterns = _from_shortened(arrays["patterns"])
    return [Alone(totals[k, ALONE], np.ascontiguousarray(bands[k].T), rises[k], patterns[k, ALONE]) for k in which]


def _pack_bands(bands: Sequence[np.ndarray]) -> dict[str, np.ndarray]:
    """Pack loudness in bands: alone as it goes on from band to band, cued along time, strict in order of cued."""
    codes = np.array([_from_sone(one).swapaxes(1, 2) for one in bands], dtype=np.uint8)
    alone, strict, cued = codes.swapaxes(0, 1) if bands else np.empty((3, 0, 0, 0), dtype=np.uint8)
    return {"alone": _steps(alone, 1), "cued": _steps(cued), "strict": strict.ravel()[_in_order_of(cued)]}


def _unpack_bands(arrays: Mapping[str, np.ndarray]) -> np.ndarray:
    """Return float32 ``(layers, 3, cells, bands)``."""
    cued = _from_steps(arrays["cued"])
    codes = np.stack([_from_steps(arrays["alone"], 1), _put_back(arrays["strict"], cued), cued], axis=1)
    return np.ascontiguousarray(_to_sone(codes).swapaxes(2, 3))


def _pack_taken(taken: Taken) -> dict[str, np.ndarray]:
    whole = taken.loss_cued[:, None]
    share = np.divide(taken.cued, whole, out=np.zeros_like(taken.cued), where=whole > 0.0)
    codes = np.rint(255.0 * np.sqrt(share.clip(0.0, 1.0))).astype(np.uint8)
    return {
        # One layer takes much the same from all others.
        "shares": _steps(codes, 0),
        "losses": np.array([taken.loss_strict, taken.loss_cued], dtype=np.float32),
        "correlated": np.rint(255.0 * taken.correlated).astype(np.uint8),
    }


def _unpack_taken(arrays: Mapping[str, np.ndarray], names: tuple[str, ...]) -> Taken:
    shares = (_from_steps(arrays["shares"], 0).astype(np.float64) / 255.0) ** 2
    whole = shares.sum(axis=1, keepdims=True)
    losses = np.where(whole[:, 0] > 0.0, arrays["losses"].astype(np.float64), 0.0)
    taken = shares / np.where(whole > 0.0, whole, 1.0) * losses[:, :, None]
    return Taken(names, taken[0], taken[1], losses[0], losses[1], arrays["correlated"].astype(np.float64) / 255.0)


def _pack_moments(moments: Moments) -> dict[str, np.ndarray]:
    """Pack powers of the mix once, those of layers where there is anything, and their rest as it differs from it."""
    mix = _from_power(moments.mix)
    layer, rest = (
        np.array([_from_power(one) for one in part], dtype=np.uint8).reshape(len(part), *mix.shape)
        for part in (moments.power, moments.rest)
    )
    rest -= mix  # modulo 256: undone by adding
    there = layer.any(axis=(2, 3)) | rest.any(axis=(2, 3)) | (moments.seconds > 0.0)
    return {
        "at": moments.at_s,
        "time": moments.time_s.astype(np.float32),
        "seconds": _from_float(moments.seconds[there]),
        "there": np.packbits(there, axis=1),
        "mix": _steps(_between_ears(mix)),
        "layer": _steps(_between_ears(layer[there])),
        "rest": rest[there].ravel()[_in_order_of(_below(mix, layer, there))],
    }


def _unpack_moments(arrays: Mapping[str, np.ndarray], names: tuple[str, ...]) -> Moments:
    mix = _both_ears(_from_steps(arrays["mix"]))
    there = np.unpackbits(arrays["there"], axis=1, count=len(mix)).astype(bool)
    layer, rest = np.zeros((2, *there.shape, *mix.shape[1:]), dtype=np.uint8)
    layer[there] = _both_ears(_from_steps(arrays["layer"]))
    rest[there] = _put_back(arrays["rest"], _below(mix, layer, there))
    seconds = np.zeros(there.shape)
    seconds[there] = _from_shortened(arrays["seconds"])
    seconds *= (arrays["active"] / np.maximum(seconds.sum(axis=1), 1e-9))[:, None]
    power, rest, mix = (_to_power(codes) for codes in (layer, rest + mix, mix))
    return Moments(names, arrays["at"], arrays["time"].astype(np.float64), power, rest, mix, seconds)


def _pack_dense(sketches: Sequence[Sketch | None]) -> dict[str, np.ndarray]:
    arrays: dict[str, np.ndarray] = {}
    for k, one in enumerate(sketches):
        if one is not None:
            mix, layer, rest = (_from_power(part) for part in (one.mix, one.layer, one.rest))
            arrays |= {f"dense {k} at": one.at_s, f"dense {k} seconds": one.seconds.astype(np.float32)}
            arrays |= {
                f"dense {k} mix": _steps(_between_ears(mix)),
                f"dense {k} layer": _steps(layer),
                f"dense {k} rest": (rest - mix).ravel()[_in_order_of(mix - layer + _OVER)],
            }
    return arrays


def _unpack_dense(arrays: Mapping[str, np.ndarray], k: int) -> Sketch | None:
    if f"dense {k} at" not in arrays:
        return None
    at_s, seconds, layer, rest, mix = (
        arrays[f"dense {k} {name}"] for name in ("at", "seconds", "layer", "rest", "mix")
    )
    layer, mix = _from_steps(layer), _both_ears(_from_steps(mix))
    powers = [_to_power(codes) for codes in (layer, mix + _put_back(rest, mix - layer + _OVER), mix)]
    return Sketch(powers[0], powers[1], powers[2], at_s, seconds.astype(np.float64))


def _below(mix: np.ndarray, layer: np.ndarray, there: np.ndarray) -> np.ndarray:
    """Return codes of how far layers lie below the mix where they are; far below, the rest differs from it by 0."""
    return np.asarray(np.broadcast_to(mix, layer.shape)[there] - layer[there] + _OVER)


def _from_power(power: np.ndarray) -> np.ndarray:
    """Return codes of powers ``(2, frames, 134)``, uint8 ``(frames, 2, 134)``."""
    with np.errstate(divide="ignore"):
        steps = (10.0 * np.log10(power) - _LEAST_DB) / _STEP_DB
    return np.ascontiguousarray(
        np.rint(steps.clip(0.0, (_MOST_DB - _LEAST_DB) / _STEP_DB)).astype(np.uint8).transpose(1, 0, 2)
    )


def _to_power(codes: np.ndarray) -> np.ndarray:
    """Return powers ``(..., 2, frames, 134)`` of codes ``(..., frames, 2, 134)``."""
    table = 10.0 ** (np.minimum(_LEAST_DB + _STEP_DB * np.arange(256), _MOST_DB) / 10.0)
    table[0] = 0.0
    return np.asarray(table.astype(np.float32)[np.ascontiguousarray(codes.swapaxes(-3, -2))])


def _from_sone(sone: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore"):
        steps = np.log(sone / _LEAST_SONE) / np.log(_STEP_SONE)
    return np.asarray(np.rint(steps.clip(0.0, 255.0)))


def _to_sone(codes: np.ndarray) -> np.ndarray:
    table = _LEAST_SONE * _STEP_SONE ** np.arange(256)
    table[0] = 0.0
    return np.asarray(table.astype(np.float32)[codes])


def _steps(codes: np.ndarray, axis: int = -1) -> np.ndarray:
    """Return how codes go on along an axis, modulo 256: most of these steps are small."""
    return np.diff(codes, axis=axis, prepend=np.uint8(0)) if codes.size else codes


def _from_steps(steps: np.ndarray, axis: int = -1) -> np.ndarray:
    return np.cumsum(steps, axis=axis, dtype=np.uint8)


def _in_order_of(known: np.ndarray) -> np.ndarray:
    """Return in which order codes are kept that are known to depend on others: alike then stands beside alike."""
    return np.argsort(known, axis=None, kind="stable")


def _put_back(codes: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Return codes in the shape of those by which they were ordered."""
    found = np.empty(known.size, dtype=np.uint8)
    found[_in_order_of(known)] = codes
    return found.reshape(known.shape)


def _between_ears(codes: np.ndarray) -> np.ndarray:
    """Return codes ``(frames, 2, 134)`` with those of the second ear as they differ from the first, modulo 256."""
    return np.stack([codes[:, 0], codes[:, 1] - codes[:, 0]], axis=1)


def _both_ears(codes: np.ndarray) -> np.ndarray:
    return np.cumsum(codes, axis=1, dtype=np.uint8)


def _halves(totals: Sequence[np.ndarray]) -> np.ndarray:
    """Return half floats as bytes, the upper ones of all before the lower: they change little along time."""
    return _planes(np.array([halved(one) for one in totals], dtype="<f2").view("<u2"))


def _from_halves(planes: np.ndarray) -> np.ndarray:
    return _from_planes(planes).view("<f2").astype(np.float32)


def _from_float(values: np.ndarray) -> np.ndarray:
    """Return floats as bytes, shortened, the upper ones of all before the lower."""
    return _planes(shortened(values).view("<u4") >> np.uint32(16))


def _from_shortened(planes: np.ndarray) -> np.ndarray:
    return np.asarray((_from_planes(planes).astype(np.uint32) << np.uint32(16)).view(np.float32))


def _planes(pairs: np.ndarray) -> np.ndarray:
    """Return pairs of bytes as bytes, one of each pair before all others."""
    return np.ascontiguousarray(np.moveaxis(pairs.astype("<u2")[..., None].view(np.uint8), -1, 0))


def _from_planes(planes: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(np.moveaxis(planes, 0, -1)).view("<u2")[..., 0]


def _joined(arrays: Mapping[str, np.ndarray]) -> np.ndarray:
    bodies = [_compressed(name, array) for name, array in arrays.items()]
    parts = [
        _Part(name=name, dtype=array.dtype.str, shape=array.shape, size=len(body))
        for (name, array), body in zip(arrays.items(), bodies, strict=True)
    ]
    head = msgspec.json.encode(parts)
    return np.frombuffer(b"".join([len(head).to_bytes(4, "little"), head, *bodies]), dtype=np.uint8)


def _compressed(name: str, array: np.ndarray) -> bytes:
    if name in _BY_SORTING:
        return bz2.compress(array.tobytes())
    # Codes of powers hold no repetitions worth looking for, but runs of one.
    powers = name.endswith(("mix", "layer", "rest", "strict"))
    strategy = zlib.Z_RLE if powers else zlib.Z_DEFAULT_STRATEGY
    packer = zlib.compressobj(_LEVEL, zlib.DEFLATED, zlib.MAX_WBITS, 9, strategy)
    return packer.compress(array.tobytes()) + packer.flush()


def _parted(packed: np.ndarray, names: Collection[str] = ()) -> dict[str, np.ndarray]:
    """Return the arrays of these names, by default all."""
    data = packed.tobytes()
    at = 4 + int.from_bytes(data[:4], "little")
    arrays: dict[str, np.ndarray] = {}
    for part in msgspec.json.decode(data[4:at], type=list[_Part]):
        if not names or part.name in names:
            expand = bz2.decompress if part.name in _BY_SORTING else zlib.decompress
            body = expand(data[at : at + part.size])
            arrays[part.name] = np.frombuffer(body, dtype=part.dtype).reshape(part.shape)
        at += part.size
    return arrays

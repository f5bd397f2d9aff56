# SPDX-License-Identifier: Apache-2.0
"""Starting positions for mono tracks, as moves.

Evidence: De Man et al. 2014 (kick, snare, bass and voice near the centre; side to mid of mixes 0.101 +- 0.046 as a
power ratio between engineers, -12.6 to -8.3 dB); De Man & Reiss 2013 (off-centre lead or snare, or everything in the
centre, is criticised); Mansbridge et al. 2012 (what has its spectral centroid below 200 Hz stays in the centre).
How far to a side each role goes is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np

from mixwright.model.moves import move_id
from mixwright.model.results import PlannedMove
from mixwright.native.place import pan_gains
from mixwright.planning.places import Placed, Unit, units_of
from mixwright.planning.sound import Array
from mixwright.reference.corridor import Corridor

WIDTH_DB = (-12.6, -8.3)
WIDTH_TARGET_DB = -10.0
_CENTROID_HZ = 200.0
_BALANCE_DB = 1.0
#: Where less side than this is left, a mix is called mono.
_MONO_DB = -60.0
#: Ranges in which left and right are compared: those of the published figures (De Man et al. 2014).
_BAND_EDGES_HZ = (250.0, 2500.0)
#: A range that holds less of the mix than this does not pull the image to a side.
_BAND_SHARE = 0.01
#: Sides alternate where it matters little: one more layer on the fuller side counts as this many squared dB.
_CROWD_DB2 = 0.25
#: Nearer to the centre a layer is not heard as placed (2.8 dB between the sides): common practice, no source.
_SMALLEST_STEP = 0.2
_SCALES = (0.4, 1.4)
_WIDEST = 0.9


def propose_pans(
    tracks: Sequence[Placed],
    hz: Array,
    corridor: Corridor,
    *,
    law: float = 1.0,
    strength: float = 1.0,
    common: Mapping[tuple[str, ...], Array] | None = None,
    now_db: float | None = None,
) -> tuple[PlannedMove, ...]:
    """Propose starting positions.

    Only mono tracks are placed, and only those that nobody has placed yet. Leads, kick, snare, bass, and what is
    low, stay in the centre; pairs and doubles go to opposite sides, stacks of backing voices spread evenly; other
    layers go to the side that lacks power in their range. All but pairs are then drawn in or out together until
    the mix is about as wide as engineers or the references make it.

    Parameters
    ----------
    tracks : sequence of Placed
        All sounding tracks.
    hz : array
        Mid-bands of `bands`.
    corridor : Corridor
        What the references span; `side_to_mid_db` is used.
    law : float
        Pan law, centre attenuation over 3 dB.
    strength : float
        0 to 1: how far along the way predictions are made for.
    common : mapping of track ids to array, optional
        What mono tracks that all stand in the centre have in common (the two sides of one recording): their powers
        together, less those of each alone.
    now_db : float, optional
        Side to mid of the mix as it stands; None where it is mono.
    """
    stage = _Stage(tracks, hz, law, common or {})
    free = [t for t in tracks if t.channels == 1 and t.pan == 0.0 and not t.bound and not _stays(t, hz)]
    units = units_of(free)
    if not units:
        return ()
    low, high = (
        WIDTH_DB if corridor.side_to_mid_db is None else (corridor.side_to_mid_db.low, corridor.side_to_mid_db.high)
    )
    wanted = min(max(WIDTH_TARGET_DB, low), high)
    chosen = _chosen(stage, units, wanted)
    reached = {id_: position * strength for id_, position in chosen.items()}
    widths = now_db, stage.side_to_mid_db(reached)
    reasons = {id_: unit.reason for unit in units for id_ in unit.ids}
    by_id = {track.id: track for track in tracks}
    return tuple(
        _move(by_id[track.id], chosen[track.id], reasons[track.id], widths, law, strength)
        for track in tracks
        if track.id in chosen
    )


def placing_db(power: Mapping[str, float], common: float, pans: Mapping[str, tuple[float, float]], law: float) -> float:
    """Return how much louder tracks get together when some of them are placed.

    At a law of 3 dB a track keeps its power wherever it stands; what tracks have in common adds up in the centre only.

    Parameters
    ----------
    power : mapping of track id to power
        Of each alone, as it stands.
    common : float
        Power of all together less that of each alone; 0 unless all stand in the centre.
    pans : mapping of track id to (from, to)
        Positions; of mono tracks only.
    law : float
        Pan law, centre attenuation over 3 dB.
    """
    before = sum(power.values())
    if before + common <= 0.0:
        return 0.0
    gains = {id_: pan_gains(law, list(position)) for id_, position in pans.items()}
    after = sum(
        own * (float(np.sum(gains[id_][1] ** 2) / np.sum(gains[id_][0] ** 2)) if id_ in gains else 1.0)
        for id_, own in power.items()
    )
    if common:
        centre = pan_gains(law, [0.0])[0]
        now = np.array([gains[id_][1] if id_ in gains else centre for id_ in power])
        after += common * float(np.sum(_pairs(now)) / np.sum(centre**2))
    return float(10.0 * np.log10(max(after, 1e-6 * before) / (before + common)))


def _pairs(gains: Array) -> Array:
    """Return the mean product over all pairs of rows, one value a column."""
    count = len(gains)
    total = np.square(gains.sum(axis=0)) - np.square(gains).sum(axis=0)
    return np.asarray(total / (count * (count - 1)))


def _stays(track: Placed, hz: Array) -> bool:
    if track.part in ("lead", "kick", "snare", "bass") or track.place == "lead":
        return True
    total = float(track.bands.sum())
    return total <= 0.0 or float(track.bands @ hz) / total < _CENTROID_HZ


class _Stage:
    """Powers left and right, mid and side, of all tracks, for any positions of the mono ones."""

    def __init__(
        self, tracks: Sequence[Placed], hz: Array, law: float, common: Mapping[tuple[str, ...], Array]
    ) -> None:
        self._tracks = tracks
        centre = float(pan_gains(law, [0.0])[0, 0])
        self._common = {ids: float(bands.sum()) / centre**2 for ids, bands in common.items()}
        self._law = law
        edges = (0.0, *_BAND_EDGES_HZ, np.inf)
        self._ranges = np.array([(low <= hz) & (hz < high) for low, high in pairwise(edges)], dtype=np.float64)
        total = self._ranges @ np.sum([track.bands for track in tracks], axis=0)
        self._heard = total > _BAND_SHARE * total.sum()
        self._mono = {track.id: self._ranges @ self._dry(track) for track in tracks}

    def side_to_mid_db(self, positions: Mapping[str, float]) -> float:
        """Return side over mid of the mix: powers add, and what the tracks of a layer have in common."""
        mid = side = 1e-30
        for track in self._tracks:
            power = float(self._mono[track.id].sum())
            if track.channels == 1:
                left, right = self._gains(track, positions)
                mid += power * (0.5 * (left + right)) ** 2
                side += power * (0.5 * (left - right)) ** 2
            else:
                mid += power * (1.0 - track.side_share)
                side += power * track.side_share
        for ids, power in self._common.items():
            gains = pan_gains(self._law, [positions.get(id_, 0.0) for id_ in ids])
            both = np.stack([gains.sum(axis=1), gains[:, 0] - gains[:, 1]], axis=1) * 0.5
            more_mid, more_side = (power * _pairs(both)).tolist()
            mid, side = mid + more_mid, side + more_side
        return float(max(_MONO_DB, 10.0 * np.log10(max(side, 1e-30) / max(mid, 1e-30))))

    def tilt_db(self, positions: Mapping[str, float]) -> Array:
        """Return left over right in every range that matters; stereo files are taken as even."""
        left = np.full(len(self._heard), 1e-30)
        right = left.copy()
        for track in self._tracks:
            power = self._mono[track.id]
            gains = self._gains(track, positions) if track.channels == 1 else (1.0, 1.0)
            left += power * gains[0] ** 2
            right += power * gains[1] ** 2
        return np.asarray((10.0 * np.log10(left / right))[self._heard])

    def pull(self, track: str, band: int) -> float:
        """Return what a track holds of one of the ranges of :meth:`tilt_db`."""
        return float(self._mono[track][self._heard][band])

    def _gains(self, track: Placed, positions: Mapping[str, float]) -> tuple[float, float]:
        left, right = pan_gains(self._law, [positions.get(track.id, track.pan)])[0]
        return float(left), float(right)

    def _dry(self, track: Placed) -> Array:
        """Return the powers of a mono track before it was placed; of a stereo track as they are."""
        if track.channels != 1:
            return track.bands
        left, right = pan_gains(self._law, [track.pan])[0]
        return np.asarray(track.bands / (0.5 * (left * left + right * right)))


def _chosen(stage: _Stage, units: Sequence[Unit], wanted_db: float) -> dict[str, float]:
    """Return positions worth a move; a free unit that ends near the centre stays there, and the others start anew."""
    while True:
        scale = _scale(stage, units, wanted_db)
        positions = _drawn_in(stage, _turned(stage, units, scale), [unit for unit in units if unit.free])
        rounded = {id_: round(round(position / 0.05) * 0.05, 2) for id_, position in positions.items()}
        stay = [unit for unit in units if unit.free and abs(rounded[unit.ids[0]]) < _SMALLEST_STEP]
        if not stay:
            return {id_: position for id_, position in rounded.items() if abs(position) >= _SMALLEST_STEP}
        units = [unit for unit in units if unit not in stay]


def _turned(stage: _Stage, units: Sequence[Unit], scale: float) -> dict[str, float]:
    """Return positions: fixed units as they are, free ones on the side that leaves ranges and numbers more even."""
    positions = {id_: place for unit in units if unit.hard for id_, place in unit.places(1.0, _WIDEST)}
    positions.update(
        {i: p for unit in units if not unit.hard and not unit.free for i, p in unit.places(scale, _WIDEST)}
    )
    crowd = 0
    for unit in units:
        if not unit.free:
            continue
        tried = []
        for sign in (-1, 1):
            placed = {**positions, **dict(unit.places(sign * scale, _WIDEST))}
            uneven = float(np.sum(stage.tilt_db(placed) ** 2)) + _CROWD_DB2 * (crowd + sign) ** 2
            tried.append((uneven, sign, placed))
        _, sign, positions = min(tried, key=lambda one: one[:2])
        crowd += sign
    return positions


def _scale(stage: _Stage, units: Sequence[Unit], wanted_db: float) -> float:
    """Return the common factor on all soft positions that makes the mix as wide as wanted, within limits."""
    low, high = _SCALES
    if stage.side_to_mid_db(_turned(stage, units, low)) >= wanted_db:
        return low
    for _ in range(20):
        middle = 0.5 * (low + high)
        if stage.side_to_mid_db(_turned(stage, units, middle)) < wanted_db:
            low = middle
        else:
            high = middle
    return high


def _drawn_in(stage: _Stage, positions: dict[str, float], units: Sequence[Unit]) -> dict[str, float]:
    """Draw free units towards the centre, the strongest in the most uneven range first, until all are even."""
    found = dict(positions)
    for _ in range(60):
        tilt = stage.tilt_db(found)
        if not len(tilt) or np.abs(tilt).max() <= _BALANCE_DB:
            break
        band = int(np.argmax(np.abs(tilt)))
        side = -float(np.sign(tilt[band]))
        heavy = [unit for unit in units if found[unit.ids[0]] * side > 0.0]
        if not heavy:
            break
        worst = max(heavy, key=lambda unit: (sum(stage.pull(id_, band) for id_ in unit.ids), unit.ids))
        found.update({id_: 0.8 * found[id_] for id_ in worst.ids})
    return found


def _move(
    track: Placed, position: float, reason: str, widths: tuple[float | None, float], law: float, strength: float
) -> PlannedMove:
    reached = position * strength
    side = "left" if position < 0 else "right"
    gains = pan_gains(law, [0.0, reached])
    fold_db = float(20.0 * np.log10(gains[1].sum() / gains[0].sum()))
    costs = (f"Played in mono it stands {abs(fold_db):.1f} dB lower than from the centre.",) if fold_db <= -0.1 else ()
    now = "now mono" if widths[0] is None else f"now {widths[0]:+.1f}"
    return PlannedMove(
        id=move_id("pan", track.id, ()),
        kind="pan",
        target=track.id,
        sections=(),
        settings={"pan": position},
        state="proposed",
        strength=strength,
        by="plan",
        reason=f"Pan {track.name} {abs(reached):.2f} {side}: {reason}.",
        evidence=(
            f"With all pans the mix's side stands {widths[1]:+.1f} dB against its mid ({now}); between engineers "
            f"{WIDTH_DB[0]:g} to {WIDTH_DB[1]:g} (De Man et al. 2014)."
        ),
        measured={"pan": track.pan, "mix_side_to_mid_db": None if widths[0] is None else round(widths[0], 2)},
        predicted={"pan": round(reached, 3), "mix_side_to_mid_db": round(widths[1], 2)},
        without_it=f"Without it {track.name} shares the centre with the lead.",
        costs=costs,
    )

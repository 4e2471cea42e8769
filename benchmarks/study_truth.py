"""Studies whose truth is known, as rows of sessions: two generators that share no code.

The first draws a session's statistics themselves, from distributions with known means, with an
effect of the wearer and one of the session.  The second draws the seconds of each session and works
its statistics out from them, so that how many independent pairs a session holds matters as well.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import scipy

from analysis.study.row import SensorRow, SessionRow

DAY_NS: Final = 86_400_000_000_000
GOOD: Final = SensorRow(
    label="A", placement="left upper arm", firmware="", model="", imported=False, barred="",
    coverage_percent=100.0, late_start_s=0, pairs=2400, independent_pairs=40.0, sd_degrees=40.0,
    bias_bpm=0.0, sd_bpm=4.0, mae_bpm=3.0, mape_percent=3.0, within_percent=90.0,
    within_5_bpm_percent=85.0, pearson_r=0.95, concordance=0.95, slope=0.0, delay_s=None,
    judged=0, followed=0, late=0, blunted=0, missed=0, losses=0, lost_s=0, lost_percent=0.0,
)  # fmt: skip
LOST: Final = {"lost_s": 600, "lost_percent": 25.0, "losses": 2}


@dataclass(frozen=True)
class Shape:
    """``wearers`` who each have ``each`` sessions."""

    wearers: int
    each: int

    @property
    def sessions(self) -> int:
        """In all."""
        return self.wearers * self.each

    @property
    def owners(self) -> np.ndarray:
        """Wearer of each session, int[sessions]."""
        return np.tile(np.arange(self.wearers), self.each)

    def __str__(self) -> str:
        whom = "1 wearer" if self.wearers == 1 else f"{self.wearers} wearers"
        return f"{whom} × {self.each}"


def session(number: int, wearer: int, sensors: tuple[SensorRow, ...]) -> SessionRow:
    """A session of these sensors."""
    return SessionRow(
        path=f"{number:04d}", uuid=f"{number}", started_utc_ns=number * DAY_NS,
        wearer=f"W{wearer}", activity="made", invented=True, clean=True, notes=0, duration_s=2400.0,
        tolerance_bpm=5.0, tolerance_percent=10.0, reference="R", reference_imported=False,
        reference_usable_percent=100.0, range_bpm=60, sensors=sensors,
    )  # fmt: skip


@dataclass(frozen=True)
class Drawn:
    """First generator.  ``mae``: mean MAE in bpm; ``spread``: SD of its log between sessions, and
    ``people`` between wearers; ``fails``: rate of sessions that are failures, of MAE ``failed``.
    """

    mae: float = 2.5
    spread: float = 0.3
    people: float = 0.25
    fails: float = 0.0
    failed: float = 15.0

    def wearer_effects(self, shape: Shape, random: np.random.Generator) -> np.ndarray:
        """Log factor of each wearer, of mean 1: how this sensor suits whom."""
        return random.normal(-(self.people**2) / 2, self.people, shape.wearers)

    def rows(
        self, shape: Shape, effects: np.ndarray, random: np.random.Generator, label: str = "A"
    ) -> list[SensorRow]:
        """The sensor's row of each session."""
        count, own = shape.sessions, effects[shape.owners]
        mae = self.mae * np.exp(own + random.normal(-(self.spread**2) / 2, self.spread, count))
        bias = -1.0 + 2 * own + random.normal(0, 1.0, count)
        share = 100 * scipy.special.expit(2.5 - 2 * own + random.normal(0, 0.6, count))
        r = np.tanh(1.6 - own + random.normal(0, 0.35, count))
        # A session's own spread, as the 40 independent pairs of it show it.
        sd = 4.0 * np.sqrt(random.chisquare(40, count) / 40)
        bias += random.normal(0, 4.0 / np.sqrt(41), count)
        lost = random.random(count) < self.fails
        mae = np.where(lost, self.failed * np.exp(random.normal(-0.08, 0.4, count)), mae)
        return [
            replace(
                GOOD, label=label, mae_bpm=float(mae[n]), bias_bpm=float(bias[n]),
                independent_pairs=41.0, sd_bpm=float(sd[n]), within_percent=float(share[n]),
                pearson_r=float(r[n]), **(LOST if lost[n] else {}),
            )
            for n in range(count)
        ]  # fmt: skip

    def truth(self, effects: np.ndarray | None) -> dict[str, float]:
        """Means of these wearers, or of people (``None``)."""
        nodes, weights = np.polynomial.hermite_e.hermegauss(61)
        weights = weights / weights.sum()
        own = (
            effects
            if effects is not None
            else -(self.people**2) / 2 + self.people * nodes  # over people
        )
        mass = np.full(len(own), 1 / len(own)) if effects is not None else weights
        share = 100 * scipy.special.expit(2.5 - 2 * own[:, None] + 0.6 * nodes) @ weights
        bias = float(mass @ (-1.0 + 2 * own))
        between = float(mass @ (2 * own + -1.0 - bias) ** 2)
        sd = np.sqrt(between + 1.0 + 16.0)
        return {
            "bias_bpm": bias,
            "loa_low": bias - 1.959964 * sd,
            "loa_high": bias + 1.959964 * sd,
            "mae_bpm": float(self.mae * (mass @ np.exp(own))),
            "within_tolerance_percent": float(mass @ share),
            "pearson_r": float(np.tanh(mass @ (1.6 - own))),
        }


@dataclass(frozen=True)
class Seconds:
    """Second generator: sessions of ``length`` seconds of an AR(1) error (φ ``phi``), each with its
    own level and size.  No wearers: all sessions are of one.
    """

    level: float = 1.0
    level_sd: float = 1.5
    size: float = 4.0
    size_spread: float = 0.35
    phi: float = 0.95
    length: int = 1800

    def errors(self, sessions: int, random: np.random.Generator) -> np.ndarray:
        """Differences in bpm, float64[sessions, length]."""
        noise = random.normal(0, np.sqrt(1 - self.phi**2), (sessions, self.length))
        noise[:, 0] /= np.sqrt(1 - self.phi**2)
        unit = scipy.signal.lfilter([1], [1, -self.phi], noise, axis=1)
        sizes = self.size * np.exp(random.normal(0, self.size_spread, (sessions, 1)))
        return random.normal(self.level, self.level_sd, (sessions, 1)) + sizes * unit

    def rows(self, errors: np.ndarray, label: str = "A") -> list[SensorRow]:
        """The statistics of these sessions."""
        for_mean = self.length * (1 - self.phi) / (1 + self.phi)
        for_sd = self.length * (1 - self.phi**2) / (1 + self.phi**2)
        return [
            replace(
                GOOD, label=label, pairs=self.length, independent_pairs=for_mean,
                sd_degrees=for_sd - 1, bias_bpm=float(one.mean()), sd_bpm=float(one.std(ddof=1)),
                mae_bpm=float(np.abs(one).mean()),
                within_percent=float(100 * np.mean(np.abs(one) <= 10)),
            )
            for one in errors
        ]  # fmt: skip

    @property
    def truth(self) -> dict[str, float]:
        """Means over all sessions that this sensor may have, by Gauss–Hermite quadrature."""
        nodes, weights = np.polynomial.hermite_e.hermegauss(81)
        weights = weights / weights.sum()
        sizes = self.size * np.exp(self.size_spread * nodes)
        spread = np.sqrt(self.level_sd**2 + sizes**2)
        folded = scipy.stats.foldnorm.mean(abs(self.level) / spread, scale=spread)
        inside = scipy.stats.norm.cdf((10 - self.level) / spread) - scipy.stats.norm.cdf(
            (-10 - self.level) / spread
        )
        sd = float(np.sqrt(self.level_sd**2 + weights @ sizes**2))
        return {
            "bias_bpm": self.level,
            "loa_low": self.level - 1.959964 * sd,
            "loa_high": self.level + 1.959964 * sd,
            "mae_bpm": float(weights @ folded),
            "within_tolerance_percent": float(100 * weights @ inside),
        }

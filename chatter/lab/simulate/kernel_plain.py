"""The slow, readable twin of :mod:`chatter.lab.simulate.kernel`: same numbers, plain objects."""

from __future__ import annotations

import math

from chatter.lab.simulate.kernel import TABLE


class Surface:
    """What one axial slice of the cutter has left standing, on a grid over the turn.

    Each grid point holds the vibration and height of the tooth that last cut there and
    the feed travel at that moment: two small numbers instead of one large one, so that a
    straight line between grid points is exact enough.
    """

    def __init__(self, bins: int) -> None:
        self.bins = bins
        self.points: list[tuple[float, float] | None] = [None] * bins
        self.seen = [-(2**40)] * bins

    def at(self, k: int, stale: int) -> tuple[float, float] | None:
        """Vibration and feed at grid point ``k``; None where nothing was cut lately."""
        return None if self.seen[k] < stale else self.points[k]

    def leave(self, k: int, step: int, point: tuple[float, float]) -> None:
        """Set the surface at ``k``."""
        self.points[k] = point
        self.seen[k] = step


class Tooth:
    """One tooth in one slice: the grid point it stands on, and what it found there."""

    def __init__(self) -> None:
        self.lift()

    def lift(self) -> None:
        """Leave the work."""
        self.bin: int | None = None
        self.found = (0.0, 0.0)
        self.level = 0.0

    def move(self, surface, angle, level, feed, sin, step, stale, fresh_feed, bins_per_step):
        """Go to ``angle``, cutting every grid point crossed; return the chip thickness."""
        place = angle * surface.bins
        k = int(place)
        fresh = self.bin is None
        if fresh:
            crossed = [k]
        elif self.bin + 1 > k + 1:
            crossed = list(range(0, k + 1))
        else:
            crossed = list(range(self.bin + 1, k + 1))
        for kk in crossed:
            self.found = surface.at(kk, stale) or (0.0, fresh_feed)
            if fresh:
                reached = level
            else:
                back = min((place - kk) / bins_per_step, 1.0)
                reached = level + (self.level - level) * back
            cuts = (feed - self.found[1]) * sin + reached - self.found[0] > 0
            surface.leave(kk, step, (reached, feed) if cuts else self.found)
        self.bin, self.level = k, level
        ahead = surface.at((k + 1) % surface.bins, stale) or self.found
        part = place - k
        vibration = self.found[0] + (ahead[0] - self.found[0]) * part
        travel = self.found[1] + (ahead[1] - self.found[1]) * part
        return (feed - travel) * sin + level - vibration


def cut_steps(
    dt_s, hop, turn_rate, feed_rate, arc_low, arc_high, width, pass_of, fixed_angle, tooth_at,
    tooth_height, tooth_bluntness, slice_lag, kt, kr, edge_force, damping_coefficient,
    surface_speed, scatter, jitter, grain, regenerate, mode_a, mode_b, mode_dir, mode_decay,
    mode_mass, mode_loud, start_q, bins, motion, force, chip, voice, tooth_force,
):  # fmt: skip
    """As :func:`chatter.lab.simulate.kernel.cut_steps`, argument for argument."""
    teeth, slices, modes = len(tooth_at), len(slice_lag), len(mode_mass)
    surfaces = [Surface(bins) for _ in range(slices)]
    edges = [[Tooth() for _ in range(teeth)] for _ in range(slices)]
    state = [(float(q), 0.0) for q in start_q]
    before = [0.0] * modes
    turn = feed = 0.0
    for i in range(len(grain)):
        c = i // hop
        rate = turn_rate[c]
        x = sum(mode_dir[m, 0] * state[m][0] for m in range(modes))
        y = sum(mode_dir[m, 1] * state[m][0] for m in range(modes))
        vx = sum(mode_dir[m, 0] * state[m][1] for m in range(modes))
        vy = sum(mode_dir[m, 1] * state[m][1] for m in range(modes))
        fx = fy = area = 0.0
        if width[c] > 0:
            stale = i - int(1.5 / (rate * dt_s))
            b = width[c] / slices
            fresh_feed = feed - feed_rate[c] / (rate * teeth)
            for s in range(slices):
                for j in range(teeth):
                    whole = turn + tooth_at[j] - slice_lag[s]
                    lap = math.floor(whole)
                    angle = whole - lap
                    stroke = (lap * teeth + j) % TABLE
                    if not arc_low[c] + jitter[stroke] <= angle < arc_high[c]:
                        edges[s][j].lift()
                        continue
                    phi = math.pi / 2 if fixed_angle else 2 * math.pi * angle
                    sin, cos = math.sin(phi), 0.0 if fixed_angle else math.cos(phi)
                    level = tooth_height[j] + (x * sin + y * cos if regenerate else 0.0)
                    h = edges[s][j].move(
                        surfaces[s], angle, level, feed, sin, i, stale, fresh_feed,
                        rate * dt_s * bins,
                    )  # fmt: skip
                    if h <= 0:
                        continue
                    gain = b * tooth_bluntness[j] * scatter[stroke] * (1 + grain[i])
                    tangential = gain * (kt * h + edge_force)
                    radial = gain * (kr * kt * h + edge_force)
                    if regenerate:
                        slope = max(-0.15, (vx * sin + vy * cos) / surface_speed)
                        radial += damping_coefficient * b * slope
                        tangential += 0.3 * damping_coefficient * b * slope
                    fx += -tangential * cos - radial * sin
                    fy += tangential * sin - radial * cos
                    area += b * h
                    tooth_force[pass_of[c], j] += tangential
        total = 0.0
        for m in range(modes):
            q, v = state[m]
            pull = fx * mode_dir[m, 0] + fy * mode_dir[m, 1]
            acceleration = pull / mode_mass[m] - mode_decay[m, 0] * v - mode_decay[m, 1] * q
            total += mode_loud[m] * acceleration
            held = 1.5 * pull - 0.5 * before[m]
            a, b_ = mode_a[m], mode_b[m]
            state[m] = (a[0] * q + a[1] * v + b_[0] * held, a[2] * q + a[3] * v + b_[1] * held)
            before[m] = pull
        motion[i] = x, y
        force[i] = fx, fy
        chip[i], voice[i] = area, total
        turn += rate * dt_s
        feed += feed_rate[c] * dt_s

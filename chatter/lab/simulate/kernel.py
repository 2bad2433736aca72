"""The inner loop of the cut, written for numba: one time step after the other.

Geometry: the tooth at angle ``phi`` stands at ``R (sin phi, cos phi)``, moves along
``(cos phi, -sin phi)`` and the cutter feeds along +x, so that the undisturbed chip is
``f_z sin phi`` thick: ``phi`` from 0 is conventional (up) milling, ``phi`` to pi is climb
(down) milling.  The work remembers, on an angle grid, the surface that the last tooth to
touch it left; a tooth that jumps clear leaves the older surface standing, so regeneration
over several teeth needs no special case, nor do unequal heights or pitches.

:mod:`chatter.lab.simulate.kernel_plain` is the slow, readable twin; a test asks the same
numbers of both.
"""

from __future__ import annotations

from functools import cache

import numpy as np

#: Length of the tables of per-stroke randomness (a power of two, indexed with a mask).
TABLE = 4096


def cut_steps(
    dt_s,
    hop,
    turn_rate,  # (blocks,) spindle turns per second
    feed_rate,  # (blocks,) feed speed [m/s]
    arc_low,  # (blocks,) start of contact [turns]
    arc_high,  # (blocks,) end of contact [turns]
    width,  # (blocks,) width of chip [m]; 0 when clear of the work
    pass_of,  # (blocks,) index of the pass, for the per-tooth forces
    fixed_angle,  # True: turning, the chip always forms along +x
    tooth_at,  # (teeth,) angle of each tooth [turns]
    tooth_height,  # (teeth,) height above nominal [m]
    tooth_bluntness,  # (teeth,) factor on the force
    slice_lag,  # (slices,) lag of each axial slice by helix [turns]
    kt,
    kr,  # ratio of normal to tangential force
    edge_force,  # force per width, regardless of chip thickness [N/m]
    damping_coefficient,  # process damping [N/m per unit of v/V]
    surface_speed,  # cutting speed [m/s]
    scatter,  # (TABLE,) factor on each stroke's force
    jitter,  # (TABLE,) shift of each stroke's first contact [turns]
    grain,  # (n,) relative fluctuation of the force, in time
    regenerate,  # False: the chip does not know of vibration (forced twin)
    mode_a,  # (modes, 4) state transition: q<-q, q<-v, v<-q, v<-v
    mode_b,  # (modes, 2) response of q, v to a modal force held for one step
    mode_dir,  # (modes, 2) direction in x and y
    mode_decay,  # (modes, 2) 2 zeta omega, omega^2
    mode_mass,  # (modes,)
    mode_loud,  # (modes,) radiation gain on the modal acceleration
    start_q,  # (modes,) initial displacement [m]
    bins,  # surface grid points per turn
    motion,  # out (n, 2) tool displacement [m]
    force,  # out (n, 2) [N]
    chip,  # out (n,) chip area [m2]
    voice,  # out (n,) radiated modal acceleration
    tooth_force,  # out (passes, teeth) summed tangential force
):
    n = grain.shape[0]
    teeth = tooth_at.shape[0]
    slices = slice_lag.shape[0]
    modes = mode_mass.shape[0]
    q = start_q.copy()
    v = np.zeros(modes)
    pull = np.zeros(modes)
    pull_before = np.zeros(modes)
    left_vib = np.zeros((slices, bins))  # surface: vibration and height part
    left_feed = np.zeros((slices, bins))  # surface: feed at which it was cut
    seen = np.full((slices, bins), -(2**40), dtype=np.int64)
    at_bin = np.full((slices, teeth), -1, dtype=np.int64)
    old_vib = np.zeros((slices, teeth))
    old_feed = np.zeros((slices, teeth))
    last_level = np.zeros((slices, teeth))
    turn = 0.0
    feed = 0.0
    two_pi = 2.0 * np.pi
    for i in range(n):
        c = i // hop
        rate = turn_rate[c]
        x = 0.0
        y = 0.0
        vx = 0.0
        vy = 0.0
        for m in range(modes):
            x += mode_dir[m, 0] * q[m]
            y += mode_dir[m, 1] * q[m]
            vx += mode_dir[m, 0] * v[m]
            vy += mode_dir[m, 1] * v[m]
        fx = 0.0
        fy = 0.0
        area = 0.0
        if width[c] > 0.0:
            stale = i - int(1.5 / (rate * dt_s))
            slice_width = width[c] / slices
            nominal = feed_rate[c] / (rate * teeth)
            for s in range(slices):
                for j in range(teeth):
                    whole = turn + tooth_at[j] - slice_lag[s]
                    lap = np.floor(whole)
                    a = whole - lap
                    stroke = (int(lap) * teeth + j) & (TABLE - 1)
                    if a < arc_low[c] + jitter[stroke] or a >= arc_high[c]:
                        at_bin[s, j] = -1
                        continue
                    if fixed_angle:
                        sin = 1.0
                        cos = 0.0
                    else:
                        sin = np.sin(two_pi * a)
                        cos = np.cos(two_pi * a)
                    level = tooth_height[j]
                    if regenerate:
                        level += x * sin + y * cos
                    k = int(a * bins)
                    part = a * bins - k
                    fresh = at_bin[s, j] < 0
                    if fresh:
                        first = k
                    else:
                        first = at_bin[s, j] + 1
                        if first > k + 1:  # wrapped past the end of the turn
                            first = 0
                    for kk in range(first, k + 1):
                        if seen[s, kk] < stale:
                            left_vib[s, kk] = 0.0
                            left_feed[s, kk] = feed - nominal
                        old_vib[s, j] = left_vib[s, kk]
                        old_feed[s, j] = left_feed[s, kk]
                        seen[s, kk] = i
                        if fresh:
                            reached = level
                        else:  # where the tooth was when it crossed this grid point
                            back = (a * bins - kk) / (rate * dt_s * bins)
                            reached = level + (last_level[s, j] - level) * min(back, 1.0)
                        if (feed - old_feed[s, j]) * sin + reached - old_vib[s, j] > 0.0:
                            left_vib[s, kk] = reached
                            left_feed[s, kk] = feed
                    at_bin[s, j] = k
                    last_level[s, j] = level
                    ahead = k + 1 if k + 1 < bins else 0
                    ahead_vib = left_vib[s, ahead]
                    ahead_feed = left_feed[s, ahead]
                    if seen[s, ahead] < stale:
                        ahead_vib = old_vib[s, j]
                        ahead_feed = old_feed[s, j]
                    from_feed = old_feed[s, j] + (ahead_feed - old_feed[s, j]) * part
                    from_vib = old_vib[s, j] + (ahead_vib - old_vib[s, j]) * part
                    h = (feed - from_feed) * sin + level - from_vib
                    if h <= 0.0:
                        continue
                    gain = slice_width * tooth_bluntness[j] * scatter[stroke] * (1.0 + grain[i])
                    ft = gain * (kt * h + edge_force)
                    fr = gain * (kr * kt * h + edge_force)
                    if regenerate:
                        slope = (vx * sin + vy * cos) / surface_speed
                        # Moving in, the flank presses ever harder; moving out, it is soon free.
                        slope = max(slope, -0.15)
                        rub = damping_coefficient * slice_width * slope
                        fr += rub
                        ft += 0.3 * rub
                    fx += -ft * cos - fr * sin
                    fy += ft * sin - fr * cos
                    area += slice_width * h
                    tooth_force[pass_of[c], j] += ft
        total = 0.0
        for m in range(modes):
            pull[m] = fx * mode_dir[m, 0] + fy * mode_dir[m, 1]
            total += mode_loud[m] * (
                pull[m] / mode_mass[m] - mode_decay[m, 0] * v[m] - mode_decay[m, 1] * q[m]
            )
            held = 1.5 * pull[m] - 0.5 * pull_before[m]  # second order without a second look
            new_q = mode_a[m, 0] * q[m] + mode_a[m, 1] * v[m] + mode_b[m, 0] * held
            v[m] = mode_a[m, 2] * q[m] + mode_a[m, 3] * v[m] + mode_b[m, 1] * held
            q[m] = new_q
            pull_before[m] = pull[m]
        motion[i, 0] = x
        motion[i, 1] = y
        force[i, 0] = fx
        force[i, 1] = fy
        chip[i] = area
        voice[i] = total
        turn += rate * dt_s
        feed += feed_rate[c] * dt_s


@cache
def compiled():
    """Return :func:`cut_steps` compiled by numba (kept on disk between processes)."""
    import numba

    return numba.njit(cache=True)(cut_steps)

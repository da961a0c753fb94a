"""One time step of the lumped-mass line: linearly implicit, block-tridiagonal, in three dimensions.

Nodes 0 (the fly) to na-1 are free; the rod tip is the upper end of link na-1. Each step solves

    (M/dt + C + dt K) dv = F(x, v) - dt K v                                              (1)

for the change of the nodes' velocities and moves them with the new ones. M is mass with the added mass of the
normal direction (Morison, C_a = 1), C the drag linearised after Newton about the node's tangent, and per link of
length l, rest length r, unit vector e and tension T = EA (l - r)/r

    K = EA/r e eᵀ + max(T, 0)/l (I - e eᵀ)                                               (2)

so links are stiff both ways and the geometric stiffness stands only in tension (a tension-only stiffness lets a
slack front pump energy into the line). The lumping is that of [HallGoupee2015]; drag by the cross-flow principle
(see `drag`). The blocks are symmetric 3 x 3 and are eliminated from the fly to the tip in scalars.

The link at the tip alone is tension-only: slack line there is simply slack. Surface and bed are stiff springs that
act when a node is predicted to cross them in the step; the bed's acts along its normal, and rubs across it.
"""

from __future__ import annotations

import math

import numpy as np

from planner.sink.compiled import compiled

__all__ = ["BED", "COLUMNS", "DIAMETER", "DISPLACED", "MASS", "REST", "SHARE", "SLOPE_X", "SLOPE_Y", "step"]

# columns of the state: x, y, z (down), their velocities, then rest length, diameter, mass and displaced mass per metre
# of the link above the node, depth of the bed under the node with its slopes along x and y, and the share of the
# current at the node's place across; columns of the scratch: inverse block (6), right side (3), unit vector (3), a, b
REST, DIAMETER, MASS, DISPLACED, BED, SLOPE_X, SLOPE_Y, SHARE = 6, 7, 8, 9, 10, 11, 12, 13
COLUMNS = 14

WETTING = 0.01  # a node is wetted over this height about the surface [m]
WETTING_FLY = 0.03  # and a fly over this one [m]
AIR_DAMPING = 20.0  # keeps line lifted off the water from whipping [1/s]
CONTACT = 3000.0  # stiffness of surface and bed at a node [N/m]
CRAWL = 0.02  # friction is linear in speed below this [m/s]
FILM_DEPTH = 0.02  # a floating line breaks through the surface film within this depth [m]


@compiled()
def step(
    st: np.ndarray,
    na: int,
    work: np.ndarray,
    dt: float,
    tip_z: float,
    u_table: np.ndarray,
    u_inv_dz: float,
    cn: np.ndarray,
    fly: np.ndarray,
    const: np.ndarray,
) -> tuple[float, int, float, float]:
    """Advance the free nodes by one step, in place.

    Parameters
    ----------
    st : array, shape (n, 14)
        Nodes and the links above them: place [m] and velocity [m/s] relative to the rod tip's foot, then the link's
        rest length at the end of the step [m], diameter [m], mass and displaced mass per metre [kg/m]; depth of the
        bed [m] (infinite when free) and its slopes under the node [1]; share of the current there [1].
    na : int
        Number of free nodes.
    work : array, shape (n, 14)
        Scratch.
    dt : float
        Time step [s].
    tip_z : float
        Depth of the rod tip at the end of the step, negative above the water [m].
    u_table, u_inv_dz : array, float
        Water speed relative to the tip over depth [m/s], and 1 / spacing of the table [1/m].
    cn : array
        C_n over sqrt(Re) in steps of 0.25.
    fly : array, shape (5,)
        Mass [kg], displaced mass [kg], towed and broadside drag areas, lift area [m²].
    const : array, shape (8,)
        Water density, viscosity, gravity, EA, tangential drag, bed friction, bed's velocity along x in this frame,
        and the most that the surface film holds up [N/m].

    Returns
    -------
    tuple
        Tension at the tip [N] from end-of-step lengths, lowest node that touches the bed (-1 none), tension of the
        link at the fly [N], largest tension of any link below the one at the tip [N].
    """
    rho = const[0]
    inv_nu = 1.0 / const[1]
    g = const[2]
    ea = const[3]
    ct = const[4]
    mu = const[5]
    bed_vx = const[6]
    film = const[7]
    inv_dt = 1.0 / dt
    last_u = u_table.shape[0] - 1
    last_cn = cn.shape[0] - 1

    # what the lower link hands to the node: its block B = a e eT + b I, its force, its lumped halves
    pa = pb = pex = pey = pez = 0.0
    pgx = pgy = pgz = pdx = pdy = pdz = 0.0
    p_mass = p_disp = p_area = p_len = 0.0
    touched = -1
    tightest = 0.0

    for i in range(na):
        x = st[i, 0]
        y = st[i, 1]
        z = st[i, 2]
        vx = st[i, 3]
        vy = st[i, 4]
        vz = st[i, 5]
        # ---- upper link
        r = st[i, REST]
        if i == na - 1:
            dx = -x
            dy = -y
            dz = tip_z - z
            wx = -vx
            wy = -vy
            wz = -vz
        else:
            dx = st[i + 1, 0] - x
            dy = st[i + 1, 1] - y
            dz = st[i + 1, 2] - z
            wx = st[i + 1, 3] - vx
            wy = st[i + 1, 4] - vy
            wz = st[i + 1, 5] - vz
        length = math.sqrt(dx * dx + dy * dy + dz * dz) + 1e-12
        inv_l = 1.0 / length
        ex = dx * inv_l
        ey = dy * inv_l
        ez = dz * inv_l
        k = ea / r
        tension = k * (length - r)
        edw = ex * wx + ey * wy + ez * wz
        lumped = r
        if i < na - 1 and tension > tightest:
            tightest = tension
        # The link at the tip lets go when slack now and at the end of the step; asking for one of the two alone lets it
        # flutter. The tip's place is already that of the end of the step.
        if i == na - 1 and length <= r and length + dt * edw <= r:
            k = 0.0
            tension = 0.0
            lumped = min(r, length)
        # the geometric stiffness foresees a link that tightens within the step, or a jerk throws the nodes sideways
        kt = min(max(tension, tension + dt * k * edw, 0.0) * inv_l, k)
        a = dt * (k - kt)
        b = dt * kt
        s = tension + a * edw
        gx = s * ex + b * wx
        gy = s * ey + b * wy
        gz = s * ez + b * wz
        half = 0.5 * lumped
        l_mass = half * st[i, MASS]
        l_disp = half * st[i, DISPLACED]
        l_area = half * st[i, DIAMETER]
        # ---- node
        mass = l_mass + p_mass
        disp = l_disp + p_disp
        area = l_area + p_area
        span = half + p_len
        tx = dx + pdx
        ty = dy + pdy
        tz = dz + pdz
        t2 = tx * tx + ty * ty + tz * tz
        if t2 > 1e-8:
            inv_t = 1.0 / math.sqrt(t2)
            tx *= inv_t
            ty *= inv_t
            tz *= inv_t
        else:
            tx = ex
            ty = ey
            tz = ez
        # a fly of some centimetres leaves the water more gradually than a line
        deep = 1.0 / WETTING if i > 0 else 1.0 / WETTING_FLY
        wet = min(max(0.5 + z * deep, 0.0), 1.0)
        pos = z * u_inv_dz
        if pos <= 0.0:
            ux = u_table[0]
        elif pos >= last_u:
            ux = u_table[last_u]
        else:
            cell = int(pos)
            ux = u_table[cell] + (pos - cell) * (u_table[cell + 1] - u_table[cell])
        share = st[i, SHARE]
        ux = share * ux - (share - 1.0) * bed_vx - vx
        uy = -vy
        uz = -vz
        ut = ux * tx + uy * ty + uz * tz
        nx = ux - ut * tx
        ny = uy - ut * ty
        nz = uz - ut * tz
        un = math.sqrt(nx * nx + ny * ny + nz * nz)
        pos = 4.0 * math.sqrt(un * area / span * inv_nu)
        if pos >= last_cn:
            c_n = cn[last_cn]
        else:
            cell = int(pos)
            c_n = cn[cell] + (pos - cell) * (cn[cell + 1] - cn[cell])
        q = 0.5 * rho * wet
        kn = q * area * c_n * un
        kq = q * math.pi * area * ct * abs(ut)
        added = disp * wet
        fx = fy = fz = towed = broad = 0.0
        if i == 0:
            mass += fly[0]
            disp += fly[1]
            added += fly[1] * wet
            h2 = ux * ux + uy * uy
            u = math.sqrt(h2 + uz * uz)
            # the fly keeps level: towed area along the horizontal stream, broadside area up and down
            towed = q * u * fly[2]
            broad = q * u * fly[3]
            fx += towed * ux
            fy += towed * uy
            fz += broad * uz
            if fly[4] != 0.0 and h2 > 1e-6:
                # lift: upward, square to the relative velocity in its vertical plane
                lift = q * fly[4] * u
                h = math.sqrt(h2)
                fz -= lift * h
                fx += lift * uz * ux / h
                fy += lift * uz * uy / h
        air = AIR_DAMPING * (1.0 - wet) * mass
        fx += kn * nx + kq * ut * tx - air * vx
        fy += kn * ny + kq * ut * ty - air * vy
        fz += kn * nz + kq * ut * tz - air * vz + (mass - disp * wet) * g
        c_normal = (mass + added) * inv_dt + 2.0 * kn + air
        c_axial = mass * inv_dt + 2.0 * kq + air - c_normal
        s0 = c_normal + 2.0 * towed + c_axial * tx * tx
        s1 = c_axial * tx * ty
        s2 = c_axial * tx * tz
        s3 = c_normal + 2.0 * towed + c_axial * ty * ty
        s4 = c_axial * ty * tz
        s5 = c_normal + 2.0 * broad + c_axial * tz * tz
        if wet > 0.0 and wet < 1.0:
            kz = disp * g * deep * dt
            s5 += kz
            fz -= kz * vz
        if film > 0.0 and z > 0.0 and z < FILM_DEPTH and l_disp + p_disp > l_mass + p_mass:
            # up to half of this depth the film's pull grows, then the line breaks through
            up = 2.0 * film * span / FILM_DEPTH
            fz -= up * min(z, FILM_DEPTH - z)
            if z < 0.5 * FILM_DEPTH:
                s5 += dt * up
                fz -= dt * up * vz
        ahead = z + dt * vz
        if ahead < tip_z:
            s5 += dt * CONTACT
            fz += CONTACT * (tip_z - ahead)
        else:
            slope_x = st[i, SLOPE_X]
            slope_y = st[i, SLOPE_Y]
            bed = st[i, BED]
            sx = vx - bed_vx
            ahead -= dt * (slope_x * sx + slope_y * vy)
            if ahead > bed or z > bed:
                touched = i
                n = 1.0 / math.sqrt(1.0 + slope_x * slope_x + slope_y * slope_y)
                nx = slope_x * n
                ny = slope_y * n
                nz = -n
                push = CONTACT * (ahead - bed) * n
                fx += push * nx
                fy += push * ny
                fz += push * nz
                kc = dt * CONTACT
                rub = 0.0
                if z > bed:
                    out = sx * nx + vy * ny + vz * nz
                    sx -= out * nx
                    sy = vy - out * ny
                    sz = vz - out * nz
                    rub = mu * CONTACT * (z - bed) * n / (math.sqrt(sx * sx + sy * sy + sz * sz) + CRAWL)
                    fx -= rub * sx
                    fy -= rub * sy
                    fz -= rub * sz
                kc -= rub
                s0 += rub + kc * nx * nx
                s1 += kc * nx * ny
                s2 += kc * nx * nz
                s3 += rub + kc * ny * ny
                s4 += kc * ny * nz
                s5 += rub + kc * nz * nz
        # ---- assemble and eliminate
        fx += gx - pgx
        fy += gy - pgy
        fz += gz - pgz
        s0 += b + a * ex * ex
        s1 += a * ex * ey
        s2 += a * ex * ez
        s3 += b + a * ey * ey
        s4 += a * ey * ez
        s5 += b + a * ez * ez
        if i > 0:
            s0 += pb + pa * pex * pex
            s1 += pa * pex * pey
            s2 += pa * pex * pez
            s3 += pb + pa * pey * pey
            s4 += pa * pey * pez
            s5 += pb + pa * pez * pez
            j0 = work[i - 1, 0]
            j1 = work[i - 1, 1]
            j2 = work[i - 1, 2]
            j3 = work[i - 1, 3]
            j4 = work[i - 1, 4]
            j5 = work[i - 1, 5]
            r0 = work[i - 1, 6]
            r1 = work[i - 1, 7]
            r2 = work[i - 1, 8]
            ox = j0 * pex + j1 * pey + j2 * pez
            oy = j1 * pex + j3 * pey + j4 * pez
            oz = j2 * pex + j4 * pey + j5 * pez
            bb = pb * pb
            ab = pa * pb
            aq = pa * pa * (pex * ox + pey * oy + pez * oz)
            s0 -= bb * j0 + 2.0 * ab * pex * ox + aq * pex * pex
            s1 -= bb * j1 + ab * (pex * oy + ox * pey) + aq * pex * pey
            s2 -= bb * j2 + ab * (pex * oz + ox * pez) + aq * pex * pez
            s3 -= bb * j3 + 2.0 * ab * pey * oy + aq * pey * pey
            s4 -= bb * j4 + ab * (pey * oz + oy * pez) + aq * pey * pez
            s5 -= bb * j5 + 2.0 * ab * pez * oz + aq * pez * pez
            yx = j0 * r0 + j1 * r1 + j2 * r2
            yy = j1 * r0 + j3 * r1 + j4 * r2
            yz = j2 * r0 + j4 * r1 + j5 * r2
            ey_ = pa * (pex * yx + pey * yy + pez * yz)
            fx += ey_ * pex + pb * yx
            fy += ey_ * pey + pb * yy
            fz += ey_ * pez + pb * yz
        c0 = s3 * s5 - s4 * s4
        c1 = s2 * s4 - s1 * s5
        c2 = s1 * s4 - s2 * s3
        inv = 1.0 / (s0 * c0 + s1 * c1 + s2 * c2)
        work[i, 0] = c0 * inv
        work[i, 1] = c1 * inv
        work[i, 2] = c2 * inv
        work[i, 3] = (s0 * s5 - s2 * s2) * inv
        work[i, 4] = (s1 * s2 - s0 * s4) * inv
        work[i, 5] = (s0 * s3 - s1 * s1) * inv
        work[i, 6] = fx
        work[i, 7] = fy
        work[i, 8] = fz
        work[i, 9] = ex
        work[i, 10] = ey
        work[i, 11] = ez
        work[i, 12] = a
        work[i, 13] = b
        pa = a
        pb = b
        pex = ex
        pey = ey
        pez = ez
        pgx = gx
        pgy = gy
        pgz = gz
        pdx = dx
        pdy = dy
        pdz = dz
        p_mass = l_mass
        p_disp = l_disp
        p_area = l_area
        p_len = half

    # back from the tip to the fly
    qx = qy = qz = 0.0
    for i in range(na - 1, -1, -1):
        r0 = work[i, 6]
        r1 = work[i, 7]
        r2 = work[i, 8]
        if i < na - 1:
            ex = work[i, 9]
            ey = work[i, 10]
            ez = work[i, 11]
            s = work[i, 12] * (ex * qx + ey * qy + ez * qz)
            b = work[i, 13]
            r0 += s * ex + b * qx
            r1 += s * ey + b * qy
            r2 += s * ez + b * qz
        qx = work[i, 0] * r0 + work[i, 1] * r1 + work[i, 2] * r2
        qy = work[i, 1] * r0 + work[i, 3] * r1 + work[i, 4] * r2
        qz = work[i, 2] * r0 + work[i, 4] * r1 + work[i, 5] * r2
        st[i, 3] += qx
        st[i, 4] += qy
        st[i, 5] += qz
        st[i, 0] += dt * st[i, 3]
        st[i, 1] += dt * st[i, 4]
        st[i, 2] += dt * st[i, 5]

    i = na - 1
    length = math.sqrt(st[i, 0] ** 2 + st[i, 1] ** 2 + (st[i, 2] - tip_z) ** 2)
    tip_tension = max(0.0, ea * (length - st[i, REST]) / st[i, REST])
    if na == 1:
        return tip_tension, touched, tip_tension, tightest
    length = math.sqrt((st[1, 0] - st[0, 0]) ** 2 + (st[1, 1] - st[0, 1]) ** 2 + (st[1, 2] - st[0, 2]) ** 2)
    return tip_tension, touched, ea * (length - st[0, REST]) / st[0, REST], tightest
